"""The seen surface as a border of the shadow: where it passes below a hidden point's own height (see shadow.py).

Near most hidden points there is none: a wall below the height of contour is farther from what is seen at its own height than from the rod.
A coarse sieve (sieve.py) tells those points beforehand, and the faces that the others could meet. Faces that are seen in part only are
cut up, and the seen cuttings count.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Ints
from .border import Heights, Spots, nearest_border
from .path import Path
from .scene import CLEAR_MM, VERTICAL, RayScene, halved, reach_of
from .sieve import Surface, sift

# No slope is looked for farther than this (mm): deeper than it, only rims count (undersides of casts).
FAR_MM = 8.0
# Points by how far a slope may count for them (mm): size of the cells and slabs of their sieve, and how much heights count in the search.
_CLASSES = ((0.0, 1.0, 0.2, 0.15, 1.0), (1.0, FAR_MM, 0.8, 0.4, 8.0))
# Faces are told apart by these reaches of their centres (mm); larger ones are halved until their parts reach no farther than the last.
_REACHES_MM = (0.04, 0.08, 0.15, 0.3)
# A face that is seen in part is cut into pieces about so long (mm), but along no side into more than so many. On a floor nearly across the
# path a piece's own height decides over millimetres of depth: there smaller ones are needed.
_COARSE, _FINE = (0.12, 8), (0.03, 24)
_TOUCH_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Slopes:
    """Seen, upward faces in the path frame.

    corners : (f, 3, 3) mm
    cut : whether they are cuttings; the points are hidden, so one that touches them is seen at its middle, not there
    """

    corners: Floats
    cut: bool = False

    @cached_property
    def heights(self) -> Heights:
        """Between which heights each face has a level line."""
        a, b, c = self.corners[:, 0, 2], self.corners[:, 1, 2], self.corners[:, 2, 2]
        return Heights(np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c))

    @cached_property
    def spots(self) -> tuple[Spots, ...]:
        """Centres of the faces, and of the parts of large ones."""
        centre, reach = reach_of(self.corners)
        step = np.searchsorted(_REACHES_MM, reach)
        sizes = [np.flatnonzero(step == k) for k in range(len(_REACHES_MM) + 1)]
        owner, at = halved(self.corners[sizes[-1]], _REACHES_MM[-1])
        whole = [Spots(centre[some], some, reach[some]) for some in sizes[:-1]]
        return *whole, Spots(at, sizes[-1][owner], np.full(len(at), _REACHES_MM[-1]))

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) from points (k, 3) to the level line at their height in faces (k,), which has one; nearest point (k, 2)."""
        corners = self.corners[index]
        distance, where = _to_level(points[:, :2], corners[:, :, :2], corners[:, :, 2] - points[:, 2:3])
        return np.where(distance < _TOUCH_MM, np.inf, distance) if self.cut else distance, where


@dataclass(frozen=True, eq=False)
class Seen:
    """The seen surface, from which the slopes near some points are taken.

    points : (n, 3) vertices in the path frame; facing : (m,) face normals times path; visible : (n,)
    """

    scene: RayScene
    path: Path
    points: Floats
    facing: Floats
    visible: Bools

    def lower(self, points: Floats, best: Floats, at: Floats) -> None:
        """Lower best (k,), and move at (k, 2), where the seen surface passes nearer through the height of points (k, 3) than best says."""
        for above, far, cell, slab, stretch in _CLASSES:
            some = np.flatnonzero((best > above) & (best <= far))
            if len(some):
                kept, faces = sift(points[some], best[some], self.surface, cell, slab)
                some = some[kept]
                shown = self.visible[self.scene.corners[:, faces]].all(axis=0)
                nearest_border(Slopes(self._corners(faces[shown])), points, best, at, some, stretch)
                self._lower_by_parts(faces[~shown], points, best, at, some, stretch)

    def _lower_by_parts(self, faces: Ints, points: Floats, best: Floats, at: Floats, some: Ints, stretch: float) -> None:
        """The same by faces that are seen in part, cut up; finer where much hangs on a cutting whose nearest place turns out hidden."""
        corners, before, where = self._corners(faces), best[some], at[some]
        nearest_border(Slopes(self._seen_cuttings(corners, *_COARSE), True), points, best, at, some, stretch)
        asked = np.flatnonzero(before - best[some] > _COARSE[0])
        spots = np.column_stack([at[some[asked]], points[some[asked], 2] + CLEAR_MM])
        asked = asked[self.scene.occluded(spots @ self.path.rotation, self.path.vector)]
        if not len(asked):
            return
        again = some[asked]
        best[again], at[again] = before[asked], where[asked]
        centre, reach = reach_of(corners)
        close = cKDTree(points[again]).query_ball_point(centre, reach + float(best[again].max()), return_length=True) > 0
        nearest_border(Slopes(self._seen_cuttings(corners[close], *_FINE), True), points, best, at, again, stretch)

    @cached_property
    def surface(self) -> Surface:
        """What the sieve needs of the faces that count."""
        return Surface(self.points, self.scene.corners, self.upward, self.scene.tiers)

    @cached_property
    def upward(self) -> Bools:
        """(m,) faces that look up and are seen at a corner at least."""
        a, b, c = self.scene.corners
        return np.asarray((self.facing > VERTICAL) & (self.visible[a] | self.visible[b] | self.visible[c]))

    def _corners(self, faces: Ints) -> Floats:
        return np.stack([self.points[v] for v in self.scene.corners[:, faces]], axis=1)

    def _seen_cuttings(self, corners: Floats, size: float, most: int) -> Floats:
        """Triangles (k, 3, 3) cut into like ones about so long (mm), no side into more than so many; those whose middle the path sees."""
        longest = np.max([np.linalg.norm(corners[:, k] - corners[:, k - 1], axis=1) for k in range(3)], axis=0, initial=0.0)
        count = np.clip(np.ceil(longest / size), 1, most).astype(np.int64)
        cut = np.concatenate([(_cutting(n) @ corners[count == n][:, None]).reshape(-1, 3, 3) for n in range(1, most + 1)])
        # The faces look up: straight up is outward.
        return cut[~self.scene.occluded((cut.mean(axis=1) + [0.0, 0.0, CLEAR_MM]) @ self.path.rotation, self.path.vector)]


@lru_cache(maxsize=_FINE[1])
def _cutting(count: int) -> Floats:
    """(count^2, 3, 3) shares of a triangle's corners in the corners of the like triangles that it is cut into."""
    found = []
    for i in range(count):
        for j in range(count - i):
            found.append([(i, j), (i + 1, j), (i, j + 1)])
            if i + j < count - 1:
                found.append([(i + 1, j), (i + 1, j + 1), (i, j + 1)])
    share = np.array(found) / count
    return np.concatenate([1.0 - share.sum(axis=2, keepdims=True), share], axis=2)


def _to_level(p: Floats, corners: Floats, h: Floats) -> tuple[Floats, Floats]:
    """Distance from (k, 2) points to the segment where each triangle (k, 3, 2) has height zero, heights (k, 3); and nearest point."""
    below = h < 0.0
    # The corner alone on its side of the level; the segment joins the two edges that leave it.
    lone = np.where(below.sum(axis=1) == 1, np.argmax(below, axis=1), np.argmin(below, axis=1))
    row = np.arange(len(p))
    ends = []
    for turn in (1, 2):
        other = (lone + turn) % 3
        t = h[row, lone] / (h[row, lone] - h[row, other])
        ends.append(corners[row, lone] + t[:, None] * (corners[row, other] - corners[row, lone]))
    side, away = ends[1] - ends[0], p - ends[0]
    t = np.einsum("ij,ij->i", away, side) / np.maximum(np.einsum("ij,ij->i", side, side), 1e-18)
    offset = away - np.clip(t, 0.0, 1.0)[:, None] * side
    return np.linalg.norm(offset, axis=1), p - offset
