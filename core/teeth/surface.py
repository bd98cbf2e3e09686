"""Small tools on triangle surfaces: level lines, closest points, closed polylines."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.spatial import cKDTree
from trimesh.triangles import closest_point as closest_point_triangles

from ..mesh import Bools, Floats, Ints, Mesh


def link_matrix(faces: Ints, count: int) -> csr_matrix:
    """(n, n) symmetric, 1 where two vertices share an edge."""
    i, j = faces[:, [0, 1, 2]].ravel(), faces[:, [1, 2, 0]].ravel()
    link = coo_matrix((np.ones(2 * len(i)), (np.r_[i, j], np.r_[j, i])), shape=(count, count)).tocsr()
    link.data[:] = 1.0
    return link


def rim_edges(faces: Ints) -> Ints:
    """(b, 2) directed edges that belong to one face only."""
    half = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    key = half.min(axis=1) * (int(faces.max()) + 1) + half.max(axis=1)
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    return half[count[inverse] == 1]


def smooth_field(mesh: Mesh, values: Floats, length_mm: float, least: int = 1, most: int = 60) -> Floats:
    """Blur (n,) or (n, c) vertex values over about length_mm (standard deviation), whatever the density."""
    link = link_matrix(mesh.faces, len(mesh.vertices))
    a, b = mesh.faces[:, 0], mesh.faces[:, 1]
    edge = float(np.median(np.linalg.norm(mesh.vertices[a] - mesh.vertices[b], axis=1)))
    # one half-and-half step spreads with a variance of about a quarter edge squared in each direction
    steps = int(np.clip(round(4.0 * (length_mm / max(edge, 1e-6)) ** 2), least, most))
    share = diags(1.0 / np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)) @ link
    out = np.asarray(values, dtype=np.float64)
    for _ in range(steps):
        out = 0.5 * (out + share @ out)
    return out


def level_lines(mesh: Mesh, values: Floats, level: float) -> list[tuple[Floats, bool]]:
    """Lines where the linearly interpolated (n,) vertex values cross the level: list of ((k, 3) points, closed?).

    The side with higher values lies to the left, seen from outside, so that a line round a raised region runs counter-clockwise.
    """
    above = values >= level
    faces = mesh.faces[(above[mesh.faces].any(axis=1)) & (~above[mesh.faces].all(axis=1))]
    if len(faces) == 0:
        return []
    n = len(values)
    half = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2)  # (f, 3, 2)
    up = ~above[half[:, :, 0]] & above[half[:, :, 1]]
    down = above[half[:, :, 0]] & ~above[half[:, :, 1]]
    rows = np.arange(len(faces))
    start, end = half[rows, down.argmax(axis=1)], half[rows, up.argmax(axis=1)]
    start_key = start.min(axis=1) * n + start.max(axis=1)
    end_key = end.min(axis=1) * n + end.max(axis=1)
    following = dict(zip(start_key.tolist(), end_key.tolist(), strict=True))
    reached = set(end_key.tolist())
    heads = [k for k in following if k not in reached]
    lines = []
    for head in heads + list(following):
        if head not in following:
            continue
        chain = [head]
        while chain[-1] in following:
            chain.append(following.pop(chain[-1]))
        closed = chain[0] == chain[-1]
        keys = np.array(chain[:-1] if closed else chain)
        a, b = keys // n, keys % n
        t = (level - values[a]) / (values[b] - values[a])
        lines.append((mesh.vertices[a] + t[:, None] * (mesh.vertices[b] - mesh.vertices[a]), closed))
    return lines


def length_of(points: Floats, closed: bool = True) -> float:
    """Length of a polyline, mm."""
    steps = np.diff(points, axis=0, append=points[:1]) if closed else np.diff(points, axis=0)
    return float(np.linalg.norm(steps, axis=1).sum())


def resample(points: Floats, spacing_mm: float, closed: bool = True) -> Floats:
    """The polyline with evenly spaced points, no nearer than asked for."""
    ring = np.vstack([points, points[:1]]) if closed else points
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    count = max(int(along[-1] / spacing_mm), 8)
    at = np.linspace(0.0, along[-1], count, endpoint=not closed)
    return np.column_stack([np.interp(at, along, ring[:, k]) for k in range(3)])


def smooth_ring(points: Floats, spacing_mm: float, sigma_mm: float) -> Floats:
    """Gaussian smoothing of an evenly spaced closed polyline along its length."""
    return gaussian_filter1d(points, sigma_mm / spacing_mm, axis=0, mode="wrap")


class Projector:
    """Closest points on some faces of a mesh."""

    def __init__(self, mesh: Mesh, faces: Ints | Bools | None = None) -> None:
        self.faces = np.arange(len(mesh.faces)) if faces is None else np.asarray(faces)
        if self.faces.dtype == bool:
            self.faces = np.flatnonzero(self.faces)
        self.triangles = mesh.triangles[self.faces]
        self.tree = cKDTree(self.triangles.mean(axis=1))

    def closest(self, points: Floats, candidates: int = 24) -> tuple[Floats, Ints]:
        """(k, 3) closest points and (k,) indices of their faces in the mesh."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        k = min(candidates, len(self.faces))
        _, near = self.tree.query(points, k=k)
        near = near.reshape(len(points), k)
        found = closest_point_triangles(self.triangles[near.ravel()], np.repeat(points, k, axis=0)).reshape(len(points), k, 3)
        best = np.linalg.norm(found - points[:, None], axis=2).argmin(axis=1)
        rows = np.arange(len(points))
        return found[rows, best], self.faces[near[rows, best]]


def grow_faces(mesh: Mesh, vertex_mask: Bools) -> Bools:
    """(m,) faces that touch a marked vertex."""
    return np.asarray(vertex_mask[mesh.faces].any(axis=1))
