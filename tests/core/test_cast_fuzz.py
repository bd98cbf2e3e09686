"""Damaged files of every format: a mesh or one line of CastError, never anything else. Files of the seeds are trimesh's and our own."""

import importlib.util
import io
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from claspwright.core.cast import load_cast, read_mesh
from claspwright.core.cast.files import encode_ply
from claspwright.core.cast.threemf import encode_3mf
from claspwright.core.errors import CastError
from claspwright.core.mesh import Mesh
from hypothesis import given, settings
from hypothesis import strategies as st

BALL = trimesh.creation.icosphere(subdivisions=1, radius=20.0)
MESH = Mesh(BALL.vertices, BALL.faces)
with zipfile.ZipFile(io.BytesIO(encode_3mf(MESH))) as _package:
    XML = _package.read("3D/3dmodel.model")
SEEDS = {
    "a.stl": BALL.export(file_type="stl"),
    "b.stl": BALL.export(file_type="stl_ascii").encode(),
    "c.ply": encode_ply(MESH, {"u": np.zeros(len(BALL.vertices))}),
    "d.ply": BALL.export(file_type="ply", encoding="ascii"),
    "e.obj": BALL.export(file_type="obj").encode(),
    "f.3mf": XML,
}
PIECES = [b"\xff\xff\xff\xff", b"\0\0\xc0\x7f", b"\0\0\0\0", b"-1 ", b"1e99 ", b"nan ", b"\xff\xff\xff\x7f", b"\n", b"<", b" "]
CHANGE = st.tuples(st.integers(0, 3), st.floats(0, 1, exclude_max=True), st.integers(1, 60), st.sampled_from(PIECES))


def damaged(data: bytes, changes: list[tuple[int, float, int, bytes]]) -> bytes:
    for kind, place, length, piece in changes:
        at = int(place * len(data))
        if kind == 0:
            data = data[:at] + piece + data[at + len(piece) :]
        elif kind == 1:
            data = data[:at] + data[at + length :]
        elif kind == 2:
            data = data[:at] + piece * (length // 10 + 1) + data[at:]
        else:
            data = data[: max(at, 90)]
    return data


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@settings(max_examples=120, deadline=None, derandomize=True)
@given(name=st.sampled_from(sorted(SEEDS)), changes=st.lists(CHANGE, min_size=1, max_size=4))
def test_damage_gives_a_mesh_or_one_line(folder, name, changes):
    data = damaged(SEEDS[name], changes)
    if name.endswith("3mf"):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as package:
            package.writestr("3D/3dmodel.model", data)
        data = out.getvalue()
    (folder / name).write_bytes(data)
    with np.errstate(all="ignore"):
        try:
            mesh, _ = read_mesh(folder / name)
            load_cast(folder / name, keep_frame=len(changes) % 2 == 0)
        except CastError as error:
            assert str(error).startswith(name) and "\n" not in str(error)
        else:
            assert len(mesh.faces) > 0


def stl(*triangles: list[list[float]]) -> bytes:
    body = b"".join(struct.pack("<12fH", *([0.0] * 3), *np.ravel(t), 0) for t in triangles)
    return bytes(80) + struct.pack("<I", len(triangles)) + body


FOUND = {
    "one triangle": (stl([[0, 0, 0], [60, 0, 0], [0, 60, 0]]), "do not hang together"),
    "huge numbers": (stl(*[[[0, 0, 0], [1e38, k, 0], [0, -3e38, k]] for k in range(5)]), "no numbers"),
    "all one point": (stl(*[[[1, 1, 1]] * 3] * 5), "no unit"),
}


@pytest.mark.parametrize("name", FOUND)
def test_crashes_found_by_fuzzing_stay_mended(tmp_path, name):
    data, words = FOUND[name]
    (tmp_path / "a.stl").write_bytes(data)
    with pytest.raises(CastError, match=words):
        load_cast(tmp_path / "a.stl")


def test_a_zip_whose_places_lie_before_its_beginning(tmp_path):
    """Found by fuzzing: the library seeks to a negative place, which is none of its own errors."""
    whole = encode_3mf(MESH)
    (tmp_path / "a.3mf").write_bytes(whole[:40] + whole[300:])
    with pytest.raises(CastError, match="no readable zip"):
        read_mesh(tmp_path / "a.3mf")


@pytest.mark.nightly
def test_coverage_guided_for_a_minute(tmp_path):
    """The seeds and what mutations of them reach; `make fuzz` takes ten minutes."""
    pytest.importorskip("atheris")
    root = Path(__file__).parents[2]
    command = [sys.executable, root / "scripts" / "fuzz.py", tmp_path, root / "tests" / "fuzz_corpus", "-max_total_time=60", "-timeout=20"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, timeout=200)
    assert done.returncode == 0, done.stderr[-3000:]


def test_the_stored_corpus(tmp_path):
    spec = importlib.util.spec_from_file_location("fuzz", Path(__file__).parents[2] / "scripts" / "fuzz.py")
    fuzz = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fuzz)
    files = sorted((Path(__file__).parents[1] / "fuzz_corpus").iterdir())
    assert {fuzz.READERS[f.read_bytes()[0] % len(fuzz.READERS)] for f in files} == set(fuzz.READERS)
    for file in files:
        fuzz.trial(file.read_bytes(), tmp_path)
