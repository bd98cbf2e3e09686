"""Edges, pieces, fans and border loops of a triangle soup, all as array work: the ground under the repairs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..mesh import Bools, Floats, Ints


class Edges(NamedTuple):
    """Half-edge h of face h // 3 runs from its corner h % 3 to the next. Half-edges sorted by undirected edge.

    half : (3m, 2) start and end vertex; order : (3m,) half-edge numbers sorted by edge; first : (e,) where each edge starts
    in `order`; faces_at : (e,) how many faces meet there
    """

    half: Ints
    order: Ints
    first: Ints
    faces_at: Ints

    def of_count(self, count: int) -> Ints:
        """(k, count) half-edge numbers of all edges with that many faces."""
        at = self.first[self.faces_at == count]
        return self.order[at[:, None] + np.arange(count)]

    @property
    def crowded(self) -> Ints:
        """Half-edges on edges with more than two faces."""
        return self.order[np.repeat(self.faces_at > 2, self.faces_at)]


def edges_of(faces: Ints) -> Edges:
    """Group the half-edges of (m, 3) faces by undirected edge."""
    half = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    n = int(faces.max()) + 1 if len(faces) else 0
    key = half.min(axis=1) * n + half.max(axis=1)
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    first = np.nonzero(np.r_[True, ordered[1:] != ordered[:-1]])[0] if len(key) else np.zeros(0, np.int64)
    return Edges(half, order, first, np.diff(np.r_[first, len(key)]))


def components(pairs: Ints, n: int) -> tuple[int, Ints]:
    """Number of connected pieces of n nodes joined by (k, 2) pairs, and the piece of each node."""
    graph = coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    return int(count), label.astype(np.int64)


def face_pieces(faces: Ints) -> tuple[int, Ints]:
    """Pieces joined through edges with exactly two faces: their number and the piece of each face."""
    return components(edges_of(faces).of_count(2) // 3, len(faces))


def compact(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """Drop vertices that no face uses."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces] = True
    number = np.cumsum(used) - 1
    return vertices[used], number[faces]


def split_fans(vertices: Floats, faces: Ints) -> tuple[Floats, Ints, int]:
    """Give each fan of faces at a vertex a vertex of its own, so that surfaces which only touch in a point come apart.

    Returns vertices, faces and the number of vertices added.
    """
    edges = edges_of(faces)
    pair = edges.of_count(2)
    a, b = pair[:, 0], pair[:, 1]
    start, end = np.arange(3 * len(faces)), np.arange(3 * len(faces)) // 3 * 3 + (np.arange(3 * len(faces)) + 1) % 3
    opposite = edges.half[a, 0] == edges.half[b, 1]
    links = np.concatenate(
        [
            np.stack([start[a], np.where(opposite, end[b], start[b])], axis=1),
            np.stack([end[a], np.where(opposite, start[b], end[b])], axis=1),
        ]
    )
    count, label = components(links, 3 * len(faces))
    corner_vertex = faces.reshape(-1)
    _, first = np.unique(label, return_index=True)
    # fans keep the order of the vertices they came from, so that an untouched mesh stays as it is
    origin = corner_vertex[first]
    rank = np.argsort(origin, kind="stable")
    number = np.empty(count, np.int64)
    number[rank] = np.arange(count)
    return vertices[origin[rank]], number[label].reshape(-1, 3), count - len(np.unique(corner_vertex))


def wind_alike(faces: Ints) -> tuple[Ints, int, int]:
    """Turn faces so that neighbours agree; in each piece the smaller part turns.

    Returns the faces, how many were turned, and how many pieces cannot agree with themselves (one-sided like a Moebius band).
    """
    edges = edges_of(faces)
    pair = edges.of_count(2)
    same = edges.half[pair[:, 0], 0] == edges.half[pair[:, 1], 0]
    if not same.any():
        return faces, 0, 0
    m = len(faces)
    f, g = pair[:, 0] // 3, pair[:, 1] // 3
    # double cover: node f is the face as it is, node f + m the face turned over
    links = np.concatenate([np.stack([f, np.where(same, g + m, g)], axis=1), np.stack([f + m, np.where(same, g, g + m)], axis=1)])
    count, label = components(links, 2 * m)
    as_is = np.bincount(label[:m], minlength=count)
    turned = np.bincount(label[m:], minlength=count)
    own, other = label[:m], label[m:]
    one_sided = own == other
    # keep the sheet that leaves more faces as they are; ties go to the lower sheet number
    keep = (as_is[own] > turned[own]) | ((as_is[own] == turned[own]) & (own <= other)) | one_sided
    result = np.where(keep[:, None], faces, faces[:, ::-1])
    return result, int((~keep).sum()), len(np.unique(own[one_sided]))


def border_loops(faces: Ints) -> list[Ints]:
    """Vertex rings of the border, each run in the direction of its own faces' half-edges. Needs split fans and agreed winding."""
    edges = edges_of(faces)
    border = edges.half[np.sort(edges.of_count(1)[:, 0])]
    following = dict(border.tolist())
    loops: list[Ints] = []
    while following:
        start, current = following.popitem()
        ring = [start]
        while current != start and current in following:
            ring.append(current)
            current = following.pop(current)
        if current == start and len(ring) > 2:
            loops.append(np.array(ring, dtype=np.int64))
    loops.sort(key=lambda ring: (-len(ring), int(ring.min())))
    return [np.roll(ring, -int(np.argmin(ring))) for ring in loops]


def perimeter(vertices: Floats, ring: Ints) -> float:
    """Length of a closed ring, in the unit of the vertices."""
    points = vertices[ring]
    return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum())


def ring_area_vector(points: Floats) -> Floats:
    """(3,) area vector of a closed polygon: the direction it faces, with its length in mm2."""
    about = points - points.mean(axis=0)
    return 0.5 * np.cross(about, np.roll(about, -1, axis=0)).sum(axis=0)


def piece_sizes(vertices: Floats, faces: Ints, label: Ints, count: int) -> tuple[Floats, Floats]:
    """Area (mm2) and diagonal of the bounding box (mm) of each piece."""
    corner = vertices[faces]
    area = 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, label, corner.min(axis=1))
    np.maximum.at(high, label, corner.max(axis=1))
    return np.bincount(label, area, minlength=count).astype(np.float64), np.linalg.norm(high - low, axis=1)


def inside(vertices: Floats, faces: Ints, point: Floats) -> bool:
    """Is the point inside the closed surface: the solid angle seen from it (Van Oosterom and Strackee 1983)."""
    a, b, c = (vertices[faces[:, k]] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    numerator = np.einsum("ij,ij->i", a, np.cross(b, c))
    dots = [np.einsum("ij,ij->i", u, v) for u, v in ((a, b), (b, c), (c, a))]
    angle = 2 * np.arctan2(numerator, la * lb * lc + dots[0] * lc + dots[1] * la + dots[2] * lb).sum()
    return bool(abs(angle) > 2 * np.pi)


def keep_mask(count: int, drop: Ints) -> Bools:
    """(count,) True except at the indices to drop."""
    mask = np.ones(count, dtype=bool)
    mask[drop] = False
    return mask
