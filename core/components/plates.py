"""Guide plates: plates on the guide surface beside a gap, from the guide plane down to the tissue, with a foot on the ridge."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates

from ..case import BeadPlate, Component, GuidePlate, OcclusalRest
from ..charts import CrownChart
from ..errors import GeometryError
from ..mesh import Floats
from ..preparation import GuidePlaneSpec
from ..solids.curves import smooth_rows
from ..solids.fields import Shape, round_max, smooth_max
from ..teeth import Tooth, numbering
from ..teeth.landmarks import marginal_ridge
from .site import Built, Site

FOOT_MM = 3.2  # relief starts 2 mm from the abutment (1.5 to 2, handbook section 5); the outer line stands 1.2 mm further (1 to 2)
FOOT_THICKNESS_MM = 2.2  # stands over the relieved lattice: its end is the external finish line
DEPTH_MM = 0.7
WALL_DEPTH_MM = 1.6
FOOT_EDGE_MM = 0.12  # the finish line is square; a crease sharper than this only frays in the sampling
FOOT_THINS = 0.5  # by this share of its thickness towards its sides
FOOT_DROP_MM = 2.4  # so far below the crest the foot ends
RIDGE_STEP_MM = 0.25
RIDGE_CALM_MM = 0.8
RIDGE_RANGE_MM = 4.0  # what lies further from the crest's height is another tooth, not the ridge
FOOT_HALF_MM = 3.0  # the foot keeps to the top of the ridge; it does not hang down its sides


def plane_of(spec: GuidePlate, tooth: Tooth, up: Floats) -> GuidePlaneSpec:
    """The guide plane that a plate asks for."""
    outward = tooth.mesial if spec.side == "mesial" else -tooth.mesial
    flat = outward - (outward @ up) * up
    return GuidePlaneSpec(tooth=spec.tooth, side=spec.side, outward=flat / np.linalg.norm(flat), up=up, height_mm=spec.plane_height_mm)


def planes(components: tuple[Component, ...], teeth: dict[int, Tooth], up: Floats) -> list[GuidePlaneSpec]:
    """All guide planes that the components ask for, in their order; teeth that do not stand are passed over."""
    return [plane_of(c, teeth[c.tooth], up) for c in components if isinstance(c, GuidePlate) and c.tooth in teeth]


def guide_plate(spec: GuidePlate, site: Site, components: tuple[Component, ...]) -> Built:
    """A plate of even thickness over the blocked-out proximal surface; higher where a rest on the same side joins it."""
    chart = site.chart(spec.tooth, spec.id)
    tooth = site.teeth.teeth[spec.tooth]
    phi = 0.0 if spec.side == "mesial" else 180.0
    ridge = chart.local(marginal_ridge(tooth, site.cast, spec.side)[None])[0, 2]
    with_rest = any(isinstance(c, OcclusalRest) and c.tooth == spec.tooth and c.side == spec.side for c in components)
    rim = float(np.median(chart.contour(np.linspace(phi - 20, phi + 20, 9))))
    top = ridge - 0.25 if with_rest else min(ridge - 1.0, rim + spec.plane_height_mm)
    radius = float(np.nanmax(chart.radius(np.linspace(phi - 15, phi + 15, 11), rim)))
    half = float(np.clip(radius * np.tan(np.radians(0.5 * spec.width_deg)), 1.6, 0.45 * _breadth(chart)))
    crest = _crest_height(site, spec, chart)
    wall = _wall(spec, chart, phi, half, top, crest)
    shapes = [wall]
    if not _on_metal(spec, components):  # a metal base comes up to the wall by itself
        shapes.append(_foot(spec, site, chart, phi, min(half, FOOT_HALF_MM), radius, crest))
    facts: dict[str, float | str] = {
        "width_mm": 2 * half,
        "thickness_mm": spec.thickness_mm,
        "height_mm": top - float(np.median(chart.margin(np.array([phi])))),
    }
    return Built(shapes=tuple(shapes), facts=facts)


def _on_metal(spec: GuidePlate, components: tuple[Component, ...]) -> bool:
    """Whether a bead plate lies in the gap that the guide plate faces."""
    mesial, distal = numbering.neighbours(spec.tooth)
    beside = mesial if spec.side == "mesial" else distal
    return any(isinstance(c, BeadPlate) and beside in c.teeth for c in components)


def _crest_height(site: Site, spec: GuidePlate, chart: CrownChart) -> float:
    """Chart height of the ridge just beside the tooth; of the gingival margin where the scan shows no ridge."""
    mesial, distal = sorted(site.arch.extent(spec.tooth), key=abs)
    edge, way = (mesial, -1.0) if spec.side == "mesial" else (distal, 1.0)
    try:
        beside = site.arch.crest(edge + way * np.sign(edge) * 2.0)
    except GeometryError:
        return float(chart.margin(0.0 if spec.side == "mesial" else 180.0))
    return float(chart.local(beside[None])[0, 2])


def _wall(spec: GuidePlate, chart: CrownChart, phi: float, half: float, top: float, crest: float) -> Shape:
    """The upright part: its outer face is parallel to the path, one thickness outside the widest place of the tooth at each angle."""
    angles = np.linspace(phi - 65, phi + 65, 66)
    # The shadow of the tooth at this angle is as wide as the tooth at its contour or above.
    widest = np.nanmax([chart.radius(angles, chart.contour(angles) + up) for up in (0.0, 0.3, 0.8)], axis=0)
    widest = np.where(np.isfinite(widest), widest, np.nanmedian(widest))
    rim = smooth_rows(widest, 3)
    outward = chart.outward(phi)[0]
    across = np.cross(chart.up, outward)

    def field(points: Floats) -> Floats:
        rel = points - chart.origin
        u, w, z = rel @ across, rel @ outward, rel @ chart.up
        angle = np.degrees(np.arctan2(rel @ chart.facial, rel @ chart.mesial))
        turn = np.mod(angle - phi + 180.0, 360.0) - 180.0
        depth = np.hypot(u, w) - np.interp(phi + turn, angles, rim)
        sides = round_max(np.abs(u) - half, depth - spec.thickness_mm, 0.4)
        body = round_max(sides, z - top, 0.35)
        return np.maximum(np.maximum(body, -depth - WALL_DEPTH_MM), np.maximum(crest - 1.0 - z, 0.3 * widest.min() - w))

    corner = half + 1.0
    reach = float(widest.max()) + spec.thickness_mm + 1.0
    box = [
        chart.origin + outward * w + across * u + chart.up * z
        for w in (0.0, reach)
        for u in (-corner, corner)
        for z in (crest - 2, top + 1)
    ]
    return Shape(field, np.array([np.min(box, axis=0), np.max(box, axis=0)]), spec.id)


def _foot(spec: GuidePlate, site: Site, chart: CrownChart, phi: float, half: float, radius: float, crest: float) -> Shape:
    """The foot on the crest of the ridge beside the tooth; its square end is the external finish line.

    half, radius, crest : mm; half its width, the crown's reach towards the gap, the ridge's height in the chart
    """
    outward = chart.outward(phi)[0]
    across = np.cross(chart.up, outward)
    edge = radius + FOOT_MM
    height, steep = _ridge_map(site, chart, across, outward, half + 1.0, (radius, edge + 1.0), crest)

    def field(points: Floats) -> Floats:
        rel = points - chart.origin
        u, w, z = rel @ across, rel @ outward, rel @ chart.up
        ground = height(u, w)
        over = (z - ground) / steep(u, w)
        # Thick on the crest, where the base is lifted off the tissue, and thin down its slopes: no block hangs beside the ridge.
        aside = np.clip(np.maximum(np.abs(u) / half, (crest - ground) / FOOT_DROP_MM), 0.0, 1.0)
        thick = FOOT_THICKNESS_MM * (1.0 - FOOT_THINS * aside**2)
        top = smooth_max(over - thick, z - crest - FOOT_THICKNESS_MM, 0.6)
        border = smooth_max(np.abs(u) - half, crest - FOOT_DROP_MM - z, 0.5)
        out = round_max(round_max(border, top, 0.7), w - edge, FOOT_EDGE_MM)
        return np.maximum(out, np.maximum(0.6 * radius - w, -over - DEPTH_MM))

    corner = half + 1.0
    box = [
        chart.origin + outward * w + across * u + chart.up * z
        for w in (0.4 * radius, edge + 1)
        for u in (-corner, corner)
        for z in (crest - FOOT_DROP_MM - 0.8, crest + FOOT_THICKNESS_MM + 1)
    ]
    return Shape(field, np.array([np.min(box, axis=0), np.max(box, axis=0)]), f"{spec.id} foot")


Lookup = Callable[[Floats, Floats], Floats]


def _ridge_map(
    site: Site, chart: CrownChart, across: Floats, outward: Floats, half: float, reach: tuple[float, float], crest: float
) -> tuple[Lookup, Lookup]:
    """Smoothed height of the ridge beside a tooth (mm in the chart) and length of its slope per level mm, by place (u across, w outward).

    A distance to the ridge would not do here: in the angle between tooth and ridge the nearest surface changes from one to the other.
    half : mm to either side; reach : from and to, mm from the crown's axis; nearer than that the height goes on level
    """
    u = np.arange(-half, half + RIDGE_STEP_MM, RIDGE_STEP_MM)
    w = np.arange(reach[0] - 1.5, reach[1] + RIDGE_STEP_MM, RIDGE_STEP_MM)
    uu, ww = (g.ravel() for g in np.meshgrid(u, w, indexing="ij"))
    above = chart.z_high + 2.0
    start = chart.origin + uu[:, None] * across + ww[:, None] * outward + above * chart.up
    distance, _ = site.rays.first_hit(start, np.broadcast_to(-chart.up, start.shape))
    z = above - distance
    known = np.isfinite(z) & (np.abs(z - crest) < RIDGE_RANGE_MM) & (ww > reach[0] + 0.4)
    grid = np.where(known, z, crest).reshape(len(u), len(w))
    if known.any():
        nearest = distance_transform_edt(~known.reshape(grid.shape), return_distances=False, return_indices=True)
        grid = grid[tuple(nearest)]
    grid = gaussian_filter(grid, RIDGE_CALM_MM / RIDGE_STEP_MM, mode="nearest")
    slope = np.hypot(*np.gradient(grid, RIDGE_STEP_MM))

    def lookup(values: Floats) -> Lookup:
        def at(a: Floats, b: Floats) -> Floats:
            places = np.stack([(a - u[0]) / RIDGE_STEP_MM, (b - w[0]) / RIDGE_STEP_MM])
            return np.asarray(map_coordinates(values, places, order=1, mode="nearest"))

        return at

    return lookup(grid), lookup(np.sqrt(1.0 + np.minimum(slope, 1.5) ** 2))


def _breadth(chart: CrownChart) -> float:
    """Faciolingual size of the crown at its contour, mm."""
    f, li = chart.radius(90.0, chart.contour(90.0)), chart.radius(270.0, chart.contour(270.0))
    return float(np.nan_to_num(f[0], nan=3.5) + np.nan_to_num(li[0], nan=3.5))
