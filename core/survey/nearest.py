"""The place on a surface nearest to picked points."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Ints, Mesh

_CANDIDATES = 12


class Finder:
    """Nearest faces of one mesh, by the faces whose centres or corners are nearest.

    Exact for scan-like triangles; where triangles differ in size a hundredfold a neighbour of the nearest face may be named.
    """

    def __init__(self, mesh: Mesh) -> None:
        self._mesh = mesh
        corners = mesh.triangles
        # Centre and corners drawn a little inward: a tree hit names its face directly.
        centre = corners.mean(axis=1, keepdims=True)
        spots = np.concatenate([centre, corners + 0.25 * (centre - corners)], axis=1)
        self._tree = cKDTree(spots.reshape(-1, 3), leafsize=32, balanced_tree=False)

    def __call__(self, points: Floats) -> tuple[Floats, Ints]:
        """Nearest surface points (k, 3) mm and their faces (k,)."""
        from trimesh.triangles import closest_point

        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        k = min(_CANDIDATES, 4 * len(self._mesh.faces))
        face = self._tree.query(points, k=k)[1].reshape(len(points), k) // 4
        every = np.repeat(points, k, axis=0)
        at = closest_point(self._mesh.triangles[face.reshape(-1)], every).reshape(len(points), k, 3)
        choice = np.argmin(np.linalg.norm(at - points[:, None, :], axis=2), axis=1)
        row = np.arange(len(points))
        return at[row, choice], face[row, choice]


def barycentric(corners: Floats, points: Floats) -> Floats:
    """(k, 3) weights of the corners of triangles (k, 3, 3) for points (k, 3) in or near them, clipped to the triangle."""
    u, v, w = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    uu, uv, vv = (np.einsum("ij,ij->i", a, b) for a, b in ((u, u), (u, v), (v, v)))
    wu, wv = np.einsum("ij,ij->i", w, u), np.einsum("ij,ij->i", w, v)
    size = np.maximum(uu * vv - uv**2, 1e-18)
    b, c = (vv * wu - uv * wv) / size, (uu * wv - uv * wu) / size
    share = np.clip(np.column_stack([1.0 - b - c, b, c]), 0.0, 1.0)
    return share / share.sum(axis=1, keepdims=True)
