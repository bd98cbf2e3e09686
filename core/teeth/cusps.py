"""Cusp tips: the heights of a crown that stand clear of their surroundings."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh
from . import numbering
from .surface import link_matrix, rim_edges, smooth_field

PROMINENCE_MM = 0.12
EDGE_MM = 1.0
"""Down to here below its highest point an incisal edge reaches to its corners."""
MOST = {1: 3, 2: 3, 3: 1, 4: 2, 5: 3, 6: 5, 7: 5, 8: 5}
"""Most cusps (or mamelons of an incisal edge) by position: textbook dental anatomy."""


def peaks(mesh: Mesh, height: Floats, prominence: float) -> list[tuple[int, float]]:
    """(vertex, prominence) of the maxima of (n,) height that rise at least so far above the pass to a higher one; highest first."""
    link = link_matrix(mesh.faces, len(mesh.vertices))
    order = np.argsort(-height, kind="stable")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    root = np.full(len(height), -1, dtype=np.int64)
    found: dict[int, float] = {}

    def top(v: int) -> int:
        while root[v] != v:
            root[v] = root[root[v]]
            v = root[v]
        return v

    for v in order.tolist():
        tops = {top(w) for w in link.indices[link.indptr[v] : link.indptr[v + 1]].tolist() if rank[w] < rank[v]}
        if not tops:
            root[v] = v
            found[v] = np.inf
            continue
        first = min(tops, key=lambda w: rank[w])
        root[v] = first
        for other in tops - {first}:
            root[other] = first
            found[other] = float(height[other] - height[v])
    result = [(v, p) for v, p in found.items() if p >= prominence]
    return sorted(result, key=lambda item: rank[item[0]])


def cusp_tips(crown: Mesh, fdi: int, axis: Floats, mesial: Floats) -> Floats:
    """(c, 3) cusp tips of a crown, highest first; of an incisor the middle of its edge, then the heights of the edge.

    Heights are taken halfway between the occlusal direction and the crown's own axis, so a leaning molar keeps its lower cusps.
    """
    up = axis + np.array([0.0, 0.0, 1.0])
    up /= np.linalg.norm(up)
    raw = crown.vertices @ up
    top, low = raw.max(), raw.min()
    upper = raw > top - 0.6 * (top - low)
    part, kept = crown.submesh(upper[crown.faces].all(axis=1))
    if len(part.vertices) < 4:
        return crown.vertices[[int(raw.argmax())]]
    height = smooth_field(part, part.vertices @ up, 0.2, least=1, most=12)
    found = sorted(peaks(part, height, PROMINENCE_MM), key=lambda item: -item[1])[: MOST[numbering.position(fdi)]]
    # a peak on the open rim of the part is a cut, not a cusp
    rim = set(rim_edges(part.faces).ravel().tolist())
    chosen = [v for v, _ in found if v not in rim] or [int(height.argmax())]
    tips = part.vertices[np.array(chosen)]
    tips = tips[np.argsort(-(tips @ up))]
    return np.vstack([_edge_middle(crown.vertices, raw, mesial)[None], tips]) if numbering.position(fdi) <= 2 else tips


def _edge_middle(points: Floats, height: Floats, mesial: Floats) -> Floats:
    """(3,) the highest point of an incisal edge midway between its corners. height : (n,) of the points, occlusally."""
    along = points @ mesial
    edge = height > height.max() - EDGE_MM
    middle = 0.5 * (along[edge].min() + along[edge].max())
    return np.asarray(points[int(np.where(np.abs(along - middle) < 0.3, height, -np.inf).argmax())])
