"""A coarse sieve: which points could have, within a distance, a piece of the surface at their own height, and which faces that could be.

Space is cut into cells in the plane and slabs of height; the slabs of a cell are bits of one number. Cells and slabs that lie a whole
number of them apart share a place, so that a grid stays small whatever it covers: at worst too much passes. Spread to the cells around, the
bits tell of most points that nothing is near, by looking up one. What passes is measured exactly elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh import Bools, Floats, Ints
from .border import parts_of

# So many slabs fit into a number, and so many rows of cells at most into a grid.
_SLABS, _ROWS = 64, 512

_Bits = NDArray[np.uint64]
_ONE, _ALL = np.uint64(1), np.uint64(0xFFFFFFFFFFFFFFFF)


@dataclass(frozen=True, eq=False)
class Surface:
    """What a sieve needs of a surface.

    vertices : (n, 3) mm, path frame; corners : (3, m) of faces; allowed : (m,) faces that count
    tiers : for each, how far any place of its faces is at most from the nearest of their corners (mm, may be infinite), and the faces
    """

    vertices: Floats
    corners: Ints
    allowed: Bools
    tiers: Sequence[tuple[float, Ints]]


class _Grid:
    """Cells and slabs over a surface: size in mm."""

    def __init__(self, vertices: Floats, cell: float, slab: float) -> None:
        self.cell, self.slab = cell, slab
        self.low = [float(vertices[:, k].min()) for k in (0, 1)]
        wide, deep = (min(_ROWS, int((float(vertices[:, k].max()) - self.low[k]) / cell) + 2) for k in (0, 1))
        self.shape = wide, deep

    def column(self, x: Floats, axis: int) -> Ints:
        """Number of the row of cells along one axis, before rows share a place."""
        return np.asarray((x - self.low[axis]) * (1.0 / self.cell), dtype=np.int32)

    def place(self, i: Ints, j: Ints) -> Ints:
        """Number of the cell in a row along x and a row along y."""
        rows, columns = self.shape
        return (i % rows if rows == _ROWS else i) * columns + (j % columns if columns == _ROWS else j)

    def level(self, z: Floats) -> Ints:
        """Number of the slab, before slabs share a bit."""
        return np.asarray(np.floor(z * (1.0 / self.slab)), dtype=np.int64)

    def empty(self) -> _Bits:
        """No slab of any cell."""
        return np.zeros(self.shape[0] * self.shape[1], dtype=np.uint64)

    def spread(self, bits: _Bits, rings: int) -> _Bits:
        """Each cell with the bits of all within so many cells of it, over the border to the other side too."""
        grid = bits.reshape(self.shape)
        for _ in range(rings):
            out = grid.copy()
            out[1:] |= grid[:-1]
            out[:-1] |= grid[1:]
            out[0] |= grid[-1]
            out[-1] |= grid[0]
            grid = out.copy()
            grid[:, 1:] |= out[:, :-1]
            grid[:, :-1] |= out[:, 1:]
            grid[:, 0] |= out[:, -1]
            grid[:, -1] |= out[:, 0]
        return grid.reshape(-1)


def _bit(level: Ints) -> _Bits:
    return np.asarray(level & (_SLABS - 1), dtype=np.uint64)


def _taller(bits: _Bits, slabs: int) -> _Bits:
    """Bits with those of so many slabs above and below."""
    if 2 * slabs + 1 >= _SLABS:
        return np.where(bits != 0, _ALL, np.uint64(0))
    last = np.uint64(_SLABS - 1)
    for _ in range(slabs):
        bits = bits | np.left_shift(bits, _ONE) | np.right_shift(bits, last) | np.right_shift(bits, _ONE) | np.left_shift(bits, last)
    return bits


def sift(points: Floats, far: Floats, surface: Surface, cell: float, slab: float) -> tuple[Ints, Ints]:
    """Of points (k, 3), those that may have a face at their height within far (k,), and the faces that may be it, by number.

    cell, slab : sizes in mm
    """
    grid = _Grid(surface.vertices, cell, slab)
    here = grid.place(grid.column(points[:, 0], 0), grid.column(points[:, 1], 1))
    bit = np.left_shift(_ONE, _bit(grid.level(points[:, 2])))
    rings = np.ceil(far / cell + 1e-9).astype(np.int64)
    most = int(rings.max())
    of_ring = [np.flatnonzero(rings == ring) for ring in range(most + 1)]
    asked = grid.empty()
    for some in reversed(of_ring[1:]):
        np.bitwise_or.at(asked, here[some], bit[some])
        asked = grid.spread(asked, 1)

    faces = _faces_near(grid, asked, surface)
    owner, at, slabs = _cells_of(grid, surface.vertices, surface.corners[:, faces])
    there = grid.empty()
    np.bitwise_or.at(there, at, slabs[owner])
    kept = np.zeros(len(points), dtype=bool)
    for some in of_ring[1:]:
        there = grid.spread(there, 1)
        kept[some] = (there[here[some]] & bit[some]) != 0
    hit = np.zeros(len(faces), dtype=bool)
    hit[owner[(asked[at] & slabs[owner]) != 0]] = True
    return np.flatnonzero(kept), faces[hit]


def _faces_near(grid: _Grid, asked: _Bits, surface: Surface) -> Ints:
    """Faces that count with a corner no farther from an asked slab of a cell than the face may reach."""
    x, y, z = surface.vertices.T
    place, level = grid.place(grid.column(x, 0), grid.column(y, 1)), _bit(grid.level(z))
    found, spread, rings, slabs = [], asked, 0, 0
    for reach, faces in surface.tiers:
        faces = faces[surface.allowed[faces]]
        if np.isfinite(reach):
            wide, tall = int(np.ceil(reach / grid.cell)), int(np.ceil(reach / grid.slab))
            spread = _taller(grid.spread(spread, wide - rings), tall - slabs)
            rings, slabs = wide, tall
            near = (np.right_shift(spread[place], level) & _ONE).astype(bool)
            a, b, c = surface.corners[:, faces]
            faces = faces[near[a] | near[b] | near[c]]
        found.append(faces)
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int64)


def _cells_of(grid: _Grid, vertices: Floats, corners: Ints) -> tuple[Ints, Ints, _Bits]:
    """Every cell (c,) that the frames of faces cover, and whose it is (c,); and the slabs of each face (f,)."""
    ends = []
    for axis in (0, 1):
        a, b, c = (grid.column(vertices[v, axis], axis) for v in corners)
        low = np.minimum(np.minimum(a, b), c)
        # What is wider than the grid is everywhere.
        ends.append((low, np.minimum(np.maximum(np.maximum(a, b), c) - low, grid.shape[axis] - 1) + 1))
    (x, wide), (y, deep) = ends
    owner, k = parts_of(wide.astype(np.int64) * deep)
    i, j = np.divmod(k, deep[owner])
    z = [grid.level(vertices[v, 2]) for v in corners]
    low, high = np.minimum(np.minimum(z[0], z[1]), z[2]), np.maximum(np.maximum(z[0], z[1]), z[2])
    span, turn = np.minimum(high - low + 1, _SLABS).astype(np.uint64), _bit(low)
    run = np.right_shift(_ALL, np.uint64(_SLABS) - span)
    over = np.where(turn > 0, np.right_shift(run, (np.uint64(_SLABS) - turn) & np.uint64(_SLABS - 1)), np.uint64(0))
    return owner, grid.place(x[owner] + i, y[owner] + j), np.left_shift(run, turn) | over
