"""The seen surface as a border of the shadow: where it passes below a hidden point's own height (see shadow.py)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.ndimage import maximum_filter

from ..mesh import Floats

# Borders between classes of size (mm): scans have faces below the first.
_SIZES_MM = (0.35, 1.0, 3.0)
_CELL_MM = 1.0
# No slope is looked for farther than this (mm): deeper than it, only rims count (undersides of casts).
_FAR_MM = 8.0


@dataclass(frozen=True, eq=False)
class Slopes:
    """Seen, upward faces in the path frame.

    corners : (f, 3, 3) mm
    """

    corners: Floats

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

    @cached_property
    def centres(self) -> Floats:
        """(f, 2) centroids in the plane."""
        return (self.corners[:, 0, :2] + self.corners[:, 1, :2] + self.corners[:, 2, :2]) / 3.0

    @cached_property
    def reaches(self) -> Floats:
        """(f,) farthest corner from the centroid in the plane, mm."""
        square = np.zeros(len(self.corners))
        for k in range(3):
            dx, dy = self.corners[:, k, 0] - self.centres[:, 0], self.corners[:, k, 1] - self.centres[:, 1]
            square = np.maximum(square, dx * dx + dy * dy)
        return np.sqrt(square)

    @cached_property
    def reach(self) -> float:
        """The greatest of the reaches, mm."""
        return float(self.reaches.max(initial=0.0))

    @cached_property
    def sizes(self) -> tuple[Slopes, ...]:
        """The same faces sorted by size: a search is only as fast as its largest face is small, and bases have long ones."""
        step = np.digitize(self.reaches, _SIZES_MM)
        return tuple(Slopes(self.corners[step == k]) for k in np.unique(step))

    def near(self, points: Floats, distance: Floats) -> Slopes:
        """Leave out most faces that lie farther in the plane from every one of (k, 3) points than that point's distance (k,)."""
        if not len(points) or not len(self.corners):
            return self
        first = self.corners[:, 0, :2]
        span = np.maximum(np.abs(self.corners[:, 1, :2] - first), np.abs(self.corners[:, 2, :2] - first)).max(axis=1)
        corner = points[:, :2].min(axis=0)
        shape = tuple(((points[:, :2].max(axis=0) - corner) / _CELL_MM).astype(int) + 1)
        cell = ((points[:, :2] - corner) / _CELL_MM).astype(np.int64)
        # Two cells more: one for where in its cell a point lies, one for faces up to a cell in size.
        radius = np.ceil(np.minimum(distance, _FAR_MM) / _CELL_MM).astype(np.int64) + 2
        margin = int(radius.max())
        marked = np.zeros((shape[0] + 2 * margin, shape[1] + 2 * margin), dtype=bool)
        for r in np.unique(radius):
            own = np.zeros_like(marked)
            ring = cell[radius == r] + margin
            own[ring[:, 0], ring[:, 1]] = True
            marked |= maximum_filter(own, size=2 * int(r) + 1)
        place = np.floor((first - corner) / _CELL_MM).astype(np.int64) + margin
        inside = ((place >= 0) & (place < marked.shape)).all(axis=1)
        keep = span > _CELL_MM
        keep[inside] |= marked[place[inside, 0], place[inside, 1]]
        return Slopes(self.corners[keep])

    def within(self, low: float, high: float) -> Slopes:
        """Those that pass through some height between two."""
        return Slopes(self.corners[np.flatnonzero((self.lowest < high) & (self.highest >= low))])

    def measure(self, points: Floats, index: np.ndarray) -> tuple[Floats, Floats]:
        """Distance (k, c) from points (k, 3) to the level line at their height in faces (k, c), else infinite; nearest (k, c, 2)."""
        distance = np.full(index.shape, np.inf)
        at = np.zeros((*index.shape, 2))
        z = points[:, 2][:, None]
        row, column = np.nonzero((self.lowest[index] < z) & (self.highest[index] >= z))
        corners, p = self.corners[index[row, column]], points[row]
        distance[row, column], at[row, column] = _to_level(p[:, :2], corners[:, :, :2], corners[:, :, 2] - p[:, 2:3])
        return distance, at


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
