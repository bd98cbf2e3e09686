"""Edges of a mesh with the faces on both sides: what silhouettes and smoothing are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats, Ints, Mesh


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Each undirected edge once. Stored by columns, so that `a, b = table.vertices.T` gives arrays in one piece.

    vertices : (e, 2) int
    faces : (e, 2) int, the face on either side; -1 where there is none. Where more than two faces meet, the first two.
    face_edges : (m, 3) int, the edge opposite to nothing: edge k of a face runs from its corner k to corner k + 1
    """

    vertices: Ints
    faces: Ints
    face_edges: Ints


def edge_table(mesh: Mesh) -> EdgeTable:
    """Edge table of a mesh, in one sort."""
    f = mesh.faces
    m, n = len(f), len(mesh.vertices)
    a, b = f.reshape(-1), f[:, [1, 2, 0]].reshape(-1)
    key = np.minimum(a, b) * n + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    first = np.r_[True, sorted_key[1:] != sorted_key[:-1]]
    number = np.cumsum(first) - 1
    face_edges = np.empty(3 * m, dtype=np.int64)
    face_edges[order] = number
    start = np.flatnonzero(first)
    unique = sorted_key[start]
    faces = np.full((2, len(start)), -1, dtype=np.int64)
    faces[0] = order[start] // 3
    twice = np.diff(np.r_[start, len(key)]) > 1
    faces[1, twice] = order[start[twice] + 1] // 3
    return EdgeTable(np.stack(np.divmod(unique, n)).T, faces.T, face_edges.reshape(m, 3))


def oriented_closed(mesh: Mesh, table: EdgeTable) -> bool:
    """Whether each edge has exactly two faces, which run along it in opposite directions."""
    if 2 * len(table.vertices) != mesh.faces.size or bool((table.faces[:, 1] < 0).any()):
        return False
    after = mesh.faces[:, [1, 2, 0]]
    turn = np.where(mesh.faces < after, 1.0, -1.0)
    return not np.bincount(table.face_edges.reshape(-1), turn.reshape(-1)).any()


def concave_turn(mesh: Mesh, table: EdgeTable, normals: Floats) -> Floats:
    """(e,) how fast the surface turns inward along each edge, 1/mm: positive in a valley, negative on a ridge.

    normals : (n, 3) vertex normals to measure with
    """
    i, j = table.vertices.T
    along = mesh.vertices[j] - mesh.vertices[i]
    squared = np.maximum(np.einsum("ij,ij->i", along, along), 1e-12)
    return -np.einsum("ij,ij->i", normals[j] - normals[i], along) / squared
