"""Level lines of a scalar on a mesh, chained into ordered polylines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, depth_first_order

from ..mesh import Bools, Floats, Ints, Mesh
from .topology import EdgeTable

# The length that a line is smoothed over grows by at most so much a millimetre along it.
_GROWTH = 0.4
_PIN = 1e12  # weight of an end that stays


@dataclass(frozen=True, eq=False)
class Contour:
    """An ordered polyline on a cast.

    points : (k, 3) mm, in order; the first is not repeated at the end of a closed line
    closed : whether the last point joins the first
    label : FDI number of the tooth it runs on, 0 on tissue
    """

    points: Floats
    closed: bool
    label: int = 0

    @property
    def length(self) -> float:
        """mm."""
        p = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        return float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum())


@dataclass(frozen=True, eq=False)
class LevelLines:
    """Where a scalar crosses a level: one node an edge crossed, one segment a face crossed.

    points : (k, 3) nodes, mm; edge : (k,) edge of each node; fraction : (k,) from the edge's first vertex
    segments : (s, 2) node numbers; faces : (s,) face of each segment
    """

    points: Floats
    edge: Ints
    fraction: Floats
    segments: Ints
    faces: Ints


def level_lines(mesh: Mesh, table: EdgeTable, values: Floats, level: float, allowed: Bools | Ints | None = None) -> LevelLines:
    """Cut the faces of a mesh where a vertex scalar (n,) equals a level, linear inside each face.

    allowed : the faces that count, by mask (m,) or by number; default all
    """
    v = values - level
    above = v >= 0.0
    chosen = None if allowed is None else np.flatnonzero(allowed) if allowed.dtype == bool else np.asarray(allowed)
    first, second, third = (above[corner] for corner in (mesh.faces if chosen is None else mesh.faces[chosen]).T)
    cut = np.flatnonzero((first != second) | (second != third))
    faces = cut if chosen is None else chosen[cut]
    # Edge k of a face runs from its corner k to the next; two of the three are crossed.
    hit = np.stack([first[cut] != second[cut], second[cut] != third[cut], third[cut] != first[cut]], axis=1)
    pair = table.face_edges[faces][hit].reshape(-1, 2)
    used, segments = np.unique(pair, return_inverse=True)
    a, b = table.vertices[used].T
    t = v[a] / (v[a] - v[b])
    points = mesh.vertices[a] + t[:, None] * (mesh.vertices[b] - mesh.vertices[a])
    return LevelLines(points, used, t, np.asarray(segments, dtype=np.int64).reshape(-1, 2), np.asarray(faces, dtype=np.int64))


def chains(segments: Ints, count: int) -> list[tuple[Ints, bool]]:
    """Order segments between count nodes into polylines: node numbers, and whether the line is closed.

    Nodes where more than two segments meet (non-manifold edges) end a line.
    """
    if not len(segments):
        return []
    flat = segments.reshape(-1)
    degree = np.bincount(flat, minlength=count)
    # A node where more than two segments meet becomes one node for each of them.
    crowded = np.flatnonzero(degree[flat] > 2)
    stands_for = np.r_[np.arange(count), flat[crowded]]
    own = flat.copy()
    own[crowded] = count + np.arange(len(crowded))
    total = len(stands_for)
    degree = np.bincount(own, minlength=total)
    a, b = own.reshape(-1, 2).T
    graph = coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(total, total))
    _, part = connected_components(graph, directed=False)
    # Each line is entered at an end if it has one. A walk in depth from one more node, tied to all the entries, runs along them in turn.
    used = np.flatnonzero(degree)
    used = used[np.lexsort((degree[used], part[used]))]
    entry = used[np.r_[True, part[used[1:]] != part[used[:-1]]]]
    tie = np.full(len(entry), total)
    tied = coo_matrix((np.ones(len(a) + len(tie), dtype=np.int8), (np.r_[a, tie], np.r_[b, entry])), shape=(total + 1, total + 1)).tocsr()
    walk = depth_first_order(tied, total, directed=False, return_predecessors=False)[1:]
    begins = np.flatnonzero(np.r_[True, part[walk[1:]] != part[walk[:-1]]])
    lines = np.split(stands_for[walk], begins[1:])
    return [(nodes, bool(closed)) for nodes, closed in zip(lines, degree[walk[begins]] == 2, strict=True)]


def runs(flags: Ints, closed: bool) -> list[Ints]:
    """Split positions 0..k-1 into runs of one value; on a closed line the run over the seam is one."""
    k = len(flags)
    if not k:
        return []
    breaks = np.flatnonzero(flags[1:] != flags[:-1]) + 1
    parts = np.split(np.arange(k), breaks)
    if closed and len(parts) > 1 and flags[0] == flags[-1]:
        parts = [np.r_[parts[-1], parts[0]], *parts[1:-1]]
    return parts


def steady(flags: Ints, points: Floats, closed: bool, shortest_mm: float) -> Ints:
    """Absorb runs of (k,) values shorter than a length into their longer neighbour, shortest first; the ends of an open line stay."""
    if len(flags) < 2 or not (flags[1:] != flags[:-1]).any():
        return flags.copy()
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    width = np.r_[step, np.linalg.norm(points[0] - points[-1]) if closed else 0.0]
    start = np.r_[0, np.flatnonzero(flags[1:] != flags[:-1]) + 1]
    value, length, count, offset = flags[start], np.add.reduceat(width, start), np.diff(np.r_[start, len(flags)]), 0
    while len(value) > 1:
        if closed and value[0] == value[-1]:
            # A closed line is opened where a run begins.
            offset += int(count[0])
            length[-1] += length[0]
            count[-1] += count[0]
            value, length, count = value[1:], length[1:], count[1:]
            continue
        left, right = np.concatenate([length[-1:], length[:-1]]), np.concatenate([length[1:], length[:1]])
        if not closed:
            left[0] = right[-1] = -1.0
        least = (length < shortest_mm) & (length < left) & (length <= right)
        if not closed:
            least[[0, -1]] = False
        if not least.any():
            k = int(np.argmin(length if closed or len(value) == 2 else np.concatenate([[np.inf], length[1:-1], [np.inf]])))
            if length[k] >= shortest_mm:
                break
            least[k] = True
        before, after = np.concatenate([value[-1:], value[:-1]]), np.concatenate([value[1:], value[:1]])
        value = np.where(least, np.where(left >= right, before, after), value)
        first = np.flatnonzero(np.concatenate([[True], value[1:] != value[:-1]]))
        value, length, count = value[first], np.add.reduceat(length, first), np.add.reduceat(count, first)
    return np.roll(np.repeat(value, count), offset)


def even(points: Floats, closed: bool, step_mm: float) -> tuple[Floats, Ints]:
    """Points at even distances of about step_mm along a polyline (ends kept), and for each the number of the nearest given point."""
    ring = np.vstack([points, points[:1]]) if closed else points
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    count = max(int(round(along[-1] / step_mm)), 4 if closed else 1)
    s = np.linspace(0.0, along[-1], count + 1)[: count if closed else count + 1]
    fresh = np.column_stack([np.interp(s, along, ring[:, k]) for k in range(3)])
    right = np.clip(np.searchsorted(along, s), 1, len(along) - 1)
    near = np.where(s - along[right - 1] < along[right] - s, right - 1, right)
    return fresh, near % len(points)


def stiff_line(points: Floats, closed: bool, step_mm: float, length_mm: Floats) -> Floats:
    """Evenly spaced points (k, 3) freed of whatever wiggles faster than a length (k,), as a standard deviation in mm; open ends stay.

    A smoothing spline: the points pull, the second difference resists. Arcs keep their size, and the length may change along the line.
    Its gain 1 / (1 + s w^4) at a frequency w falls to a half where that of two Gaussian passes does (1.57 over the length).
    """
    k = len(points)
    if k < 5:
        return points
    # A closed line goes on past its seam as far as that is felt.
    over = min(k, int(np.ceil(6.0 * float(length_mm.max()) / step_mm))) if closed else 0
    around = np.arange(-over, k + over) % k
    # Where a line has to bend, the stiff stretch beside it must not pull the bend away: stiffness grows slowly from there.
    length, way = length_mm[around], _GROWTH * step_mm * np.arange(len(around))
    length = np.minimum(np.minimum.accumulate(length - way) + way, (np.minimum.accumulate((length + way)[::-1]))[::-1] - way)
    stiff = (0.638 * length / step_mm) ** 4
    bend = 0.5 * (stiff[1:-1] + np.minimum(stiff[:-2], stiff[2:]))
    bands = np.zeros((3, len(around)))
    bands[2] = 1.0
    bands[2, :-2] += bend
    bands[2, 1:-1] += 4.0 * bend
    bands[2, 2:] += bend
    bands[1, 1:-1] -= 2.0 * bend
    bands[1, 2:] -= 2.0 * bend
    bands[0, 2:] = bend
    right = points[around].copy()
    if not closed:
        bands[2, [0, -1]] += _PIN
        right[[0, -1]] *= 1.0 + _PIN
    return np.asarray(solveh_banded(bands, right, check_finite=False)[over : over + k])
