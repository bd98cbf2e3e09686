"""Fewer triangles for pages that travel by mail: vertices of one small cell become one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh import Floats, Ints, Mesh
from .normals import CREASE_DEG, corner_normals

SEARCHES, ENOUGH = 6, 3  # tries; and after how many anything that is small enough will do
FULL, AIM = 0.90, 0.95  # of the triangles allowed: what is good, and what is tried for


@dataclass(frozen=True, eq=False)
class Simplified:
    """mesh: what is left; origin (n,): for each vertex of the first mesh the vertex it became, -1 where it is gone."""

    mesh: Mesh
    origin: Ints

    def corner_normals(self, before: Floats) -> NDArray[np.float32]:
        """(m, 3, 3) normals for shading from the (n, 3) vertex normals of the first mesh.

        Merging folds some small triangles, whose own normals mean nothing; only a large face that turns away keeps its own, as beside
        an edge of a trimmed wall.
        """
        if len(before) == len(self.mesh.vertices):
            return corner_normals(self.mesh)
        mean = self.average(before)
        mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-9)
        corners = mean[self.mesh.faces].astype(np.float32)
        own = self.mesh.face_normals.astype(np.float32)
        turned = np.einsum("mkj,mj->mk", corners, own) < np.cos(np.radians(CREASE_DEG * 0.7))
        large = self.mesh.face_areas > 3.0 * np.median(self.mesh.face_areas)
        return np.where((turned & large[:, None])[:, :, None], own[:, None], corners)

    def average(self, values: Floats) -> Floats:
        """(k, c) mean over the vertices that became one, of (n, c) values of the first mesh."""
        kept = self.origin >= 0
        count = np.bincount(self.origin[kept], minlength=len(self.mesh.vertices))
        columns = [np.bincount(self.origin[kept], column[kept], minlength=len(count)) / np.maximum(count, 1) for column in values.T]
        return np.column_stack(columns)


def simplify(mesh: Mesh, most_faces: int) -> Simplified:
    """At most `most_faces` triangles, by merging vertices in cells of the smallest size that does it.

    Cells also split by the direction of the surface, so that the two sides of a thin sheet never merge. For looking at only: the result
    need not be closed.
    """
    if len(mesh.faces) <= most_faces:
        return Simplified(mesh, np.arange(len(mesh.vertices)))
    # A surface of area A in cells of side s keeps some 2 A / s2 triangles; the count of one side tells the next.
    side = float(np.sqrt(2.0 * mesh.face_areas.sum() / most_faces))
    best: Simplified | None = None
    for attempt in range(SEARCHES):
        result = _clustered(mesh, side)
        count = len(result.mesh.faces)
        if count <= most_faces and (best is None or count > len(best.mesh.faces)):
            best = result
            if count > FULL * most_faces:
                break
        if attempt >= ENOUGH and best is not None:
            break
        side *= float(np.sqrt(max(count, 1) / (AIM * most_faces)))
    while best is None:
        side *= 1.2
        result = _clustered(mesh, side)
        best = result if len(result.mesh.faces) <= most_faces else None
    return best


def _clustered(mesh: Mesh, side: float) -> Simplified:
    cell = np.floor((mesh.vertices - mesh.bounds[0]) / side).astype(np.int64)
    facing = np.argmax(np.abs(mesh.vertex_normals), axis=1)
    facing = 2 * facing + (np.take_along_axis(mesh.vertex_normals, facing[:, None], axis=1)[:, 0] > 0)
    spread = cell.max(axis=0) + 1
    key = ((cell[:, 0] * spread[1] + cell[:, 1]) * spread[2] + cell[:, 2]) * 6 + facing
    _, group = np.unique(key, return_inverse=True)
    group = group.reshape(-1)
    points = mesh.vertices[_nearest_to_mean(mesh.vertices, group)]
    faces = group[mesh.faces]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    # Each triangle once, its smallest corner first.
    first = np.argmin(faces, axis=1)
    rolled = np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1)
    rolled = np.unique(rolled, axis=0)
    kept, inverse = np.unique(rolled, return_inverse=True)
    renumber = np.full(len(points), -1, dtype=np.int64)
    renumber[kept] = np.arange(len(kept))
    return Simplified(Mesh(points[kept], inverse.reshape(-1, 3)), renumber[group])


def _nearest_to_mean(points: Floats, group: Ints) -> Ints:
    """For each group the index of its point nearest to the group's mean: a point of the surface itself, so that flat walls stay flat."""
    count = np.bincount(group)
    mean = np.column_stack([np.bincount(group, points[:, k]) / count for k in range(3)])
    distance = np.linalg.norm(points - mean[group], axis=1)
    order = np.lexsort((distance, group))
    return order[np.r_[0, np.cumsum(count)[:-1]]]
