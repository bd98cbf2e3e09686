"""Carry a path from one scan of a cast to another scan of the same cast: register the two, then turn the path with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from .nearest import Finder
from .path import Path

_POINTS = 1500
_ROUNDS = 40
# The worst matches (borders, what one scan lacks) do not vote.
_VOTES = 0.8
# Over this typical distance (mm) the two are hardly scans of one cast, or lay too far apart to begin with.
_WORST_MM = 0.3


@dataclass(frozen=True, eq=False)
class Carried:
    """path : in the frame of the new scan; matrix : (4, 4) old scan to new; fit_mm : median distance of the surfaces after it."""

    path: Path
    matrix: Floats
    fit_mm: float


def carry_path(path: Path, old: Mesh, new: Mesh, start: Floats | None = None) -> Carried:
    """Register an old scan onto a new one (point to plane, trimmed) and carry the path along.

    start : (4, 4) rough placing of old on new, default as they lie; within about 15 degrees and 5 mm is enough
    Raises GeometryError when the surfaces do not come together.
    """
    find = Finder(new)
    step = max(1, len(old.vertices) // _POINTS)
    points = old.vertices[::step]
    matrix = np.eye(4) if start is None else np.array(start, dtype=np.float64)
    for _ in range(_ROUNDS):
        moved = points @ matrix[:3, :3].T + matrix[:3, 3]
        at, face = find(moved)
        gap = np.linalg.norm(moved - at, axis=1)
        vote = gap <= np.quantile(gap, _VOTES)
        change = _step(moved[vote], at[vote], new.face_normals[face[vote]])
        matrix = change @ matrix
        if np.abs(change - np.eye(4)).max() < 1e-7:
            break
    moved = points @ matrix[:3, :3].T + matrix[:3, 3]
    fit = float(np.median(np.linalg.norm(moved - find(moved)[0], axis=1)))
    if fit > _WORST_MM:
        raise GeometryError(f"carry path: the scans lie {fit:.2f} mm apart at best; check that both are of one cast, or place them first")
    return Carried(Path.from_vector(matrix[:3, :3] @ path.vector), matrix, fit)


def _step(moved: Floats, at: Floats, normals: Floats) -> Floats:
    """The small rigid motion (4, 4) that brings points nearest to the planes they were matched with, about their centre."""
    centre = moved.mean(axis=0)
    arm = moved - centre
    rows = np.column_stack([np.cross(arm, normals), normals])
    wish = np.einsum("ij,ij->i", at - moved, normals)
    motion = np.linalg.lstsq(rows, wish, rcond=None)[0]
    angle = float(np.linalg.norm(motion[:3]))
    axis = motion[:3] / angle if angle > 1e-15 else np.array([0.0, 0.0, 1.0])
    k = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    turn = np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)
    result = np.eye(4)
    result[:3, :3] = turn
    result[:3, 3] = centre + motion[3:] - turn @ centre
    return result
