"""Nearest of many small pieces of border, proved nearest: every piece whose frame comes near enough is measured.

The plane is cut into square cells and, by height, into slabs; each cell of each slab lists the pieces whose frame covers it. All that
lies within so many cells of a point is then a few runs of one list. No tree is grown, and nothing is left to be proved afterwards.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from ..mesh import Floats, Ints

# Slabs of height repeat after so many: pieces that far above or below cost a look at their heights, and the lists stay short.
SLABS = 16
# So many pairs of point and piece at a time, and so many cells at most: on something much larger than a cast cells are larger.
_CHUNK, _MOST_CELLS = 400_000, 500_000


class Frames(NamedTuple):
    """Frames of pieces: (k,) lowest and highest x, y of each, and the heights between which it counts; mm."""

    x0: Floats
    x1: Floats
    y0: Floats
    y1: Floats
    bottom: Floats
    top: Floats

    def of(self, some: Ints) -> Frames:
        """Those of some pieces."""
        return Frames(*(each[some] for each in self))


class Border(Protocol):
    """Pieces of border of the free space, in the path frame."""

    @property
    def frames(self) -> Frames:
        """Frame of each piece."""

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) and nearest point (k, 2) from each of (k, 3) points to one piece (k,), infinite where it does not count."""


class Lattice:
    """Cells over points (k, 3) and so many cells around them.

    cell, slab : least size, mm
    """

    def __init__(self, points: Floats, cell: float, slab: float, rings: int) -> None:
        wide, deep = (float(np.ptp(points[:, k])) for k in (0, 1))
        cell = max(cell, float(np.sqrt(wide * deep / _MOST_CELLS)), max(wide, deep) / _MOST_CELLS)
        self.cell, self.slab, self.rings = cell, slab, rings
        self.low = [float(points[:, k].min()) - (rings * cell if k < 2 else 0.0) for k in range(3)]
        high = [float(points[:, k].max()) + (rings * cell if k < 2 else 0.0) for k in range(3)]
        self.shape = tuple(int((high[k] - self.low[k]) / cell) + 1 for k in (0, 1))
        self.deepest = int((high[2] - self.low[2]) / slab)

    def place(self, x: Floats, axis: int) -> Ints:
        """Number of the row of cells along one axis, or of the slab; out of range beside the lattice."""
        step = self.slab if axis == 2 else self.cell
        limit = 2.0 + (self.deepest if axis == 2 else self.shape[axis])  # what lies far out is as good as just outside
        return np.asarray(np.floor(np.clip((x - self.low[axis]) * (1.0 / step), -2.0, limit)), dtype=np.int32)


def _ranges(count: Ints) -> tuple[Ints, Ints]:
    """For k things of count (k,) parts each: whose each part is, and its number among that thing's parts."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)


class _Lists:
    """The pieces of each cell of each slab, one after the other."""

    def __init__(self, frames: Frames, lattice: Lattice) -> None:
        nx, ny = lattice.shape
        spans = []
        for axis, (start, end) in enumerate(((frames.x0, frames.x1), (frames.y0, frames.y1), (frames.bottom, frames.top))):
            last = (nx - 1, ny - 1, lattice.deepest)[axis]
            spans.append((np.maximum(lattice.place(start, axis), 0), np.minimum(lattice.place(end, axis), last)))
        (x0, x1), (y0, y1), (z0, z1) = spans
        z1 = np.minimum(z1, z0 + (SLABS - 1))
        inner = np.flatnonzero((x0 <= x1) & (y0 <= y1) & (z0 <= z1))
        x0, x1, y0, y1, z0, z1 = (each[inner] for each in (x0, x1, y0, y1, z0, z1))
        tall, wide = z1 - z0 + 1, y1 - y0 + 1
        owner, k = _ranges(tall * wide * (x1 - x0 + 1))
        k, z = np.divmod(k, tall[owner])
        x, y = np.divmod(k, wide[owner])
        key = (((z0[owner] + z) % SLABS) * nx + x0[owner] + x) * ny + y0[owner] + y
        self.pieces = inner[owner[np.argsort(key, kind="stable")]]
        self.first = np.zeros(SLABS * nx * ny + 1, dtype=np.int64)
        np.cumsum(np.bincount(key, minlength=SLABS * nx * ny), out=self.first[1:])


def nearest_border(border: Border, lattice: Lattice, points: Floats, best: Floats, at: Floats, todo: Ints) -> None:
    """Lower best (k,), and move at (k, 2), where a piece within the lattice's rings of some points (k, 3) is nearer than best says."""
    frames = border.frames
    if not len(todo) or not len(frames.top):
        return
    lists = _Lists(frames, lattice)
    nx, ny = lattice.shape
    rows = np.arange(-lattice.rings, lattice.rings + 1, dtype=np.int32)
    x, y, z = (lattice.place(points[todo, axis], axis) for axis in range(3))
    base = (z % SLABS) * nx
    row = np.clip(x[:, None] + rows, 0, nx - 1) + base[:, None]  # points on the last border only: a row met twice does no harm
    begin = lists.first[row * ny + np.maximum(y - lattice.rings, 0)[:, None]]
    count = lists.first[row * ny + np.minimum(y + lattice.rings, ny - 1)[:, None] + 1] - begin
    each = count.sum(axis=1)
    for part in np.split(np.arange(len(todo)), np.flatnonzero(np.diff(np.cumsum(each) // _CHUNK)) + 1):
        run, k = _ranges(count[part].reshape(-1))
        if not len(run):
            continue
        piece = lists.pieces[begin[part].reshape(-1)[run] + k]
        who = todo[part[run // len(rows)]]
        height = points[who, 2]
        keep = np.flatnonzero((frames.bottom[piece] < height) & (frames.top[piece] >= height))
        _lower(border, points, best, at, who[keep], piece[keep])


def _lower(border: Border, points: Floats, best: Floats, at: Floats, who: Ints, pieces: Ints) -> None:
    """Measure pairs of point and piece (k,), the pairs of a point together, and keep what is nearer."""
    if not len(who):
        return
    frames = border.frames
    x, y = points[who, 0], points[who, 1]
    dx = np.maximum(np.maximum(frames.x0[pieces] - x, x - frames.x1[pieces]), 0.0)
    dy = np.maximum(np.maximum(frames.y0[pieces] - y, y - frames.y1[pieces]), 0.0)
    apart = dx * dx + dy * dy
    first = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
    # The piece whose frame is nearest comes first of each point: it leaves few of the others.
    closest = apart == np.repeat(np.minimum.reduceat(apart, first), np.diff(np.r_[first, len(who)]))
    for some in (closest, ~closest):
        near = np.flatnonzero(some & (apart < best[who] ** 2))
        if len(near):
            _measure(border, points, best, at, who[near], pieces[near])


def _measure(border: Border, points: Floats, best: Floats, at: Floats, who: Ints, pieces: Ints) -> None:
    distance, where = border.measure(points[who], pieces)
    first = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
    least = np.minimum.reduceat(distance, first)
    gain = np.flatnonzero((distance == np.repeat(least, np.diff(np.r_[first, len(who)]))) & (distance < best[who]))
    best[who[gain]], at[who[gain]] = distance[gain], where[gain]
