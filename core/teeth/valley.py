"""The margin drawn into the valley between crown and gum, and where there is no valley to draw it into.

Across every point of a first margin the surface's own section is looked at. The line takes, all the way round at once, the places
that bend most (a shortest closed path by dynamic programming), staying near the first margin and changing its offset only slowly.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..mesh import Bools, Floats, Mesh
from .surface import Projector, smooth_field

STEP_MM = 0.1
REACH_MM = 0.8
ARM_MM = 0.3
EDGE_SHARE = 0.8
"""Half the stretch over which a bend is measured; on a coarse scan as long as its edges, which cannot show a finer one."""
TURN_COST = 6.0
AWAY_COST = 0.25
LEAST_BEND = 0.15
"""1/mm: a line along which the surface bends less is not shown by it. A marginal groove bends by 0.5 to 3 (measured on made-up casts and
labelled scans); the gentle hollow of a healed ridge by less than 0.1."""
RUN_MM = 0.8
"""Supported and unsupported stretches shorter than this are not told apart."""


def _frames(ring: Floats, normals: Floats) -> Floats:
    """(k, 3) unit vectors on the surface across the line, away from the crown (which lies to the left)."""
    ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    across = np.cross(ahead, normals)
    return across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)


def _sections(ring: Floats, normals: Floats, project: Projector, reach_mm: float) -> tuple[Floats, Floats]:
    """Offsets (q,) mm and the surface's points (k, q, 3) across each point of the line."""
    offsets = np.arange(-reach_mm, reach_mm + 1e-9, STEP_MM)
    across = _frames(ring, normals)
    guesses = ring[:, None] + offsets[None, :, None] * across[:, None]
    return offsets, project.closest(guesses.reshape(-1, 3), candidates=16)[0].reshape(len(ring), len(offsets), 3)


def _bends(points: Floats, normals: Floats, across: Floats, arm: int) -> Floats:
    """(k, q) 1/mm, how much each section turns upward there, over `arm` steps to either side; -inf where the section is too short."""
    height = np.einsum("kqc,kc->kq", points, normals)
    along = np.einsum("kqc,kc->kq", points, across)
    bend = np.full(height.shape, -np.inf)
    mid = slice(arm, -arm)
    before, after = slice(None, -2 * arm), slice(2 * arm, None)
    left, right = along[:, mid] - along[:, before], along[:, after] - along[:, mid]
    fair = (left > 0.3 * arm * STEP_MM) & (right > 0.3 * arm * STEP_MM)
    fall = np.arctan2(height[:, mid] - height[:, before], left)
    rise = np.arctan2(height[:, after] - height[:, mid], right)
    length = 0.5 * (
        np.linalg.norm(points[:, mid] - points[:, before], axis=2) + np.linalg.norm(points[:, after] - points[:, mid], axis=2)
    )
    bend[:, mid] = np.where(fair, (rise - fall) / np.maximum(length, 1e-6), -np.inf)
    return gaussian_filter1d(np.where(np.isfinite(bend), bend, -1.0), 1.0, axis=0, mode="wrap")


def _closed_path(gain: Floats, turn_cost: float) -> np.ndarray:
    """(k,) index of the offset at each point of a closed line, for the most gain (k, q) with few turns."""
    k, q = gain.shape
    move = turn_cost * (STEP_MM * np.subtract.outer(np.arange(q), np.arange(q))) ** 2
    # twice round: the second time starts from what the first has learnt
    total, came = np.zeros(q), np.zeros((2 * k, q), dtype=np.int64)
    for i in range(2 * k):
        reach = total[None, :] - move
        came[i] = reach.argmax(axis=1)
        total = reach[np.arange(q), came[i]] + gain[i % k]
    path = np.zeros(2 * k, dtype=np.int64)
    path[-1] = int(total.argmax())
    for i in range(2 * k - 1, 0, -1):
        path[i - 1] = came[i, path[i]]
    return np.r_[path[k : k + k // 2], path[k // 2 : k]]


def _smooth_normals(patch: Mesh) -> Floats:
    normals = smooth_field(patch, patch.vertex_normals, 0.6)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)


def _normals_at(patch: Mesh, vertex_normals: Floats, points: Floats, faces: np.ndarray) -> Floats:
    corners = patch.faces[faces]
    away = np.linalg.norm(patch.vertices[corners] - points[:, None], axis=2)
    weight = 1.0 / np.maximum(away, 1e-3)
    n = (vertex_normals[corners] * weight[:, :, None]).sum(axis=1)
    return n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-12)


def _without_short_runs(flags: Bools, shortest: int) -> Bools:
    """(k,) closed, runs shorter than so many points joined to their surroundings: by the majority of a window."""
    if flags.all() or not flags.any():
        return flags
    return np.asarray(gaussian_filter1d(flags.astype(float), max(shortest / 2.0, 0.5), mode="wrap") >= 0.5)


def into_valley(patch: Mesh, ring: Floats, spacing_mm: float, fixed: Bools | None = None) -> tuple[Floats, Bools]:
    """The closed line (k, 3) moved into the valley beside it, and (k,) where there is one.

    ring : counter-clockwise seen from outside, points about spacing_mm apart; fixed : (k,) points that stay where they are
    """
    a, b = patch.faces[:, 0], patch.faces[:, 1]
    edge = float(np.median(np.linalg.norm(patch.vertices[a] - patch.vertices[b], axis=1)))
    arm = int(np.clip(round(max(ARM_MM, EDGE_SHARE * edge) / STEP_MM), 2, 10))
    project = Projector(patch)
    on, faces = project.closest(ring)
    normals = _normals_at(patch, _smooth_normals(patch), on, faces)
    normals = gaussian_filter1d(normals, 0.6 / spacing_mm, axis=0, mode="wrap")
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    reach = max(REACH_MM, 0.8 * edge)
    offsets, points = _sections(on, normals, project, reach + arm * STEP_MM)
    bend = _bends(points, normals, _frames(on, normals), arm)
    within = np.abs(offsets) <= reach + 1e-9
    gain = np.minimum(bend, 2.0) - AWAY_COST * offsets**2
    gain[:, ~within] = -10.0
    if fixed is not None and fixed.any():
        gain[fixed] = -20.0 * np.abs(offsets)
    path = _closed_path(gain, TURN_COST)
    rows = np.arange(len(on))
    supported = gaussian_filter1d(bend[rows, path], 0.3 / spacing_mm, mode="wrap") > LEAST_BEND
    return points[rows, path], _without_short_runs(supported, int(RUN_MM / spacing_mm))
