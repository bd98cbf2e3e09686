"""How sharp are the inner corners of the polished side? The largest balls that touch it from outside, as for the thickness from inside."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Mesh
from .gaps import worst_spot
from .process import Process
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place
from .thickness import SAMPLE_MM, shrunk, surface_samples

WIDEST_MM = 2.0  # rounder than this is not measured
AREA_MM2 = 1.0  # own limit: so much surface may be sharper (ends of struts in corners of the cast, chance readings)
NO_SLIT_COS = -0.3  # a ball that touches a face turned this far against its own lies in a slit between two walls, not in a corner


def corner_radii(mesh: Mesh, polished: Bools, probes: int = 9000, scene: Rays | None = None) -> tuple[Floats, Floats, Floats]:
    """Points (k, 3) on the chosen faces, radius (k,) mm of the largest ball that touches there from outside, area (mm2) each stands for.

    At most WIDEST_MM. Good to about the sampling (0.16 mm) times the turn of the corner: tells 0.1 from 0.4 mm, not 0.1 from 0.15.
    """
    surface, face = surface_samples(mesh, SAMPLE_MM)
    mine = np.flatnonzero(polished[face])
    if len(mine) == 0:
        return np.zeros((0, 3)), np.zeros(0), np.zeros(0)
    chosen = mine[np.linspace(0, len(mine) - 1, min(probes, len(mine))).astype(np.int64)]
    points, normals = surface[chosen], mesh.face_normals[face[chosen]]
    away, _ = (scene or Rays(mesh)).first(points + 1e-3 * normals, normals)
    start = 0.5 * np.minimum(away + 1e-3, 2 * WIDEST_MM)
    radius = shrunk(points, -normals, start, surface, cKDTree(surface))
    return points, radius, np.full(len(points), mesh.face_areas[polished].sum() / len(points))


def check_corner_radius(
    mesh: Mesh, polished: Bools, process: Process, landmarks: Landmarks = NO_LANDMARKS, scene: Rays | None = None
) -> Check:
    """The radius that all but a square millimetre of the polished side's inner corners reach."""
    points, radius, area = corner_radii(mesh, polished, scene=scene)
    limit = process.least_radius_mm
    if len(points) < 50:
        return Check("form.radius", "skip", None, limit, "mm", "", process.source, "too little polished surface to measure")
    order = np.argsort(radius)
    value = float(radius[order][np.searchsorted(np.cumsum(area[order]), AREA_MM2).clip(max=len(order) - 1)])
    sharp = radius < limit
    status: Status = "warn" if value < limit else "pass"
    place = worst_spot(points[sharp], area[sharp]) if status == "warn" else None
    words = f"inner corners of the polished side have a radius of {value:.2f} mm or more, {area[sharp].sum():.1f} mm2 apart"
    return Check("form.radius", status, value, limit, "mm", landmarks.describe(place), process.source, words, as_place(place))
