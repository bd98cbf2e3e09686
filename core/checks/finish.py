"""Finish lines: the step at which the base resin ends must hold it. Measured on the metal's own faces, not on the plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Mesh
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

BUTT_DEG = 95.0  # a butt joint, with the error of triangles
FEATHERED_DEG = 120.0  # own limit: resin that ends in a wedge wider than this ends in a thin edge
NEAR_MM = 1.6
SOURCE = "finish lines at 90 degrees or less, so that the resin is locked and ends thick (McCracken's, from memory); tolerance: own"


@dataclass(frozen=True, eq=False)
class FinishLine:
    """A finish line as planned. points (k, 3) mm along it, toward (3,) unit vector from the line into the resin, up (3,) off the tissue."""

    id: str
    points: Floats
    toward: Floats
    up: Floats


def step_angles(framework: Mesh, line: FinishLine, fitting: Bools) -> tuple[Floats, Floats]:
    """At each point of the line: the angle of resin in the corner between the step and the floor (90 a butt joint, less an undercut one).

    Returns angles (k,) in degrees, NaN where no step is found, and the places (k, 3). fitting : (m,) faces that lie on the cast.
    """
    centre = framework.triangles.mean(axis=1)
    chosen = np.flatnonzero(~fitting & (framework.face_normals @ line.toward > 0.3))
    angles, places = np.full(len(line.points), np.nan), line.points.copy()
    if len(chosen) == 0:
        return angles, places
    found = cKDTree(centre[chosen]).query_ball_point(line.points, NEAR_MM)
    for k, near in enumerate(found):
        faces = chosen[near]
        # The step is the steepest upright face on the resin's side; the most of its height counts, not a chance triangle.
        rise = np.degrees(np.arccos(np.clip(framework.face_normals[faces] @ line.up, -1.0, 1.0)))
        weight = framework.face_areas[faces]
        if weight.sum() < 0.2:
            continue
        order = np.argsort(-rise)
        top = np.searchsorted(np.cumsum(weight[order]), 0.25 * weight.sum())
        angles[k] = 180.0 - rise[order][min(int(top), len(order) - 1)]
        places[k] = centre[faces[order[min(int(top), len(order) - 1)]]]
    return angles, places


def check_finish_line(framework: Mesh, line: FinishLine, fitting: Bools, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """The middle angle of resin along a finish line: warns of one that is no step."""
    name = f"form.finish.{line.id}"
    angles, places = step_angles(framework, line, fitting)
    known = np.flatnonzero(np.isfinite(angles))
    if len(known) < 3:
        words = "no step was found along the finish line"
        return Check(name, "warn", None, BUTT_DEG, "degrees", landmarks.describe(line.points[len(line.points) // 2]), SOURCE, words)
    value = float(np.median(angles[known]))
    worst = known[int(np.argmax(angles[known]))]
    status: Status = "fail" if value > FEATHERED_DEG else "warn" if value > BUTT_DEG else "pass"
    words = f"the resin ends in a corner of {value:.0f} degrees, {angles[worst]:.0f} at its flattest"
    place = places[worst] if status != "pass" else None
    limit = FEATHERED_DEG if status == "fail" else BUTT_DEG
    return Check(name, status, value, limit, "degrees", landmarks.describe(place), SOURCE, words, as_place(place))
