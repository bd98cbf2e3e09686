"""Make the invented sample cases: cast, case file, and the pictures of the README.

python scripts/make_samples.py [NAME...]
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from pathlib import Path

import numpy as np
from claspwright.core import case as doc
from claspwright.core.cast import write_mesh
from claspwright.core.phantom import make_phantom
from sample_designs import CASES, CASTS

ROOT = Path(__file__).resolve().parents[1]
IDENTITY = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
NOTE = "Invented case on a made-up cast. For training; not for any patient."


def make(name: str, folder: Path) -> doc.Case:
    """Write cast.ply and case.json of one sample."""
    folder.mkdir(parents=True, exist_ok=True)
    made = make_phantom(CASTS[name])
    write_mesh(folder / "cast.ply", made.mesh)
    digest = hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest()
    design = CASES[name]()
    teeth = tuple(
        doc.ToothEntry(int(fdi), seeds=(tuple(round(float(c), 3) for c in np.ravel(p)),)) for fdi, p in sorted(made.seeds.items())
    )
    absent = tuple(sorted(set(CASTS[name].absent)))
    case = doc.Case(
        cast=doc.CastEntry("cast.ply", digest, made.arch, to_cast=IDENTITY),
        chart=doc.Chart(
            teeth=teeth,
            missing=tuple(sorted({*map(int, made.missing), *absent})),
            not_replaced=absent,
            sulcus_mm=design.sulcus_mm,
            soft_tissue=design.soft_tissue,
        ),
        components=tuple(design.components),
        title=design.title,
        patient_code=f"SAMPLE-{list(CASES).index(name) + 1}",
        notes=NOTE,
        folder=str(folder),
    )
    doc.save_case(case, folder / "case.json")
    return case


def main() -> int:
    """Command line of this script."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", default=list(CASES))
    options = parser.parse_args()
    for name in options.names or list(CASES):
        make(name, ROOT / "sample_scenes" / name)
        print(f"made sample_scenes/{name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
