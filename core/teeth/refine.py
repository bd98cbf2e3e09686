"""The border of a crown drawn into the groove: a shortest closed line, where going along a groove costs little (minimum cut)."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, maximum_flow
from scipy.spatial import cKDTree

from ..mesh import Bools, Ints, Mesh
from .coarse import CoarseGraph, coarse_graph
from .model import Labels

CELL_MM = 0.18
SMOOTH_MM = 0.2
BAND_MM = 1.6
"""The first border is this good: the groove is sought no further away."""
SIGMA = 0.5
FLOOR = 0.02
UNITS = 20_000
"""Capacities are whole numbers: so many for a link of unit cost."""


def refine(mesh: Mesh, labels: Labels, band_mm: float = BAND_MM) -> Labels:
    """(n,) labels a vertex with the border of each crown moved to the groove nearby; all crowns kept.

    labels : (n,) FDI number a vertex, 0 for tissue
    """
    taken = np.flatnonzero(labels != 0)
    if len(taken) == 0:
        return labels
    box = mesh.vertices[taken]
    near = ((mesh.vertices > box.min(axis=0) - 2.0) & (mesh.vertices < box.max(axis=0) + 2.0)).all(axis=1)
    near[near] = cKDTree(box[:: max(len(box) // 20_000, 1)]).query(mesh.vertices[near], distance_upper_bound=3.0)[0] < 3.0
    graph = coarse_graph(mesh, near, CELL_MM, SMOOTH_MM)
    inside = np.flatnonzero(graph.member >= 0)
    owner = np.zeros(len(graph.points), dtype=np.int64)
    owner[graph.member[inside]] = labels[inside]
    capacity = _capacities(graph)
    claims = {int(n): _cut(graph, capacity, owner, int(n), band_mm) for n in np.unique(labels[taken])}
    result = labels.copy()
    result[inside] = _settle(owner, claims)[graph.member[inside]]
    return result


def _capacities(graph: CoarseGraph) -> Ints:
    """(e,) cost of cutting each link: the length of border across it, cheap in a groove."""
    i, j = graph.links.T
    length = np.maximum(np.linalg.norm(graph.points[i] - graph.points[j], axis=1), 0.05)
    across = 0.5 * (graph.areas[i] + graph.areas[j]) / length
    groove = np.exp(-np.maximum(graph.concavity, 0.0) / SIGMA) + FLOOR
    return np.maximum(np.round(UNITS * across * groove), 1).astype(np.int64)


def _settle(owner: Ints, claims: dict[int, Bools]) -> Ints:
    """(k,) one owner a patch: the only claimant; of several the first owner, or else the one with the most claimed."""
    count = np.sum(list(claims.values()), axis=0)
    result = np.zeros_like(owner)
    for fdi, mine in claims.items():
        result[mine & ((count == 1) | (owner == fdi) | (result == 0))] = fdi
    for fdi, mine in claims.items():
        result[mine & (owner == fdi)] = fdi
    return result


def _cut(graph: CoarseGraph, capacity: Ints, owner: Ints, fdi: int, band_mm: float) -> Bools:
    """(k,) patches on the crown's side of the cheapest border within the band."""
    mine = owner == fdi
    points = graph.points
    low, high = points[mine].min(axis=0) - 1.5 * band_mm, points[mine].max(axis=0) + 1.5 * band_mm
    local = np.flatnonzero(((points > low) & (points < high)).all(axis=1))
    own = mine[local]
    if own.all() or own.sum() < 8:
        return mine
    depth = np.empty(len(local))
    depth[own] = cKDTree(points[local[~own]]).query(points[local[own]])[0]
    depth[~own] = -cKDTree(points[local[own]]).query(points[local[~own]])[0]
    # node 0 is the crown's sure inside, node 1 everything surely outside
    node = np.full(len(points), 1, dtype=np.int64)
    node[local] = np.where(depth > band_mm, 0, np.where(depth < -band_mm, 1, -1))
    free = local[node[local] == -1]
    node[free] = np.arange(len(free)) + 2
    if not (node[local] == 0).any():
        return mine
    within = np.zeros(len(points), dtype=bool)
    within[local] = True
    use = within[graph.links].all(axis=1)
    i, j, c = node[graph.links[use, 0]], node[graph.links[use, 1]], capacity[use]
    keep = i != j
    i, j, c = i[keep], j[keep], c[keep]
    size = len(free) + 2
    matrix = coo_matrix((np.r_[c, c], (np.r_[i, j], np.r_[j, i])), shape=(size, size)).tocsr().astype(np.int32)
    flow = maximum_flow(matrix, 0, 1).flow
    residual = (matrix - flow).tocsr()
    residual.data[residual.data < 0] = 0
    residual.eliminate_zeros()
    reached = np.zeros(size, dtype=bool)
    reached[breadth_first_order(residual, 0, return_predecessors=False)] = True
    result = mine.copy()
    result[free] = reached[node[free]]
    return result
