"""Sections of any solid, measured from its signed field on planes across a line: connectors that are no sweep of a known section.

The shape of a section is taken as kept: a wide thin plate flattens a little as it bends, which a beam does not know.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import label

from ..mesh import Floats
from .sections import Sections, twisting

FIBRES = 24  # outline points: the farthest of the section in so many directions


def measured_sections(field: Floats, step_mm: float) -> tuple[Sections, Floats]:
    """Sections from (k, n, m) samples of signed fields (about a distance near the border, mm; negative inside), and (k, 2) centroids.

    Rows run across, columns away from the flat side, `step_mm` apart; centroids are counted from the middle of the grid. Only the piece
    nearest to the middle counts. Raises ValueError where a plane meets no solid.

    Torsion: the lesser of two estimates, each too high where the other holds. A^4 / 40 Ip (Saint-Venant, compact sections) and
    4 x integral of the squared distance to the border (thin walls, where it is the integral of t^3 / 3).
    """
    k, n, m = field.shape
    u, v = ((np.arange(c) - 0.5 * (c - 1)) * step_mm for c in (n, m))
    cover = np.stack([_nearest_piece(f, step_mm) for f in field])
    area = cover.sum(axis=(1, 2)) * step_mm**2
    if (area <= 0).any():
        raise ValueError(f"a plane across the connector meets no metal (number {int(np.argmin(area))} of {k})")

    def mean(values: Floats) -> Floats:
        return np.einsum("knm,knm->k", cover, values) * step_mm**2 / area

    grid_u, grid_v = np.broadcast_to(u[:, None], field.shape), np.broadcast_to(v, field.shape)
    centre = np.stack([mean(grid_u), mean(grid_v)], axis=1)
    du, dv = grid_u - centre[:, 0, None, None], grid_v - centre[:, 1, None, None]
    # A border spread over one step of the grid makes the section wider by this.
    blur = step_mm**2 / 12.0
    edge, inertia, product = (area * (mean(a * b) - c) for a, b, c in ((du, du, blur), (dv, dv, blur), (du, dv, 0.0)))
    depth = np.where(cover > 0, np.maximum(-field, 0.0), 0.0)
    squared, plain = area * mean(depth**2), area * mean(depth)
    compact, twist = twisting(area, inertia + edge, 2.0 * depth.max(axis=(1, 2)))
    thickness = 3.0 * squared / plain  # of a strip: integral of d^2 over that of d is t / 3
    return Sections(
        area / thickness, thickness, area, inertia, edge, product, np.minimum(compact, 4.0 * squared), twist, 0.0 * area, 0.0 * area,
        _fibres(cover, du, dv, depth),
    ), centre  # fmt: skip


def _nearest_piece(field: Floats, step_mm: float) -> Floats:
    """(n, m) share of each cell that is metal, of the piece nearest to the middle of the grid."""
    cover = np.clip(0.5 - field / step_mm, 0.0, 1.0)
    pieces, count = label(cover > 0)
    if count < 2:
        return np.asarray(cover)
    rows, columns = np.nonzero(pieces)
    n, m = field.shape
    away = (rows - 0.5 * (n - 1)) ** 2 + (columns - 0.5 * (m - 1)) ** 2
    best = pieces[rows[away.argmin()], columns[away.argmin()]]
    return np.where(pieces == best, cover, 0.0)


def _fibres(cover: Floats, du: Floats, dv: Floats, depth: Floats) -> Floats:
    """(k, FIBRES, 2) the farthest places of each section, from its centroid."""
    out = np.empty((len(cover), FIBRES, 2))
    for j, angle in enumerate(np.arange(FIBRES) * 2.0 * np.pi / FIBRES):
        way = np.array([np.cos(angle), np.sin(angle)])
        reach = np.where(cover >= 0.5, du * way[0] + dv * way[1] + depth, -np.inf).reshape(len(cover), -1)
        i = reach.argmax(axis=1)
        k = np.arange(len(cover))
        flat = [a.reshape(len(cover), -1)[k, i] for a in (du, dv, depth)]
        out[:, j] = np.stack([flat[0], flat[1]], axis=1) + flat[2][:, None] * way
    return out
