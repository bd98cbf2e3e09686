"""Clasp arms on a crown: retentive and reciprocal, as half-round sweeps that follow the tooth's own contour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..case import Component, ReciprocalArm, RetentiveArm
from ..solids.curves import smooth_rows
from ..solids.sweep import sweep
from .crown_rails import CALM_DEG, DEPTH_MM, EDGE_ROOM_MM, Course, Taper, arm_angles, rail_on_crown, retentive
from .shoulder import leaves, link
from .site import Built, Site


def retentive_arm(spec: RetentiveArm, site: Site, components: tuple[Component, ...] = ()) -> Built:
    """The first two thirds above the contour, the last third below it, the tip's gingival border at the gauge.

    Raises ComponentError when the crown has no such undercut where the tip must lie, saying how deep it is there.
    """
    chart = site.chart(spec.tooth, spec.id)
    lead, rest = leaves(spec, site, components)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg, lead)
    built = retentive(chart, spec.id, phi, Course(), Taper(spec.base_width_mm, spec.base_thickness_mm, spec.taper), spec.gauge_mm)
    if rest is None:
        return built
    return replace(built, shapes=(*built.shapes, link(site, rest, built.rails["arm"].points[[0, 5]], spec.id)))


def reciprocal_arm(spec: ReciprocalArm, site: Site, components: tuple[Component, ...] = ()) -> Built:
    """A rigid arm whose whole width lies at or above the contour."""
    chart = site.chart(spec.tooth, spec.id)
    lead, rest = leaves(spec, site, components)
    phi = arm_angles(spec.origin, spec.face, spec.reach_deg, lead)
    width, thickness = Taper(spec.width_mm, spec.thickness_mm, spec.taper).sizes(len(phi))
    contour, top = chart.contour(phi), chart.top(phi)
    room = top - contour
    z = np.minimum(contour + 0.15 + 0.5 * width, top - 0.5 * width - EDGE_ROOM_MM)
    warnings = []
    if float(np.nanmedian(room)) < spec.width_mm + 0.5:
        warnings.append(
            f"{spec.id}: only {float(np.nanmedian(room)):.1f} mm of crown above the contour; lower it by recontouring or use a plate"
        )
    rail = rail_on_crown(chart, phi, smooth_rows(z, CALM_DEG), width, thickness)
    shapes = [sweep(rail, depth=DEPTH_MM, name=spec.id)]
    if rest is not None:
        shapes.append(link(site, rest, rail.points[[0, 5]], spec.id))
    return Built(shapes=tuple(shapes), rails={"arm": rail}, facts={"length_mm": rail.length}, warnings=tuple(warnings))
