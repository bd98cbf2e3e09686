"""Clasp arms on a crown: retentive and reciprocal, as half-round sweeps that follow the tooth's own contour."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..case import ReciprocalArm, RetentiveArm
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import monotone, resample, smooth, smooth_rows
from ..solids.fields import Shape
from ..solids.sweep import Rail, make_rail, sweep
from .site import Built, Site, Tip

if TYPE_CHECKING:
    from ..charts import CrownChart

STEP_MM = 0.12
CALM_DEG = 12  # an arm is a calm curve: it follows the contour, but not its every dip
RIGID_PART = 0.62  # of the length; only the last third of a cast arm may lie below the contour (standard texts, from memory)
TIP_TO_MARGIN_MM = 1.0  # common practice; 0.5 at the least
SIDE_CLEARANCE_MM = 0.3  # between a retentive tip and the block-out round it
CENTRE = {
    ("mesial", "facial"): (0.0, 1.0),
    ("distal", "facial"): (180.0, -1.0),
    ("mesial", "lingual"): (360.0, -1.0),
    ("distal", "lingual"): (180.0, 1.0),
}


def arm_angles(origin: str, face: str, reach_deg: float, lead_deg: float = 6.0) -> Floats:
    """(k,) chart angles from the shoulder to the tip, one a degree: from the proximal side `origin` round over `face`."""
    centre, turn = CENTRE[origin, face]
    return centre + turn * np.linspace(lead_deg, lead_deg + reach_deg, int(reach_deg) + 1)


def rail_on_crown(chart: CrownChart, phi: Floats, z: Floats, width: Floats, thickness: Floats) -> Rail:
    """A rail through chart places (phi, z), each (k,); width and thickness (k,) mm."""
    points = chart.surface(phi, z)
    normals = chart.normal(phi, z)
    good = np.isfinite(points).all(axis=1) & np.isfinite(normals).all(axis=1)
    if good.sum() < 0.6 * len(phi):
        raise ComponentError(f"tooth {chart.tooth.fdi}: the arm leaves the crown's surface; shorten it or choose another side")
    k = np.arange(len(phi))
    points = np.stack([np.interp(k, k[good], points[good, a]) for a in range(3)], axis=1)
    normals = np.stack([np.interp(k, k[good], normals[good, a]) for a in range(3)], axis=1)
    line = smooth(resample(points, STEP_MM), 1.2)
    share = np.linspace(0.0, 1.0, len(line))
    source = np.linspace(0.0, 1.0, len(phi))
    frame = np.stack([np.interp(share, source, normals[:, a]) for a in range(3)], axis=1)
    return make_rail(line, frame, np.interp(share, source, width), np.interp(share, source, thickness), calm=8)


def footprint_depth(chart: CrownChart, shape: Shape, phi: Floats, z_low: float, z_high: float, zone: Shape | None = None) -> float:
    """Deepest undercut, mm, that a solid touches on this crown within a window of the chart (0 when it touches none)."""
    angles = np.linspace(phi.min(), phi.max(), 48)
    heights = np.linspace(z_low, z_high, 48)
    a, z = (g.ravel() for g in np.meshgrid(angles, heights))
    points = chart.surface(a, z)
    good = np.isfinite(points).all(axis=1)
    points, a, z = points[good], a[good], z[good]
    inside = shape.field(points) < 0
    if zone is not None:
        inside &= zone.field(points) < 0
    if not inside.any():
        return 0.0
    depth = chart.depth(a[inside], z[inside])
    return float(np.nanmax(np.where(np.isfinite(depth), depth, 0.0)))


def _arm_sizes(width: float, thickness: float, taper: float, count: int) -> tuple[Floats, Floats]:
    share = np.linspace(0.0, 1.0, count)
    scale = 1.0 - (1.0 - taper) * share
    return width * scale, thickness * scale


def retentive_arm(spec: RetentiveArm, site: Site) -> Built:
    """The first two thirds above the contour, the last third below it, the tip's gingival border at the gauge.

    Raises ComponentError when the crown has no such undercut where the tip must lie, saying how deep it is there.
    """
    chart = site.chart(spec.tooth, spec.id)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg)
    width, thickness = _arm_sizes(spec.base_width_mm, spec.base_thickness_mm, spec.taper, len(phi))
    share = np.linspace(0.0, 1.0, len(phi))
    contour, top, margin = smooth_rows(chart.contour(phi), CALM_DEG), chart.top(phi), chart.margin(phi)
    gauge = chart.gauge(phi[share > 0.8], spec.gauge_mm)
    tip_margin = margin[share > 0.8]
    if not np.isfinite(gauge).any():
        floor = tip_margin + TIP_TO_MARGIN_MM
        deepest = float(np.nanmax(np.nan_to_num(chart.depth(phi[share > 0.8], floor))))
        raise ComponentError(
            f"{spec.id}: tooth {spec.tooth} has no undercut of {spec.gauge_mm:.2f} mm where the tip would lie "
            f"(deepest there {deepest:.2f} mm); "
            "change the tilt, let the arm come from the other side, or choose a bar clasp"
        )
    gauge_at_tip = float(np.nanmedian(gauge))
    drop_full = float(contour[-1]) - gauge_at_tip

    def build(drop: float) -> tuple[Rail, Shape]:
        # Gingival border relative to the contour: well above it at the shoulder, on it at two thirds, `drop` below it at the tip.
        border = contour + monotone(np.array([0.0, 0.35, RIGID_PART, 1.0]), np.array([0.75, 0.5, 0.1, -drop]), share)
        z = np.minimum(border + 0.5 * width, top - 0.5 * width - 0.4)
        rail = rail_on_crown(chart, phi, smooth_rows(z, CALM_DEG), width, thickness)
        return rail, sweep(rail, depth=0.7, name=spec.id)

    low, high = gauge_at_tip - 1.5, float(contour[-1]) + 1.0
    window = phi[share > 0.5]
    window = np.r_[window, window[-1] + np.sign(phi[-1] - phi[0]) * 14.0]
    drop = _solve_drop(lambda d: footprint_depth(chart, build(d)[1], window, low, high), drop_full, spec.gauge_mm)
    rail, shape = build(drop)
    reached = footprint_depth(chart, shape, window, low, high)
    terminal = np.linspace(0, 1, len(rail.points)) > RIGID_PART - 0.08
    clearance = float(np.nanmin(chart.locate(rail.points[-6:])[1] - 0.5 * rail.width[-6:] - np.interp(0, [0], [tip_margin[-1]])))
    warnings = (
        []
        if clearance >= TIP_TO_MARGIN_MM
        else [f"{spec.id}: the tip lies {clearance:.1f} mm from the gingival margin; {TIP_TO_MARGIN_MM} mm is wanted"]
    )
    zone_rail = Rail(
        rail.points[terminal], rail.normals[terminal], rail.width[terminal] + 2 * SIDE_CLEARANCE_MM, rail.thickness[terminal] + 1.0
    )
    return Built(
        shapes=(shape,),
        rails={"arm": rail},
        open_zones=(sweep(zone_rail, depth=1.6, name=spec.id),),
        tips=(Tip(spec.id, spec.tooth, rail.points[terminal], float(rail.width.max()), spec.gauge_mm),),
        facts={"length_mm": rail.length, "undercut_mm": reached, "tip_to_margin_mm": clearance},
        warnings=tuple(warnings),
    )


def _solve_drop(depth_of: object, start: float, target: float) -> float:
    """The drop of the tip's border below the contour that makes the deepest touched undercut equal `target` mm (bisection)."""
    low, high = 0.0, max(start, 0.1)
    for _ in range(4):
        if depth_of(high) >= target:  # type: ignore[operator]
            break
        high *= 1.35
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if depth_of(middle) < target else (low, middle)  # type: ignore[operator]
    return 0.5 * (low + high)


def reciprocal_arm(spec: ReciprocalArm, site: Site) -> Built:
    """A rigid arm whose whole width lies at or above the contour."""
    chart = site.chart(spec.tooth, spec.id)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg)
    width, thickness = _arm_sizes(spec.width_mm, spec.thickness_mm, spec.taper, len(phi))
    contour, top = chart.contour(phi), chart.top(phi)
    room = top - contour
    z = np.minimum(contour + 0.15 + 0.5 * width, top - 0.5 * width - 0.4)
    warnings = []
    if float(np.nanmedian(room)) < spec.width_mm + 0.5:
        warnings.append(
            f"{spec.id}: only {float(np.nanmedian(room)):.1f} mm of crown above the contour; lower it by recontouring or use a plate"
        )
    rail = rail_on_crown(chart, phi, smooth_rows(z, CALM_DEG), width, thickness)
    return Built(
        shapes=(sweep(rail, depth=0.7, name=spec.id),), rails={"arm": rail}, facts={"length_mm": rail.length}, warnings=tuple(warnings)
    )
