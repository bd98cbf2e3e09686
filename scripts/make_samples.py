"""Make the invented sample cases: cast, case file, and the pictures of the README.

python scripts/make_samples.py [NAME...] [--pictures]
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from pathlib import Path

import numpy as np
from claspwright.core import case as doc
from claspwright.core.cast import write_mesh
from claspwright.core.phantom import SAMPLES, make_phantom

ROOT = Path(__file__).resolve().parents[1]
IDENTITY = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
NOTE = "Invented case on a made-up cast. For training; not for any patient."


def lower_class_i() -> tuple[str, tuple[doc.Component, ...], float | None]:
    """Two free ends: mesial rests, guide plates, I-bars, cingulum rests as indirect retainers, lingual bar, lattice bases."""
    parts: list[doc.Component] = [doc.LingualBar("lingual bar", start=34, end=44)]
    for quadrant in (3, 4):
        premolar, canine = quadrant * 10 + 4, quadrant * 10 + 3
        base = f"base {quadrant}"
        parts += [
            doc.LatticeBase(base, teeth=tuple(quadrant * 10 + p for p in (5, 6, 7)), stop=True),
            doc.OcclusalRest(f"rest {premolar}", premolar, "mesial", depth_mm=1.0),
            doc.MinorConnector(f"minor connector {premolar}", premolar, "mesial"),
            doc.GuidePlate(f"guide plate {premolar}", premolar, "distal", plane_height_mm=2.0),
            doc.IBar(f"I-bar {premolar}", premolar, base=base),
            doc.CingulumRest(f"rest {canine}", canine),
            doc.MinorConnector(f"minor connector {canine}", canine, "lingual"),
        ]
    return "Lower arch, Kennedy class I", tuple(parts), 9.5


def upper_class_iii_mod_1() -> tuple[str, tuple[doc.Component, ...], float | None]:
    """Two bounded gaps: four cast circumferential clasps, rests, guide plates, anteroposterior straps, lattice bases."""
    parts: list[doc.Component] = [doc.PalatalStraps("palatal straps", anterior_width_mm=6.5, margin_mm=5.5)]
    for quadrant in (1, 2):
        parts.append(doc.LatticeBase(f"base {quadrant}", teeth=(quadrant * 10 + 5, quadrant * 10 + 6)))
        for tooth, side in ((quadrant * 10 + 4, "distal"), (quadrant * 10 + 7, "mesial")):
            premolar = tooth % 10 == 4
            parts += [
                doc.OcclusalRest(f"rest {tooth}", tooth, side, depth_mm=1.0 if premolar else 1.3),
                doc.GuidePlate(f"guide plate {tooth}", tooth, side),
                doc.RetentiveArm(
                    f"retentive arm {tooth}",
                    tooth,
                    side,
                    "facial",
                    base_width_mm=1.5 if premolar else 1.8,
                    base_thickness_mm=0.76 if premolar else 0.85,
                    reach_deg=132.0 if premolar else 145.0,
                ),
                doc.ReciprocalArm(f"reciprocal arm {tooth}", tooth, side, "lingual"),
            ]
    return "Upper arch, Kennedy class III modification 1", tuple(parts), None


CASES = {"lower_class_i": lower_class_i, "upper_class_iii_mod_1": upper_class_iii_mod_1}


def make(name: str, folder: Path) -> doc.Case:
    """Write cast.ply and case.json of one sample."""
    folder.mkdir(parents=True, exist_ok=True)
    made = make_phantom(SAMPLES[name])
    write_mesh(folder / "cast.ply", made.mesh)
    digest = hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest()
    title, components, sulcus = CASES[name]()
    teeth = tuple(
        doc.ToothEntry(int(fdi), seeds=(tuple(round(float(c), 3) for c in np.ravel(p)),)) for fdi, p in sorted(made.seeds.items())
    )
    absent = tuple(sorted(set(SAMPLES[name].absent)))
    case = doc.Case(
        cast=doc.CastEntry("cast.ply", digest, made.arch, to_cast=IDENTITY),
        chart=doc.Chart(teeth=teeth, missing=tuple(sorted({*map(int, made.missing), *absent})), not_replaced=absent, sulcus_mm=sulcus),
        components=components,
        title=title,
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
