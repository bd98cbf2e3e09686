"""Which tooth was clicked? A number to propose, from where the click lies along the arch and from what is marked already."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from ..mesh import Mesh
from . import numbering

ARC_TO_CHORD = 1.09
"""Length along an arch from its front to a tooth, over the straight distance. Parabolas of average arches give 1.05 to 1.12."""
TOP_MM = 6.0
AVERAGE_VOICE = 0.04
"""As much as a mark 24 mm away, about three teeth: tried on the made-up casts and on seven labelled scans."""
BEHIND_MM = 2.5
"""Incisal edges lie about so far behind the most anterior point of the crowns (half the depth of an incisor at the neck, 6 to 7 mm, less
its slope; common practice)."""


def front_of(mesh: Mesh) -> tuple[float, float]:
    """(x, y) mm: about where the midline crosses the incisal edges, from the uppermost TOP_MM of a cast in the cast frame."""
    top = mesh.vertices[mesh.vertices[:, 2] > mesh.vertices[:, 2].max() - TOP_MM]
    low, high = np.percentile(top[:, 0], [1.0, 99.0])
    return float(low + high) / 2.0, float(np.percentile(top[:, 1], 99.5)) - BEHIND_MM


def number_of_click(
    arch: str,
    point: Sequence[float],
    marked: Mapping[int, Sequence[float]],
    missing: Sequence[int] = (),
    front: Sequence[float] = (0.0, 0.0),
) -> int:
    """FDI number to propose for a click at `point` (cast frame, mm).

    front : (x, y) where the midline crosses the incisal edges (`front_of`)
    marked : a point on each crown that has its number. The proposal keeps the order along the arch and corrects the average
    arch by the nearest marks, so one number set right sets its neighbours right. Without a free number the nearest tooth's is given.
    """
    along = _along(point, front)
    middles = _middles(arch)
    spots = {fdi: _along(p, front) for fdi, p in marked.items()}
    row = list(numbering.order(arch))
    low = max((row.index(f) for f, s in spots.items() if s <= along), default=-1)
    high = min((row.index(f) for f, s in spots.items() if s > along), default=len(row))
    free = [f for f in row[low + 1 : high] if f not in missing] or [f for f in row if f not in marked and f not in missing]
    if not free:
        return min(spots, key=lambda f: math.dist(marked[f], point)) if spots else row[0]
    shift = _shift(along, spots, middles)
    return min(free, key=lambda f: abs(middles[f] + shift - along))


def _middles(arch: str) -> dict[int, float]:
    """Signed distance along the arch (mm) from the midline to the middle of each tooth, -X negative; average crowns."""
    found = {}
    for fdi in numbering.order(arch):
        k = numbering.position(fdi)
        ahead = sum(numbering.crown_width(fdi - k + j) for j in range(1, k))
        found[fdi] = numbering.side(fdi) * (ahead + numbering.crown_width(fdi) / 2)
    return found


def _along(point: Sequence[float], front: Sequence[float]) -> float:
    x, y = float(point[0]) - front[0], float(point[1]) - front[1]
    return math.copysign(ARC_TO_CHORD * math.hypot(x, y), x)


def _shift(along: float, spots: Mapping[int, float], middles: Mapping[int, float]) -> float:
    """How far this mouth's teeth lie from the average places: from the marks beside the click, the nearer counting more.

    The average arch has a voice too, so that a mark on the far side of the mouth says little here.
    """
    if not spots:
        return 0.0
    near = sorted(spots, key=lambda f: abs(spots[f] - along))[:2]
    weight = [1.0 / (1.0 + abs(spots[f] - along)) for f in near]
    return sum(w * (spots[f] - middles[f]) for w, f in zip(weight, near, strict=True)) / (sum(weight) + AVERAGE_VOICE)
