"""Teeth to be taken out, crossed out as on any chart of the mouth."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..mesh import Floats
from ..teeth import Tooth
from .camera import Camera
from .drawing import Line

CROSS = (0.75, 0.05, 0.12)
OFF_MM = 0.5
WIDTH = 5.0


def crossed_out(teeth: Iterable[Tooth], camera: Camera) -> list[Line]:
    """A cross over each crown in the plane of the picture, just before it; where another crown stands before it the strokes are faint."""
    return [Line(np.stack(ends), CROSS, WIDTH, ghost=0.3) for tooth in teeth for ends in _strokes(tooth, camera.axes)]


def _strokes(tooth: Tooth, axes: Floats) -> list[tuple[Floats, Floats]]:
    """The diagonals of the crown's outline as seen. axes : (3, 3) rows right, up, toward the viewer"""
    seen = np.vstack([tooth.margin, tooth.cusps]) @ axes.T
    (left, low, _), (right, high, near) = seen.min(axis=0), seen.max(axis=0)
    corners = np.array([[left, low], [right, high], [left, high], [right, low]])
    a, b, c, d = np.column_stack([corners, np.full(4, near + OFF_MM)]) @ axes
    return [(a, b), (c, d)]
