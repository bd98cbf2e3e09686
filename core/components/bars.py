"""Lower major connector and the minor connectors that rise from it."""

from __future__ import annotations

import numpy as np

from ..case import CingulumRest, Component, LingualBar, MinorConnector, OcclusalRest
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import resample, smooth, spline, tangents
from ..solids.sweep import Rail, half_pear, half_round, make_rail, sweep
from .gaps import tissue_line
from .rests import seat_of
from .site import Built, Relief, Site

BAR_CALM_SAMPLES = 14
BAR_CALM_MM = 7.0  # borders of a connector are smooth curves; they do not wave with each tooth
SULCUS_BAR_MM = 8.0  # margin to floor of mouth for a bar 4 mm below the margins (standard texts, from memory; 7 with warning)


def lingual_line(site: Site, start: float, end: float, distance_mm: float) -> Floats:
    """(k, 3) points at `distance_mm` below the lingual margins from station to station, calmed, on the blocked-out cast."""
    stations = np.linspace(start, end, max(int(abs(end - start) / 1.0), 4))
    points = resample(tissue_line(site, stations, "lingual", distance_mm, start="margin"), 0.25)
    points = smooth(points, BAR_CALM_MM)
    return smooth(site.broad.project(points)[0], 4.0)


def _gingival_first(points: Floats, normals: Floats, up: Floats) -> Floats:
    """Turn a line round if needed so that +across (tangent x normal) points away from the teeth, where the bulk belongs."""
    across = np.cross(tangents(points), normals)
    return points if float((across @ up).mean()) < 0 else points[::-1]


def lingual_bar(spec: LingualBar, site: Site, sulcus_mm: float | None) -> Built:
    """Half-pear bar on the lingual slope, its upper border `margin_mm` below the margins, with even relief under it."""
    if sulcus_mm is not None and sulcus_mm < 7.0:
        raise ComponentError(
            f"{spec.id}: the lingual sulcus is {sulcus_mm:.1f} mm deep; a bar needs 8 mm (7 at the least): use a lingual plate"
        )
    start, end = _bar_ends(spec, site)
    line = lingual_line(site, start, end, spec.margin_mm + 0.5 * spec.height_mm)
    points, normals = site.broad.project(line, height=spec.relief_mm)
    points = _gingival_first(smooth(points, 4.0), normals, site.up)
    normals = site.broad.with_normal(points)[1]
    rail = make_rail(points, normals, spec.height_mm, spec.thickness_mm, calm=BAR_CALM_SAMPLES)
    zone_rail = Rail(rail.points, rail.normals, rail.width + 1.2, rail.thickness + 1.0)
    reliefs = (Relief(sweep(zone_rail, half_round, depth=1.2, name=spec.id), spec.relief_mm),) if spec.relief_mm > 0 else ()
    warnings = (
        [f"{spec.id}: sulcus of {sulcus_mm:.1f} mm; 8 mm is wanted for a bar"]
        if sulcus_mm is not None and sulcus_mm < SULCUS_BAR_MM
        else []
    )
    return Built(
        shapes=(sweep(rail, half_pear, depth=0.9, name=spec.id),),
        rails={"bar": rail},
        reliefs=reliefs,
        facts={"height_mm": spec.height_mm, "thickness_mm": spec.thickness_mm, "length_mm": rail.length, "margin_mm": spec.margin_mm},
        warnings=tuple(warnings),
    )


def _bar_ends(spec: LingualBar, site: Site) -> tuple[float, float]:
    a, b = site.arch.station(spec.start), site.arch.station(spec.end)
    out = 5.0  # the bar runs on a little behind the last abutment, to meet the base
    return (a - out, b + out) if a < b else (a + out, b - out)


def minor_connector(spec: MinorConnector, site: Site, components: tuple[Component, ...], bar: Rail) -> Built:
    """From the rest through the lingual embrasure (or over the cingulum) to the bar, which it meets at a right angle."""
    chart = site.chart(spec.tooth, spec.id)
    tooth = site.teeth.teeth[spec.tooth]
    rests = [c for c in components if isinstance(c, OcclusalRest | CingulumRest) and c.tooth == spec.tooth]
    if spec.side != "lingual":
        rests = [c for c in rests if isinstance(c, OcclusalRest) and c.side == spec.side]
    if not rests:
        raise ComponentError(f"{spec.id}: tooth {spec.tooth} has no rest on its {spec.side} side for the minor connector to carry; add one")
    seat = seat_of(rests[0], tooth, site.cast, site.up)
    top = seat.point + seat.inward * 0.4 * seat.length_mm
    phi = {"mesial": 318.0, "distal": 222.0, "lingual": 270.0}[spec.side]
    lead = chart.outward(phi)[0]
    descent = _descent(site, top, lead, phi, chart, bar)
    points, normals = site.calm.project(descent, height=0.0)
    points = np.vstack([top - site.up * 0.25 * seat.depth_mm, points])
    normals = np.vstack([site.up, normals])
    line = spline(_thin(points), 0.2)
    line = smooth(line, 1.5)
    share = np.linspace(0, 1, len(line))
    source = np.linspace(0, 1, len(normals))
    frame = np.stack([np.interp(share, source, normals[:, k]) for k in range(3)], axis=1)
    frame = np.where((share < 0.12)[:, None], site.up, site.calm.with_normal(line)[1])
    width = np.interp(share, [0, 0.15, 0.8, 1.0], [0.8 * seat.width_mm, spec.width_mm, spec.width_mm, spec.width_mm + 1.2])
    thick = np.interp(share, [0, 0.12, 0.3, 1.0], [0.9, 1.2, spec.thickness_mm, spec.thickness_mm + 0.2])
    rail = make_rail(line, frame, width, thick, calm=8)
    return Built(
        shapes=(sweep(rail, depth=1.3, name=spec.id),),
        rails={"minor": rail},
        facts={"width_mm": spec.width_mm, "thickness_mm": spec.thickness_mm, "length_mm": rail.length},
    )


def _thin(points: Floats) -> Floats:
    """Every few points of a dense line, both ends kept: what a spline should pass through."""
    line = resample(points, 1.6)
    return line if len(line) > 2 else resample(points, 0.5)


def _descent(site: Site, top: Floats, lead: Floats, phi: float, chart: object, bar: Rail) -> Floats:
    """Surface points of the blocked-out cast straight below the embrasure, from under the rest down to the bar."""
    up = site.up
    side = np.cross(up, lead)
    gap = (bar.points - top) @ side
    foot = bar.points[int(np.argmin(np.abs(gap) + 1e3 * (((bar.points - top) @ lead) < 0)))]
    z_top, z_foot = float(top @ up) - 1.3, float(foot @ up)
    if z_top - z_foot < 2.0:
        raise ComponentError(f"minor connector on tooth {chart.tooth.fdi}: less than 2 mm between rest and bar")  # type: ignore[attr-defined]
    z = np.arange(z_top, z_foot, -0.4)
    share = (z_top - z) / (z_top - z_foot)
    # Start well out on the lingual side and look back towards the tooth; drift sideways to the foot, so that the strut ends square.
    level = top - (top @ up) * up
    drift = side * ((foot - top) @ side)
    origin = level + lead * 14.0 + share[:, None] ** 2 * drift + z[:, None] * up
    distance, _ = site.rays.first_hit(origin, np.broadcast_to(-lead, origin.shape))
    hit = np.isfinite(distance) & (distance < 16.0)
    if hit.sum() < 3:
        raise ComponentError(f"minor connector on tooth {chart.tooth.fdi}: no surface found in the embrasure")  # type: ignore[attr-defined]
    points = origin[hit] - lead * distance[hit, None]
    return smooth(np.vstack([points, foot]), 2.0)
