"""Rests: the metal that fills a rest seat and restores the tooth's form above it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..case import CingulumRest, Component, OcclusalRest
from ..mesh import Floats, Mesh
from ..preparation import RestSeatSpec, fit_ledge, seat_field
from ..solids.fields import Shape, round_max
from ..teeth import Tooth
from ..teeth.landmarks import cingulum, fossa, marginal_ridge
from .site import Built, Site

SEAT_OVERLAP_MM = 0.06  # the rest is made a little larger than its seat and cut back by it: the fit is the cut
PROUD_MM = 0.15  # over the unprepared surface: bulk for finishing (common practice)


def seat_of(spec: OcclusalRest | CingulumRest, tooth: Tooth, cast_mesh: Mesh, up: Floats) -> RestSeatSpec:
    """The seat that a rest asks for, placed on the tooth's own landmarks."""
    if isinstance(spec, OcclusalRest):
        ridge = marginal_ridge(tooth, cast_mesh, spec.side)
        inward = fossa(tooth, cast_mesh) - ridge
        return RestSeatSpec(
            tooth=spec.tooth,
            kind="occlusal",
            point=ridge,
            inward=_level(inward, up),
            up=up,
            width_mm=spec.width_mm,
            length_mm=spec.length_mm,
            depth_mm=spec.depth_mm,
        )
    ledge = RestSeatSpec(
        tooth=spec.tooth,
        kind="cingulum",
        point=cingulum(tooth, cast_mesh),
        inward=_level(tooth.facial, up),
        up=up,
        width_mm=spec.width_mm,
        length_mm=2.0,
        depth_mm=spec.depth_mm,
    )
    return fit_ledge(ledge, cast_mesh)


def _level(vector: Floats, up: Floats) -> Floats:
    flat = vector - (vector @ up) * up
    return flat / np.linalg.norm(flat)


def seats(components: Sequence[Component], teeth: dict[int, Tooth], cast_mesh: Mesh, up: Floats) -> list[RestSeatSpec]:
    """All rest seats that the components of a case ask for, in their order; teeth that do not stand are passed over."""
    rests = [c for c in components if isinstance(c, OcclusalRest | CingulumRest) and c.tooth in teeth]
    return [seat_of(c, teeth[c.tooth], cast_mesh, up) for c in rests]


def rest(spec: OcclusalRest | CingulumRest, site: Site) -> Built:
    """The rest's metal: its seat filled up to the form the tooth had, a little proud."""
    site.chart(spec.tooth, spec.id)
    tooth = site.teeth.teeth[spec.tooth]
    seat = seat_of(spec, tooth, site.cast, site.up)
    shape_of_seat = seat_field(seat)
    anatomy = site.anatomy
    reach = max(seat.width_mm, seat.length_mm) + 1.5

    def field(points: Floats) -> Floats:
        return round_max(shape_of_seat(points) - SEAT_OVERLAP_MM, anatomy(points) - PROUD_MM, 0.25)

    bounds = np.array([seat.point - reach, seat.point + reach])
    return Built(
        shapes=(Shape(field, bounds, spec.id),),
        facts={"width_mm": seat.width_mm, "length_mm": seat.length_mm, "seat_depth_mm": seat.depth_mm},
    )
