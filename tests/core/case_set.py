"""The published-pattern cases A to N (methods: Kennedy's classes with Applegate's rules), a made-up cast for each."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from claspwright.core.case import Case, CastEntry, Chart, ToothEntry, load_case, save_case
from claspwright.core.cast import write_mesh
from claspwright.core.phantom import SAMPLES, make_phantom

LEFT, RIGHT = (34, 35, 36, 37), (44, 45, 46, 47)
# name: arch, missing teeth (third molars are missing and not replaced), class. H and K are not classed and need no denture.
CASES: dict[str, tuple[str, tuple[int, ...], str]] = {
    "A": ("lower", (35, 36, 37, 45, 46, 47), "I"),
    "B": ("lower", (*LEFT, *RIGHT), "I"),
    "C": ("lower", (36, 37, 45, 46), "II mod 1"),
    "D": ("upper", (15, 16, 25, 26), "III mod 1"),
    "E": ("upper", (12, 11, 21, 22), "IV"),
    "F": ("upper", (15, 16, 17, 25, 26, 27), "I"),
    "G": ("lower", (46,), "III"),
    "I": ("upper", (11, 12, 21, 16), "III mod 1"),
    "J": ("lower", (31, 32, 41, 42, 36, 37), "II mod 1"),
    "L": ("lower", (35, 36, 45, 46, 47), "II mod 1"),
    "M": ("lower", (*LEFT, *RIGHT, 31, 41), "I mod 1"),
    "N": ("lower", (*LEFT, *RIGHT), "I"),
}
UNIT = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def make_case(name: str, folder: Path, triangles: int = 100_000, sulcus_mm: float | None = None) -> Case:
    """The case of that letter with its cast, written into a folder; nothing is prescribed yet."""
    arch, missing, _ = CASES[name]
    thirds = (18, 28) if arch == "upper" else (38, 48)
    base = SAMPLES["lower_class_i" if arch == "lower" else "upper_class_iii_mod_1"]
    made = make_phantom(replace(base, missing=tuple(sorted({*missing, *thirds})), triangles=triangles))
    write_mesh(folder / "cast.ply", made.mesh)
    digest = hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest()
    teeth = tuple(ToothEntry(t, seeds=((float(p[0]), float(p[1]), float(p[2])),)) for t, p in made.seeds.items())
    depth = sulcus_mm if sulcus_mm is not None else 9.5
    # N is B with a shallow sulcus: a plate instead of a bar.
    chart = Chart(teeth, tuple(sorted({*missing, *thirds})), thirds, 6.5 if name == "N" and sulcus_mm is None else depth)
    made_case = Case(CastEntry("cast.ply", digest, arch, UNIT), chart, title=f"Case {name}", patient_code=f"CASE-{name}")
    save_case(made_case, folder / "case.json")
    return load_case(folder / "case.json")
