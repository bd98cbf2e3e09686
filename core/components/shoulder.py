"""Bodies and shoulders: the metal that joins a rest to the arms that leave on its side."""

from __future__ import annotations

import numpy as np

from ..case import Component, GuidePlate, OcclusalRest, ReciprocalArm, RetentiveArm
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import smooth, spline
from ..solids.fields import Shape
from ..solids.sweep import make_rail, sweep
from ..teeth import numbering
from .crown_rails import LEAD_DEG
from .rests import seat_of
from .site import Site

LEAD_EMBRASURE_DEG = 26.0  # an arm that comes through an embrasure meets its face this far round from the contact
BODY_WIDTH_MM, BODY_THICKNESS_MM = 2.2, 1.2  # at least the bulk of the arms that it carries (common practice)


def rest_on(components: tuple[Component, ...], tooth: int, side: str) -> OcclusalRest | None:
    """The occlusal rest on that side of the tooth, None where there is none."""
    return next((c for c in components if isinstance(c, OcclusalRest) and c.tooth == tooth and c.side == side), None)


def link(site: Site, rest: OcclusalRest, onto: Floats, name: str, thickness_mm: float = BODY_THICKNESS_MM) -> Shape:
    """From the floor of a rest's seat outward over the ridge and down the crown to the points `onto` (k, 3) of an arm."""
    seat = seat_of(rest, site)
    inside = seat.point + 0.3 * seat.length_mm * seat.inward - 0.6 * seat.depth_mm * site.up
    ridge = seat.point - 0.7 * seat.depth_mm * site.up
    line = smooth(spline(np.vstack([inside, ridge, np.atleast_2d(onto)]), 0.15), 1.2)
    points, normals = site.calm.project(line)
    points = smooth(points, 1.2)
    share = np.linspace(0.0, 1.0, len(points))
    width = np.interp(share, [0.0, 0.5, 1.0], [0.8 * seat.width_mm, BODY_WIDTH_MM, BODY_WIDTH_MM])
    return sweep(make_rail(points, normals, width, thickness_mm, calm=8), depth=0.9, name=f"{name} body")


def leaves(spec: RetentiveArm | ReciprocalArm, site: Site, components: tuple[Component, ...]) -> tuple[float, OcclusalRest | None]:
    """Degrees from the proximal middle at which an arm begins, and the rest that its body comes from (None: it joins a guide plate).

    Beside a standing neighbour the arm comes through the embrasure: from a rest there, over the ridges. Raises ComponentError without one.
    """
    beside = dict(zip(("mesial", "distal"), numbering.neighbours(spec.tooth), strict=True))[spec.origin]
    plate = any(isinstance(c, GuidePlate) and c.tooth == spec.tooth and c.side == spec.origin for c in components)
    rest = rest_on(components, spec.tooth, spec.origin)
    if beside not in site.teeth.teeth:
        return LEAD_DEG, None if plate else rest
    if rest is None:
        raise ComponentError(
            f"{spec.id}: tooth {beside} stands beside the {spec.origin} side of {spec.tooth}, so the arm comes through the embrasure and "
            "needs an occlusal rest there to carry it; add one, or let the arm come from the side of the space"
        )
    return LEAD_EMBRASURE_DEG, rest
