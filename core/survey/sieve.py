"""A coarse sieve: which points could have, within a distance, a piece of the surface at their own height, and which faces that could be.

Space is cut into cells in the plane and slabs of height; the slabs that faces pass through in a cell are bits of one number. Spread to the
cells around, they tell of most points that nothing is near, by looking up one bit. What passes is measured exactly elsewhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..mesh import Bools, Floats, Ints

# So many cells span the farthest distance; slabs are at least so high (mm) and fit into the bits of one number.
_RINGS, _SLAB_MM, _SLABS = 5, 0.15, 62

_Bits = NDArray[np.uint64]


class _Grid:
    """Cells (x, y) and slabs around points (k, 3), so large that what is farther than a distance from all of them may be left out."""

    def __init__(self, points: Floats, far: float) -> None:
        self.cell = far / _RINGS
        self.low = points.min(axis=0) - [far, far, 0.0]
        span = points.max(axis=0) + [far, far, 0.0] - self.low
        self.shape = ((span[:2] / self.cell).astype(np.int64) + 1).tolist()
        self.slab = max(_SLAB_MM, float(span[2]) / (_SLABS - 1))

    def place(self, x: Floats, axis: int) -> Ints:
        """Number of the row of cells along one axis, or of the slab; out of range beside the grid."""
        return np.asarray(np.floor((x - self.low[axis]) * (1.0 / (self.slab if axis == 2 else self.cell))), dtype=np.int64)

    def spread(self, bits: _Bits, rings: int) -> _Bits:
        """Each cell with the bits of all within so many cells of it."""
        grid = bits.reshape(self.shape)
        for axis in (0, 1):
            grid = np.moveaxis(grid, axis, 0)
            out = grid.copy()
            for k in range(1, rings + 1):
                out[k:] |= grid[:-k]
                out[:-k] |= grid[k:]
            grid = np.moveaxis(out, 0, axis)
        return np.ascontiguousarray(grid).reshape(-1)


def sift(points: Floats, far: Floats, vertices: Floats, corners: Ints, allowed: Bools) -> tuple[Ints, Ints]:
    """Of points (k, 3), those that may have a face at their height within far (k,), and the faces that may be it, by number.

    vertices : (n, 3), path frame; corners : (3, m) of faces; allowed : (m,) faces that count
    """
    grid = _Grid(points, float(far.max()))
    cell = grid.place(points[:, 0], 0) * grid.shape[1] + grid.place(points[:, 1], 1)
    bit = np.left_shift(np.uint64(1), np.clip(grid.place(points[:, 2], 2), 0, _SLABS).astype(np.uint64))
    rings = np.clip(np.ceil(far / grid.cell + 1e-9), 1, _RINGS + 1).astype(np.int64)

    faces, inside, slabs = _faces_near(grid, cell, vertices, corners, allowed)
    owner, at = _cells_of(grid, faces, inside)
    there = _gathered(grid, at, slabs[owner])
    kept = np.zeros(len(points), dtype=bool)
    for ring in range(1, int(rings.max()) + 1):
        there = grid.spread(there, 1)
        some = np.flatnonzero(rings == ring)
        kept[some] = (there[cell[some]] & bit[some]) != 0
    # The other way round: of the faces, those whose cells and slabs such a point can reach.
    asked = grid.spread(_gathered(grid, cell[kept], bit[kept]), int(rings[kept].max(initial=0)))
    hit = np.zeros(len(faces), dtype=bool)
    hit[owner[(asked[at] & slabs[owner]) != 0]] = True
    return np.flatnonzero(kept), faces[hit]


def _gathered(grid: _Grid, cell: Ints, bits: _Bits) -> _Bits:
    """All bits of each cell."""
    out = np.zeros(grid.shape[0] * grid.shape[1], dtype=np.uint64)
    np.bitwise_or.at(out, cell, bits)
    return out


_Ends = tuple[Ints, Ints, Ints, Ints]


def _faces_near(grid: _Grid, cell: Ints, vertices: Floats, corners: Ints, allowed: Bools) -> tuple[Ints, _Ends, _Bits]:
    """Allowed faces over or beside the points' cells, the first and last cell of each along both axes, and their slabs."""
    mark = np.zeros(grid.shape[0] * grid.shape[1], dtype=np.uint64)
    mark[cell] = 1
    full = np.pad(grid.spread(mark, _RINGS + 1).reshape(grid.shape).astype(bool), 1)
    x, y = (np.clip(grid.place(vertices[:, k], k), -1, grid.shape[k]) for k in (0, 1))
    # Small faces have a corner in a marked cell; large ones may lie over marked cells with all corners outside, so they are all taken.
    near = full[x + 1, y + 1]
    a, b, c = corners
    wide = np.maximum(np.abs(x[a] - x[b]), np.abs(y[a] - y[b])) + np.maximum(np.abs(x[a] - x[c]), np.abs(y[a] - y[c])) > 2
    faces = np.flatnonzero(allowed & (near[a] | near[b] | near[c] | wide))
    z = [vertices[v[faces], 2] for v in corners]
    low, high = (grid.place(pick(pick(z[0], z[1]), z[2]), 2) for pick in (np.minimum, np.maximum))
    keep = np.flatnonzero((high >= 0) & (low <= _SLABS))
    faces, low, high = faces[keep], np.clip(low[keep], 0, _SLABS).astype(np.uint64), np.clip(high[keep], 0, _SLABS).astype(np.uint64)
    one = np.uint64(1)
    slabs = np.left_shift(one, high + one) - np.left_shift(one, low)
    ends = []
    for axis, along in enumerate((x, y)):
        at = [along[v[faces]] for v in corners]
        for pick in (np.minimum, np.maximum):
            ends.append(np.clip(pick(pick(at[0], at[1]), at[2]), 0, grid.shape[axis] - 1))
    return faces, (ends[0], ends[1], ends[2], ends[3]), slabs


def _cells_of(grid: _Grid, faces: Ints, ends: _Ends) -> tuple[Ints, Ints]:
    """Every cell (c,) that the frames of faces cover, and whose it is (c,) in the list of faces."""
    x0, x1, y0, y1 = ends
    wide, count = y1 - y0 + 1, (x1 - x0 + 1) * (y1 - y0 + 1)
    owner = np.repeat(np.arange(len(faces)), count)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    i, j = np.divmod(k, wide[owner])
    return owner, (x0[owner] + i) * grid.shape[1] + y0[owner] + j
