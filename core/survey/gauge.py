"""Gauge lines: where the undercut is as deep as a gauge, and the names of gauges."""

from __future__ import annotations

import numpy as np

from ..errors import GeometryError
from ..mesh import Bools, Floats, Mesh
from .contour import LINE_MM, STEP_MM
from .lines import Contour, chains, even, level_lines, runs, smooth_line, steady
from .measure import Survey
from .normals import diffuse, heat_matrix
from .topology import edge_table

# 0.010, 0.020 and 0.030 inch; the trade calls them 0.25, 0.50 and 0.75 mm (handbook section 1).
GAUGES_INCH = (0.010, 0.020, 0.030)
INCH_MM = 25.4

# Along a wall the depth changes by at most about the distance walked. A face over which it jumps more lies across the edge of a
# shadow (a pit, a neighbour's overhang): no gauge can read along it.
_STEEPEST = 2.0
# A gauge's lip meets walls; it cannot touch a surface that looks straight down (common practice: no clasp works over 60 degrees).
_WALL_DEG = 70.0
# Spread of the depth field before the line is drawn (mm): removes scan noise (0.0125 to 0.02 mm), moves nothing that a gauge feels.
_SMOOTH_MM = 0.2
_SHORTEST_MM = 1.0


def gauge_name(depth_mm: float) -> str:
    """Label of a gauge in both units by trade custom: 0.508 (or 0.50) mm -> '0.50 mm (0.020 in)'."""
    for inches in GAUGES_INCH:
        custom = 25.0 * inches
        if min(abs(depth_mm - custom), abs(depth_mm - INCH_MM * inches)) < 1e-3:
            return f"{custom:.2f} mm ({inches:.3f} in)"
    return f"{depth_mm:.2f} mm ({depth_mm / INCH_MM:.3f} in)"


def gauge_lines(mesh: Mesh, result: Survey, depth_mm: float) -> tuple[Contour, ...]:
    """Lines of equal undercut depth on a surveyed mesh (the survey's own), split by tooth.

    Raises GeometryError when the survey is of another mesh or the depth is not positive.
    """
    if len(result.undercut) != len(mesh.vertices):
        raise GeometryError("gauge lines: the survey belongs to another mesh; survey this one first")
    if not depth_mm > 0.0:
        raise GeometryError(f"gauge lines: depth must be positive, not {depth_mm:g} mm")
    near = _near_faces(mesh, result, depth_mm)
    if not near.any():
        return ()
    part, kept = mesh.submesh(near)
    table = edge_table(part)
    stiffness, mass = heat_matrix(part, table)
    raw = result.undercut[kept][:, None]
    once = diffuse(raw, stiffness, mass, _SMOOTH_MM, steps=1)
    # Smoothing fills a curved field a little (0.004 mm on a crown); twice the first pass less the second takes that back out.
    depth = (2.0 * once - diffuse(once, stiffness, mass, _SMOOTH_MM, steps=1))[:, 0]
    labels = None if result.labels is None else np.asarray(result.labels, dtype=np.int64)[kept]
    lines = level_lines(part, table, depth, depth_mm, _wall(part, result, kept, depth))
    found: list[Contour] = []
    a, b = table.vertices[lines.edge].T
    nearer = np.where(lines.fraction < 0.5, a, b)
    tag = np.zeros(len(nearer), dtype=np.int64) if labels is None else labels[nearer]
    for nodes, closed in chains(lines.segments, len(lines.points)):
        found += _by_tooth(lines.points[nodes], tag[nodes], closed)
    return tuple(sorted(found, key=lambda c: (c.label, -c.length)))


def _near_faces(mesh: Mesh, result: Survey, depth_mm: float) -> Bools:
    """Faces whose depth may come to the gauge after smoothing, with those around them."""
    depth = result.undercut[mesh.faces]
    return np.asarray((depth.max(axis=1) > 0.3 * depth_mm) & (depth.min(axis=1) < depth_mm + 1.0))


def _wall(part: Mesh, result: Survey, kept: np.ndarray, depth: Floats) -> Bools:
    corners = part.triangles
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(e1, e2)
    size = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-18)
    raw = result.undercut[kept][part.faces]
    d1, d2 = raw[:, 1] - raw[:, 0], raw[:, 2] - raw[:, 0]
    gradient = np.linalg.norm(np.cross(normal, d1[:, None] * e2 - d2[:, None] * e1), axis=1) / size
    lean = result.convergence[kept][part.faces].mean(axis=1)
    return np.asarray((gradient < _STEEPEST) & (lean < _WALL_DEG) & (depth[part.faces].max(axis=1) > 0.0))


def _by_tooth(points: Floats, tag: np.ndarray, closed: bool) -> list[Contour]:
    if len(points) < 3:
        return []
    points, near = even(points, closed, STEP_MM)
    points = smooth_line(points, closed, STEP_MM, LINE_MM)
    tag = steady(tag[near], points, closed, 0.5)
    parts = runs(tag, closed)
    lines = [Contour(points[part], closed and len(parts) == 1, int(tag[part[0]])) for part in parts if len(part) > 1]
    return [line for line in lines if line.length >= _SHORTEST_MM]
