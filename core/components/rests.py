"""Rests: the metal that fills a rest seat and restores the tooth's form above it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import ConvexHull

from ..case import CingulumRest, OcclusalRest
from ..mesh import Floats, Mesh
from ..preparation import RestSeatSpec, fit_ledge, fit_reach, seat_field
from ..solids.distance import SurfaceDistance
from ..solids.fields import FAR, Footprint, Shape, round_max
from ..teeth import Teeth
from ..teeth.landmarks import cingulum, fossa, marginal_ridge
from .site import Built, Site

RIM_MM = 0.15
OVER_RIM_MM = 0.1  # beyond the outline of its crown, seen along the path, a rest is joined by plate or strut
SEAT_OVERLAP_MM = 0.06  # the rest is made a little larger than its seat and cut back by it: the fit is the cut
# Over the unprepared surface: bulk for finishing; a ledge is shallow and takes more (common practice).
LEDGE_REST_MM = 1.1  # a ledge's rest stops this far over the cingulum; the wall behind it may go higher (common practice)
PROUD_MM = {"occlusal": 0.25, "cingulum": 0.5}


def planned_seat(spec: OcclusalRest | CingulumRest, teeth: Teeth, cast: Mesh, up: Floats) -> RestSeatSpec:
    """The seat that a rest asks for, placed on the tooth's own landmarks and kept off its neighbour. cast: unprepared, mm."""
    tooth = teeth.teeth[spec.tooth]
    if isinstance(spec, OcclusalRest):
        ridge = marginal_ridge(tooth, cast, spec.side)
        seat = RestSeatSpec(
            tooth=spec.tooth,
            kind="occlusal",
            point=ridge,
            inward=_level(fossa(tooth, cast) - ridge, up),
            up=up,
            width_mm=spec.width_mm,
            length_mm=spec.length_mm,
            depth_mm=spec.depth_mm,
        )
        return fit_reach(seat, tooth, cast)
    ledge = RestSeatSpec(
        tooth=spec.tooth,
        kind="cingulum",
        point=cingulum(tooth, cast),
        inward=_level(tooth.facial, up),
        up=up,
        width_mm=spec.width_mm,
        length_mm=2.0,
        depth_mm=spec.depth_mm,
    )
    return fit_reach(fit_ledge(ledge, cast), tooth, cast)


def seat_of(spec: OcclusalRest | CingulumRest, site: Site) -> RestSeatSpec:
    """The seat of a rest on this cast."""
    return planned_seat(spec, site.teeth, site.cast, site.up)


def _level(vector: Floats, up: Floats) -> Floats:
    flat = vector - (vector @ up) * up
    return flat / np.linalg.norm(flat)


def _hull(points: Floats) -> Floats:
    """(k, 2) convex outline of points (n, 2)."""
    return np.asarray(points[ConvexHull(points).vertices])


def rest(spec: OcclusalRest | CingulumRest, site: Site) -> Built:
    """The rest's metal: its seat filled up to the form the tooth had, a little proud."""
    site.chart(spec.tooth, spec.id)
    seat = seat_of(spec, site)
    # The metal stops a little inside the rim of its own crown: beyond it there is only a fin over the neighbour.
    shape_of_seat = seat_field(replace(seat, reach_mm=max(seat.reach_mm - RIM_MM, 0.0)))
    proud = PROUD_MM[seat.kind]
    reach = max(seat.width_mm, seat.length_mm) + 1.5
    # What the upper side of a rest restores: the cast before preparation.
    anatomy = SurfaceDistance(site.cast, smoothing=0.35, within=np.array([seat.point - reach - 3.0, seat.point + reach + 3.0]))

    axes = site.path.rotation[:2].T
    # Over its own crown only: a neighbour's form is not the rest's to restore.
    crown = Footprint(_hull(site.cast.vertices[np.unique(site.cast.faces[site.teeth.teeth[spec.tooth].faces])] @ axes))
    ceiling = LEDGE_REST_MM if seat.kind == "cingulum" else FAR

    def field(points: Floats) -> Floats:
        form = round_max(anatomy(points) - proud, (points - seat.point) @ site.up - ceiling, 0.35)
        form = np.maximum(form, crown(points @ axes) - OVER_RIM_MM)
        return round_max(shape_of_seat(points) - SEAT_OVERLAP_MM, form, 0.25)

    bounds = np.array([seat.point - reach, seat.point + reach])
    return Built(
        shapes=(Shape(field, bounds, spec.id),),
        facts={"width_mm": seat.width_mm, "length_mm": seat.length_mm, "seat_depth_mm": seat.depth_mm},
    )
