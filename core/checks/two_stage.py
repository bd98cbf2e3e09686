"""A rotational path: the framework is lowered onto an axis first and then turned about it into its seat.

Rigid retainers beside the axis may enter undercuts that no straight path reaches (rotational path of insertion: Jacobson and Krol,
J Prosthet Dent 1982;48:370, from memory). The proof runs backwards, from the seat: turned open, then lifted off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..mesh import Bools, Floats, Mesh
from .insertion import RIGID_LIMIT_MM, RIGID_SOURCE, TipSpec, densified, rigid_entries
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, as_place

STEP_MM = 0.3  # the farthest point travels so far from one posture to the next
WAYS = 24  # directions in which the nearest way out of the stone is looked for


@dataclass(frozen=True, eq=False)
class TwoStage:
    """axis : two points (2, 3) mm in the cast's frame; degrees : how far the side away from the axis is lifted when the axis is seated."""

    axis: Floats
    degrees: float


def opening(stages: TwoStage, framework: Mesh, path: Floats, degrees: float) -> tuple[Floats, Floats]:
    """Turn (3, 3) and fixed point (3,) that open the seated framework by some degrees, its bulk lifting along the path (3,)."""
    start, end = np.asarray(stages.axis, dtype=np.float64)
    along = (end - start) / np.linalg.norm(end - start)
    sign = 1.0 if np.cross(along, framework.bounds.mean(axis=0) - start) @ path >= 0 else -1.0
    angle = np.radians(sign * degrees)
    cross = np.array([[0.0, -along[2], along[1]], [along[2], 0.0, -along[0]], [-along[1], along[0], 0.0]])
    return np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross, start  # Rodrigues' formula


def reach_mm(stages: TwoStage, points: Floats) -> float:
    """How far from the axis the farthest of the points (k, 3) lies."""
    start, end = np.asarray(stages.axis, dtype=np.float64)
    along = (end - start) / np.linalg.norm(end - start)
    return float(np.linalg.norm(np.cross(points - start, along), axis=1).max(initial=0.0))


def depth_inside(scene: Rays, points: Floats) -> Floats:
    """(k,) mm: how deep each point (k, 3) lies in the solid, by the shortest of 24 straight ways out; 0 outside."""
    depth = np.zeros(len(points))
    far, face = scene.first(points, np.array([0.5377, 0.3133, 0.7827]))
    maybe = np.flatnonzero((face >= 0) & (scene.mesh.face_normals[face] @ [0.5377, 0.3133, 0.7827] > 0))
    maybe = maybe[scene.inside(points[maybe])]
    k = np.arange(WAYS) + 0.5
    rise, turn = 1.0 - 2.0 * k / WAYS, np.pi * (1.0 + 5.0**0.5) * k  # evenly over the sphere (golden spiral)
    ways = np.column_stack([np.sqrt(1 - rise**2) * np.cos(turn), np.sqrt(1 - rise**2) * np.sin(turn), rise])
    for start in range(0, len(maybe), 20_000):
        some = maybe[start : start + 20_000]
        out = scene.first(np.repeat(points[some], WAYS, axis=0), np.tile(ways, (len(some), 1)))[0]
        depth[some] = out.reshape(len(some), WAYS).min(axis=1)
    return depth


def _soft(framework: Mesh, tips: Sequence[TipSpec]) -> Bools:
    soft = np.zeros(len(framework.vertices), dtype=bool)
    for tip in tips:
        soft |= tip.mask(framework)
    return soft


def check_rotation(
    framework: Mesh, cast: Rays, path: Floats, stages: TwoStage, tips: Sequence[TipSpec] = (), landmarks: Landmarks = NO_LANDMARKS,
    *, limit_mm: float = RIGID_LIMIT_MM,
) -> Check:
    """The rigid parts, turned about the axis from their seat to the open posture, never lie deeper in the cast than the limit.

    Points of the metal are followed, at most 0.15 mm apart, from posture to posture.
    """
    rigid = ~np.any(_soft(framework, tips)[framework.faces], axis=1)
    points = densified(framework, rigid)
    count = max(2, int(np.ceil(np.radians(stages.degrees) * reach_mm(stages, points) / STEP_MM)))
    worst, place, at = 0.0, None, 0.0
    for degrees in np.linspace(0.0, stages.degrees, count + 1)[1:]:
        turn, fixed = opening(stages, framework, path, float(degrees))
        depth = depth_inside(cast, (points - fixed) @ turn.T + fixed)
        if len(depth) and depth.max() > worst:
            worst, place, at = float(depth.max()), points[int(depth.argmax())], float(degrees)
    bad = worst > limit_mm
    words = f"{len(points)} points turned about the axis in {count} steps of {stages.degrees / count:.2f} degrees; "
    words += f"the worst lies {worst:.3f} mm in the cast, opened by {at:.1f} degrees" if bad else "all pass"
    spot = place if bad else None
    return Check(
        "insertion.rotation", "fail" if bad else "pass", worst, limit_mm, "mm", landmarks.describe(spot), RIGID_SOURCE, words,
        as_place(spot),
    )  # fmt: skip


def check_first_stage(
    framework: Mesh, cast: Rays, path: Floats, stages: TwoStage, tips: Sequence[TipSpec] = (), landmarks: Landmarks = NO_LANDMARKS,
    *, limit_mm: float = RIGID_LIMIT_MM,
) -> Check:
    """Opened about its axis, the framework comes down along the path without its rigid parts entering the cast deeper than the limit."""
    turn, fixed = opening(stages, framework, path, stages.degrees)
    turned = Mesh((framework.vertices - fixed) @ turn.T + fixed, framework.faces)
    found = rigid_entries(turned, cast.mesh, path, _soft(framework, tips), limit_mm=limit_mm, cast_scene=cast)
    deepest = float(found.depth[0]) if len(found.depth) else 0.0
    bad = deepest > limit_mm
    place = found.points[0] if bad else None
    words = f"opened by {stages.degrees:g} degrees, {found.tested} points followed along the path; "
    words += f"{found.caught} of them catch, the worst by {deepest:.3f} mm" if bad else "all pass"
    return Check(
        "insertion.first_stage", "fail" if bad else "pass", deepest, limit_mm, "mm", landmarks.describe(place), RIGID_SOURCE, words,
        as_place(place),
    )  # fmt: skip
