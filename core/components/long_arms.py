"""Arms that go further than a face: back-action round the far side, and the extended arm over two teeth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..case import BackActionArm, Component, ExtendedArm, MinorConnector
from ..errors import ComponentError
from ..solids.curves import smooth_rows
from ..solids.sweep import sweep
from ..teeth import numbering
from .crown_rails import CALM_DEG, CENTRE, DEPTH_MM, EDGE_ROOM_MM, Course, Taper, arm_angles, joined, length_of, rail_on_crown, retentive
from .shoulder import LEAD_EMBRASURE_DEG, link, rest_on
from .site import Built, Site

RIGID_OVER_MM = 0.5
RIGID_SHARE = 0.45  # of an extended arm's taper; the part on the first tooth does not bend


def back_action_arm(spec: BackActionArm, site: Site, components: tuple[Component, ...]) -> Built:
    """From the lingual minor connector round the far side, where it carries the rest, to the tip.

    Raises ComponentError where there is no minor connector to start at, no rest on the far side, or no undercut.
    """
    far = "distal" if spec.origin == "mesial" else "mesial"
    if not any(isinstance(c, MinorConnector) and c.tooth == spec.tooth and c.side in (spec.origin, "lingual") for c in components):
        raise ComponentError(
            f"{spec.id}: a back-action arm starts at a minor connector on the {spec.origin} side of {spec.tooth}; add one with its rest"
        )
    rest = rest_on(components, spec.tooth, far)
    if rest is None:
        raise ComponentError(f"{spec.id}: the {far} side of tooth {spec.tooth} has no rest for the arm to carry; add one")
    chart = site.chart(spec.tooth, spec.id)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg, LEAD_EMBRASURE_DEG)
    at_far = (180.0 - LEAD_EMBRASURE_DEG) / spec.reach_deg
    course = Course((0.0, 0.3, at_far, at_far + 0.08, 1.0), (0.75, 0.5, 0.4, 0.1, 0.0))
    built = retentive(chart, spec.id, phi, course, Taper(spec.base_width_mm, spec.base_thickness_mm, spec.taper, 0.4), spec.gauge_mm)
    arm = built.rails["arm"]
    turn = abs(np.unwrap(chart.locate(arm.points)[0], period=360.0) - CENTRE[spec.origin, spec.face][0])
    rear = int(np.argmin(abs(turn - 180.0)))
    start = rest_on(components, spec.tooth, spec.origin)
    links = [link(site, rest, arm.points[rear], spec.id)] + ([link(site, start, arm.points[0], spec.id)] if start else [])
    return replace(built, shapes=(*built.shapes, *links))


def extended_arm(spec: ExtendedArm, site: Site) -> Built:
    """A rigid part over the contour of the first tooth that goes on as an arm to an undercut of the second.

    Raises ComponentError when the two do not stand side by side, or the second has no such undercut.
    """
    side = next((s for s, n in zip(("mesial", "distal"), numbering.neighbours(spec.tooth), strict=True) if n == spec.onto), None)
    if side is None:
        raise ComponentError(f"{spec.id}: tooth {spec.onto} does not stand beside {spec.tooth}; an extended arm goes over two neighbours")
    chart, beyond = site.chart(spec.tooth, spec.id), site.chart(spec.onto, spec.id)
    origin, entry = ("distal", "distal") if side == "mesial" else ("mesial", "mesial")
    if spec.tooth // 10 != spec.onto // 10:
        entry = "mesial"
    phi = arm_angles(origin, spec.face, 180.0 - 6.0 - LEAD_EMBRASURE_DEG)
    width = np.full(len(phi), spec.base_width_mm)
    z = np.minimum(chart.contour(phi) + RIGID_OVER_MM + 0.5 * width, chart.top(phi) - 0.5 * width - EDGE_ROOM_MM)
    rigid = rail_on_crown(chart, phi, smooth_rows(z, CALM_DEG), width, np.full(len(phi), spec.base_thickness_mm))
    ahead = arm_angles(entry, spec.face, spec.reach_deg, LEAD_EMBRASURE_DEG)
    tapers = Taper(spec.base_width_mm, spec.base_thickness_mm, spec.taper)
    built = retentive(beyond, spec.id, ahead, Course((0.0, 0.3, 0.55, 1.0), (0.5, 0.3, 0.1, 0.0)), tapers, spec.gauge_mm)
    arm = built.rails["arm"]
    whole = joined(rigid, length_of(arm, 0, len(arm.points) // 2))
    facts = {**built.facts, "whole_length_mm": rigid.length + arm.length}
    return replace(
        built, shapes=(sweep(whole, depth=DEPTH_MM, name=spec.id), *built.shapes), rails={"arm": arm, "rigid part": rigid}, facts=facts
    )
