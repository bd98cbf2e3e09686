"""Level lines of a scalar on a mesh, chained into ordered polylines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh
from .topology import EdgeTable


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


def level_lines(mesh: Mesh, table: EdgeTable, values: Floats, level: float, allowed: Bools | None = None) -> LevelLines:
    """Cut the faces (m, bool: those allowed) of a mesh where a vertex scalar (n,) equals a level, linear inside each face."""
    v = values - level
    above = v >= 0.0
    i, j = table.vertices.T
    crossed = above[i] != above[j]
    side = above[mesh.faces]
    cut = side.any(axis=1) & ~side.all(axis=1)
    if allowed is not None:
        cut &= allowed
    faces = np.flatnonzero(cut)
    per_face = table.face_edges[faces]
    hit = crossed[per_face]
    pair = per_face[hit].reshape(-1, 2)
    used, segments = np.unique(pair, return_inverse=True)
    a, b = i[used], j[used]
    t = v[a] / (v[a] - v[b])
    points = mesh.vertices[a] + t[:, None] * (mesh.vertices[b] - mesh.vertices[a])
    return LevelLines(points, used, t, segments.reshape(-1, 2), faces)


def chains(segments: Ints, count: int) -> list[tuple[Ints, bool]]:
    """Order segments between count nodes into polylines: node numbers, and whether the line is closed.

    Nodes where more than two segments meet (non-manifold edges) end a line.
    """
    if not len(segments):
        return []
    degree = np.bincount(segments.reshape(-1), minlength=count)
    links: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    for s, (a, b) in enumerate(segments.tolist()):
        links[a].append((b, s))
        links[b].append((a, s))
    used = bytearray(len(segments))
    ends = np.flatnonzero((degree != 2) & (degree > 0)).tolist()
    result: list[tuple[Ints, bool]] = []
    for start in ends:
        for first in links[start]:
            if not used[first[1]]:
                result.append((np.array(_walk(start, first, links, used, degree)), False))
    for s, (a, _) in enumerate(segments.tolist()):
        if not used[s]:
            walk = _walk(a, links[a][0], links, used, degree)
            result.append((np.array(walk[:-1]), True))
    return result


def _walk(start: int, first: tuple[int, int], links: list, used: bytearray, degree: Ints) -> list[int]:
    path = [start]
    node, segment = first
    while True:
        used[segment] = 1
        path.append(node)
        if node == start or degree[node] != 2:
            return path
        onward = [link for link in links[node] if not used[link[1]]]
        if not onward:
            return path
        node, segment = onward[0]


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
    if len(flags) < 2:
        return flags.copy()
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    width = np.r_[step, np.linalg.norm(points[0] - points[-1]) if closed else 0.0]
    flags, offset = flags.copy(), 0
    while True:
        start = np.r_[0, np.flatnonzero(flags[1:] != flags[:-1]) + 1]
        if closed and len(start) > 1 and flags[0] == flags[-1]:
            # A closed line is opened where a run begins.
            turn = int(start[1])
            flags, width, offset = np.roll(flags, -turn), np.roll(width, -turn), offset + turn
            continue
        if len(start) < 2:
            break
        length = np.add.reduceat(width, start)
        left, right = np.roll(length, 1), np.roll(length, -1)
        if not closed:
            left[0] = right[-1] = -1.0
        least = (length < shortest_mm) & (length < left) & (length <= right)
        if not closed:
            least[[0, -1]] = False
        if not least.any():
            k = int(np.argmin(length if closed or len(start) == 2 else np.r_[np.inf, length[1:-1], np.inf]))
            if length[k] >= shortest_mm:
                break
            least[k] = True
        value = flags[start]
        donor = np.where(left >= right, np.roll(value, 1), np.roll(value, -1))
        flags = np.repeat(np.where(least, donor, value), np.diff(np.r_[start, len(flags)]))
    return np.roll(flags, offset)


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


def smooth_line(points: Floats, closed: bool, step_mm: float, length_mm: float) -> Floats:
    """Gaussian smoothing of evenly spaced points over a standard deviation in mm, without shrinking arcs; open ends stay."""
    if len(points) < 5:
        return points
    sigma = length_mm / step_mm
    reach = min(int(np.ceil(3.0 * sigma)), len(points) - 1)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()

    def once(p: Floats) -> Floats:
        if closed:
            padded = np.vstack([p[-reach:], p, p[:reach]])
        else:
            padded = np.vstack([2.0 * p[0] - p[reach:0:-1], p, 2.0 * p[-1] - p[-2 : -reach - 2 : -1]])
        return np.column_stack([np.convolve(padded[:, k], kernel, mode="valid") for k in range(p.shape[1])])

    first = once(points)
    return 2.0 * first - once(first)
