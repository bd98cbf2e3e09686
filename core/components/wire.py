"""The wrought-wire arm of a combination clasp: round, of one diameter, held in the base."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..case import WireArm
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import arc_length, smooth, spline
from ..solids.sweep import Rail, full_round, make_rail, sweep
from .approach import nearest_first
from .crown_rails import Course, Taper, arm_angles, retentive
from .site import Built, Site

LEAST_MM, GOOD_MM = 7.0, 8.0  # free wire (handbook, section 2.2)
LEAD_DEG = 18.0  # it comes round the line angle clear of the guide plate
IN_BASE_MM = 6.0  # of wire in the base's resin, on its strut
BEDDED_MM = 0.06  # the wire's own round is bedded this deep where it lies on the tooth


def diameter_mm(gauge: int) -> float:
    """Diameter of American wire gauge: 0.127 mm times 92 to the power (36 - gauge) / 39."""
    return float(0.127 * 92.0 ** ((36 - gauge) / 39.0))


def _bedded(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
    return full_round(u, v + BEDDED_MM, half, height)


def wire_arm(spec: WireArm, site: Site, strut: Rail) -> Built:
    """From the base's strut round the line angle to the tip. Raises ComponentError for too short a wire and where there is no undercut."""
    chart = site.chart(spec.tooth, spec.id)
    d = diameter_mm(spec.wire_gauge)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg, LEAD_DEG)
    built = retentive(chart, spec.id, phi, Course(), Taper(d, d, 1.0), spec.gauge_mm, _bedded)
    arm = built.rails["arm"]
    if arm.length < LEAST_MM:
        raise ComponentError(f"{spec.id}: only {arm.length:.1f} mm of free wire; {LEAST_MM:g} mm are needed: let it reach on")
    points = nearest_first(strut, chart.origin)
    bed = points[arc_length(points) < IN_BASE_MM][::-6] + 0.5 * d * site.up
    line = spline(np.vstack([bed, 0.5 * (bed[-1] + arm.points[0]) + 0.6 * d * arm.normals[0], arm.points[0], arm.points[8]]), 0.15)
    distance, normals = site.calm.with_normal(line)
    line = smooth(line + np.maximum(0.1 - distance, 0.0)[:, None] * normals, 1.2)
    tail = make_rail(line, normals, d, d, calm=8)
    warnings = built.warnings
    if arm.length < GOOD_MM and spec.gauge_mm > 0.5:
        warnings = (*warnings, f"{spec.id}: {arm.length:.1f} mm of free wire; {GOOD_MM:g} mm are wanted at {spec.gauge_mm:.2f} mm")
    words = "wire is bent and held in the base; what is drawn shows its place and cannot be cast or printed as wrought wire"
    return replace(
        built,
        shapes=(*built.shapes, sweep(tail, full_round, depth=d, name=f"{spec.id} tail")),
        rails={"arm": arm, "tail": tail},
        facts={**built.facts, "diameter_mm": d, "length_mm": arm.length},
        warnings=(*warnings, f"{spec.id}: {words}"),
    )
