"""T-bar and modified (half) T: a bar clasp whose head lies along the crown, one finger in the undercut beside the space."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..case import TBar
from ..solids.curves import smooth_rows
from ..solids.sweep import Rail, make_rail, sweep
from .approach import approach, from_margin
from .crown_rails import CALM_DEG, DEPTH_MM, Course, Taper, joined, rail_on_crown, retentive
from .site import Built, Site

OTHER_SHARE = 0.8  # of the retentive finger's length: the finger that steadies and does not hold
TIP_SHARE = 0.85
OVER_MM = 0.2


def t_bar(spec: TBar, site: Site, strut: Rail) -> Built:
    """The upright meets the head at the contour; the retentive finger dips from there to the gauge.

    Raises ComponentError where the crown has no such undercut on the side of the space.
    """
    from_margin(spec.id, spec.margin_mm)
    chart = site.chart(spec.tooth, spec.id)
    turn = 1.0 if spec.towards == "distal" else -1.0
    phi = spec.at_deg + turn * np.linspace(0.0, spec.head_deg, int(spec.head_deg) + 1)
    taper = Taper(spec.head_width_mm, spec.head_thickness_mm, TIP_SHARE)
    finger = retentive(chart, spec.id, phi, Course((0.0, 0.25, 1.0), (0.1, 0.0, 0.0)), taper, spec.gauge_mm)
    head = finger.rails["arm"]
    end = np.vstack([head.points[0] - 0.8 * spec.head_width_mm * site.up, head.points[0]])
    level = spec.margin_mm + 0.5 * spec.base_width_mm
    points, normals = approach(site, chart, strut, "facial", spec.at_deg, level, end, spec.relief_mm)
    share = np.linspace(0, 1, len(points))
    width = np.interp(share, [0, 1], [spec.base_width_mm, 1.1 * spec.head_width_mm])
    upright = make_rail(points, normals, width, np.interp(share, [0, 1], [spec.base_thickness_mm, spec.head_thickness_mm]), calm=8)
    shapes = [*finger.shapes, sweep(upright, depth=1.0, name=spec.id)]
    if not spec.modified:
        other = spec.at_deg - turn * np.linspace(0.0, OTHER_SHARE * spec.head_deg, int(spec.head_deg))
        wide, thick = taper.sizes(len(other))
        z = smooth_rows(chart.contour(other), CALM_DEG) + np.linspace(0.1, OVER_MM, len(other)) + 0.5 * wide
        shapes.append(sweep(rail_on_crown(chart, other, z, wide, thick), depth=DEPTH_MM, name=f"{spec.id} steadying finger"))
    whole = joined(upright, head)
    return replace(
        finger, shapes=tuple(shapes), rails={"arm": whole, "head": head}, facts={**finger.facts, "length_mm": whole.length}
    )
