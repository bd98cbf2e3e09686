"""How deep a cingulum ledge can go: on a steep lingual face a deep one would open up the whole face."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..mesh import Mesh
from ..survey.scene import RayScene
from .seats import LEDGE_WALL, ON_LEDGE, RestSeatSpec

TALLEST_MM = 2.5
"""The wall behind the ledge should leave the tooth within this height (incisogingivally; common practice 1.5 to 2.5)."""
LEAST_MM = 0.4


def fit_ledge(seat: RestSeatSpec, mesh: Mesh, *, tallest_mm: float = TALLEST_MM) -> RestSeatSpec:
    """The same seat in a lingual face, as deep as asked or as deep as the face allows, at least 0.4 mm; other kinds unchanged.

    mesh : the unprepared cast. The wall behind the ledge leaves the face within `tallest_mm` of its floor.
    """
    if seat.kind not in ON_LEDGE:
        return seat
    across = np.linspace(-0.2, 0.2, 5) * seat.width_mm
    start = seat.point - 8.0 * seat.inward + across[:, None] * seat.axes[1] + tallest_mm * seat.up
    low, high = seat.point - 6.0, seat.point + 6.0
    near = np.all((mesh.triangles.max(axis=1) >= low) & (mesh.triangles.min(axis=1) <= high), axis=1)
    if not near.any():
        return seat
    distance, face = RayScene(mesh.submesh(near)[0]).first_hit(start, seat.inward)
    if not (face >= 0).any():
        return seat
    room = float(np.median(distance[face >= 0])) - 8.0 - (tallest_mm + 0.25) / LEDGE_WALL
    return replace(seat, depth_mm=float(np.clip(room, LEAST_MM, seat.depth_mm)) if seat.depth_mm > LEAST_MM else seat.depth_mm)
