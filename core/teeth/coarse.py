"""A coarse graph of the surface round the teeth: the same size whatever the density of the scan, with its concavity."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Ints, Mesh

CELL_MM = 0.4
NORMAL_SMOOTH_MM = 0.5


@dataclass(frozen=True, eq=False)
class CoarseGraph:
    """Patches of surface about CELL_MM wide and their links.

    points (k, 3), normals (k, 3), areas (k,) mm2; links (e, 2); member (n,) patch of each vertex of the mesh, -1 outside the region
    bend : (e,) concavity along each link, 1/mm, positive in a groove, negative over a ridge
    hollow : (k,) the mean of it round each patch, over about a millimetre
    """

    points: Floats
    normals: Floats
    areas: Floats
    links: Ints
    member: Ints
    bend: Floats
    hollow: Floats

    @cached_property
    def tree(self) -> cKDTree:
        """Of the points."""
        return cKDTree(self.points)

    @cached_property
    def concavity(self) -> Floats:
        """(e,) 1/mm: along each link together with its surroundings."""
        return self.bend + 0.5 * (self.hollow[self.links[:, 0]] + self.hollow[self.links[:, 1]])

    @cached_property
    def matrix(self) -> csr_matrix:
        """(k, k) symmetric, link lengths in mm."""
        i, j = self.links.T
        length = np.maximum(np.linalg.norm(self.points[i] - self.points[j], axis=1), 1e-6)
        k = len(self.points)
        return coo_matrix((np.r_[length, length], (np.r_[i, j], np.r_[j, i])), shape=(k, k)).tocsr()


def _sum_by(index: Ints, values: Floats, size: int) -> Floats:
    return np.column_stack([np.bincount(index, values[:, c], size) for c in range(values.shape[1])])


def _unit_rows(v: Floats) -> Floats:
    return v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-12)


def coarse_graph(mesh: Mesh, region: Bools, cell_mm: float = CELL_MM, smooth_mm: float = NORMAL_SMOOTH_MM) -> CoarseGraph:
    """Gather the vertices of a region (n, bool) into patches that are connected and lie within one cell of a cubic lattice."""
    ids = np.flatnonzero(region)
    local = np.full(len(mesh.vertices), -1, dtype=np.int64)
    local[ids] = np.arange(len(ids))
    faces = local[mesh.faces[region[mesh.faces].all(axis=1)]]
    v = mesh.vertices[ids]
    half = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    cell = np.floor((v - v.min(axis=0)) / cell_mm).astype(np.int64)
    key = (cell[:, 0] * 100_003 + cell[:, 1]) * 100_003 + cell[:, 2]
    same = key[half[:, 0]] == key[half[:, 1]]
    n = len(ids)
    inside = coo_matrix((np.ones(int(same.sum()), dtype=np.int8), (half[same, 0], half[same, 1])), shape=(n, n))
    k, member = connected_components(inside, directed=False)
    member = member.astype(np.int64)  # link codes below are k squared: more than 32 bits hold
    cross = np.cross(v[faces[:, 1]] - v[faces[:, 0]], v[faces[:, 2]] - v[faces[:, 0]]) / 6.0
    corner = faces.ravel()
    normals = _sum_by(member[corner], np.repeat(cross, 3, axis=0), k)
    share = np.maximum(np.bincount(corner, np.repeat(np.linalg.norm(cross, axis=1), 3), n), 1e-9)
    areas = np.asarray(np.bincount(member, share, k), dtype=np.float64)
    points = _sum_by(member, v * share[:, None], k) / areas[:, None]
    pairs = np.sort(member[half[~same]], axis=1)
    code = np.unique(pairs[:, 0] * k + pairs[:, 1])
    links = np.column_stack([code // k, code % k])
    links = np.vstack([links[links[:, 0] != links[:, 1]], bridges(points, links)])
    full = np.full(len(mesh.vertices), -1, dtype=np.int64)
    full[ids] = member
    return _with_bend(points, _unit_rows(normals), areas, links, full, cell_mm, smooth_mm)


def bridges(points: Floats, links: Ints) -> Ints:
    """(b, 2) links between loose pieces of a scan that lie closer than its own links are long."""
    k = len(points)
    i, j = links.T
    pieces, piece = connected_components(coo_matrix((np.ones(len(links)), (i, j)), shape=(k, k)), directed=False)
    size = np.bincount(piece)
    if (size >= 20).sum() < 2:
        return np.zeros((0, 2), dtype=np.int64)
    reach = 1.2 * float(np.median(np.linalg.norm(points[i] - points[j], axis=1)))
    main = np.flatnonzero(piece == size.argmax())
    tree = cKDTree(points[main])
    found = []
    for other in np.flatnonzero(size >= 20):
        if other == size.argmax():
            continue
        ids = np.flatnonzero(piece == other)
        distance, nearest = tree.query(points[ids], distance_upper_bound=reach)
        ok = np.isfinite(distance)
        found.append(np.column_stack([ids[ok], main[nearest[ok]]]))
    return np.sort(np.vstack(found), axis=1) if found else np.zeros((0, 2), dtype=np.int64)


def _with_bend(points: Floats, normals: Floats, areas: Floats, links: Ints, member: Ints, cell_mm: float, smooth_mm: float) -> CoarseGraph:
    k = len(points)
    i, j = links.T
    ones = np.ones(2 * len(links))
    link = coo_matrix((ones, (np.r_[i, j], np.r_[j, i])), shape=(k, k)).tocsr()
    degree = np.maximum(np.asarray(link.sum(axis=1)).ravel(), 1.0)
    blur = diags(np.full(k, 0.5)) + diags(0.5 / degree) @ link
    step = points[j] - points[i]
    length = np.linalg.norm(step, axis=1)
    # on a scan as coarse as a millimetre the normals are already averages over more than the smoothing length
    rounds = int(np.clip(round(4.0 * (smooth_mm / max(float(np.median(length)), 1e-6)) ** 2 - 2.5), 0, 30))
    for _ in range(rounds):
        normals = blur @ normals
    normals = _unit_rows(normals)
    bend = -np.einsum("ij,ij->i", normals[j] - normals[i], step) / np.maximum(length, cell_mm / 3.0) ** 2
    hollow = blur @ (np.bincount(links.ravel(), np.repeat(bend, 2), k) / degree)
    return CoarseGraph(points, normals, areas, links, member, bend, hollow)
