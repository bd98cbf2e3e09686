"""Distance to a scanned surface, smoothed over a chosen length: what polished faces are offset from.

Implicit moving least squares: the mean, weighted by nearness, of the distances to the tangent planes of nearby surface points
(Kolluri, "Provably good moving least squares", 2005; from memory). The fitting side never uses it: that is a boolean.
"""

from __future__ import annotations

from copy import copy

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Ints, Mesh

LEAST_AREA_MM2 = 1e-5
MOST = 60  # samples along an edge of a fat face: larger ones are walls and floors of a trimmed base
FEW = 2000
CHUNK = 40_000  # points at a time: keeps what lies in memory small


def surface_samples(mesh: Mesh, spacing: float) -> tuple[Floats, Floats, Floats]:
    """Points (k, 3), unit normals (k, 3) and areas (k,) in mm2 that cover the surface no further apart than about `spacing` mm.

    Each stands for its own piece of a face, so the slivers that a boolean leaves, whose normals mean nothing, weigh nothing.
    """
    corners, areas = mesh.triangles, mesh.face_areas
    longest = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max(axis=1)
    along = np.maximum(np.ceil(longest / spacing).astype(int), 1)
    across = np.maximum(np.ceil(2 * areas / np.maximum(longest, 1e-12) / spacing).astype(int), 1)
    sound = areas > LEAST_AREA_MM2
    thin = 2 * across < along  # a grid of equal pieces would crowd a needle with samples, and with them drown what lies beside it
    face, points, sizes = [], [], []
    fat = np.minimum(along, MOST)
    for n in np.unique(fat[sound & ~thin]):
        rows = np.flatnonzero((fat == n) & sound & ~thin)
        weight = _grid(n)
        face.append(np.repeat(rows, len(weight)))
        points.append(np.einsum("wk,fkd->fwd", weight, corners[rows]).reshape(-1, 3))
        sizes.append(np.repeat(areas[rows] / len(weight), len(weight)))
    for n, k in np.unique(np.column_stack([along, across])[sound & thin], axis=0):
        rows = np.flatnonzero((along == n) & (across == k) & sound & thin)
        at, share = _slices(corners[rows], n, k)
        face.append(np.repeat(rows, n * k))
        points.append(at.reshape(-1, 3))
        sizes.append((areas[rows, None] * share).reshape(-1))
    normals = mesh.face_normals[np.concatenate(face)]
    return np.concatenate(points), normals, np.concatenate(sizes)


def _grid(n: int) -> Floats:
    """(n (n + 1) / 2, 3) barycentric weights of the middles of equal pieces of a triangle."""
    i, j = (g.ravel() for g in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    keep = i + j < n
    u, v = (i[keep] + 1 / 3) / n, (j[keep] + 1 / 3) / n
    return np.stack([1 - u - v, u, v], axis=1)


def _slices(corners: Floats, n: int, k: int) -> tuple[Floats, Floats]:
    """Triangles (f, 3, 3) cut square to their longest edge into n slices of k pieces: middles (f, n k, 3), shares of the area (f, n k)."""
    length = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
    order = (np.argmax(length, axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.moveaxis(np.take_along_axis(corners, order[:, :, None], axis=1), 1, 0)
    base = b - a
    foot = np.clip(np.einsum("fd,fd->f", c - a, base) / np.einsum("fd,fd->f", base, base), 1e-9, 1 - 1e-9)[:, None]
    t = (np.arange(n) + 0.5) / n
    tall = np.minimum(t / foot, (1 - t) / (1 - foot))  # of the slice's own height, as a share of the triangle's
    up = (c - a - foot * base)[:, None, None]
    level = (np.arange(k) + 0.5) / k
    at = (a[:, None] + t[:, None] * base[:, None])[:, :, None] + (tall[:, :, None] * level)[..., None] * up
    share = tall / tall.sum(axis=1, keepdims=True) / k
    return at.reshape(len(corners), n * k, 3), np.repeat(share, k, axis=1)


class SurfaceDistance:
    """Signed distance to a surface, positive on the side its normals point to; good within a few mm of it.

    mesh : the surface, open or closed
    smoothing : length in mm below which bumps do not show in the distance
    within : optional (2, 3) box in mm; only the surface inside it counts
    """

    def __init__(self, mesh: Mesh, *, smoothing: float = 0.3, within: Floats | None = None) -> None:
        if within is not None:
            c = mesh.triangles
            inside = np.all((c.max(axis=1) >= within[0]) & (c.min(axis=1) <= within[1]), axis=1)
            mesh = mesh.submesh(inside)[0]
        self.spacing = _spacing(smoothing)
        self.points, self.normals, self.areas = surface_samples(mesh, self.spacing)
        self.offsets = np.einsum("ij,ij->i", self.points, self.normals)
        self.smoothing = smoothing
        self.tree = cKDTree(self.points, compact_nodes=False, balanced_tree=False)

    def smoother(self, smoothing: float) -> SurfaceDistance:
        """The distance to the same surface with another smoothing, mm; samples and tree are shared where they serve both."""
        if _spacing(smoothing) != self.spacing:
            raise ValueError(f"samples {self.spacing} mm apart do not serve a smoothing of {smoothing} mm")
        other = copy(self)
        other.smoothing = smoothing
        return other

    def __call__(self, query: Floats) -> Floats:
        """(k, 3) mm -> (k,) mm."""
        query = np.asarray(query, dtype=np.float64).reshape(-1, 3)
        if len(query) == 0:
            return np.empty(0)
        return np.concatenate([self._near(query[k : k + CHUNK])[0] for k in range(0, len(query), CHUNK)])

    def with_normal(self, query: Floats) -> tuple[Floats, Floats]:
        """Distance (k,) and unit normal (k, 3) of the smoothed surface under each point."""
        query = np.asarray(query, dtype=np.float64).reshape(-1, 3)
        distance, weight, index = self._near(query)
        mean = np.einsum("kc,kcd->kd", weight, self.normals[index])
        return distance, mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-9)

    def _near(self, query: Floats) -> tuple[Floats, Floats, Ints]:
        """Distance (k,), and the weights (k, c) and numbers (k, c) of the samples it comes from."""
        count = min(60 if self.smoothing >= 1.5 else 18 if self.smoothing >= 1.0 else 12 if self.smoothing >= 0.5 else 8, len(self.points))
        distance, index = self.tree.query(query, k=count, workers=-1 if len(query) > FEW else 1)
        distance, index = distance.reshape(len(query), -1), index.reshape(len(query), -1)
        spread = np.maximum(self.smoothing, 0.25 * distance[:, :1])
        # The weight runs out at the farthest neighbour, so that a sample that comes in or drops out makes no step in the distance.
        weight = np.exp(-(distance**2 - distance[:, :1] ** 2) / (2 * spread**2))
        weight = (weight - weight[:, -1:] + 1e-9) * self.areas[index]
        weight /= weight.sum(axis=1, keepdims=True)
        plane = np.matmul(self.normals[index], query[:, :, None])[:, :, 0] - self.offsets[index]
        return np.einsum("kc,kc->k", weight, plane), weight, index

    def project(self, query: Floats, *, height: float = 0.0, rounds: int = 3) -> tuple[Floats, Floats]:
        """Points moved to `height` mm above the smoothed surface, and the normals there."""
        points = np.asarray(query, dtype=np.float64).reshape(-1, 3).copy()
        for _ in range(rounds):
            d, n = self.with_normal(points)
            points -= n * (d - height)[:, None]
        return points, self.with_normal(points)[1]


def _spacing(smoothing: float) -> float:
    return min(max(0.35, smoothing), 0.8)
