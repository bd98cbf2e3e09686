"""Nearest of many small pieces of border, proved nearest."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Ints

# Candidates tried at a time; the next number only for points whose nearest piece is not yet proved.
_NEIGHBOURS = (12, 48, 192)


class Border(Protocol):
    """Pieces of border in the plane."""

    @property
    def centres(self) -> Floats:
        """(k, 2) a point of each piece."""

    @property
    def reach(self) -> float:
        """No part of a piece is farther than this from its centre."""

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k, c) and nearest point (k, c, 2) from points (k, 3) to pieces (k, c)."""


def nearest_border(border: Border, points: Floats, best: Floats, at: Floats) -> None:
    """Lower best (k,), and move at (k, 2), where a piece of border is nearer to points (k, 3) in the plane than best says."""
    if not len(border.centres) or not len(points):
        return
    total = len(border.centres)
    tree = cKDTree(border.centres, leafsize=16, balanced_tree=False, compact_nodes=False)
    todo = np.arange(len(points))
    # With a distance in hand one look tells most points that this border is too far.
    for k in (*((1,) if np.isfinite(best).any() else ()), *_NEIGHBOURS, total):
        k = min(k, total)
        unproved = []
        chunk = max(1, 2_000_000 // k)
        for s in range(0, len(todo), chunk):
            part = todo[s : s + chunk]
            far, index = tree.query(points[part, :2], k=k)
            far, index = far.reshape(len(part), k), index.reshape(len(part), k)
            distance, where = border.measure(points[part], index)
            choice = np.argmin(distance, axis=1)
            row = np.arange(len(part))
            found = distance[row, choice]
            gain = found < best[part]
            best[part[gain]], at[part[gain]] = found[gain], where[row, choice][gain]
            unproved.append(part[best[part] > far[:, -1] - border.reach])
        todo = np.concatenate(unproved)
        if k == total or not len(todo):
            return
