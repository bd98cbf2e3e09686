"""Ground truth of a made-up cast: labels, margins and seeds."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh
from .anatomy import CREASE, Anatomy
from .arch import Placed

_LIFT = 0.25 * CREASE  # in the filled crease both fields have this value on the surface, mm


def label_vertices(mesh: Mesh, anatomy: Anatomy) -> np.ndarray:
    """(n,) int16 FDI number of the crown each vertex lies on, 0 for everything else."""
    crown, owner, gum = anatomy.parts(mesh.vertices)
    return np.where((crown < gum) & (crown < 0.3), owner, 0).astype(np.int16)


def margin_line(anatomy: Anatomy, fdi: int, count: int = 96) -> Floats:
    """(k, 3) where the crown's wall comes out of the gum, from mesial over facial, distal and lingual.

    Under a contact, where stone joins the neighbours, the line runs on inside the cast, as the gum's margin does in the mouth.
    """
    tooth = anatomy.teeth[fdi]
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    heights = np.linspace(-1.5, 0.72 * tooth.crown.full, 32)
    wall = _wall_points(tooth, np.repeat(angle, len(heights)), np.tile(heights, count))
    _, _, gum = anatomy.parts(tooth.to_cast(wall))
    covered = gum.reshape(count, -1) < _LIFT
    last = len(heights) - 1 - np.argmax(covered[:, ::-1], axis=1)
    low, high = heights[last], heights[np.minimum(last + 1, len(heights) - 1)]
    for _ in range(4):
        middle = 0.5 * (low + high)
        _, _, value = anatomy.parts(tooth.to_cast(_wall_points(tooth, angle, middle)))
        low, high = np.where(value < _LIFT, middle, low), np.where(value < _LIFT, high, middle)
    return tooth.to_cast(_wall_points(tooth, angle, 0.5 * (low + high)))


def _wall_points(tooth: Placed, angle: Floats, z: Floats) -> Floats:
    """Points just on the crown's wall at polar angles and heights, in the crown frame: the field is nearly the radial distance itself."""
    r = np.full_like(angle, 4.0)
    cos, sin = np.cos(angle), np.sin(angle)
    for _ in range(7):
        r = np.maximum(r - tooth.crown(np.stack([r * cos, r * sin, z], axis=1)) + _LIFT, 0.1)
    return np.stack([r * cos, r * sin, z], axis=1)


def seed_point(mesh: Mesh, labels: np.ndarray, tooth: Placed) -> Floats:
    """(3,) the vertex of the crown's upper half nearest to its long axis."""
    own = np.flatnonzero(labels == tooth.fdi)
    local = tooth.to_local(mesh.vertices[own])
    off = np.hypot(local[:, 0], local[:, 1]) + 20.0 * (local[:, 2] < 0.45 * tooth.crown.full)
    return mesh.vertices[own[np.argmin(off)]]
