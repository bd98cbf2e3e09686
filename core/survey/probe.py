"""The undercut gauge put to one point: everything a technician would read there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..gauges import GAUGES_INCH, INCH_MM
from ..mesh import Floats, Mesh
from .lines import chains, level_lines
from .measure import Survey, read_gauge, survey
from .scene import RayScene
from .topology import edge_table

# Noise of a scan, one standard deviation normal to the surface (mm): 0.005 to 0.013 on a flat wafer (PLoS ONE 2017, intra-oral
# scanners), more on wet enamel and in stone; 0.02 is the cautious default.
SCAN_NOISE_MM = 0.02
# Factor of the noise within which 95 of 100 readings must fall. Noise shifts the line outward where the contour is round (most misses are
# too deep: 2.1 to 2.6 on spheres of 3 and 4.5 mm at edges of 0.15 to 0.35 mm) and blunts a sharp one (too shallow: 2.5 on a frustum); 200
# scans with fresh noise each, tried again by tests/core/test_survey_noise_range.py.
_SPREAD = 2.5
# How far along the wall the contour is looked for (mm): no crown is taller.
_WALK_MM = 14.0


@dataclass(frozen=True)
class Probe:
    """One reading.

    point : on the surface, mm
    depth_mm, low_mm, high_mm : reading in the shadow of everything above, and the range that scan noise leaves
    alone_mm : reading of this tooth taken alone; None on tissue or without labels
    convergence_deg : angle of cervical convergence, between path and wall
    to_contour_mm : along the wall up to the height of contour; None where the wall has none in this plane
    above_margin_mm : height along the path above the nearest place of the margin; None without a margin
    gauge_mm : deepest standard gauge (exact size) whose lip would touch here or below the line, None when too shallow even for the least
    """

    point: tuple[float, float, float]
    depth_mm: float
    low_mm: float
    high_mm: float
    alone_mm: float | None
    convergence_deg: float
    to_contour_mm: float | None
    above_margin_mm: float | None
    gauge_mm: float | None


def probe(result: Survey, point: Floats, margin: Floats | None = None, noise_mm: float = SCAN_NOISE_MM) -> Probe:
    """Read the gauge at a point (3,) on or near the surface; margin (k, 3) is the gingival margin of the tooth, if known.

    Raises GeometryError for a point off the cast or a negative noise.
    """
    if noise_mm < 0.0:
        raise GeometryError(f"probe: scan noise must not be negative, not {noise_mm:g} mm")
    asked = np.asarray(point, dtype=np.float64).reshape(1, 3)
    at, _ = result.scene.nearest(asked)
    if np.linalg.norm(at - asked) > 1.0:
        raise GeometryError(f"probe: the point is {np.linalg.norm(at - asked):.1f} mm off the cast; pick a point on its surface")
    reading = read_gauge(result, at)
    depth = float(reading.depth[0])
    low, high = max(0.0, depth - _SPREAD * noise_mm), depth + _SPREAD * noise_mm
    fitting = [g * INCH_MM for g in GAUGES_INCH if g * INCH_MM <= high]
    towards = reading.line[0] - at[0]
    above = None
    if margin is not None and len(margin):
        nearest = np.asarray(margin)[np.argmin(np.linalg.norm(np.asarray(margin) - at[0], axis=1))]
        above = float((at[0] - nearest) @ result.path.vector)
    x, y, z = at[0].tolist()
    way = _walk(result, at[0], towards) if depth > 0.0 else None
    return Probe((x, y, z), depth, low, high, _alone(result, at), float(reading.convergence[0]), way, above, max(fitting, default=None))


def _alone(result: Survey, at: Floats) -> float | None:
    """Reading at a surface point (1, 3) as if its tooth stood by itself."""
    if result.labels is None:
        return None
    labels = np.asarray(result.labels)[result.mesh.faces]
    tooth = int(np.bincount(np.maximum(labels[result.scene.nearest(at)[1][0]], 0)).argmax())
    if tooth == 0:
        return None
    crown, _ = result.mesh.submesh((labels == tooth).any(axis=1))
    return float(read_gauge(survey(crown, result.path, scene=RayScene(crown)), at).depth[0])


def _walk(result: Survey, at: Floats, towards: Floats) -> float | None:
    """Length of the wall in the plane of path and depth from a hidden point up to the height of contour."""
    mesh, path = result.mesh, result.path.vector
    across = np.cross(path, towards)
    size = np.linalg.norm(across)
    if size < 1e-9:
        return 0.0
    line = wall_section(mesh, at, across / size, _WALK_MM, result.scene.normals @ path)
    return None if line is None else _to_zero(*line, at, path)


def wall_section(mesh: Mesh, at: Floats, normal: Floats, reach_mm: float, values: Floats) -> tuple[Floats, Floats, int] | None:
    """The section of a mesh with a plane through a surface point (3,), within reach of it.

    Returns points in order (k, 3), a vertex scalar (n,) read along them (k,), and the number of the point nearest to the given one;
    None where nothing is cut.
    """
    close = np.linalg.norm(mesh.triangles.mean(axis=1) - at, axis=1) < reach_mm
    part, kept = mesh.submesh(close)
    table = edge_table(part)
    lines = level_lines(part, table, (part.vertices - at) @ normal, 0.0)
    best, chosen = np.inf, None
    for nodes, _ in chains(lines.segments, len(lines.points)):
        gap = np.linalg.norm(lines.points[nodes] - at, axis=1)
        if gap.min() < best:
            best, chosen = float(gap.min()), (nodes, int(np.argmin(gap)))
    if chosen is None:
        return None
    nodes, start = chosen
    a, b = kept[table.vertices[lines.edge[nodes]]].T
    t = lines.fraction[nodes]
    return lines.points[nodes], (1.0 - t) * values[a] + t * values[b], start


def _to_zero(points: Floats, value: Floats, start: int, at: Floats, path: Floats) -> float | None:
    """Walk a section upward from the point at, near point number start, until the scalar turns from negative to zero."""
    ahead, behind = points[start:], points[start::-1]
    lift = [float((side[min(3, len(side) - 1)] - at) @ path) for side in (ahead, behind)]
    order = np.arange(start, len(points)) if lift[0] > lift[1] else np.arange(start, -1, -1)
    if len(order) > 1 and (points[order[0]] - at) @ (points[order[1]] - points[order[0]]) < 0.0:
        order = order[1:]  # the nearest point lies behind
    length, last, last_value = 0.0, at, float(min(value[start], 0.0))
    for k in order:
        step = float(np.linalg.norm(points[k] - last))
        if value[k] >= 0.0:
            part = last_value / (last_value - value[k]) if value[k] > last_value else 1.0
            return length + part * step
        length, last, last_value = length + step, points[k], float(value[k])
    return None
