"""Which unit a file is in: only one of them makes the scan a dental arch."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..errors import CastError
from ..mesh import Floats

MILLIMETRES = {"millimetre": 1.0, "inch": 25.4, "centimetre": 10.0, "metre": 1000.0, "micrometre": 0.001, "foot": 304.8}
DECLARED = {
    "millimeter": "millimetre",
    "inch": "inch",
    "centimeter": "centimetre",
    "meter": "metre",
    "micron": "micrometre",
    "foot": "foot",
}
"""3MF's words for units"""
USUAL_MM = (45.0, 95.0)
"""Largest dimension of a full-arch scan or a trimmed cast: arch width 55-65 mm with gingiva, casts to about 90 (handbook
section 10: intermolar width 44-54 mm plus half a molar each side; common practice for cast bases)."""
POSSIBLE_MM = (28.0, 130.0)
"""From one quadrant to a cast with a mounting plate (common practice)."""


SMALLEST_MM = 0.2
"""A solid narrower than this in millimetres is taken to be in metres."""


class Unit(NamedTuple):
    """name, mm in one unit, a remark on what was found (or empty), a question (or empty)."""

    name: str
    factor: float
    remark: str
    question: str


def name_of(factor: float) -> str:
    """The unit with that many millimetres, or the number itself."""
    known = [name for name, mm in MILLIMETRES.items() if abs(mm / factor - 1.0) < 1e-3]
    return known[0] if known else f"{factor:.4g} mm"


def widest(vertices: Floats) -> float:
    """The largest extent along the point cloud's own axes, so that it does not hang on how the scan lies in its frame."""
    points = vertices[:: max(1, len(vertices) // 50000)]
    about = points - points.mean(axis=0)
    _, axes = np.linalg.eigh(about.T @ about)
    along = about @ axes
    return float(np.ptp(along, axis=0).max())


def find_unit(size: float, declared: str | None, *, any_size: bool = False) -> Unit:
    """The unit from the largest dimension in file units and the unit that the file declares (3MF only), if any.

    any_size : for solids that need not be arches: only the declaration counts, or a size that no solid in mm can have.
    """
    if any_size:
        name = DECLARED.get(declared or "", "metre" if size < SMALLEST_MM else "millimetre")
        factor = MILLIMETRES[name]
        remark = "" if name == "millimetre" else f"scaled from {name} to mm ({size * factor:.1f} mm wide)"
        return Unit(name, factor, remark, "")
    named = DECLARED.get(declared or "", "")
    if named and POSSIBLE_MM[0] <= size * MILLIMETRES[named] <= POSSIBLE_MM[1]:
        return Unit(named, MILLIMETRES[named], "" if named == "millimetre" else f"scaled from {named} (declared in the file) to mm", "")
    usual = [u for u, f in MILLIMETRES.items() if u != "foot" and USUAL_MM[0] <= size * f <= USUAL_MM[1]]
    possible = [u for u, f in MILLIMETRES.items() if u != "foot" and POSSIBLE_MM[0] <= size * f <= POSSIBLE_MM[1]]
    if not possible:
        raise CastError(f"its largest dimension is {size:.4g}: in no unit is that a dental arch (30 to 90 mm); export it in millimetres")
    name = (usual or possible)[0]
    factor = MILLIMETRES[name]
    remark = "" if name == "millimetre" else f"scaled from {name} to mm (largest dimension {size:.4g} in the file, {size * factor:.1f} mm)"
    doubts = [u for u in possible if u != name]
    question = ""
    wide = f"{size * factor:.0f} mm wide"
    if named and named != name:
        question = f"is {name} right ({wide})? The file declares {declared}, which would make it {size * MILLIMETRES[named]:.4g} mm wide"
    elif name != "millimetre" and doubts:
        question = f"is the file in {name} ({wide}, taken) or in {doubts[0]} ({size * MILLIMETRES[doubts[0]]:.0f} mm wide)?"
    elif not usual:
        question = f"is the unit {name}, and is the arch whole? The scan is {wide}, unusual for an arch (45 to 95 mm)"
    return Unit(name, factor, remark, question)
