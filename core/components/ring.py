"""The ring clasp: an arm nearly round a tipped molar, borne by a second rest and by a strut from the base."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..case import Component, RingArm
from ..charts import CrownChart
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import arc_length
from ..solids.sweep import Rail, make_rail, sweep
from ..teeth.numbering import is_molar
from .approach import approach
from .crown_rails import CENTRE, LEAD_DEG, Course, Taper, arm_angles, length_of, retentive
from .shoulder import link, rest_on
from .site import Built, Site

STRUT_MARGIN_MM = 3.0  # handbook, section 2.3: a strut nearer to the margin is a veto
OVER_MARGIN_MM = 1.0


def ring_arm(spec: RingArm, site: Site, components: tuple[Component, ...], strut: Rail) -> Built:
    """The arm with its strut and the link of its auxiliary rest.

    Raises ComponentError for a tooth that is no molar, a strut too near the margin, a rest that is missing, and where there is no undercut.
    """
    far = "distal" if spec.origin == "mesial" else "mesial"
    if not is_molar(spec.tooth):
        raise ComponentError(f"{spec.id}: a ring clasp is for a tipped molar, not for tooth {spec.tooth}; choose another clasp")
    if spec.strut_margin_mm < STRUT_MARGIN_MM:
        raise ComponentError(
            f"{spec.id}: its strut must stay {STRUT_MARGIN_MM:g} mm or more from the gingival margin, not {spec.strut_margin_mm:g}; "
            "lower the strut, or choose another clasp where the sulcus has no room"
        )
    rests = {side: rest_on(components, spec.tooth, side) for side in (spec.origin, far)}
    for side, found in rests.items():
        if found is None:
            raise ComponentError(f"{spec.id}: a ring clasp needs an occlusal rest on the {side} side of tooth {spec.tooth} too; add one")
    chart = site.chart(spec.tooth, spec.id)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg)
    at_far = float((180.0 - LEAD_DEG) / spec.reach_deg)
    course = Course((0.0, 0.3, at_far, max(at_far + 0.08, 0.70), 1.0), (0.75, 0.5, 0.5, 0.1, 0.0))
    built = retentive(chart, spec.id, phi, course, Taper(spec.base_width_mm, spec.base_thickness_mm, spec.taper, at_far), spec.gauge_mm)
    arm = built.rails["arm"]
    turn = abs(np.unwrap(chart.locate(arm.points)[0], period=360.0) - CENTRE[spec.origin, spec.face][0])
    rear = int(np.argmin(abs(turn - 180.0)))
    auxiliary = rests[far]
    assert auxiliary is not None
    onto = arm.points[rear] + 0.2 * arm.normals[rear]
    bar = _strut(spec, site, chart, strut, arm, turn)
    shapes = (*built.shapes, link(site, auxiliary, onto, spec.id), sweep(bar, depth=1.0, name=f"{spec.id} strut"))
    free = arc_length(arm.points)[-1] - arc_length(arm.points)[rear]
    return replace(
        built,
        shapes=shapes,
        rails={"arm": length_of(arm, rear), "rigid part": length_of(arm, 0, rear + 1), "strut": bar},
        facts={**built.facts, "length_mm": float(free), "whole_length_mm": arm.length, "strut_to_margin_mm": _clear(site, bar)},
    )


def _strut(spec: RingArm, site: Site, chart: CrownChart, strut: Rail, arm: Rail, turn: Floats) -> Rail:
    """From the base's strut to the middle of the rigid half of the arm."""
    at = spec.strut_at_deg if spec.face == "facial" else 360.0 - spec.strut_at_deg
    meets = int(np.argmin(abs(turn - spec.strut_at_deg)))
    end = np.vstack([arm.points[meets] - 0.9 * arm.width[meets] * site.up, arm.points[meets]])
    level = spec.strut_margin_mm + 0.5 * spec.strut_width_mm
    points, normals = approach(site, chart, strut, spec.face, at, level, end, 0.25)
    return make_rail(points, normals, spec.strut_width_mm, spec.strut_thickness_mm, calm=8)


def _clear(site: Site, bar: Rail) -> float:
    """mm between the strut's border and the gingival margins, over the part of it that runs along them."""
    margins = np.vstack([t.margin for t in site.teeth.teeth.values()])
    along = bar.points[: int(0.5 * len(bar.points))]
    return float(np.min(np.linalg.norm(along[:, None] - margins[None], axis=2)) - 0.5 * bar.width.max())
