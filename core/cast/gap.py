"""How far points lie off a surface at the most: an upper bound by rays, millions of points a second."""

from __future__ import annotations

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from ..mesh import Floats, Ints, Mesh

_WAYS = np.array([
    (1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1), (1, -1, 1), (-1, 1, 1), (-1, -1, 1),
    (1, 1, 0), (1, -1, 0), (0, 1, 1), (0, 1, -1), (1, 0, 1), (1, 0, -1),
], dtype=np.float64)  # fmt: skip
_VERTICES = 8  # as many nearest vertices show their faces where no ray says enough


def gap(points: Floats, normals: Floats, mesh: Mesh, wanted_mm: float) -> Floats:
    """(k,) mm: no point is further from the surface than this. Along rays from close by, and where those pass by, to the faces near by.

    points : (k, 3) mm; normals : (k, 3) unit, the way to look first. Where the first look says more than `wanted_mm` other ways are tried
    (at an edge a ray along the normal passes by). Whatever a ray meets is a point of the surface: the distance to it bounds the true one.
    """
    centre = mesh.bounds.mean(axis=0)  # rays are 32-bit
    scene = EmbreeScene()
    surface = TriangleMesh(scene, np.ascontiguousarray(mesh.vertices - centre, np.float32), np.ascontiguousarray(mesh.faces, np.int32))
    best = np.full(len(points), np.inf)
    todo = np.arange(len(points))
    start = 1.2 * wanted_mm
    for way in (None, *(_WAYS / np.linalg.norm(_WAYS, axis=1, keepdims=True))):
        for side in (1.0, -1.0):
            if not len(todo):
                break
            direction = np.ascontiguousarray(side * normals[todo] if way is None else np.tile(side * way, (len(todo), 1)), np.float32)
            origin = np.ascontiguousarray(points[todo] - centre - start * direction, np.float32)
            hit = scene.run(origin, direction, output=True)
            met = np.asarray(hit["primID"]).astype(np.int64) >= 0
            far = np.abs(np.asarray(hit["tfar"], dtype=np.float64) - start)
            best[todo] = np.minimum(best[todo], np.where(met, far, np.inf))
            todo = todo[best[todo] > wanted_mm]
    del surface  # belongs to the scene and must outlive it
    if len(todo):
        best[todo] = np.minimum(best[todo], np.linalg.norm(nearest_on_faces(points[todo], mesh) - points[todo], axis=1))
    return best


def nearest_on_faces(points: Floats, mesh: Mesh) -> Floats:
    """(k, 3) mm: for each of (k, 3) points the nearest place on the faces at its few nearest vertices."""
    from scipy.spatial import cKDTree
    from trimesh.triangles import closest_point

    count = min(_VERTICES, len(mesh.vertices))
    near = cKDTree(mesh.vertices, balanced_tree=False, compact_nodes=False).query(points, k=count)[1].reshape(len(points), count)
    faces, begin = fans(mesh)
    size = (begin[near + 1] - begin[near]).sum(axis=1)
    around = np.concatenate([faces[begin[v] : begin[v + 1]] for v in near.reshape(-1)])
    every = np.repeat(points, size, axis=0)
    at = closest_point(mesh.triangles[around], every)
    far = np.linalg.norm(at - every, axis=1)
    first = np.concatenate([[0], np.cumsum(size)[:-1]])
    least = np.repeat(np.minimum.reduceat(far, first), size)
    rows = np.flatnonzero(far <= least)
    owner = np.repeat(np.arange(len(points)), size)[rows]
    return np.asarray(at[rows[np.searchsorted(owner, np.arange(len(points)))]])


def fans(mesh: Mesh) -> tuple[Ints, Ints]:
    """The faces at each vertex, one after another, and where each vertex's begin (n + 1)."""
    flat = mesh.faces.reshape(-1)
    order = np.argsort(flat, kind="stable")
    return order // 3, np.concatenate([[0], np.cumsum(np.bincount(flat, minlength=len(mesh.vertices)))])
