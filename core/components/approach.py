"""The way from a base along the tissue to a crown, over the gingival margin at a right angle: of bar clasps and of struts."""

from __future__ import annotations

import numpy as np

from ..charts import CrownChart
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import arc_length, smooth, spline
from ..solids.sweep import Rail
from .gaps import tissue_line
from .site import Site

LEAST_MARGIN_MM = 2.5  # handbook, section 2.4; 3 and 4 are taught as well
LEAVES_MM = 4.5  # along the base's strut from its end: clear of the plate's foot
TURN = 0.62  # the bend begins here along the way: a round corner of about 3 mm (2.75 to 3.00, finite-element optimum, handbook 2.4)


def nearest_first(strut: Rail, tooth: Floats) -> Floats:
    """(k, 3) the base's strut from that end which lies beside the tooth, whose middle is (3,)."""
    first, last = (np.linalg.norm(strut.points[k] - tooth) for k in (0, -1))
    return strut.points if first < last else strut.points[::-1]


def leaves_at(strut: Rail, tooth: Floats) -> Floats:
    """(3,) where a bar leaves the base's strut, near the tooth, whose middle is (3,)."""
    points = nearest_first(strut, tooth)
    along = arc_length(points)
    return np.asarray(points[min(int(np.searchsorted(along, LEAVES_MM)), len(points) - 1)])


def approach(
    site: Site, chart: CrownChart, strut: Rail, face: str, at_deg: float, level_mm: float, ends: Floats, relief_mm: float
) -> tuple[Floats, Floats]:
    """(k, 3) points and (k, 3) normals of a bar's way from the base's strut to the points `ends` (e, 3) on the crown.

    level_mm : of its middle line from the gingival margin; at_deg : chart angle at which it crosses the margin
    relief_mm : over the tissue; it runs out on the tooth
    """
    start = leaves_at(strut, chart.origin)
    z_end, margin = float(chart.local(ends[:1])[0, 2]), float(chart.margin(at_deg))
    radius = float(chart.radius(at_deg, chart.contour(at_deg))[0])
    s_tooth, s_start = site.arch.station(chart.at(at_deg, z_end, radius)[0]), site.arch.station(start)
    way = np.linspace(s_start, s_tooth, 15)
    low = tissue_line(site, way, face, level_mm, start="margin")[[6, int(round(TURN * 14))]]
    rise = tissue_line(site, way[8:], face, 0.6 * level_mm, start="margin")[-1]
    foot = chart.at(at_deg, margin, radius)[0]
    line = spline(np.vstack([start, *low, rise, foot, ends]), 0.15)
    on_tooth = max(z_end, margin + 0.6)
    heights = np.interp(chart.local(line)[:, 2], [on_tooth - 2.5, on_tooth - 0.4], [relief_mm, 0.0])
    points, normals = site.calm.project(line)
    return smooth(points + normals * heights[:, None], 1.6), normals


def from_margin(name: str, margin_mm: float) -> None:
    """Raises ComponentError for an approach that would run too close to the gingival margin."""
    if margin_mm < LEAST_MARGIN_MM:
        raise ComponentError(f"{name}: the arm must stay {LEAST_MARGIN_MM} mm or more from the gingival margin, not {margin_mm}")
