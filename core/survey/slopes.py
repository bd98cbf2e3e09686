"""The seen surface as a border of the shadow: where it passes below a hidden point's own height (see shadow.py).

A level line at a point's own height is as far from it in space as in the plane. So faces are looked for around the point in space,
where few are near, and none at all near most points: a wall below the height of contour is farther from what is seen than from the rod.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..mesh import Bools, Floats, Ints
from .path import Path, into_path_frame
from .scene import VERTICAL, RayScene

# No slope is looked for farther than this (mm): deeper than it, only rims count (undersides of casts).
FAR_MM = 8.0
# Points by how far a slope may count for them (mm).
NEAR_MM = 1.0
_REACHES_MM = (NEAR_MM, FAR_MM)


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
        """Distance (k, c) from points (k, 3) to the level line at their height in faces (k, c), else infinite; nearest (k, c, 2)."""
        distance = np.full(index.shape, np.inf)
        at = np.zeros((*index.shape, 2))
        z = points[:, 2][:, None]
        row, column = np.nonzero((self.lowest[index] < z) & (self.highest[index] >= z))
        corners, p = self.corners[index[row, column]], points[row]
        distance[row, column], at[row, column] = _to_level(p[:, :2], corners[:, :, :2], corners[:, :, 2] - p[:, 2:3])
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

    def slopes(self, points: Floats, distance: Floats) -> list[tuple[Ints, list[Slopes]]]:
        """For (k, 3) points with a free line at a distance (k,): groups of them, with what slopes could be nearer."""
        groups = []
        step = np.digitize(distance, _REACHES_MM, right=True)
        for k, far in enumerate(_REACHES_MM):
            some = np.flatnonzero(step == k)
            if len(some):
                groups.append((some, self._near(points[some] @ self.path.rotation, far)))
        return groups

    def _near(self, world: Floats, far: float) -> list[Slopes]:
        found = []
        for spots in self.scene.spots:
            chosen = spots.near(world, far + spots.reach)
            faces = spots.faces[chosen]
            a, b, c = (self.scene.corners[k][faces] for k in range(3))
            seen = np.flatnonzero((self.facing[faces] > VERTICAL) & self.visible[a] & self.visible[b] & self.visible[c])
            if len(seen):
                corners = np.stack([self.points[v[seen]] for v in (a, b, c)], axis=1)
                found.append(Slopes(corners, into_path_frame(spots.at[chosen[seen]], self.path), spots.reach))
        return found


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
