"""Normals for smooth shading that keep real edges sharp."""

from __future__ import annotations

import numpy as np

from ..mesh import Mesh, once_a_mesh
from .materials import Singles

CREASE_DEG = 35.0


@once_a_mesh
def corner_normals(mesh: Mesh) -> Singles:
    """(m, 3, 3) unit normal at each corner of each face.

    At a corner only those faces round the vertex are averaged whose normals lie within CREASE_DEG of this face's own, so a soft bulge
    shades smoothly and a trimmed edge stays an edge.
    """
    face = mesh.face_normals.astype(np.float32)
    out = mesh.vertex_normals.astype(np.float32)[mesh.faces]
    deviates = np.einsum("mkj,mj->mk", out, face) < np.cos(np.radians(CREASE_DEG * 0.5))
    sharp = np.zeros(len(mesh.vertices), dtype=bool)
    sharp[mesh.faces[deviates]] = True
    corner = np.flatnonzero(sharp[mesh.faces.reshape(-1)])
    if not len(corner):
        return out
    vertex = mesh.faces.reshape(-1)[corner]
    order = np.argsort(vertex, kind="stable")
    corner, vertex = corner[order], vertex[order]
    _, start, count = np.unique(vertex, return_index=True, return_counts=True)
    # Every pair of corners that share a vertex: corner i of a group against each of its `count` members.
    reach = np.repeat(count, count)
    first = np.repeat(np.repeat(start, count), reach)
    left = np.repeat(np.arange(len(corner)), reach)
    within = np.arange(len(left)) - np.repeat(np.cumsum(reach) - reach, reach)
    a, b = corner[left], corner[first + within]
    close = np.einsum("ij,ij->i", face[a // 3], face[b // 3]) >= np.cos(np.radians(CREASE_DEG))
    weight = _corner_angles(mesh, b[close] // 3, b[close] % 3)
    total = np.zeros((len(corner), 3), dtype=np.float64)
    for axis in range(3):
        total[:, axis] = np.bincount(left[close], weight * face[b[close] // 3, axis], minlength=len(corner))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    flat = out.reshape(-1, 3)
    flat[corner] = np.where(length > 1e-12, total / np.maximum(length, 1e-12), face[corner // 3])
    return flat.reshape(-1, 3, 3)


def _corner_angles(mesh: Mesh, face: np.ndarray, k: np.ndarray) -> np.ndarray:
    tri = mesh.triangles[face]
    row = np.arange(len(face))
    here = tri[row, k]
    e1, e2 = tri[row, (k + 1) % 3] - here, tri[row, (k + 2) % 3] - here
    return np.arctan2(np.linalg.norm(np.cross(e1, e2), axis=1), np.einsum("ij,ij->i", e1, e2))
