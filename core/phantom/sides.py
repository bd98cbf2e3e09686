"""Which way is mesial and which facial at each crown of a made-up mouth.

Mesial is toward the midline "following the curvature of the dental arch" (Glossary of Prosthodontic Terms, from memory). The arch is the
curve through the middles of the crowns, those of lost teeth too; its direction at a crown is that of the circle through this middle and
its neighbours' (of the last tooth: from the middle before it to its own, since behind the first molars an arch is nearly straight).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..mesh import Floats
from .arch import Placed

UP = np.array([0.0, 0.0, 1.0])
_GRID_MM = 0.4


def middle(tooth: Placed) -> Floats:
    """(3,) centre of volume of the crown above its junction, from its own field."""
    crown = tooth.crown
    half = 0.5 * max(crown.size.mesiodistal, crown.size.faciolingual) + 1.0
    across = np.arange(-half, half, _GRID_MM)
    grid = np.stack(np.meshgrid(across, across, np.arange(0.5 * _GRID_MM, crown.full, _GRID_MM), indexing="ij"), axis=-1).reshape(-1, 3)
    return tooth.to_cast(grid[crown(grid) < 0.0].mean(axis=0))


def _circle_tangent(before: Floats, here: Floats, after: Floats) -> Floats:
    """(2,) unit tangent, run from `before` to `after`, of the circle through three points (2,) at the middle one."""
    back, on, across = here - before, here - after, before - after
    # alternate segment theorem: the tangent turns away from a chord by the angle under which the far point sees that chord
    angle = np.arctan2(back[1], back[0]) + np.arctan2(across[0] * on[1] - across[1] * on[0], across @ on)
    return np.array([np.cos(angle), np.sin(angle)])


def true_sides(row: Mapping[int, Placed]) -> dict[int, tuple[Floats, Floats]]:
    """Horizontal mesial and facial unit vectors (3,) by FDI number. row : the whole arch, from which no tooth is lost."""
    order = sorted(row, key=lambda fdi: row[fdi].station)
    flat = {fdi: middle(row[fdi])[:2] for fdi in order}
    result = {}
    for i, fdi in enumerate(order):
        here = flat[fdi]
        if 0 < i < len(order) - 1:
            run = _circle_tangent(flat[order[i - 1]], here, flat[order[i + 1]])
        else:
            run = here - flat[order[i - 1]] if i else flat[order[1]] - here
            run = run / np.linalg.norm(run)
        mesial = np.r_[-run if row[fdi].station > 0 else run, 0.0]
        left = np.cross(UP, mesial)
        result[fdi] = mesial, left if left @ row[fdi].frame[1] > 0 else -left
    return result
