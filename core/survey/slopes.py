"""The seen surface as a border of the shadow: where it passes below a hidden point's own height (see shadow.py).

A level line at a point's own height is as far from it in space as in the plane. So faces are looked for around the point in space,
where few are near, and none at all near most points: a wall below the height of contour is farther from what is seen than from the rod.
A coarse sieve (sieve.py) tells those points beforehand. Faces that are seen in part only are cut up, and the seen cuttings count.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from ..mesh import Bools, Floats, Ints
from .path import Path, into_path_frame
from .scene import CLEAR_MM, VERTICAL, RayScene
from .sieve import sift

# No slope is looked for farther than this (mm): deeper than it, only rims count (undersides of casts).
FAR_MM = 8.0
# Points by how far a slope may count for them (mm).
NEAR_MM = 1.0
_REACHES_MM = (NEAR_MM, FAR_MM)
# A face that is seen in part is cut into pieces about so long (mm), but along no side into more than so many.
_CUT_MM, _MOST_CUTS = 0.12, 8


@dataclass(frozen=True, eq=False)
class Slopes:
    """Seen, upward faces in the path frame.

    corners : (f, 3, 3) mm; centres : (f, 3) spots on them; what is nearest of a face is not farther than reach (mm) from one of its spots
    """

    corners: Floats
    centres: Floats
    reach: float

    @cached_property
    def lowest(self) -> Floats:
        """(f,) lowest corner."""
        z = self.corners[:, :, 2]
        return np.minimum(np.minimum(z[:, 0], z[:, 1]), z[:, 2])

    @cached_property
    def highest(self) -> Floats:
        """(f,) highest corner."""
        z = self.corners[:, :, 2]
        return np.maximum(np.maximum(z[:, 0], z[:, 1]), z[:, 2])

    def within(self, low: float, high: float) -> Slopes:
        """Those that pass through some height between two, to be searched in the plane."""
        keep = np.flatnonzero((self.lowest < high) & (self.highest >= low))
        return Slopes(self.corners[keep], self.centres[keep, :2], self.reach)

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) from points (k, 3) to the level line at their height in faces (k,), else infinite; nearest point (k, 2)."""
        distance, at = np.full(len(index), np.inf), np.zeros((len(index), 2))
        z = points[:, 2]
        some = np.flatnonzero((self.lowest[index] < z) & (self.highest[index] >= z))
        corners, p = self.corners[index[some]], points[some]
        distance[some], at[some] = _to_level(p[:, :2], corners[:, :, :2], corners[:, :, 2] - p[:, 2:3])
        return distance, at


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

    @cached_property
    def upward(self) -> Bools:
        """(m,) faces that look up and of which the path sees a corner."""
        a, b, c = self.scene.corners
        return np.asarray((self.facing > VERTICAL) & (self.visible[a] | self.visible[b] | self.visible[c]))

    def slopes(self, points: Floats, distance: Floats) -> list[tuple[Ints, list[Slopes]]]:
        """For (k, 3) points with a free line at a distance (k,): groups of them, with what slopes could be nearer."""
        groups = []
        step = np.digitize(distance, _REACHES_MM, right=True)
        for k in range(len(_REACHES_MM)):
            some = np.flatnonzero(step == k)
            if len(some):
                kept, faces = sift(points[some], distance[some], self.points, self.scene.corners, self.upward)
                groups.append((some[kept], self._pieces(faces)))
        return groups

    def _pieces(self, faces: Ints) -> list[Slopes]:
        """Slopes of faces by number, those of one size together."""
        found = []
        shown = self.visible[self.scene.corners[:, faces]]
        whole = np.zeros(len(self.scene.mesh.faces), dtype=bool)
        whole[faces[shown.all(axis=0)]] = True
        for spots in self.scene.spots:
            chosen = np.flatnonzero(whole[spots.faces])
            if len(chosen):
                centres = into_path_frame(spots.at[chosen], self.path)
                found.append(Slopes(self._corners(spots.faces[chosen]), centres, spots.reach))
        part = self._corners(faces[~shown.all(axis=0)])
        cut = self._seen_cuttings(part)
        return [*found, cut] if len(cut.corners) else found

    def _corners(self, faces: Ints) -> Floats:
        return np.stack([self.points[v] for v in self.scene.corners[:, faces]], axis=1)

    def _seen_cuttings(self, corners: Floats) -> Slopes:
        """Triangles (k, 3, 3) cut into like ones, those whose middle the path sees."""
        longest = np.max([np.linalg.norm(corners[:, k] - corners[:, k - 1], axis=1) for k in range(3)], axis=0, initial=0.0)
        count = np.clip(np.ceil(longest / _CUT_MM), 1, _MOST_CUTS).astype(np.int64)
        cut = np.concatenate([(_cutting(n) @ corners[count == n][:, None]).reshape(-1, 3, 3) for n in range(1, _MOST_CUTS + 1)])
        centres = cut.mean(axis=1)
        # The faces look up: straight up is outward.
        free = ~self.scene.occluded((centres + [0.0, 0.0, CLEAR_MM]) @ self.path.rotation, self.path.vector)
        cut, centres = cut[free], centres[free]
        reach = np.sqrt(((cut - centres[:, None]) ** 2).sum(axis=2).max(initial=0.0))
        return Slopes(cut, centres, float(reach))


@lru_cache(maxsize=_MOST_CUTS)
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
