"""Evening out a mesh of a field without touching what will be trimmed away."""

from __future__ import annotations

import numpy as np

from ..isosurface import Field
from ..mesh import Floats, Mesh


def relax_onto(mesh: Mesh, field: Field, keep: np.ndarray, spacing: float, rounds: int = 3) -> Mesh:
    """Tangential smoothing and projection along the vertex normal, for the vertices chosen by `keep` only.

    Two samples a vertex and round: the field's slope is taken along the mesh normal alone, which near the surface is its gradient.
    """
    points = mesh.vertices.copy()
    i, j = mesh.edges.T
    ends, others = np.r_[i, j], np.r_[j, i]
    degree = np.bincount(ends, minlength=len(points))[:, None]
    for step in range(rounds + 1):
        normal = Mesh(points, mesh.faces).vertex_normals
        if step < rounds:
            mean = np.stack([np.bincount(ends, points[others, k], minlength=len(points)) for k in range(3)], axis=1) / degree
            shift = mean - points
            shift -= normal * np.einsum("ij,ij->i", shift, normal)[:, None]
            points[keep] += 0.6 * shift[keep]
        points[keep] = _project(points[keep], normal[keep], field, spacing)
    return Mesh(points, mesh.faces)


def _project(points: Floats, normal: Floats, field: Field, spacing: float) -> Floats:
    """One secant step along the normal, at most 0.4 of the spacing."""
    h = 0.2 * spacing
    here = field(points)
    slope = (field(points + h * normal) - here) / h
    move = np.clip(-here / np.clip(slope, 0.35, 1.5), -0.4 * spacing, 0.4 * spacing)
    return points + normal * move[:, None]
