"""Where two crowns meet."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from ..mesh import Floats, Mesh
from ..survey.scene import RayScene
from .model import Tooth

CONTACT_MM = 0.6
"""Crowns further apart have no contact; scans bridge closer ones."""
FLAT_MM = 0.5
STEP_MM = 0.15
FLOOR_MM = 0.1
"""The bottom's middle is that of what lies no higher over its lowest place, which on a rounded bottom is chance."""
FINE_MM = 0.05
"""Across the valley: its bottom is a sharp fold, and a coarser look fills it."""
ABOVE_MM = 6.0
BESIDE_MM = 1.0
"""The bottom of the valley lies no further than this from the border as it was drawn."""
UP = np.array([0.0, 0.0, 1.0])


def contact(tooth: Tooth, other: Tooth, mesh: Mesh) -> tuple[Floats, float]:
    """(point (3,), distance in mm) where two crowns meet.

    Where they share a border the contact area itself is hidden in any scan: the point is the middle of the highest stretch (FLAT_MM of
    height) of the valley between them, the occlusal end of the contact, and the distance 0. Where they stand apart it is the middle of
    their nearest approach above their margins.
    """
    ours = tooth.margin[tooth.shared == other.fdi] if len(tooth.shared) == len(tooth.margin) else np.zeros((0, 3))
    if len(ours) >= 3:
        valley = _valley(tooth, other, mesh, ours)
        if len(valley):
            return _middle_of_top(valley), 0.0
    a = mesh.vertices[np.unique(mesh.faces[tooth.faces])]
    b = mesh.vertices[np.unique(mesh.faces[other.faces])]
    a = a[a[:, 2] > tooth.centre[2] - 1.0] if (a[:, 2] > tooth.centre[2] - 1.0).any() else a
    distance, nearest = cKDTree(b).query(a)
    k = int(distance.argmin())
    return 0.5 * (a[k] + b[nearest[k]]), float(distance[k])


def _valley(tooth: Tooth, other: Tooth, mesh: Mesh, border: Floats) -> Floats:
    """(k, 3) the bottom of the valley between two crowns, seen from above, from facial to lingual."""
    along = other.centre - tooth.centre
    along = np.array([along[0], along[1], 0.0]) / max(float(np.hypot(along[0], along[1])), 1e-9)
    across = np.cross(UP, along)
    place = border @ across
    rows = np.arange(place.min() - BESIDE_MM, place.max() + BESIDE_MM, STEP_MM)
    order = np.argsort(place)
    centre = np.interp(rows, place[order], gaussian_filter1d((border @ along)[order], 2.0, mode="nearest"))
    part = _round(mesh, border)
    beside = np.arange(-BESIDE_MM, BESIDE_MM + 1e-9, FINE_MM)
    ceiling = float(border[:, 2].max()) + ABOVE_MM
    start = rows[:, None, None] * across + (centre[:, None] + beside)[:, :, None] * along + ceiling * UP
    distance, face = RayScene(part).first_hit(start.reshape(-1, 3), -UP)
    height = np.where(face >= 0, ceiling - distance, np.nan).reshape(len(rows), len(beside))
    known = np.isfinite(height).all(axis=1)  # further out the scan ends
    height = gaussian_filter1d(height[known], 1.0, axis=1, mode="nearest")
    lowest = height.min(axis=1)
    depth = np.maximum(lowest[:, None] + FLOOR_MM - height, 0.0)
    middle = depth @ beside / depth.sum(axis=1)
    return np.asarray(rows[known, None] * across + (centre[known] + middle)[:, None] * along + lowest[:, None] * UP)


def _round(mesh: Mesh, border: Floats) -> Mesh:
    """What of a scan a look from above into the valley meets."""
    centre, reach = border.mean(axis=0), 0.5 * np.ptp(border[:, :2], axis=0).max() + 3.0 * BESIDE_MM
    near = (np.abs(mesh.vertices[:, 0] - centre[0]) < reach) & (np.abs(mesh.vertices[:, 1] - centre[1]) < reach)
    return mesh.submesh(np.flatnonzero(near[mesh.faces[:, 0]]))[0]


def _middle_of_top(line: Floats) -> Floats:
    """(3,) the middle of what of a line lies no more than FLAT_MM below its highest point; higher places count for more."""
    height = gaussian_filter1d(line[:, 2], 1.5, mode="nearest")
    depth = np.maximum(height - height.max() + FLAT_MM, 0.0)
    return np.asarray(line[int(round(depth @ np.arange(len(depth)) / depth.sum()))])
