"""Nearest of many small pieces of border, proved nearest.

Each piece has spots so dense that none of its places is farther than a reach from one of them. A tree gives the spots nearest to a point,
and their pieces are measured exactly; what is left farther off than the nearest piece and the reach cannot be nearer. Where that is not
proved yet, more spots are asked for. A tree fits itself to whatever lies far apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Ints
from ..parallel import side_by_side

# So many spots are asked for at first, so many times as many where that did not do.
_FIRST, _MORE = 12, 3
# Where that grows to many pairs, points are parted into so many groups by height; each is searched alone if fewer spots count for it.
_MANY, _GROUPS, _FEWER = 40_000, 4, 0.7
# So many pairs of point and spot at a time; a second thread pays from so many points on.
_CHUNK, _SHARE = 400_000, 3_000


class Heights(NamedTuple):
    """(k,) between which heights each piece counts, mm."""

    bottom: Floats
    top: Floats


class Spots(NamedTuple):
    """Spots of pieces.

    at : (s, 2) plane or (s, 3), mm; pieces : (s,) whose each is; reach : (s,) how far each stands for its piece, mm: no place of a piece is
    farther than that from some spot of it
    """

    at: Floats
    pieces: Ints
    reach: Floats

    def of(self, some: Ints) -> Spots:
        """Some of them."""
        return Spots(self.at[some], self.pieces[some], self.reach[some])


class Border(Protocol):
    """Pieces of border of the free space, in the path frame."""

    @property
    def heights(self) -> Heights:
        """Between which heights each piece counts."""

    @property
    def spots(self) -> Sequence[Spots]:
        """Spots of all pieces, those of large pieces apart from those of small ones."""

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) and nearest point (k, 2) from each of (k, 3) points to one piece (k,), infinite where it does not count."""


def parts_of(count: Ints) -> tuple[Ints, Ints]:
    """For k things of count (k,) parts each: whose each part is, and its number among that thing's parts."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)


def nearest_border(border: Border, points: Floats, best: Floats, at: Floats, todo: Ints, stretch: float = 1.0) -> None:
    """Lower best (k,), and move at (k, 2), where a piece is nearer to some points (k, 3) than best says.

    stretch : differences of height count so many times; where distances are much longer than pieces are high, that finds them sooner
    """
    shares = np.array_split(todo, max(1, min(2, len(todo) // _SHARE)))
    for spots in border.spots:
        if len(spots.at) and len(todo):
            search = _Search(border, spots, stretch, points, best, at)
            list(side_by_side(search.run, shares, most=2)) if len(shares) > 1 else search.run(todo)


class _Search:
    """One tree of spots; best and at are written to."""

    def __init__(self, border: Border, spots: Spots, stretch: float, points: Floats, best: Floats, at: Floats) -> None:
        self.border, self.spots, self.points, self.best, self.at = border, spots, points, best, at
        self.stretch = np.array([1.0, 1.0, stretch])[: spots.at.shape[1]]
        self.tree = cKDTree(spots.at * self.stretch, balanced_tree=False)
        self.reach = spots.reach * float(self.stretch.max())
        self.slack = float(self.reach.max())

    def run(self, todo: Ints, count: int = _FIRST) -> None:
        """Search around points by number, with so many spots at first."""
        whole = len(self.spots.at)
        while True:
            count = min(count, whole)
            todo = np.concatenate([self._look(part, count) for part in np.array_split(todo, 1 + len(todo) * count // _CHUNK)])
            if not len(todo) or count == whole:
                return
            if count > _FIRST and len(todo) * count > _MANY:
                break
            count *= _MORE
        ordered, counts = todo[np.argsort(self.points[todo, 2], kind="stable")], self.border.heights
        for group in np.array_split(ordered, _GROUPS):
            low, high = self.points[group[0], 2], self.points[group[-1], 2]
            some = np.flatnonzero((counts.bottom[self.spots.pieces] < high) & (counts.top[self.spots.pieces] >= low))
            if len(some) < _FEWER * whole:
                if len(some):
                    _Search(self.border, self.spots.of(some), float(self.stretch[-1]), self.points, self.best, self.at).run(group)
            else:
                self.run(group, count * _MORE)

    def _look(self, todo: Ints, count: int) -> Ints:
        """Measure what has one of so many spots nearest to points; the points (k,) by number that this does not settle."""
        if not len(todo):
            return todo
        bound = float(self.best[todo].max()) + self.slack
        at = self.points[todo, : len(self.stretch)] * self.stretch
        away, spot = self.tree.query(at, k=np.arange(1, count + 1), distance_upper_bound=bound)
        row, column = np.nonzero(away < (self.best[todo] + self.slack)[:, None])
        who, spot, away_from = todo[row], spot[row, column], away[row, column]
        piece, height, counts = self.spots.pieces[spot], self.points[who, 2], self.border.heights
        keep = np.flatnonzero((counts.bottom[piece] < height) & (counts.top[piece] >= height))
        who, piece, least = who[keep], piece[keep], away_from[keep] - self.reach[spot[keep]]
        # The piece of the nearest spot comes first of each point: it leaves few of the others.
        first = np.r_[True, who[1:] != who[:-1]][: len(who)]
        for turn in (first, ~first):
            some = np.flatnonzero(turn & (least < self.best[who]))
            if len(some):
                self._measure(who[some], piece[some])
        return todo[away[:, -1] < self.best[todo] + self.slack]

    def _measure(self, who: Ints, pieces: Ints) -> None:
        """Measure pairs of point and piece (k,), the pairs of a point together, and keep what is nearer."""
        distance, where = self.border.measure(self.points[who], pieces)
        first = np.flatnonzero(np.r_[True, who[1:] != who[:-1]])
        least = np.minimum.reduceat(distance, first)
        gain = np.flatnonzero((distance == np.repeat(least, np.diff(np.r_[first, len(who)]))) & (distance < self.best[who]))
        self.best[who[gain]], self.at[who[gain]] = distance[gain], where[gain]
