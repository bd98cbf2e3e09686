"""Half a prescription on a coarse made-up lower cast: few parts, all of them real, so that a build takes seconds.

    python small_case.py FOLDER        (also imported by the tests inside Blender)
"""

import dataclasses
import hashlib
import sys
from pathlib import Path

import numpy as np
from claspwright.core import case as doc
from claspwright.core.cast import write_mesh
from claspwright.core.phantom import SAMPLES, make_phantom


def small_case(folder: Path, triangles: int = 12_000) -> Path:
    """Write cast.ply and case.json into the folder; the case file's path."""
    made = make_phantom(dataclasses.replace(SAMPLES["lower_class_i"], triangles=triangles))
    write_mesh(folder / "cast.ply", made.mesh)
    teeth = tuple(doc.ToothEntry(int(n), seeds=(tuple(round(float(c), 3) for c in np.ravel(p)),)) for n, p in sorted(made.seeds.items()))
    rows = tuple(tuple(float(v) for v in row) for row in np.eye(4))
    case = doc.Case(
        cast=doc.CastEntry("cast.ply", hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest(), "lower", rows),
        chart=doc.Chart(teeth, tuple(sorted({*map(int, made.missing), 38, 48})), (38, 48)),
        components=(
            doc.LingualBar("lingual bar", start=34, end=44),
            doc.LatticeBase("base 3", teeth=(35, 36, 37)),
            doc.OcclusalRest("rest 34", 34, "mesial", depth_mm=1.0),
            doc.MinorConnector("minor connector 34", 34, "mesial"),
            doc.GuidePlate("guide plate 34", 34, "distal", plane_height_mm=2.0),
            doc.IBar("I-bar 34", 34, base="base 3", base_thickness_mm=2.0),  # so stiff that there is advice for it
        ),
        title="A small invented case",
        folder=str(folder),
    )
    doc.save_case(case, folder / "case.json")
    return folder / "case.json"


if __name__ == "__main__":
    small_case(Path(sys.argv[1]))
