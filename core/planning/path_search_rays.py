"""Shadow along many directions at once: what is hidden, how deep, and how much wax the space under it takes.

Rays are ordered by point, not by direction: rays from one point to all directions of the cone meet the same few triangles, which stay
in the processor's cache (measured: twice as fast as the other way round).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh
from ..survey import RayScene

CLEAR_MM = 2e-3
"""Rays start this far outside the surface, as in the survey."""
DEEPEST_MM = 4.0
"""No depth is read beyond this: four times what any clasp or part can use."""
# Steps outward at which a rod is tried, mm; the bracket found is then halved.
_STEPS = (0.06, 0.13, 0.22, 0.34, 0.5, 0.75, 1.1, 1.6, 2.3, 3.2, DEEPEST_MM)
_HALVINGS = 4
# A surface less steep than this (sine) faces no side: from there every side is tried.
_NUDGE = np.array([1e-6, 0.0, 0.0])
_LEVEL, _ROUND_DEG = 0.4, (-150.0, -120.0, -90.0, -60.0, 60.0, 90.0, 120.0, 150.0, 180.0)
_WALL = 0.02  # sine of its slope below which a surface element carries no column
_CHUNK = 120_000  # rays in one call: long enough for speed, short enough for two threads and little memory
THREADS = 2


@dataclass(frozen=True, eq=False)
class Samples:
    """Points on the cast. points, normals (n, 3); areas (n,) mm2 that each stands for."""

    points: Floats
    normals: Floats
    areas: Floats

    def __len__(self) -> int:
        return len(self.points)

    def chosen(self, which: Bools | Ints) -> Samples:
        """Some of them."""
        return Samples(self.points[which], self.normals[which], self.areas[which])


def sample_surface(mesh: Mesh, faces: Ints, spacing_mm: float, seed: int = 1) -> Samples:
    """Points spread evenly over some faces (m,), about `spacing_mm` apart, neighbours next to each other in the list; repeatable."""
    faces = faces[mesh.face_areas[faces] > 0]
    if not len(faces):
        return Samples(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0))
    centres = mesh.triangles[faces].mean(axis=1)
    cell = np.floor(centres / (4.0 * spacing_mm)).astype(np.int64)
    faces = faces[np.lexsort(cell.T)]
    ends = np.cumsum(mesh.face_areas[faces])
    count = max(int(ends[-1] / spacing_mm**2), 1)
    rng = np.random.default_rng(seed)
    owner = faces[np.minimum(np.searchsorted(ends, (np.arange(count) + rng.random(count)) * (ends[-1] / count)), len(faces) - 1)]
    r1, r2 = np.sqrt(rng.random(count)), rng.random(count)
    weights = np.column_stack([1.0 - r1, r1 * (1.0 - r2), r1 * r2])
    points = np.einsum("ij,ijk->ik", weights, mesh.triangles[owner])
    return Samples(points, mesh.face_normals[owner], np.full(count, ends[-1] / count))


def _by_chunk(work: Callable[[slice], Floats], samples: int, rays_each: int) -> list[Floats]:
    """The work's results on slices of the samples, in order; on two threads, for rays and array arithmetic leave the interpreter's lock."""
    step = max(1, _CHUNK // max(rays_each, 1))
    parts = [slice(start, min(start + step, samples)) for start in range(0, samples, step)]
    if len(parts) < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(work, parts))


def block_out_volume(scene: RayScene, samples: Samples, directions: Floats) -> Floats:
    """(k,) mm3 of the hidden space over the sampled surface, along (k, 3) directions.

    Every column of air under an overhang stands on one surface element: its projected area times the way up to the first thing met,
    summed. Exact in the limit of many samples; columns that end on nothing (under the rim of an open scan) do not count.
    """

    def work(part: slice) -> Floats:
        some = samples.chosen(np.arange(part.start, part.stop))
        rise = some.normals @ directions.T
        i, j = np.nonzero(rise > _WALL)
        gap = scene.first_hit(some.points[i] + CLEAR_MM * some.normals[i], directions[j])[0]
        share = np.where(np.isfinite(gap), gap, 0.0) * rise[i, j] * some.areas[i]
        return np.asarray(np.bincount(j, share, minlength=len(directions)))

    parts = _by_chunk(work, len(samples), len(directions))
    return np.asarray(np.sum(parts, axis=0)) if parts else np.zeros(len(directions))


def depths(scene: RayScene, samples: Samples, directions: Floats, fan_deg: Floats) -> Floats:
    """(n, k) mm: undercut depth at n points along k directions, 0 where seen, at most DEEPEST_MM.

    From a hidden point a rod is tried further and further out, square to the path, at the angles `fan_deg` to either side of the
    surface's own facing (all round where it is nearly level); the least way to a free rod counts. Never less than the true depth, and
    more by 1/cos of half the fan's step at the most where the edge of the shadow runs straight.
    """

    def work(part: slice) -> Floats:
        return _depths(scene, samples.chosen(np.arange(part.start, part.stop)), directions, fan_deg)

    parts = _by_chunk(work, len(samples), 4 * len(directions))
    return np.concatenate(parts) if parts else np.zeros((0, len(directions)))


def _depths(scene: RayScene, samples: Samples, directions: Floats, fan_deg: Floats) -> Floats:
    n, k = len(samples), len(directions)
    outside = samples.points + CLEAR_MM * samples.normals
    start = np.repeat(outside, k, axis=0)
    hidden = scene.occluded(start, np.tile(directions, (n, 1)))
    i, j = np.divmod(np.flatnonzero(hidden), k)
    depth = np.zeros((n, k))
    if not len(i):
        return depth
    d = directions[j]
    lean = samples.normals[i] + _NUDGE  # a level surface faces nowhere, but the fan needs a side to start from
    facing = lean - (lean * d).sum(axis=1)[:, None] * d
    steep = np.linalg.norm(facing, axis=1)
    facing /= np.maximum(steep, 1e-9)[:, None]
    beside = np.cross(d, facing)
    best = np.full(len(i), DEEPEST_MM)
    level = np.flatnonzero(steep < _LEVEL)
    everyone = np.arange(len(i))
    for angle, who in [*((a, everyone) for a in fan_deg), *((a, level) for a in _ROUND_DEG)]:
        turn = np.radians(angle)
        ray = np.cos(turn) * facing[who] + np.sin(turn) * beside[who]
        best[who] = _way_out(scene, outside[i[who]], d[who], ray, best[who])
    depth[i, j] = best
    return depth


def _way_out(scene: RayScene, points: Floats, d: Floats, ray: Floats, best: Floats) -> Floats:
    """The least of `best` and the way along `ray` to a rod along `d` that is free from the point's height up, (m,) each."""
    low, high = np.zeros(len(points)), np.full(len(points), np.inf)
    trying = np.arange(len(points))
    for before, step in zip((0.0, *_STEPS), _STEPS, strict=False):
        trying = trying[before < best[trying]]
        if not len(trying):
            break
        blocked = scene.occluded(points[trying] + step * ray[trying], d[trying])
        high[trying[~blocked]] = step
        trying = trying[blocked]
        low[trying] = step
    found = np.flatnonzero(np.isfinite(high) & (low < best))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low[found] + high[found])
        blocked = scene.occluded(points[found] + middle[:, None] * ray[found], d[found])
        low[found], high[found] = np.where(blocked, middle, low[found]), np.where(blocked, high[found], middle)
    out = best.copy()
    out[found] = np.minimum(best[found], 0.5 * (low[found] + high[found]))
    return out

