"""The occlusal plane from cusp tips."""

from __future__ import annotations

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats
from . import numbering
from .model import Teeth


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
