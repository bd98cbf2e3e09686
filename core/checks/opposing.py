"""Room to the opposing arch: metal must not be in the way when the teeth close."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh
from .insertion import densified
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place
from .thickness import Region

CLEAR_MM = 0.2  # own limit: an articulating paper and the error of two scans (0.04 to 0.2 mm over an arch) have to fit in between
BITES_MM = 0.05  # own limit: deeper than the error of a good scan
REACH_MM = 3.0
SOURCE = "metal clear of the opposing teeth when they close (common practice); amounts: own limits"


def clearances(points: Floats, opposing: Rays, up: Floats) -> Floats:
    """(k,) mm along the path from (k, 3) metal points to the opposing surface: negative where it lies under the point, else infinite.

    opposing : an open or closed scan that faces the cast; its own far side (a base) is farther off than REACH_MM.
    """
    above, _ = opposing.first(points + 1e-4 * up, up)
    below, face = opposing.first(points - 1e-4 * up, -up)
    facing = (face >= 0) & (opposing.mesh.face_normals[face] @ up < 0)  # its biting side is under the metal: the metal stands in it
    return np.where(facing & (below < REACH_MM), -below, above)


def check_clearance(framework: Mesh, region: Region | None, opposing: Rays, up: Floats, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """The least room between a part and the opposing arch, measured along the path."""
    name = f"bite.{region.id}" if region else "bite"
    faces = np.ones(len(framework.faces), dtype=bool) if region is None else np.all(region.mask[framework.faces], axis=1)
    faces &= framework.face_normals @ up > -0.2
    if not faces.any():
        return Check(name, "skip", None, CLEAR_MM, "mm", "", SOURCE, "no metal of this part faces the opposing arch")
    points = densified(framework, faces)
    room = clearances(points, opposing, up)
    at = int(room.argmin())
    value = float(room[at])
    status: Status = "fail" if value < -BITES_MM else "warn" if value < CLEAR_MM else "pass"
    limit = -BITES_MM if status == "fail" else CLEAR_MM
    if not np.isfinite(value):
        return Check(name, "pass", None, CLEAR_MM, "mm", "", SOURCE, "no opposing tooth over it")
    words = f"{value:.2f} mm to the opposing arch" if value >= 0 else f"the opposing arch closes {-value:.2f} mm into the metal"
    return Check(name, status, value, limit, "mm", landmarks.describe(points[at]), SOURCE, words, as_place(points[at]))
