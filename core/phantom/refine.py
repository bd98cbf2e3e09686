"""Evening out a mesh of a field without touching what will be trimmed away."""

from __future__ import annotations

import numpy as np

from ..isosurface import Field
from ..mesh import Floats, Ints, Mesh


def relax_onto(mesh: Mesh, field: Field, keep: np.ndarray, spacing: float, rounds: int = 3) -> Mesh:
    """Tangential smoothing and projection along the vertex normal, for the vertices chosen by `keep` only.

    Two samples a vertex and round: the field's slope is taken along the mesh normal alone, which near the surface is its gradient.
    """
    points = mesh.vertices.copy()
    # On a closed mesh every neighbour of a vertex is the head of exactly one directed edge that leaves it.
    ends, others = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    degree = np.bincount(ends, minlength=len(points))[:, None]
    for step in range(rounds + 1):
        normal = _normals(points, mesh.faces)
        if step < rounds:
            mean = np.stack([np.bincount(ends, points[others, k], minlength=len(points)) for k in range(3)], axis=1) / degree
            shift = mean - points
            shift -= normal * np.einsum("ij,ij->i", shift, normal)[:, None]
            points[keep] += 0.6 * shift[keep]
        points[keep] = _project(points[keep], normal[keep], field, spacing)
    return Mesh(points, mesh.faces)


def _normals(points: Floats, faces: Ints) -> Floats:
    """(n, 3) unit normals weighted by area: good enough to walk along, and quick."""
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    cross = np.cross(b - a, c - a)
    flat = faces.T.ravel()
    total = np.stack([np.bincount(flat, np.tile(cross[:, k], 3), minlength=len(points)) for k in range(3)], axis=1)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def _project(points: Floats, normal: Floats, field: Field, spacing: float) -> Floats:
    """One secant step along the normal, at most 0.4 of the spacing."""
    h = 0.2 * spacing
    here = field(points)
    slope = (field(points + h * normal) - here) / h
    move = np.clip(-here / np.clip(slope, 0.35, 1.5), -0.4 * spacing, 0.4 * spacing)
    return points + normal * move[:, None]
