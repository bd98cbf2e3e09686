"""The lower major connector, and what other bars share with it."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.spatial import cKDTree

from ..case import LingualBar
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import arc_length, resample, smooth, smooth_rows, spline, tangents
from ..solids.sweep import Rail, half_pear, half_round, make_rail, sweep
from .gaps import tissue_line
from .site import Built, Relief, Site

BAR_CALM_SAMPLES = 14
BAR_CALM_MM = 7.0  # borders of a connector are smooth curves; they do not wave with each tooth
SULCUS_BAR_MM = 8.0  # margin to floor of mouth for a bar 4 mm below the margins (standard texts, from memory; 7 with warning)


def lingual_line(site: Site, start: float, end: float, distance_mm: float, side: str = "lingual") -> Floats:
    """(k, 3) points at `distance_mm` below the margins of one side from station to station, calmed, on the blocked-out cast."""
    stations = np.linspace(start, end, max(int(abs(end - start) / 1.0), 4))
    points = resample(tissue_line(site, stations, side, distance_mm, start="margin"), 0.25)
    points = smooth(points, BAR_CALM_MM)
    return smooth(site.broad.project(points)[0], 4.0)


def below_margins(site: Site, line: Floats, clear_mm: float) -> Floats:
    """The line (k, 3) let down along the path, smoothly, until it lies `clear_mm` or more from every gingival margin.

    A calm line cuts the corners of a scalloped margin; the bar gives way, not its distance.
    """
    margins = cKDTree(np.vstack([t.margin for t in site.teeth.teeth.values()]))
    for _ in range(4):
        short = np.maximum(clear_mm - margins.query(line)[0], 0.0)
        if short.max() < 0.02:
            break
        half = max(int(3.0 * len(line) / max(arc_length(line)[-1], 1e-9)), 1)
        drop = smooth_rows(maximum_filter1d(short, 2 * half + 1), half)
        line = site.broad.project(line - drop[:, None] * site.up)[0]
    return smooth(line, 2.0)


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
    below = spec.margin_mm + 0.5 * spec.height_mm
    rail = bar_rail(site, bar_ends(spec.start, spec.end, site), (below, below), (spec.height_mm, spec.thickness_mm), spec.relief_mm)
    warnings = (
        [f"{spec.id}: sulcus of {sulcus_mm:.1f} mm; 8 mm is wanted for a bar"]
        if sulcus_mm is not None and sulcus_mm < SULCUS_BAR_MM
        else []
    )
    return Built(
        shapes=(sweep(rail, half_pear, depth=0.9, name=spec.id),),
        rails={"bar": rail},
        reliefs=bar_relief(rail, spec.relief_mm, spec.id),
        facts={"height_mm": spec.height_mm, "thickness_mm": spec.thickness_mm, "length_mm": rail.length, "margin_mm": spec.margin_mm},
        warnings=tuple(warnings),
    )


def bar_rail(
    site: Site, ends: tuple[float, float], below: tuple[float, float], size: tuple[float, float], relief_mm: float, side: str = "lingual"
) -> Rail:
    """The middle line of a bar between two stations, its bulk away from the teeth.

    below : mm under the margins, along the tissue, of that line, and in a straight line at the least; size : height, thickness, mm
    """
    line = below_margins(site, lingual_line(site, *ends, below[0], side), below[1])
    points, normals = site.broad.project(line, height=relief_mm)
    points = _gingival_first(smooth(points, 4.0), normals, site.up)
    return make_rail(points, site.broad.with_normal(points)[1], *size, calm=BAR_CALM_SAMPLES)


def bar_relief(rail: Rail, relief_mm: float, name: str) -> tuple[Relief, ...]:
    """Even relief under a bar and a little beyond its borders; none where none is asked for."""
    if relief_mm <= 0:
        return ()
    zone_rail = Rail(rail.points, rail.normals, rail.width + 1.2, rail.thickness + 1.0)
    return (Relief(sweep(zone_rail, half_round, depth=1.2, name=name), relief_mm),)


def bar_ends(first: int, last: int, site: Site) -> tuple[float, float]:
    """Stations at which a bar from tooth to tooth (FDI) ends."""
    a, b = site.arch.station(first), site.arch.station(last)
    out = 3.5  # the bar runs on a little behind the last abutment, to meet the base
    return (a - out, b + out) if a < b else (a + out, b - out)


def join_to_bar(site: Site, bar: Rail, edge: Rail, relief_mm: float) -> Rail:
    """From the end of a lower bar up to the lingual edge of a base (its strut or finish line), as a broad flat band.

    edge : from its mesial end; relief_mm : of the base, whose height over the tissue the band takes on
    """
    ends = bar.points[[0, -1]]
    first = int(np.argmin([np.linalg.norm(edge.points - end, axis=1).min() for end in ends]))
    tail = bar.points[:20:4][::-1] if first == 0 else bar.points[-20::4]
    k = min(int(5.0 / 0.25), len(edge.points) - 1)
    raw = np.vstack([tail, 0.5 * (tail[-1] + edge.points[k]), edge.points[k]])
    height = np.linspace(0.25, relief_mm, 40)
    line = resample(spline(raw, 0.2), 0.2)
    heights = np.interp(np.linspace(0, 1, len(line)), np.linspace(0, 1, 40), height)
    points, normals = site.calm.project(line)
    points = points + normals * heights[:, None]
    share = np.linspace(0, 1, len(points))
    return make_rail(
        smooth(points, 2.0), normals, np.interp(share, [0, 0.5, 1], [3.6, 3.4, 2.6]), np.interp(share, [0, 1], [1.9, 1.4]), calm=10
    )
