"""Directions in the cone round the occlusal normal: a hexagonal grid, and finer hexagons round a place.

A direction is a point of the tilt plane: (lateral, anteroposterior) degrees whose length is the angle to the occlusal normal and whose
bearing is the side that is lowered (the azimuthal equidistant chart; survey/path.py). Near the middle these are the two tilts of a Path.
"""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats
from ..survey.path import path_of, plane_of, vectors

__all__ = ["CONE_DEG", "SPACING_DEG", "angles_between", "hexagon", "inside", "path_of", "plane_of", "vectors"]

CONE_DEG = 20.0
"""Half-angle of the cone searched. About 10 degrees is the usual limit taught (standard texts, from memory); twice that is looked at."""
SPACING_DEG = 1.076
"""Distance of neighbours: some 1,250 directions in the cone."""


def hexagon(radius: float, spacing: float) -> Floats:
    """(k, 2) hexagonal grid within a radius of the origin, which is its first point; nearest first."""
    n = int(np.ceil(radius / spacing)) + 1
    i, j = (g.ravel() for g in np.meshgrid(np.arange(-2 * n, 2 * n + 1), np.arange(-2 * n, 2 * n + 1), indexing="ij"))
    plane = spacing * np.column_stack([i + 0.5 * j, np.sqrt(0.75) * j])
    away = np.hypot(plane[:, 0], plane[:, 1])
    order = np.argsort(away, kind="stable")
    return plane[order[away[order] <= radius + 1e-9]]


def angles_between(a: Floats, b: Floats) -> Floats:
    """Degrees between unit vectors (..., 3)."""
    a, b = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    sine = np.linalg.norm(np.cross(a, b), axis=-1)
    return np.asarray(np.degrees(np.arctan2(sine, (a * b).sum(axis=-1))))


def inside(plane: Floats, cone_deg: float) -> Bools:
    """(k,) whether places lie in the cone."""
    return np.asarray(np.hypot(plane[:, 0], plane[:, 1]) <= cone_deg + 1e-9)
