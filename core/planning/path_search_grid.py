"""Directions in the cone round the occlusal normal: a hexagonal grid, and finer hexagons round a place.

A direction is a point of the tilt plane: (lateral, anteroposterior) degrees whose length is the angle to the occlusal normal and whose
bearing is the side that is lowered (the azimuthal equidistant chart). Near the middle these are the two tilts of a Path.
"""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats
from ..survey import Path

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


def vectors(plane: Floats) -> Floats:
    """(k, 3) unit vectors of points of the tilt plane (k, 2). Lowering a side leans the rod away from it in the cast's own frame."""
    plane = np.asarray(plane, dtype=np.float64).reshape(-1, 2)
    angle = np.radians(np.hypot(plane[:, 0], plane[:, 1]))
    lean = -np.sinc(angle / np.pi) * np.radians(1.0)  # sin(angle)/angle, finite at no tilt
    return np.column_stack([lean * plane[:, 0], lean * plane[:, 1], np.cos(angle)])


def plane_of(vector: Floats) -> Floats:
    """(..., 2) place in the tilt plane of unit vectors (..., 3)."""
    vector = np.asarray(vector, dtype=np.float64)
    flat = vector[..., :2]
    sine = np.linalg.norm(flat, axis=-1, keepdims=True)
    angle = np.degrees(np.arctan2(sine, vector[..., 2:]))
    return np.asarray(-flat / np.maximum(sine, 1e-15) * angle)


def path_of(place: Floats) -> Path:
    """The Path at one place of the tilt plane (2,)."""
    return Path.from_vector(vectors(place)[0])


def angles_between(a: Floats, b: Floats) -> Floats:
    """Degrees between unit vectors (..., 3)."""
    a, b = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    sine = np.linalg.norm(np.cross(a, b), axis=-1)
    return np.asarray(np.degrees(np.arctan2(sine, (a * b).sum(axis=-1))))


def inside(plane: Floats, cone_deg: float) -> Bools:
    """(k,) whether places lie in the cone."""
    return np.asarray(np.hypot(plane[:, 0], plane[:, 1]) <= cone_deg + 1e-9)
