"""What a design will weigh, cover and resist, told before it is built: from its measures and the middles of the crowns alone.

Meant for comparing designs side by side. A build gives the true figures; against those of the samples the estimate lies within a third,
which is the range shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..case import Component, PalatalStraps
from ..mechanics import Material, mass
from ..mechanics.connector import frame_of, side_stiffness, swept
from ..mechanics.ranges import Range
from ..mechanics.sections import Shape
from ..mesh import Floats
from ..teeth.numbering import order, position, side
from .design import Base, Design, Major

SPREAD = 0.35
"""Share by which the truth may differ (own measurement on the samples)."""
_HALF_CROWN_MM = 4.0  # from the middle of a crown to its lingual margin
_PAST_END_MM = 3.0  # a bar goes on to the base beside its last tooth
_VAULT = 1.2  # a line over the palate is so much longer than its plan
# Metal of the smaller parts, mm3, as built in the samples: they differ little from design to design.
_SMALL_MM3 = {
    "rest": 14.0, "guide_plate": 22.0, "minor_connector": 30.0, "arm": 20.0, "bar": 45.0, "tooth_of_base": 42.0, "tooth_of_plate": 75.0,
}  # fmt: skip
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class _Run:
    """A connector's centre line: points, normals (k, 3); width, thickness (k,) mm; shape of its section; closed : a ring."""

    points: Floats
    normals: Floats
    width: Floats
    thickness: Floats
    shape: Shape
    closed: bool = False


@dataclass(frozen=True)
class Estimate:
    """mass : g; covered_mm2 : of tissue under the major connector; stiffness : N/mm to shift one side against the other"""

    mass: Range
    covered_mm2: Range
    stiffness: Range


def estimate(design: Design, material: Material) -> Estimate | None:
    """The estimate of a design, None without a major connector."""
    runs = [_run(design, c) for c in design.connectors]
    if not runs:
        return None
    areas = [float(np.linalg.norm(np.diff(r.points, axis=0), axis=1) @ (0.5 * (r.width[1:] + r.width[:-1]))) for r in runs]
    metal = sum(a * float(r.thickness.mean()) * (0.78 if r.shape == "half_pear" else 1.0) for a, r in zip(areas, runs, strict=True))
    metal += sum(_small(c) for c in design.case.components if not isinstance(c, Major))
    grams = mass(metal, material)
    stiff = max(_stiffness(r, material) for r in runs)
    words = "estimated from the measures of the parts before building"
    return Estimate(
        Range(grams.low * (1 - SPREAD), grams.likely, grams.high * (1 + SPREAD), "g", words),
        _about(sum(areas), "mm2", words),
        _about(stiff, "N/mm", words),
    )


def _about(value: float, unit: str, words: str) -> Range:
    return Range(value * (1 - SPREAD), value, value * (1 + SPREAD), unit, words)


def _small(part: Component) -> float:
    if isinstance(part, Base):
        return len(part.teeth) * _SMALL_MM3["tooth_of_base" if part.kind == "lattice_base" else "tooth_of_plate"]
    for word in ("rest", "guide_plate", "minor_connector", "arm", "bar"):
        if part.kind.endswith(word) or part.kind == word:
            return _SMALL_MM3[word]
    return _SMALL_MM3["arm"]


def _run(design: Design, part: Component) -> _Run:
    """The connector's centre line in the plane of the arch, with its section."""
    if hasattr(part, "start"):
        return _along_arch(design, part)
    return _over_palate(design, part)


def _plan(design: Design, tooth: int) -> Floats:
    return np.asarray(design.positions[tooth], dtype=np.float64)[:2]


def _along_arch(design: Design, part: Component) -> _Run:
    """A bar, or a plate along the teeth: the lingual side of the arch from one end to the other."""
    row = order(design.arch)
    first, last = sorted(row.index(getattr(part, name)) for name in ("start", "end"))
    line = np.array([_plan(design, t) for t in row[first : last + 1]])
    middle = np.array([0.0, line[:, 1].min()])
    inward = middle - line
    line = line + inward / np.maximum(np.linalg.norm(inward, axis=1, keepdims=True), 1e-9) * _HALF_CROWN_MM
    ends = [e + (e - n) / np.linalg.norm(e - n) * _PAST_END_MM for e, n in ((line[0], line[1]), (line[-1], line[-2]))]
    line = np.vstack([ends[0], line, ends[1]])
    points = _resampled(np.column_stack([line, np.zeros(len(line))]))
    flat = middle - points[:, :2]
    normals = np.column_stack([flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-9), np.zeros(len(flat))])
    width = _size(part, "height_mm", _size(part, "width_mm", 4.0))
    shape: Shape = "half_pear" if hasattr(part, "height_mm") else "strip"
    return _even(points, normals, width, _size(part, "thickness_mm", 1.0), shape)


def _over_palate(design: Design, part: Component) -> _Run:
    """One strap or plate across, or a ring of two straps with their sides, between the rows of teeth."""
    spaces = design.classification.spaces
    beside = [t for s in spaces for t in (*s.teeth, *s.abutments)] or list(design.standing)
    halves = [sorted((t for t in beside if side(t) == h), key=position) for h in (-1, 1)]
    halves = [h or sorted((t for t in design.standing if side(t) == k), key=position) for h, k in zip(halves, (-1, 1), strict=True)]
    away = _HALF_CROWN_MM + _size(part, "margin_mm", 6.0)
    thickness = _size(part, "thickness_mm", 0.8)
    front, back = (0.5 * sum(float(_plan(design, h[i])[1]) for h in halves) for i in (0, -1))
    ends = [float(_plan(design, h[len(h) // 2])[0]) for h in halves]
    right, left = min(ends) + away, max(ends) - away
    complete = bool(getattr(part, "complete", False))
    if complete:
        front = max(float(_plan(design, t)[1]) for t in design.positions) - away
    middle = 0.5 * (front + back)
    if isinstance(part, PalatalStraps):
        corners = np.array([[right, back], [left, back], [left, front], [right, front], [right, back]])
        points = _resampled(np.column_stack([corners, np.zeros(5)]))
        across = np.abs(points[:, 1] - middle) > 0.5 * abs(front - back) - 0.5
        width = np.where(across, np.where(points[:, 1] > middle, part.anterior_width_mm, part.posterior_width_mm), part.side_width_mm)
        return _Run(points, np.tile(_UP, (len(points), 1)), width.astype(np.float64), np.full(len(points), thickness), "strip", True)
    points = _resampled(np.array([[right, middle, 0.0], [left, middle, 0.0]]))
    breadth = max(abs(front - back), _size(part, "width_mm", 0.0), 8.0) * (_VAULT if complete else 1.0)
    return _even(points, np.tile(_UP, (len(points), 1)), breadth, thickness, "strip")


def _size(part: Component, name: str, usual: float) -> float:
    return float(getattr(part, name, usual))


def _resampled(corners: Floats, step: float = 1.0) -> Floats:
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))]
    at = np.linspace(0.0, along[-1], max(int(along[-1] / step), 4) + 1)
    return np.stack([np.interp(at, along, corners[:, k]) for k in range(3)], axis=1)


def _even(points: Floats, normals: Floats, width: float, thickness: float, shape: Shape) -> _Run:
    return _Run(points, normals, np.full(len(points), width), np.full(len(points), thickness), shape)


def _stiffness(run: _Run, material: Material) -> float:
    line = swept(run.points, run.normals, run.width, run.thickness, run.shape, run.closed)
    half = int(np.argmax(run.points[:, 0])), int(np.argmin(run.points[:, 0]))
    return side_stiffness(frame_of(line, material), (run.points[half[1]], run.points[half[0]]), _UP).lift
