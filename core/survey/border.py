"""Nearest of many small pieces of border, proved nearest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Ints

# So many pairs of point and piece at a time, and so many points.
_CHUNK, _TOGETHER = 400_000, 2_000


class Border(Protocol):
    """Pieces of border in the plane or in space."""

    @property
    def centres(self) -> Floats:
        """(k, 2) or (k, 3) a point of each piece."""

    @property
    def reach(self) -> float:
        """No part of a piece is farther than this from its centre."""

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) and nearest point (k, 2) from each of (k, 3) points to one piece (k,)."""


def nearest_border(border: Border, points: Floats, best: Floats, at: Floats, todo: Ints, tries: Sequence[int]) -> Ints:
    """Lower best (k,), and move at (k, 2), where a piece of border is nearer to points (k, 3) than best says.

    todo : which of the points; tries : how many candidates at a time, the next number only for points whose nearest piece is not yet
    proved. Returns those that no try has proved; none once all pieces were tried.
    """
    total, dimension = len(border.centres), border.centres.shape[1]
    if not total:
        return todo[:0]
    tree = cKDTree(border.centres, leafsize=16, balanced_tree=False, compact_nodes=False)
    # In order of what is in hand already: then one bound serves many, and a search that must come out empty ends early.
    todo = todo[np.argsort(best[todo], kind="stable")]
    for k in tries:
        k = min(k, total)
        unproved = [todo[:0]]
        chunk = max(1, min(_CHUNK // k, _TOGETHER))
        for s in range(0, len(todo), chunk):
            part = todo[s : s + chunk]
            bound = float(best[part].max()) + border.reach
            far, index = tree.query(points[part, :dimension], k=k, distance_upper_bound=bound)
            index = np.minimum(index, total - 1)  # where fewer than k lie within the bound
            far, index = far.reshape(len(part), k), index.reshape(len(part), k)
            # Only candidates that can still be nearer are measured; the first of each point leaves few of the others.
            first = np.flatnonzero(far[:, 0] - border.reach < best[part])
            _lower(border, points, best, at, part[first], index[first, 0])
            row, column = np.nonzero(far[:, 1:] - border.reach < best[part][:, None])
            _lower(border, points, best, at, part[row], index[row, column + 1])
            unproved.append(part[best[part] > far[:, -1] - border.reach])
        todo = np.concatenate(unproved)
        if k == total or not len(todo):
            return todo[:0]
    return todo


def _lower(border: Border, points: Floats, best: Floats, at: Floats, who: Ints, pieces: Ints) -> None:
    """Measure pairs of point and piece (k,) and keep what is nearer."""
    distance, where = border.measure(points[who], pieces)
    gain = np.flatnonzero(distance < best[who])
    gain = gain[np.argsort(-distance[gain], kind="stable")]  # a point's nearest is written last
    best[who[gain]], at[who[gain]] = distance[gain], where[gain]
