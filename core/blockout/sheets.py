"""Undercut faces sorted into sheets that never lie over one another along a direction, and the solid below each sheet.

A shadow is the union of everything below the faces that look down. Swept downward one by one those faces would be tens of
thousands of solids; swept as sheets they are a handful. A sheet must not overlap itself seen along the path, or the swept
body would cut through itself. Faces that overlap no other go into the first sheet together; the few that do are coloured
like a map, so that no two of one colour overlap.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..mesh import Floats, Ints, Mesh

_TOUCH_MM = 1e-7
"""Two projected triangles that overlap by less than this are neighbours, not one above the other."""


def fan_vertices(faces: Ints) -> tuple[Ints, Ints, Ints]:
    """New vertex numbers for a set of faces, one for every fan, so that no two fans meet in a single vertex.

    faces : (m, 3), consistently wound. Returns numbers (m, 3), the old vertex of every number (k,), and the open half edges
    (b, 2) in new numbers, in the winding of their face.
    """
    m = len(faces)
    half = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    base = int(faces.max()) + 1
    forward, backward = half[:, 0] * base + half[:, 1], half[:, 1] * base + half[:, 0]
    order = np.argsort(forward)
    place = np.minimum(np.searchsorted(forward, backward, sorter=order), 3 * m - 1)
    mate = np.where(forward[order[place]] == backward, order[place], -1)
    paired = np.flatnonzero(mate >= 0)
    other = mate[paired]

    def corner(edge: Ints, step: int) -> Ints:
        return edge // 3 * 3 + (edge % 3 + step) % 3

    i = np.r_[corner(paired, 0), corner(paired, 1)]
    j = np.r_[corner(other, 1), corner(other, 0)]
    count, number = connected_components(coo_matrix((np.ones(len(i), dtype=bool), (i, j)), shape=(3 * m, 3 * m)), directed=False)
    number = number.astype(np.int64)
    source = np.zeros(count, dtype=np.int64)
    source[number] = faces.reshape(-1)
    open_edge = np.flatnonzero(mate < 0)
    return number.reshape(-1, 3), source, np.stack([number[corner(open_edge, 0)], number[corner(open_edge, 1)]], axis=1)


def _turned(triangles: Floats, angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return triangles @ np.array([[c, -s], [s, c]])


def _sweep(triangles: Floats) -> tuple[Ints, Ints, Floats, Floats]:
    """Order by the left end, how many after each start before it ends, and the boxes: in the direction that gives fewest."""
    best: tuple[Ints, Ints, Floats, Floats] | None = None
    # A wall of the base seen end-on would put all its faces into one place; a few directions to choose from avoid that.
    for angle in np.linspace(0.1, 0.1 + np.pi, 7)[:-1]:
        turned = _turned(triangles, float(angle))
        low, high = turned.min(axis=1), turned.max(axis=1)
        order = np.argsort(low[:, 0], kind="stable")
        following = np.searchsorted(low[order, 0], high[order, 0], side="left") - np.arange(len(order)) - 1
        following = np.maximum(following, 0)
        if best is None or following.sum() < best[1].sum():
            best = (order, following, low, high)
    assert best is not None
    return best


def _box_pairs(triangles: Floats) -> Ints:
    """(p, 2) pairs of triangles whose boxes overlap, each once."""
    order, following, low, high = _sweep(triangles)
    low, high = low[order], high[order]
    found: list[Ints] = [np.empty((0, 2), dtype=np.int64)]
    total = np.cumsum(following)
    start = 0
    while start < len(order):
        done = total[start - 1] if start else 0
        stop = max(int(np.searchsorted(total, done + 4_000_000)), start + 1)  # bounds the memory of one batch
        rows = np.arange(start, min(stop, len(order)))
        count = following[rows]
        left = np.repeat(rows, count)
        right = left + 1 + np.arange(len(left)) - np.repeat(np.cumsum(count) - count, count)
        hit = (low[left, 1] < high[right, 1]) & (low[right, 1] < high[left, 1])
        found.append(np.sort(np.stack([order[left[hit]], order[right[hit]]], axis=1), axis=1))
        start = stop
    return np.concatenate(found)


def overlapping_pairs(triangles: Floats) -> Ints:
    """Pairs of triangles in the plane whose insides overlap.

    triangles : (m, 3, 2) mm. Returns (p, 2) indices, lower first. Separating-axis test, so exact up to 1e-7 mm.
    """
    pairs = _box_pairs(triangles)
    for owner in (0, 1):
        for k in range(3):
            a, b = triangles[pairs[:, 0]], triangles[pairs[:, 1]]
            of = (a, b)[owner]
            edge = of[:, (k + 1) % 3] - of[:, k]
            length = np.linalg.norm(edge, axis=1, keepdims=True)
            axis = np.stack([-edge[:, 1], edge[:, 0]], axis=1) / np.maximum(length, 1e-12)
            u, v = np.einsum("mij,mj->mi", a, axis), np.einsum("mij,mj->mi", b, axis)
            overlap = np.minimum(u.max(axis=1), v.max(axis=1)) - np.maximum(u.min(axis=1), v.min(axis=1))
            pairs = pairs[overlap > _TOUCH_MM]
    return pairs


def sheets(faces: Ints, points: Floats) -> list[Ints]:
    """Sort faces into sheets, none of which overlaps itself along z.

    faces : (m, 3) into points, all looking down; points : (n, 3) mm with z along the path. Returns index arrays into faces; a
    later sheet also takes a rim of its neighbours, so that two sheets overlap instead of meeting wall to wall.
    """
    pairs = overlapping_pairs(points[faces][:, :, :2])
    rivals: dict[int, list[int]] = {}
    for a, b in pairs.tolist():
        rivals.setdefault(a, []).append(b)
        rivals.setdefault(b, []).append(a)
    height = points[faces].mean(axis=1)[:, 2]
    colour: dict[int, int] = {}
    for face in sorted(rivals, key=lambda f: -height[f]):
        taken = {colour[r] for r in rivals[face] if r in colour}
        colour[face] = next(c for c in range(len(taken) + 1) if c not in taken)
    label = np.zeros(len(faces), dtype=np.int64)
    label[list(colour)] = list(colour.values())
    found = [np.flatnonzero(label == 0)]
    for c in range(1, int(label.max()) + 1):
        members = np.flatnonzero(label == c)
        rim = np.flatnonzero(np.isin(faces, faces[members]).any(axis=1) & (label != c))
        chosen = set(members.tolist())
        for face in rim.tolist():
            if not any(r in chosen for r in rivals.get(face, ())):
                chosen.add(face)
        found.append(np.array(sorted(chosen), dtype=np.int64))
    return found


def swept_down(faces: Ints, top: Floats, bottom: Floats) -> Mesh:
    """The solid between a sheet and its image below: closed, one vertical wall along every open edge.

    faces : (m, 3) looking down; top, bottom : (n, 3) mm, where each vertex starts and ends.
    """
    number, source, edges = fan_vertices(faces)
    n = len(source)
    # Where two sheets meet wall to wall, both walls have the same diagonal: coincident triangles are what a boolean joins exactly.
    first, second = edges.T
    turned = source[first] > source[second]
    a, b = first[~turned], second[~turned]
    c, d = first[turned], second[turned]
    walls = np.concatenate(
        [np.stack(w, axis=1) for w in ((b + n, a + n, a), (b + n, a, b), (d + n, c + n, d), (c + n, c, d))]
    )
    return Mesh(np.concatenate([top[source], bottom[source]]), np.concatenate([number[:, ::-1], number + n, walls]))
