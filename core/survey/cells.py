"""Points by the cell of space they lie in, sorted once a cast: which of them are near some others, without asking all."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Ints

_MOST_CELLS = 2_000_000


class Cells:
    """Points in space by cell.

    points : (k, 3) mm; size_mm : edge of a cell, larger where the points spread very far
    """

    def __init__(self, points: Floats, size_mm: float) -> None:
        low, high = points.min(axis=0), points.max(axis=0)
        self._size = max(size_mm, float(np.prod(high - low + size_mm) / _MOST_CELLS) ** (1.0 / 3.0))
        self._low = low
        self._shape = ((high - low) / self._size).astype(np.int64) + 1
        x, y, z = ((points - low) / self._size).astype(np.int64).T
        flat = (x * self._shape[1] + y) * self._shape[2] + z
        order = np.argsort(flat, kind="stable")
        self._numbers = order
        self._first = np.searchsorted(flat[order], np.arange(int(np.prod(self._shape)) + 1)).astype(np.int32)

    def near(self, points: Floats, far_mm: float) -> Ints:
        """The numbers of all that lie within a distance of one of (k, 3) points, and of some that do not."""
        ring = int(np.ceil(far_mm / self._size))
        shape = self._shape + 2 * ring
        stride = np.array([shape[1] * shape[2], shape[2], 1])
        place = np.floor((points - self._low) / self._size).astype(np.int64) + ring
        inner = ((place >= ring) & (place < ring + self._shape)).all(axis=1)
        spots = place[inner] @ stride
        # Points outside the grid count through the nearest cells inside it.
        if not inner.all():
            spots = np.r_[spots, np.clip(place[~inner], ring, ring + self._shape - 1) @ stride]
        marked = np.zeros(int(np.prod(shape)), dtype=bool)
        for step in stride:
            marked[(spots[:, None] + step * np.arange(-ring, ring + 1)).reshape(-1)] = True
            spots = np.flatnonzero(marked)
        x, rest = np.divmod(spots, stride[0])
        y, z = np.divmod(rest, stride[1])
        cell = np.stack([x, y, z], axis=1) - ring
        cell = cell[((cell >= 0) & (cell < self._shape)).all(axis=1)]
        cell = (cell[:, 0] * self._shape[1] + cell[:, 1]) * self._shape[2] + cell[:, 2]
        first, count = self._first[cell].astype(np.int64), (self._first[cell + 1] - self._first[cell]).astype(np.int64)
        return self._numbers[np.repeat(first - np.cumsum(count) + count, count) + np.arange(int(count.sum()))]
