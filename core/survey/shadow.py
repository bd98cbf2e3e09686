"""Undercut depth: how far from a point, square to the path, the nearest free line parallel to the path runs.

Let H(x, y) be the height of the surface seen from above along the path (minus infinity beside the cast). A line is free down to
height z where H < z, so the depth at a point p is the distance in the plane from p to the set {H < z of p}. The border of that set
has two kinds of parts, and the nearest point lies on one of them:

* rims: edges of the mesh where the surface turns under (or ends). H falls there from the height of the edge to that of the first
  thing met going down outside, the rim's foot. A rim bounds the shadow for every z between foot and edge.
* slopes: where the seen surface itself passes through height z (the section at that height).

Both are taken exactly on the triangles. Nothing here smooths: a reading is that of the mesh as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..mesh import Bools, Floats, Ints
from .border import nearest_border
from .path import Path
from .scene import RayScene
from .slopes import Slopes

# A face counts as turned under when its normal leans below the horizontal by more than this: vertical walls do not hide anything.
VERTICAL = 1e-5
# Rays start this far outside the surface (mm): above single precision, below any gauge. It is also the depth under which a point
# counts as seen.
CLEAR_MM = 2e-3
# Rims are cut into pieces (mm) so short that few rays tell whether a piece is free, and where its foot is.
_PIECE_MM = 0.25
# Where rays along a piece disagree (it runs in under an overhang, or its foot steps by more than this) it is cut once more.
_WHOLE = (0.08, 0.5, 0.92)
_FOOT_STEP_MM = 0.05
_SPLIT = 6
_BANDS = 48


@dataclass(frozen=True, eq=False)
class Rims:
    """Free pieces of rim in the path frame (path = +Z).

    start, end : (k, 3) mm; foot : (k,) height of the first thing below, minus infinity where there is none
    """

    start: Floats
    end: Floats
    foot: Floats

    @cached_property
    def top(self) -> Floats:
        """(k,) height of the higher end."""
        return np.maximum(self.start[:, 2], self.end[:, 2])

    @cached_property
    def centres(self) -> Floats:
        """(k, 2) middles in the plane."""
        return np.asarray(0.5 * (self.start[:, :2] + self.end[:, :2]))

    @cached_property
    def reach(self) -> float:
        """Half the length of the longest piece in the plane, mm."""
        return float(0.5 * np.linalg.norm(self.end[:, :2] - self.start[:, :2], axis=1).max(initial=0.0))

    def within(self, low: float, high: float) -> Rims:
        """Those that can bound the shadow of points between two heights."""
        keep = (self.top >= low) & (self.foot < high + CLEAR_MM)
        return Rims(self.start[keep], self.end[keep], self.foot[keep])

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k, c) from points (k, 3) to pieces (k, c), infinite where a piece does not count, and nearest points (k, c, 2)."""
        return rim_distance(points[:, None, :], self.start[index], self.end[index], self.foot[index])


def find_rims(scene: RayScene, path: Path, points: Floats, facing: Floats) -> Rims:
    """Rims that a rod can touch from above.

    points : (n, 3) vertices in the path frame; facing : (m,) face normals times path
    """
    table, faces = scene.edges, scene.mesh.faces
    up = facing > VERTICAL
    left, right = table.faces.T
    border = right < 0
    fold = (up[left] != up[right]) & ~border
    chosen = np.flatnonzero(fold | border)
    near = np.where(up[left[chosen]] | border[chosen], left[chosen], right[chosen])
    a, b = table.vertices[chosen].T
    third = faces[near].sum(axis=1) - a - b
    side = points[b, :2] - points[a, :2]
    length = np.linalg.norm(side, axis=1)
    outward = np.column_stack([side[:, 1], -side[:, 0]]) / np.maximum(length, 1e-12)[:, None]
    towards = np.einsum("ij,ij->i", points[third, :2] - points[a, :2], outward)
    outward *= -np.sign(towards)[:, None]
    keep = length > 1e-9
    a, b, outward, length = a[keep], b[keep], outward[keep], length[keep]

    start, end, outward = _cut(points[a], points[b], outward, np.maximum(np.ceil(length / _PIECE_MM).astype(np.int64), 1))
    free, foot = _test(scene, path, start, end, outward, _WHOLE)
    none = ~free.any(axis=1)
    same = free.all(axis=1) & (np.ptp(foot, axis=1) < _FOOT_STEP_MM)
    mixed = ~none & ~same
    fine = _cut(start[mixed], end[mixed], outward[mixed], np.full(int(mixed.sum()), _SPLIT))
    fine_free, fine_foot = _test(scene, path, *fine, (0.5,))
    kept = fine_free[:, 0]
    start = np.concatenate([start[same], fine[0][kept]])
    end = np.concatenate([end[same], fine[1][kept]])
    low = np.concatenate([foot[same, 1], fine_foot[kept, 0]])
    tall = np.maximum(start[:, 2], end[:, 2]) - low > CLEAR_MM
    return Rims(start[tall], end[tall], low[tall])


def _cut(start: Floats, end: Floats, outward: Floats, count: Ints) -> tuple[Floats, Floats, Floats]:
    """Cut each of k pieces into count (k,) equal ones."""
    owner = np.repeat(np.arange(len(start)), count)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    span = (end - start)[owner] / count[owner, None]
    first = start[owner] + k[:, None] * span
    return first, first + span, outward[owner]


def _test(scene: RayScene, path: Path, start: Floats, end: Floats, outward: Floats, at: tuple[float, ...]) -> tuple[Bools, Floats]:
    """Whether nothing is above pieces at some fractions of their length (k, f), and the height of the foot below (k, f)."""
    t = np.array(at)[None, :, None]
    spots = start[:, None, :] + t * (end - start)[:, None, :]
    spots[:, :, :2] += CLEAR_MM * outward[:, None, :]
    spots = spots.reshape(-1, 3)
    world = spots @ path.rotation
    free = ~scene.occluded(world, path.vector)
    foot = np.full(len(spots), 1e6)
    distance, _ = scene.first_hit(world[free], -path.vector)
    foot[free] = np.maximum(spots[free, 2] - distance, -1e6)
    return free.reshape(len(start), len(at)), foot.reshape(len(start), len(at))


def rim_distance(points: Floats, start: Floats, end: Floats, foot: Floats) -> tuple[Floats, Floats]:
    """Plane distance from points (..., 3) to the parts of rim pieces (..., 3) that bound the shadow at the points' heights.

    Returns distance (...), infinite where a piece does not count, and the nearest point (..., 2).
    """
    z = points[..., 2]
    h0, h1 = start[..., 2] - z, end[..., 2] - z
    counts = (np.maximum(h0, h1) >= 0.0) & (foot < z + CLEAR_MM)
    rise = h1 - h0
    level = np.clip(np.divide(-h0, rise, out=np.zeros_like(rise), where=np.abs(rise) > 1e-12), 0.0, 1.0)
    low = np.where(h0 < 0.0, level, 0.0)
    high = np.where(h1 < 0.0, level, 1.0)
    side = end[..., :2] - start[..., :2]
    away = points[..., :2] - start[..., :2]
    along = np.einsum("...i,...i->...", away, side) / np.maximum(np.einsum("...i,...i->...", side, side), 1e-18)
    t = np.clip(along, low, high)
    offset = away - t[..., None] * side
    distance = np.where(counts, np.sqrt(np.einsum("...i,...i->...", offset, offset)), np.inf)
    return distance, points[..., :2] - offset


@dataclass(frozen=True, eq=False)
class Shadow:
    """Everything needed to read the depth of hidden points for one path."""

    path: Path
    rims: Rims
    slopes: Slopes

    def depth(self, points: Floats) -> tuple[Floats, Floats]:
        """Depth (k,) mm of hidden points (k, 3) in the path frame, and where the free line stands (k, 2) in its plane.

        Points are taken in bands of height: of each band only the rims and slopes that can bound the shadow there are searched.
        """
        best, line = np.full(len(points), np.inf), np.array(points[:, :2])
        for band in _bands(points[:, 2]):
            own = points[band]
            low, high = own[:, 2].min(), own[:, 2].max()
            distance, at = nearest_border((self.rims.within(low, high), self.slopes.within(low, high)), own)
            best[band], line[band] = distance, at
        return np.where(np.isfinite(best), best, 0.0), line


def _bands(height: Floats) -> list[Ints]:
    """Split points into bands of like height, by number and by height."""
    order = np.argsort(height, kind="stable")
    count = min(_BANDS, max(1, len(height) // 64))
    parts = [part for part in np.array_split(order, count) if len(part)]
    return parts
