"""Closing of holes in a surface: the triangulation of a ring with the least area, smoothed when the hole is wide.

Source of the method: minimum-area triangulation by dynamic programming, Barequet and Sharir 1995; refinement and
relaxing of the new points in the manner of Liepa 2003.
"""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats, Ints
from . import topology

MAX_RING = 400


def fill_rings(vertices: Floats, faces: Ints, rings: list[Ints]) -> tuple[Floats, Ints, int]:
    """Close each ring with triangles over its own points. Returns vertices, faces and how many were closed.

    A ring stays open when every triangulation would put a third face on an edge, or when it has more than MAX_RING points.
    """
    chords = _chords(faces, rings)
    added = []
    for ring in rings:
        if len(ring) > MAX_RING:
            continue
        # the new faces run against the border's own half-edges
        reverse = ring[::-1]
        triangles = least_area(vertices[reverse], _allowed(reverse, chords))
        if triangles is not None:
            added.append(reverse[triangles])
    return vertices, np.concatenate([faces, *added]) if added else faces, len(added)


def _chords(faces: Ints, rings: list[Ints]) -> set[tuple[int, int]]:
    on_ring = np.zeros(int(faces.max()) + 1, dtype=bool)
    for ring in rings:
        on_ring[ring] = True
    half = topology.edges_of(faces).half
    both = np.sort(half[on_ring[half].all(axis=1)], axis=1)
    return set(map(tuple, both.tolist()))


def _allowed(ring: Ints, chords: set[tuple[int, int]]) -> Bools:
    """(k, k) may an edge of the triangulation join these two: always along the ring, else where the surface has none yet."""
    k = len(ring)
    allowed = np.ones((k, k), dtype=bool)
    position = {int(v): i for i, v in enumerate(ring)}
    for a, b in chords:
        i, j = position.get(a), position.get(b)
        if i is not None and j is not None and (i - j) % k not in (1, k - 1):
            allowed[i, j] = allowed[j, i] = False
    return allowed


def least_area(points: Floats, allowed: Bools) -> Ints | None:
    """(k - 2, 3) indices into the ring of k points, or None when no triangulation keeps to the allowed chords."""
    k = len(points)
    cost = np.full((k, k), np.inf)
    split = np.zeros((k, k), np.int64)
    cost[np.arange(k - 1), np.arange(1, k)] = 0.0
    for gap in range(2, k):
        for i in range(k - gap):
            j = i + gap
            if not allowed[i, j] and not (i == 0 and j == k - 1):
                continue
            middle = np.arange(i + 1, j)
            area = np.linalg.norm(np.cross(points[middle] - points[i], points[j] - points[i]), axis=1)
            total = cost[i, middle] + cost[middle, j] + area
            best = int(np.argmin(total))
            cost[i, j], split[i, j] = total[best], middle[best]
    if not np.isfinite(cost[0, k - 1]):
        return None
    triangles, stack = [], [(0, k - 1)]
    while stack:
        i, j = stack.pop()
        if j - i >= 2:
            middle_one = int(split[i, j])
            triangles.append((i, middle_one, j))
            stack += [(i, middle_one), (middle_one, j)]
    return np.array(triangles, dtype=np.int64)
