"""The I-bar: from the base along the tissue, over the margin at a right angle, to a strip of contact below the contour."""

from __future__ import annotations

import numpy as np

from ..case import IBar
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.fields import Shape
from ..solids.sweep import Rail, make_rail, sweep
from .approach import approach, from_margin
from .crown_rails import footprint_depth
from .site import Built, Site, Tip

STRIP_MM = 2.0  # height of the contact strip, its lower edge at the gauge (handbook, section 2.4)
TIP_TO_MARGIN_MM = 0.5


def i_bar(spec: IBar, site: Site, strut: Rail) -> Built:
    """A tapering bar from the base's facial strut. Raises ComponentError where the tooth has no such undercut."""
    from_margin(spec.id, spec.margin_mm)
    chart = site.chart(spec.tooth, spec.id)
    z_gauge = _strip_foot(spec, site)
    margin_z = float(chart.margin(spec.at_deg))
    rail = _bar_rail(spec, site, strut, z_gauge)
    shape = sweep(rail, depth=1.0, name=spec.id)
    zone = _strip_zone(spec, site, rail, z_gauge)
    phi = spec.at_deg + np.array([-25.0, 25.0])
    reached = footprint_depth(chart, shape, phi, margin_z, z_gauge + STRIP_MM, zone)
    strip = chart.surface(np.full(9, spec.at_deg), np.linspace(z_gauge, z_gauge + STRIP_MM, 9))
    clearance = z_gauge - margin_z
    warnings = [f"{spec.id}: the tip lies {clearance:.1f} mm from the gingival margin"] if clearance < TIP_TO_MARGIN_MM else []
    return Built(
        shapes=(shape,),
        rails={"arm": rail},
        open_zones=(zone,),
        tips=(Tip(spec.id, spec.tooth, strip, spec.tip_width_mm + 0.4, spec.gauge_mm),),
        facts={"length_mm": rail.length, "undercut_mm": reached, "tip_to_margin_mm": clearance},
        warnings=tuple(warnings),
    )


def _strip_foot(spec: IBar, site: Site) -> float:
    """Chart height of the strip's lower edge: where the deepest undercut across the strip's width equals the gauge."""
    chart = site.chart(spec.tooth, spec.id)
    half = np.degrees(0.5 * spec.tip_width_mm / max(float(chart.radius(spec.at_deg, chart.contour(spec.at_deg))[0]), 2.0))
    phi = spec.at_deg + np.linspace(-half, half, 9)
    gauge = chart.gauge(phi, spec.gauge_mm)
    if not np.isfinite(gauge).any():
        floor = float(chart.margin(spec.at_deg)) + 0.3
        deepest = float(np.nan_to_num(chart.depth(spec.at_deg, floor))[0])
        raise ComponentError(
            f"{spec.id}: tooth {spec.tooth} has no undercut of {spec.gauge_mm:.2f} mm on the facial side (deepest {deepest:.2f} mm); "
            "change the tilt, move the tip, or choose a wire arm"
        )
    return float(np.nanmax(gauge))


def _bar_rail(spec: IBar, site: Site, strut: Rail, z_gauge: float) -> Rail:
    chart = site.chart(spec.tooth, spec.id)
    strip = chart.surface(
        np.full(3, spec.at_deg), z_gauge + np.array([0.1, 0.55, 1.0]) * STRIP_MM - np.array([0, 0, 0.5 * spec.tip_width_mm]) * 0.5
    )
    level = spec.margin_mm + 0.5 * spec.base_width_mm
    points, normals = approach(site, chart, strut, "facial", spec.at_deg, level, strip, spec.relief_mm)
    share = np.linspace(0, 1, len(points))
    width = np.interp(share, [0, 1], [spec.base_width_mm, spec.tip_width_mm])
    return make_rail(points, normals, width, np.interp(share, [0, 1], [spec.base_thickness_mm, spec.tip_thickness_mm]), calm=8)


def _strip_zone(spec: IBar, site: Site, rail: Rail, z_gauge: float) -> Shape:
    """The block left open for the strip: from the gauge line up, as wide as the tip."""
    chart = site.chart(spec.tooth, spec.id)
    out = chart.outward(spec.at_deg)[0]
    side = np.cross(site.up, out)
    radius = float(chart.radius(spec.at_deg, chart.contour(spec.at_deg))[0])
    half = 0.5 * spec.tip_width_mm + 0.35
    centre = chart.at(spec.at_deg, z_gauge + 0.5 * STRIP_MM, radius)[0]

    def field(points: Floats) -> Floats:
        rel = points - chart.origin
        z = rel @ site.up
        across, deep = (points - centre) @ side, (points - centre) @ out
        return np.maximum(np.maximum(np.abs(across) - half, np.abs(deep) - 1.6), np.maximum(z_gauge - z, z - z_gauge - STRIP_MM - 1.2))

    return Shape(field, np.array([centre - 3.5, centre + 3.5]), spec.id)
