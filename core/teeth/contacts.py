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
FLAT_MM = 0.3
STEP_MM = 0.15
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
    part, _ = mesh.submesh(np.unique(np.concatenate([tooth.faces, other.faces])))
    place = border @ across
    rows = np.arange(place.min(), place.max() + STEP_MM, STEP_MM)
    order = np.argsort(place)
    centre = np.interp(rows, place[order], gaussian_filter1d((border @ along)[order], 2.0, mode="nearest"))
    beside = np.arange(-BESIDE_MM, BESIDE_MM + 1e-9, 0.1)
    ceiling = float(part.vertices[:, 2].max()) + 1.0
    start = rows[:, None, None] * across + (centre[:, None] + beside)[:, :, None] * along + ceiling * UP
    distance, face = RayScene(part).first_hit(start.reshape(-1, 3), -UP)
    height = np.where(face >= 0, ceiling - distance, np.nan).reshape(len(rows), len(beside))
    known = np.isfinite(height).all(axis=1)  # further out the fall beside the crowns is no valley
    height = gaussian_filter1d(height[known], 1.5, axis=1, mode="nearest")
    lowest = height.argmin(axis=1)
    at = np.arange(int(known.sum()))
    return np.asarray(start[known][at, lowest] + (height[at, lowest] - ceiling)[:, None] * UP)


def _middle_of_top(line: Floats) -> Floats:
    """(3,) the middle of the stretch of a line that lies no more than FLAT_MM below its highest point."""
    height = gaussian_filter1d(line[:, 2], 1.5, mode="nearest")
    top = np.flatnonzero(height > height.max() - FLAT_MM)
    return np.asarray(line[int(round(0.5 * (top[0] + top[-1])))])
