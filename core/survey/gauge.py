"""Gauge lines: where the undercut is as deep as a gauge."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .contour import LINE_MM, STEP_MM
from .lines import Contour, chains, even, level_lines, runs, steady, stiff_line
from .measure import Survey
from .normals import diffuse, heat_matrix
from .topology import EdgeTable, edge_table

# Along a wall the depth changes by at most about the distance walked. A face over which it jumps more lies across the edge of a
# shadow (a pit, a neighbour's overhang): no gauge can read along it.
_STEEPEST = 2.0
# A gauge's lip meets walls; it cannot touch a surface that looks straight down (common practice: no clasp works over 60 degrees).
_WALL_DEG = 70.0
# Nor does it read on a floor: tissue in the shadow of a crown that looks up at more than about 25 degrees is no wall of the undercut.
_FLOOR = 0.42
# Depths (mm) up to which the gauges share one smoothed field, and under which nothing is smoothed.
_COMMON_MM, _LEAST_MM = 1.0, 0.06
# Spread of the depth field before the line is drawn (mm): removes scan noise (0.0125 to 0.02 mm), moves nothing that a gauge feels.
_SMOOTH_MM = 0.2
# Shorter lines are not drawn, shorter breaks are drawn over (mm).
_SHORTEST_MM, _BREAK_MM = 1.5, 0.75


def gauge_lines(mesh: Mesh, result: Survey, depth_mm: float) -> tuple[Contour, ...]:
    """Lines of equal undercut depth on a surveyed mesh (the survey's own), split by tooth.

    Raises GeometryError when the survey is of another mesh or the depth is not positive.
    """
    if len(result.undercut) != len(mesh.vertices):
        raise GeometryError("gauge lines: the survey belongs to another mesh; survey this one first")
    if not depth_mm > 0.0:
        raise GeometryError(f"gauge lines: depth must be positive, not {depth_mm:g} mm")
    field = _field(result) if depth_mm <= _COMMON_MM else _smoothed(result, 0.3 * depth_mm, depth_mm + 1.0)
    if field is None:
        return ()
    near = np.flatnonzero(field.raw[field.part.faces].min(axis=1) < depth_mm + 1.0)
    lines = level_lines(field.part, field.table, field.depth, depth_mm, near)
    found: list[Contour] = []
    a, b = field.table.vertices[lines.edge].T
    tag = field.label[np.where(lines.fraction < 0.5, a, b)]
    touched = np.bincount(lines.segments.reshape(-1), np.repeat(field.wall[lines.faces], 2), minlength=len(lines.points)) > 0.0
    for nodes, closed in chains(lines.segments, len(lines.points)):
        if touched[nodes].any():
            found += _split(lines.points[nodes], np.where(touched, tag, -1)[nodes], closed)
    return tuple(sorted(found, key=lambda c: (c.label, -c.length)))


@dataclass(frozen=True, eq=False)
class _Field:
    """Depth on the undercut part of a cast. raw, depth : (n,) mm, as read and smoothed; label : (n,) FDI; wall : (m,) can be gauged."""

    part: Mesh
    table: EdgeTable
    raw: Floats
    depth: Floats
    label: Ints
    wall: Bools


@lru_cache(maxsize=2)
def _field(result: Survey) -> _Field | None:
    """All that the usual gauges need, once a survey."""
    return _smoothed(result, _LEAST_MM, _COMMON_MM + 1.0)


def _smoothed(result: Survey, low_mm: float, high_mm: float) -> _Field | None:
    """Depth near faces between two depths."""
    mesh = result.mesh
    at = [result.undercut[corner] for corner in result.scene.corners]
    deepest, least = np.maximum(np.maximum(at[0], at[1]), at[2]), np.minimum(np.minimum(at[0], at[1]), at[2])
    near = np.flatnonzero((deepest > low_mm) & (least < high_mm))
    if not len(near):
        return None
    part, kept = mesh.submesh(near)
    table = edge_table(part)
    stiffness, mass = heat_matrix(part, table)
    raw = result.undercut[kept]
    once = diffuse(raw[:, None], stiffness, mass, _SMOOTH_MM, steps=1)
    # Smoothing fills a curved field a little (0.004 mm on a crown); twice the first pass less the second takes that back out.
    depth = (2.0 * once - diffuse(once, stiffness, mass, _SMOOTH_MM, steps=1))[:, 0]
    label = np.zeros(len(kept), np.int64) if result.labels is None else np.asarray(result.labels, dtype=np.int64)[kept]
    return _Field(part, table, raw, depth, label, _wall(part, result, kept, depth))


def _wall(part: Mesh, result: Survey, kept: Ints, depth: Floats) -> Bools:
    corners = part.triangles
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(e1, e2)
    size = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-18)
    raw = result.undercut[kept][part.faces]
    d1, d2 = raw[:, 1] - raw[:, 0], raw[:, 2] - raw[:, 0]
    gradient = np.linalg.norm(np.cross(normal, d1[:, None] * e2 - d2[:, None] * e1), axis=1) / size
    lean = result.convergence[kept][part.faces].mean(axis=1)
    rise = (result.scene.normals[kept] @ result.path.vector)[part.faces].mean(axis=1)
    return np.asarray((gradient < _STEEPEST) & (lean < _WALL_DEG) & (rise < _FLOOR) & (depth[part.faces].max(axis=1) > 0.0))


def _split(points: Floats, tag: Ints, closed: bool) -> list[Contour]:
    """Cut a chain where the gauge leaves the wall (tag -1) and where it passes to another tooth."""
    if len(points) < 3:
        return []
    points, near = even(points, closed, STEP_MM)
    points = stiff_line(points, closed, STEP_MM, np.full(len(points), LINE_MM))
    tag = steady(tag[near], points, closed, _BREAK_MM)
    parts = [part for part in runs(tag, closed) if tag[part[0]] >= 0 and len(part) > 1]
    lines = [Contour(points[part], closed and len(part) == len(points), int(tag[part[0]])) for part in parts]
    return [line for line in lines if line.length >= _SHORTEST_MM]
