"""Rails on crowns from control points in survey terms, and the place of a retentive tip: what every arm on a tooth is built from.

A course is the way of an arm's gingival border round the crown: how far above the height of contour it runs at shares of its length. A
taper says how its section shrinks. Every cast arm, long or short, is one course and one taper on one rail.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import monotone, resample, smooth, smooth_rows, spline
from ..solids.fields import Shape
from ..solids.sweep import Rail, Section, half_round, make_rail, sweep
from .site import Built, Tip

if TYPE_CHECKING:
    from ..charts import CrownChart

STEP_MM = 0.12
CALM_DEG = 12  # an arm is a calm curve: it follows the contour, but not its every dip
RIGID_PART = 0.62  # of the length; only the last third of a cast arm may lie below the contour (standard texts, from memory)
TIP_TO_MARGIN_MM = 1.0  # common practice; 0.5 at the least
TIP_TOLERANCE_MM = 0.03  # project target; a hand gauge is read to about 0.05 (common practice)
SIDE_CLEARANCE_MM = 0.3  # between a retentive tip and the block-out round it
EDGE_ROOM_MM = 0.4  # from an arm's upper border to the crown's highest place
DEPTH_MM = 0.7  # an arm is made this much too deep, into the tooth, and cut off there
TIP_WINDOW_DEG = 60.0  # the end of an arm, in which its undercut is measured
PAST_TIP_DEG = 14.0
CENTRE = {
    ("mesial", "facial"): (0.0, 1.0),
    ("distal", "facial"): (180.0, -1.0),
    ("mesial", "lingual"): (360.0, -1.0),
    ("distal", "lingual"): (180.0, 1.0),
}
LEAD_DEG = 6.0


def arm_angles(origin: str, face: str, reach_deg: float, lead_deg: float = LEAD_DEG) -> Floats:
    """(k,) chart angles from the shoulder to the tip, one a degree: from the proximal side `origin` round over `face`."""
    centre, turn = CENTRE[origin, face]
    return centre + turn * np.linspace(lead_deg, lead_deg + reach_deg, int(reach_deg) + 1)


@dataclass(frozen=True)
class Course:
    """An arm's gingival border. over_mm : above the contour at `shares` of the length; the last is the tip's, found from its gauge."""

    shares: tuple[float, ...] = (0.0, 0.35, RIGID_PART, 1.0)
    over_mm: tuple[float, ...] = (0.75, 0.5, 0.1, 0.0)

    def over(self, share: Floats, drop: float) -> Floats:
        """(k,) mm above the contour, the tip's border `drop` below it; never overshoots its control points."""
        return monotone(np.array(self.shares), np.r_[self.over_mm[:-1], -drop], share)


@dataclass(frozen=True)
class Taper:
    """Width and thickness at the shoulder, mm; both keep until `start` (share of the length) and shrink evenly to `end` times that."""

    width: float
    thickness: float
    end: float
    start: float = 0.0

    def sizes(self, count: int) -> tuple[Floats, Floats]:
        """(count,) widths and thicknesses, shoulder first."""
        scale = np.interp(np.linspace(0.0, 1.0, count), [self.start, 1.0], [1.0, self.end])
        return self.width * scale, self.thickness * scale


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


def solve_drop(depth_of: Callable[[float], float], start: float, target: float) -> float:
    """The drop of the tip's border below the contour that makes the deepest touched undercut equal `target` mm (bisection)."""
    low, high = 0.0, max(start, 0.1)
    for _ in range(4):
        if depth_of(high) >= target:
            break
        high *= 1.35
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if depth_of(middle) < target else (low, middle)
    return 0.5 * (low + high)


def length_of(rail: Rail, first: int, last: int | None = None) -> Rail:
    """The part of a rail from sample `first` to before `last`."""
    part = slice(first, last)
    return Rail(rail.points[part], rail.normals[part], rail.width[part], rail.thickness[part])


def joined(first: Rail, second: Rail) -> Rail:
    """Two rails in a row as one calm rail, the gap between them bridged by a smooth curve."""
    points = np.vstack([first.points, second.points])
    knots = np.vstack([first.points[::12], first.points[-1:], second.points[::12], second.points[-1:]])
    knots = knots[np.r_[True, np.linalg.norm(np.diff(knots, axis=0), axis=1) > 0.3]]
    line = spline(knots, STEP_MM)
    near = cKDTree(points).query(smooth(line, 1.2))[1]
    stacked = [np.concatenate([getattr(first, a), getattr(second, a)])[near] for a in ("normals", "width", "thickness")]
    return make_rail(smooth(line, 1.2), stacked[0], smooth_rows(stacked[1], 6), smooth_rows(stacked[2], 6), calm=10)


def gauge_at_tip(chart: CrownChart, name: str, phi: Floats, gauge_mm: float) -> float:
    """Chart height of the gauge line at the tip, (k,) angles of the arm's last part. Raises ComponentError where there is none."""
    gauge = chart.gauge(phi, gauge_mm)
    if not np.isfinite(gauge).any():
        floor = chart.margin(phi) + TIP_TO_MARGIN_MM
        deepest = float(np.nanmax(np.nan_to_num(chart.depth(phi, floor))))
        raise ComponentError(
            f"{name}: tooth {chart.tooth.fdi} has no undercut of {gauge_mm:.2f} mm where the tip would lie "
            f"(deepest there {deepest:.2f} mm); "
            "change the tilt, let the arm come from the other side, or choose a bar clasp"
        )
    return float(np.nanmedian(gauge))


def retentive(
    chart: CrownChart, name: str, phi: Floats, course: Course, taper: Taper, gauge_mm: float, section: Section = half_round
) -> Built:
    """An arm over chart angles phi (k,) whose tip's gingival border lies at the gauge; its rail "arm" runs from shoulder to tip.

    Raises ComponentError when the crown has no such undercut where the tip must lie, saying how deep it is there.
    """
    width, thickness = taper.sizes(len(phi))
    share = np.linspace(0.0, 1.0, len(phi))
    contour, top, margin = smooth_rows(chart.contour(phi), CALM_DEG), chart.top(phi), chart.margin(phi)
    tip_degrees = min(TIP_WINDOW_DEG, 0.5 * len(phi))
    last = max(int(0.4 * tip_degrees), 2)
    at_gauge = gauge_at_tip(chart, name, phi[-last:], gauge_mm)

    def build(drop: float) -> tuple[Rail, Shape]:
        border = contour + course.over(share, drop)
        z = np.minimum(border + 0.5 * width, top - 0.5 * width - EDGE_ROOM_MM)
        rail = rail_on_crown(chart, phi, smooth_rows(z, CALM_DEG), width, thickness)
        return rail, sweep(rail, section, depth=DEPTH_MM, name=name)

    window = phi[-int(tip_degrees) :]
    low, high = float(np.nanmin(chart.margin(window))), float(contour[-1]) + 1.0
    window = np.r_[window, window[-1] + np.sign(phi[-1] - phi[0]) * PAST_TIP_DEG]
    drop = solve_drop(lambda d: footprint_depth(chart, build(d)[1], window, low, high), float(contour[-1]) - at_gauge, gauge_mm)
    rail, shape = build(drop)
    reached = footprint_depth(chart, shape, window, low, high)
    terminal = np.linspace(0, 1, len(rail.points)) > course.shares[-2] - 0.08
    clearance = float(np.nanmin(chart.locate(rail.points[-6:])[1] - 0.5 * rail.width[-6:] - margin[-1]))
    if clearance < 0.0 or reached < gauge_mm - TIP_TOLERANCE_MM:
        raise ComponentError(
            f"{name}: tooth {chart.tooth.fdi} gives {gauge_mm:.2f} mm of undercut to a tip {width[-1]:.1f} mm wide only at or below the "
            "gingival margin; choose a smaller gauge, change the tilt, or let the arm reach to another place"
        )
    warnings = (
        []
        if clearance >= TIP_TO_MARGIN_MM
        else [f"{name}: the tip lies {clearance:.1f} mm from the gingival margin; {TIP_TO_MARGIN_MM} mm is wanted"]
    )
    zone_rail = Rail(
        rail.points[terminal], rail.normals[terminal], rail.width[terminal] + 2 * SIDE_CLEARANCE_MM, rail.thickness[terminal] + 1.0
    )
    return Built(
        shapes=(shape,),
        rails={"arm": rail},
        open_zones=(sweep(zone_rail, depth=1.6, name=name),),
        tips=(Tip(name, chart.tooth.fdi, rail.points[terminal], float(rail.width.max()), gauge_mm),),
        facts={"length_mm": rail.length, "undercut_mm": reached, "tip_to_margin_mm": clearance},
        warnings=tuple(warnings),
    )
