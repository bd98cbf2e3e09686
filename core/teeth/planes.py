"""The occlusal plane from cusp tips."""

from __future__ import annotations

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats
from . import numbering
from .model import Teeth, Tooth

LEAST_ARM_MM = 8.0
"""A third tip nearer to the line between two others tips the plane by a degree for each 0.14 mm of error."""


def occlusal_plane(teeth: Teeth, numbers: tuple[int, ...] | None = None) -> tuple[Floats, Floats]:
    """(point (3,), unit normal (3,) occlusally) of the plane through cusp tips: of all teeth, or of those named (three at least).

    One tip a front tooth, the two highest of the others. Raises GeometryError with too few tips or all in a line.
    """
    chosen = [teeth[n] for n in numbers] if numbers else list(teeth.ordered)
    tips = np.vstack([t.cusps[: 1 if numbering.is_anterior(t.fdi) else 2] for t in chosen]) if chosen else np.zeros((0, 3))
    if len(tips) < 3:
        raise GeometryError("an occlusal plane needs three cusp tips; mark more teeth")
    middle = tips.mean(axis=0)
    weight = np.ones(len(tips))
    normal = np.array([0.0, 0.0, 1.0])
    for _ in range(5):
        centred = (tips - middle) * weight[:, None]
        _, spread, axes = np.linalg.svd(centred, full_matrices=False)
        if spread[1] < 0.05 * spread[0]:
            raise GeometryError("the cusp tips lie in one line; name a tooth on the other side as well")
        normal = axes[2] if axes[2, 2] > 0 else -axes[2]
        # a canine or an over-erupted tooth that stands out must not tip the plane
        weight = 1.0 / np.maximum(1.0, np.abs((tips - middle) @ normal) / 0.8)
        middle = np.average(tips, axis=0, weights=weight)
    return middle, normal


def plane_of_abutments(teeth: Teeth, abutments: tuple[int, int]) -> dict[int, tuple[Floats, Floats]]:
    """The occlusal plane by the highest tips of two abutments and of one more tooth at a time: (point, normal) by the third tooth's number.

    How far these planes differ says how much the choice of the third tooth matters. Teeth in line with the two are left out. Raises
    CaseError for a tooth that is not marked, GeometryError where no third tooth makes a plane.
    """
    first, second = teeth[abutments[0]], teeth[abutments[1]]
    if first.fdi == second.fdi:
        raise GeometryError("an occlusal plane by abutments needs two different teeth")
    a, b = _top(first), _top(second)
    found = {}
    for third in teeth.ordered:
        normal = np.cross(b - a, _top(third) - a)
        span = float(np.linalg.norm(normal)) / float(np.linalg.norm(b - a))
        if third.fdi not in abutments and span > LEAST_ARM_MM:
            normal = normal / np.linalg.norm(normal)
            found[third.fdi] = (a, normal if normal[2] > 0 else -normal)
    if not found:
        raise GeometryError(f"no tooth stands far enough from the line between {abutments[0]} and {abutments[1]} to make a plane")
    return found


def _top(tooth: Tooth) -> Floats:
    return np.asarray(tooth.cusps[int(tooth.cusps[:, 2].argmax())])
