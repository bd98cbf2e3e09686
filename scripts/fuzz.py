"""Coverage-guided fuzzing of everything that is read: STL, PLY, OBJ, 3MF (its XML, and the zip itself) and case files.

    python scripts/fuzz.py --seeds FOLDER              write the seeds that the corpus began with
    python scripts/fuzz.py CORPUS -max_total_time=600  libFuzzer's own options; what it finds is added to the first folder named

The first byte of an input chooses the reader. A mesh, a case or a named error of one line is right; anything else is a crash, and becomes
a regression test (tests/core/test_cast_fuzz.py, test_case_fuzz.py).
"""

from __future__ import annotations

import io
import json
import sys
import tempfile
import zipfile
from pathlib import Path

READERS = (".stl", ".ply", ".obj", ".xml", ".3mf", ".json")
ROOT = Path(__file__).resolve().parents[1]


def boxed(xml: bytes) -> bytes:
    """A 3MF package around a model part."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        package.writestr("3D/3dmodel.model", xml)
    return out.getvalue()


def trial(data: bytes, folder: Path) -> None:
    """One input; raises what no reader may raise."""
    from claspwright.core.case import load_case
    from claspwright.core.cast import read_mesh
    from claspwright.core.cast.repair import clean
    from claspwright.core.errors import CaseError, CastError

    kind = READERS[data[0] % len(READERS)] if data else ".stl"
    body = boxed(data[1:]) if kind == ".xml" else data[1:]
    file = folder / f"a{'.3mf' if kind == '.xml' else kind}"
    file.write_bytes(body)
    try:
        if kind == ".json":
            load_case(file)
        else:
            clean(read_mesh(file)[0])
    except (CastError, CaseError) as error:
        assert "\n" not in str(error) and len(str(error)) < 1000, str(error)


def write_seeds(folder: Path) -> None:
    """A small sound file of each kind."""
    import numpy as np
    import trimesh
    from claspwright.core.cast.files import encode_ply, encode_stl
    from claspwright.core.cast.threemf import encode_3mf
    from claspwright.core.mesh import Mesh

    ball = trimesh.creation.icosphere(subdivisions=1, radius=20.0)
    mesh = Mesh(ball.vertices, ball.faces)
    whole = encode_3mf(mesh)
    with zipfile.ZipFile(io.BytesIO(whole)) as package:
        xml = package.read("3D/3dmodel.model")
    case = json.loads((ROOT / "sample_scenes" / "lower_class_i" / "case.json").read_text(encoding="utf-8"))
    seeds = [
        (0, encode_stl(mesh)), (0, ball.export(file_type="stl_ascii").encode()),
        (1, encode_ply(mesh, {"u": np.zeros(len(ball.vertices))})), (1, ball.export(file_type="ply", encoding="ascii")),
        (2, ball.export(file_type="obj").encode()), (3, xml), (4, whole), (5, json.dumps(case, separators=(",", ":")).encode()),
    ]  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    for k, (reader, data) in enumerate(seeds):
        (folder / f"seed_{k}_{READERS[reader][1:]}").write_bytes(bytes([reader]) + data)


def main() -> None:
    """Fuzz, or write the seeds."""
    if sys.argv[1:2] == ["--seeds"]:
        write_seeds(Path(sys.argv[2]))
        return
    import atheris
    import numpy as np

    with atheris.instrument_imports(include=["claspwright.core.cast", "claspwright.core.case", "zipfile", "json"]):
        import claspwright.core.case
        import claspwright.core.cast  # noqa: F401 - loaded here to be watched
    np.seterr(all="ignore")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        atheris.Setup(sys.argv, lambda data: trial(data, place))
        atheris.Fuzz()


if __name__ == "__main__":
    main()
