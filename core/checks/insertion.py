"""Does the framework go on? Its parts are followed along the path from clear to seated, by rays against the cast.

The framework moves by a translation along the path v. A metal point p, when the framework is lifted by t, is at p + t v: it enters the
cast during the travel exactly when the ray from p along v passes through the cast. Seen from the cast: a cast point c is run into when the
ray from c along -v meets metal. Nothing here uses block-out or the survey: the check stands on its own feet.

How deep: the smallest shift of the point after which its whole way is clear. Shifts are tried in fixed directions (square to the path,
rising, and along the path), so a depth is found too large by at most 2 % on smooth walls, never too small by more than the step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Mesh, distinct
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, as_place

RIGID_LIMIT_MM = 0.02  # design target of the project: less than the smallest measured misfit of frameworks (handbook 9, about 0.04 to 0.4)
TIP_TOLERANCE_MM = 0.03  # same; a hand gauge is read to about 0.05 (common practice)
SPACING_MM = 0.3  # metal edges longer than this get points in between
SEAT_MM = 0.001  # rays start this far off the surface: fitting metal lies ON the cast, to the rounding of 32-bit rays
GRAZE_MM = 1e-4  # a ray along an upright wall or edge meets it or not by rounding: one beside it, on the open side, is asked as well
DEEPEST_MM = 3.0  # deeper than this is reported as this
AROUND = 16  # directions square to the path for rigid metal: the nearest way out is missed by at most 11.25 degrees, 1/cos = 1.02
AROUND_TIP = 48  # for tips, measured more finely: at most 3.75 degrees, 1/cos = 1.002
OFFENDERS = 4000  # depths are worked out for at most so many points, spread evenly over all that are caught
RIGID_SOURCE = "project target: rigid parts must not touch an undercut on the way in (McCracken's, ch. on surveying; amount is ours)"
TIP_SOURCE = "gauge 0.25 / 0.50 / 0.75 mm (McCracken's, Stewart's); tolerance is ours"


@dataclass(frozen=True, eq=False)
class TipSpec:
    """A part that is meant to enter an undercut: the retentive third of a clasp arm, the tip of a bar clasp.

    region : a boolean mask over framework vertices, or a function from points (k, 3) to such a mask; or balls of radius_mm round `centre`,
        one point (3,) or many (k, 3)
    planned_mm : depth of undercut the tip is designed to engage
    """

    id: str
    tooth: int
    planned_mm: float
    region: Bools | Callable[[Floats], Bools] | None = None
    centre: Floats | None = None
    radius_mm: float = 2.0

    def mask(self, mesh: Mesh) -> Bools:
        """(n,) which framework vertices belong to the tip."""
        if callable(self.region):
            return np.asarray(self.region(mesh.vertices), dtype=bool)
        if self.region is not None:
            return np.asarray(self.region, dtype=bool)
        if self.centre is None:
            return np.zeros(len(mesh.vertices), dtype=bool)
        distance, _ = cKDTree(np.reshape(self.centre, (-1, 3))).query(mesh.vertices, distance_upper_bound=self.radius_mm)
        return np.isfinite(distance)


def _shifts(up: Floats, horizontal_only: bool) -> Floats:
    """(s, 3) unit directions in which a way out is looked for."""
    x = np.cross(up, [1.0, 0.0, 0.0] if abs(up[0]) < 0.9 else [0.0, 1.0, 0.0])
    x /= np.linalg.norm(x)
    around = AROUND_TIP if horizontal_only else AROUND
    angle = np.arange(around) * (2 * np.pi / around)
    ring = np.cos(angle)[:, None] * x + np.sin(angle)[:, None] * np.cross(up, x)
    if horizontal_only:
        return ring
    rising = [np.cos(e) * ring[::step] + np.sin(e) * up for e, step in ((np.radians(30), 2), (np.radians(60), 4))]
    return np.concatenate([ring, *rising, up[None]])


@dataclass(frozen=True, eq=False)
class _Without:
    """A scene in which some faces (m,) do not stand in the way: rays go through them."""

    scene: Rays
    open_: Bools

    def hits(self, origins: Floats, directions: Floats) -> Bools:
        """(k,) does the ray from (k, 3) origins along (3,) meet any of the other faces."""
        barred = self.scene.hits(origins, directions)
        left = np.flatnonzero(barred)
        start = origins[left]
        while len(left):
            distance, face = self.scene.first(start, directions)
            barred[left[face < 0]] = False
            through = (face >= 0) & self.open_[face]
            left, start = left[through], start[through] + (distance[through, None] + GRAZE_MM) * directions
        return barred


Barrier = Rays | _Without


def _caught(scene: Barrier, points: Floats, travel: Floats) -> Bools:
    """(k,) is the way of each point along `travel` barred."""
    return scene.hits(points + SEAT_MM * travel, travel)


def _way_out(scene: Barrier, points: Floats, travel: Floats, shifts: Floats, radius: float | Floats) -> Bools:
    """(k,) does at least one shift by `radius` clear the way of the point. Shifts are tried one by one on those not yet cleared."""
    reach = np.broadcast_to(np.asarray(radius, dtype=np.float64).reshape(-1, 1), (len(points), 1))
    out = np.zeros(len(points), dtype=bool)
    left = np.arange(len(points))
    for shift in shifts:
        if not len(left):
            break
        barred = _caught(scene, points[left] + reach[left] * shift, travel)
        out[left[~barred]] = True
        left = left[barred]
    return out


def entry_depth(
    scene: Barrier, points: Floats, travel: Floats, *, horizontal_only: bool = False, deepest_mm: float = DEEPEST_MM, step_mm: float = 0.05
) -> Floats:
    """(k,) mm: how far each point (k, 3) would enter the solid of `scene` while it moves along the unit vector `travel` (3,).

    0 where the way is clear; otherwise the smallest shift that clears it, found by steps of `step_mm` and halving, to 0.0005 mm.
    horizontal_only : shifts square to the travel only, which is what an undercut gauge measures.
    """
    depth = np.zeros(len(points))
    todo = np.flatnonzero(_caught(scene, points, travel))
    shifts = _shifts(travel, horizontal_only)
    low = np.zeros(len(points))
    radius = step_mm
    while len(todo) and radius < deepest_mm:
        out = _way_out(scene, points[todo], travel, shifts, radius)
        depth[todo[out]] = radius
        low[todo] = np.where(out, low[todo], radius)
        todo = todo[~out]
        radius += step_mm
    depth[todo] = low[todo] = deepest_mm
    open_ = np.flatnonzero(depth > low)
    for _ in range(int(np.ceil(np.log2(step_mm / 0.0005)))):
        middle = 0.5 * (low[open_] + depth[open_])
        out = _way_out(scene, points[open_], travel, shifts, middle)
        depth[open_] = np.where(out, middle, depth[open_])
        low[open_] = np.where(out, low[open_], middle)
    return depth


def densified(mesh: Mesh, faces: Bools, spacing_mm: float = SPACING_MM) -> Floats:
    """Points on the chosen faces: corners, points along edges longer than the spacing, points inside faces that are large both ways."""
    chosen = mesh.faces[faces]
    corners = mesh.vertices[distinct(chosen)]
    half = np.sort(chosen[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    low, high = np.divmod(distinct(half[:, 0] * len(mesh.vertices) + half[:, 1]), len(mesh.vertices))  # each edge once
    a, b = mesh.vertices[low], mesh.vertices[high]
    parts = np.ceil(np.linalg.norm(b - a, axis=1) / spacing_mm).astype(np.int64)
    along = np.repeat(np.arange(len(parts)), np.maximum(parts - 1, 0))
    rank = np.arange(len(along)) - np.repeat(np.cumsum(np.maximum(parts - 1, 0)) - np.maximum(parts - 1, 0), np.maximum(parts - 1, 0))
    weight = ((rank + 1) / parts[along])[:, None]
    return np.concatenate([corners, a[along] * (1 - weight) + b[along] * weight, _inner_points(mesh.vertices[chosen], spacing_mm)])


def _inner_points(triangles: Floats, spacing_mm: float) -> Floats:
    """Points of a regular grid in barycentric coordinates inside triangles (k, 3, 3) whose sides are longer than the spacing."""
    side = np.linalg.norm(triangles - np.roll(triangles, -1, axis=1), axis=2).max(axis=1)
    found = [np.zeros((0, 3))]
    for n in np.unique(np.ceil(side / spacing_mm).astype(np.int64)):
        tri = triangles[np.ceil(side / spacing_mm).astype(np.int64) == n]
        if n < 3 or len(tri) == 0:
            continue
        i, j = (g.ravel() for g in np.meshgrid(np.arange(1, n), np.arange(1, n), indexing="ij"))
        inner = i + j < n
        weights = np.stack([i[inner], j[inner], n - i[inner] - j[inner]], axis=1) / n
        found.append(np.einsum("wc,kcd->kwd", weights, tri).reshape(-1, 3))
    return np.concatenate(found)


@dataclass(frozen=True, eq=False)
class Entries:
    """Places where rigid metal would enter the cast on its way: points (k, 3) mm (seated position), depth (k,) mm, deepest first."""

    points: Floats
    depth: Floats
    tested: int
    caught: int


def _spread(index: np.ndarray, limit: int) -> np.ndarray:
    return index if len(index) <= limit else index[np.linspace(0, len(index) - 1, limit).astype(np.int64)]


def _offences(scene: Barrier, points: Floats, travel: Floats, limit_mm: float) -> tuple[Floats, Floats, int]:
    """Points whose way is barred deeper than the limit, with depths, and the number of such points (depths of at most OFFENDERS)."""
    caught = points[_caught(scene, points, travel)]
    caught = caught[~_way_out(scene, caught, travel, _shifts(travel, True), GRAZE_MM)]
    index = np.flatnonzero(~_way_out(scene, caught, travel, _shifts(travel, False), limit_mm))
    chosen = caught[_spread(index, OFFENDERS)]
    return chosen, entry_depth(scene, chosen, travel), len(index)


def rigid_entries(
    framework: Mesh,
    cast: Mesh,
    path: Floats,
    flexible: Bools | None = None,
    *,
    limit_mm: float = RIGID_LIMIT_MM,
    cast_scene: Rays | None = None,
    framework_scene: Rays | None = None,
) -> Entries:
    """Every sampled point where the rigid metal enters the cast deeper than the limit on its way along the path.

    framework, cast : closed solids, mm, in one frame, framework seated
    path : (3,) unit vector off the teeth
    flexible : (n,) framework vertices that are meant to enter undercuts (tips); faces with only such corners are left out
    """
    up = np.asarray(path, dtype=np.float64) / np.linalg.norm(path)
    soft = np.zeros(len(framework.vertices), dtype=bool) if flexible is None else flexible
    rigid_faces = ~np.any(soft[framework.faces], axis=1)
    scene = cast_scene or Rays(cast)
    metal = densified(framework, rigid_faces)
    points, depth, number = _offences(scene, metal, up, limit_mm)
    # The other way round, for cast edges and cusps that pass between metal points. Only cast points over or under the metal matter.
    below = _Without(framework_scene or Rays(framework), ~rigid_faces)
    stone = cast.vertices
    points2, depth2, number2 = _offences(below, stone, -up, limit_mm)
    points, depth = np.concatenate([points, points2]), np.concatenate([depth, depth2])
    order = np.argsort(-depth, kind="stable")
    return Entries(points[order], depth[order], len(metal) + len(stone), number + number2)


def check_rigid(
    framework: Mesh,
    cast: Mesh,
    path: Floats,
    tips: Sequence[TipSpec] = (),
    landmarks: Landmarks = NO_LANDMARKS,
    *,
    limit_mm: float = RIGID_LIMIT_MM,
    cast_scene: Rays | None = None,
    framework_scene: Rays | None = None,
) -> Check:
    """The rigid parts, moved along the path from clear to seated, never enter the cast by more than the limit."""
    soft = np.zeros(len(framework.vertices), dtype=bool)
    for tip in tips:
        soft |= tip.mask(framework)
    entries = rigid_entries(framework, cast, path, soft, limit_mm=limit_mm, cast_scene=cast_scene, framework_scene=framework_scene)
    deepest = float(entries.depth[0]) if len(entries.depth) else 0.0
    bad = deepest > limit_mm
    place = entries.points[0] if bad else None
    at_least = "at least " if deepest >= DEEPEST_MM else ""
    words = f"{entries.tested} points followed along the path; "
    words += f"{entries.caught} of them catch, the worst by {at_least}{deepest:.3f} mm" if bad else "all pass"
    return Check(
        "insertion.rigid",
        "fail" if bad else "pass",
        deepest,
        limit_mm,
        "mm",
        landmarks.describe(place),
        RIGID_SOURCE,
        words,
        as_place(place),
    )


Move = tuple[Floats, Floats]  # of the framework off its seat: turn (3, 3) and then shift (3,) mm


def tip_travel(framework: Mesh, cast_scene: Rays, path: Floats, tip: TipSpec, moves: Sequence[Move]) -> Floats:
    """(m,) mm: how far a tip must be bent aside, square to the path, when the framework stands at each of the moves.

    The farthest that any of its points then lies in the cast, by the nearest way out.
    """
    up = np.asarray(path, dtype=np.float64) / np.linalg.norm(path)
    mask = tip.mask(framework)
    faces = np.all(mask[framework.faces], axis=1)
    bent = np.zeros(len(moves))
    if not faces.any():
        return bent
    points = densified(framework, faces, 0.3)
    ways = _shifts(up, True)
    for k, (turn, shift) in enumerate(moves):
        moved = points @ turn.T + shift
        inside = moved[cast_scene.inside(moved)]
        if len(inside):
            out = cast_scene.first(np.repeat(inside, len(ways), axis=0), np.tile(ways, (len(inside), 1)))[0]
            bent[k] = out.reshape(len(inside), -1).min(axis=1).max()
    return np.where(bent < 2 * SEAT_MM, 0.0, np.minimum(bent, DEEPEST_MM))


def check_tip(framework: Mesh, cast_scene: Rays, path: Floats, tip: TipSpec, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """The deepest undercut engaged by a retentive tip equals the planned depth within the tolerance."""
    up = np.asarray(path, dtype=np.float64) / np.linalg.norm(path)
    mask = tip.mask(framework)
    name = f"insertion.tip.{tip.id}"
    limit = tip.planned_mm
    if not mask.any():
        return Check(name, "fail", None, limit, "mm", f"tooth {tip.tooth}", TIP_SOURCE, "no metal was found where the tip should be")
    points = densified(framework, np.all(mask[framework.faces], axis=1), 0.15) if mask.sum() > 2 else framework.vertices[mask]
    depth = entry_depth(cast_scene, points, up, horizontal_only=True, step_mm=0.05)
    worst = int(depth.argmax())
    value = float(depth[worst])
    off = abs(value - limit) > TIP_TOLERANCE_MM
    words = f"engages {value:.3f} mm of undercut, planned {limit:.3f} mm (tolerance {TIP_TOLERANCE_MM})"
    if value == 0.0:
        words = f"engages no undercut at all, planned {limit:.3f} mm"
    return Check(
        name,
        "fail" if off else "pass",
        value,
        limit,
        "mm",
        f"tooth {tip.tooth}, {landmarks.describe(points[worst])}",
        TIP_SOURCE,
        words,
        as_place(points[worst]),
    )
