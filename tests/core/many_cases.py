"""Generated cases for trials of many: coarse made-up lower casts, no two alike, a bar with one rest each, for a build of seconds.

    python many_cases.py FOLDER COUNT
"""

from __future__ import annotations

import dataclasses
import hashlib
import sys
from pathlib import Path

import numpy as np
from claspwright.core import case as doc
from claspwright.core.cast import write_mesh
from claspwright.core.phantom import SAMPLES, make_phantom

UNIT = tuple(tuple(float(v) for v in row) for row in np.eye(4))


def one_case(folder: Path, seed: int, triangles: int = 8000) -> Path:
    """A lingual bar and a rest on 34 with its minor connector; the seed varies crowns, arch and tilt."""
    folder.mkdir(parents=True, exist_ok=True)
    made = make_phantom(dataclasses.replace(SAMPLES["lower_class_i"], triangles=triangles, seed=seed))
    write_mesh(folder / "cast.ply", made.mesh)
    digest = hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest()
    teeth = tuple(doc.ToothEntry(int(n), seeds=(tuple(round(float(c), 3) for c in np.ravel(p)),)) for n, p in sorted(made.seeds.items()))
    parts = (
        doc.LingualBar("lingual bar", start=34, end=44),
        doc.OcclusalRest("rest 34", 34, "mesial", depth_mm=1.0),
        doc.MinorConnector("minor connector 34", 34, "mesial"),
    )
    case = doc.Case(
        cast=doc.CastEntry("cast.ply", digest, "lower", UNIT),
        chart=doc.Chart(teeth, tuple(sorted({*map(int, made.missing), 38, 48})), (38, 48)),
        path=doc.PathEntry(float(seed % 5 - 2), float(seed % 3 - 1)),
        components=parts,
        manufacture=doc.Manufacture(resolution_mm=0.6),
        title=f"Generated case {seed}",
    )
    doc.save_case(case, folder / "case.json")
    return folder / "case.json"


def many_cases(folder: Path, count: int) -> None:
    """`count` cases, of which every 25th has a scan that is cut short: a batch has to tell of it and go on."""
    for seed in range(count):
        file = one_case(folder / f"case_{seed:03d}", seed)
        if seed % 25 == 24:
            scan = file.with_name("cast.ply")
            scan.write_bytes(scan.read_bytes()[:-1000])


if __name__ == "__main__":
    many_cases(Path(sys.argv[1]), int(sys.argv[2]))
