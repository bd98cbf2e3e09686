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
from .border import Heights, Spots, nearest_border, parts_of
from .path import Path
from .scene import CLEAR_MM, VERTICAL, RayScene
from .slopes import FAR_MM, Seen

# Rims are cut into pieces (mm) so short that few rays tell whether a piece is free, and where its foot is.
_PIECE_MM = 0.25
# Where rays along a piece disagree (it runs in under an overhang, or its foot leaves a straight line by this much) it is cut once more.
_WHOLE = (0.05, 0.5, 0.95)
_FOOT_BEND_MM = 0.05
_SPLIT = 6
# Spots along a piece, by which it is found, lie no farther apart than this (mm).
_SPOT_MM = 0.1


@dataclass(frozen=True, eq=False)
class Rims:
    """Free pieces of rim in the path frame (path = +Z).

    start, end : (k, 3) mm; foot : (k, 2) height of the first thing below either end, very low where there is none
    """

    start: Floats
    end: Floats
    foot: Floats

    @cached_property
    def heights(self) -> Heights:
        """Between which heights each piece may bound the shadow."""
        return Heights(np.minimum(*self.foot.T) - CLEAR_MM, np.maximum(self.start[:, 2], self.end[:, 2]))

    @cached_property
    def spots(self) -> tuple[Spots, ...]:
        """Spots along all pieces, in the plane."""
        side = self.end[:, :2] - self.start[:, :2]
        length = np.hypot(side[:, 0], side[:, 1])
        count = np.maximum(np.ceil(length / _SPOT_MM), 1).astype(np.int64)
        owner, k = parts_of(count)
        at = self.start[owner, :2] + ((k + 0.5) / count[owner])[:, None] * side[owner]
        return (Spots(at, owner, (0.5 * length / count)[owner]),)

    def measure(self, points: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Distance (k,) from points (k, 3) to pieces (k,), infinite where one does not count; nearest point (k, 2)."""
        return rim_distance(points, self.start[index], self.end[index], self.foot[index])


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
    # The foot runs straight along most pieces; where it does not, or only part of a piece is free, the piece is cut finer.
    bend = np.abs(foot[:, 1] - 0.5 * (foot[:, 0] + foot[:, 2]))
    whole = free.all(axis=1) & (bend < _FOOT_BEND_MM)
    mixed = free.any(axis=1) & ~whole
    fine = _cut(start[mixed], end[mixed], outward[mixed], np.full(int(mixed.sum()), _SPLIT))
    fine_free, fine_foot = _test(scene, path, *fine, (0.5,))
    kept = fine_free[:, 0]
    start = np.concatenate([start[whole], fine[0][kept]])
    end = np.concatenate([end[whole], fine[1][kept]])
    ends = np.concatenate([foot[whole][:, [0, 2]], np.repeat(fine_foot[kept], 2, axis=1)])
    tall = np.maximum(start[:, 2], end[:, 2]) - np.minimum(ends[:, 0], ends[:, 1]) > CLEAR_MM
    return Rims(start[tall], end[tall], ends[tall])


def _cut(start: Floats, end: Floats, outward: Floats, count: Ints) -> tuple[Floats, Floats, Floats]:
    """Cut each of k pieces into count (k,) equal ones."""
    owner, k = parts_of(count)
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
    """Plane distance from points (k, 3) to the parts of rim pieces (k, 3) that bound the shadow at the points' heights.

    foot : (k, 2) under both ends. Returns distance (k,), infinite where a piece does not count, and nearest points (k, 2).
    """
    z = points[..., 2]
    low, high = _where_positive(start[..., 2] - z, end[..., 2] - z)
    low2, high2 = _where_positive(z + CLEAR_MM - foot[..., 0], z + CLEAR_MM - foot[..., 1])
    low, high = np.maximum(low, low2), np.minimum(high, high2)
    sx, sy = end[..., 0] - start[..., 0], end[..., 1] - start[..., 1]
    ax, ay = points[..., 0] - start[..., 0], points[..., 1] - start[..., 1]
    t = (ax * sx + ay * sy) / np.maximum(sx * sx + sy * sy, 1e-18)
    t = np.minimum(np.maximum(t, low), high)
    ox, oy = ax - t * sx, ay - t * sy
    distance = np.where(low <= high, np.hypot(ox, oy), np.inf)
    return distance, np.stack([points[..., 0] - ox, points[..., 1] - oy], axis=-1)


def _where_positive(first: Floats, last: Floats) -> tuple[Floats, Floats]:
    """The part [low, high] of 0..1 where a linear function with these end values is not negative (low over high where nowhere)."""
    rise = last - first
    cross = np.divide(-first, rise, out=np.zeros_like(rise), where=np.abs(rise) > 1e-12)
    low = np.where(first < 0.0, np.where(last < 0.0, 2.0, cross), 0.0)
    high = np.where(last < 0.0, np.where(first < 0.0, -1.0, cross), 1.0)
    return low, high


@dataclass(frozen=True, eq=False)
class Shadow:
    """Everything needed to read the depth of hidden points for one path."""

    rims: Rims
    seen: Seen

    def depth(self, points: Floats) -> tuple[Floats, Floats]:
        """Depth (k,) mm of hidden points (k, 3) in the path frame, and where the free line stands (k, 2) in its plane."""
        best, line = np.full(len(points), np.inf), np.array(points[:, :2])
        nearest_border(self.rims, points, best, line, np.arange(len(points)))
        by_rims, best = best, np.minimum(best, FAR_MM)
        self.seen.lower(points, best, line)
        depth = np.where(best < FAR_MM, best, by_rims)
        return np.where(np.isfinite(depth), depth, 0.0), line
