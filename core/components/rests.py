"""Rests: the metal that fills a rest seat and restores the tooth's form above it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.ndimage import gaussian_filter, grey_closing, map_coordinates
from scipy.spatial import ConvexHull

from ..case import AnyRest, Component, IncisalRest, OcclusalRest
from ..errors import ComponentError
from ..mesh import Floats, Mesh
from ..preparation import ON_LEDGE, ON_TOP, RestSeatSpec, ball_centre, fit_ledge, fit_reach, seat_field
from ..solids.distance import SurfaceDistance
from ..solids.fields import FAR, Footprint, Shape, round_max
from ..survey import RayScene
from ..teeth import Teeth, Tooth, numbering
from ..teeth.edges import incisal_edge
from ..teeth.landmarks import cingulum, fossa, marginal_ridge
from .site import Built, Site

RIM_MM = 0.15
OVER_RIM_MM = 0.1  # beyond the outline of its crown, seen along the path, a rest is joined by plate or strut
OVER_EMBRASURE_MM = 0.3  # the two rests of a pair meet over the embrasure between them
SEAT_OVERLAP_MM = 0.06  # the rest is made a little larger than its seat and cut back by it: the fit is the cut
LEDGE_REST_MM = 1.1  # a ledge's rest stops this far over the cingulum; the wall behind it may go higher (common practice)
# Over the unprepared surface: bulk for finishing; a ledge is shallow and takes more (common practice).
PROUD_MM = {"occlusal": 0.25, "long": 0.25, "embrasure": 0.35, "cingulum": 0.5, "ball": 0.5, "incisal": 0.3}
# An occlusal rest is smooth on top: fissures narrower than this across are bridged, and what is left is rounded off.
BRIDGED_MM, CALM_MM = 0.9, 0.35
TOP_STEP_MM = 0.12
# A hollow may lie aside of the crown's own direction by the first of these; from the second on it is no hollow of this ridge (own limits).
ASIDE_DEG, LOST_DEG = 50.0, 75.0
DROP_MM = 1.6  # what lies further below the ridge than this is not the rest's to restore
BRIDGE_MM = 0.9  # a bridge between two rests reaches this far below their ridges, at the least to where the crowns touch
PAST_MIDDLE = 0.58  # a long rest covers more than half of the crown mesiodistally (McCracken's, from memory)
LONG_FLOOR_MM = 0.9  # a long seat's floor lies this far below the fossa that it crosses: 1 mm of metal with what stands proud
LONG_FALL_MM = 1.4  # and no further below the lowered ridge than this


def planned_seat(spec: AnyRest, teeth: Teeth, cast: Mesh, up: Floats) -> RestSeatSpec:
    """The seat that a rest asks for, placed on the tooth's own landmarks and kept off its neighbour. cast: unprepared, mm."""
    tooth = teeth.teeth[spec.tooth]
    if isinstance(spec, OcclusalRest):
        return fit_reach(_occlusal(spec, tooth, cast, up), tooth, cast)
    if isinstance(spec, IncisalRest):
        return RestSeatSpec(
            tooth=spec.tooth,
            kind="incisal",
            point=incisal_edge(tooth, cast, spec.side, spec.inset_mm),
            inward=_level(-tooth.direction(spec.side), up),
            up=up,
            width_mm=spec.width_mm,
            length_mm=2.0,
            depth_mm=spec.depth_mm,
        )
    ledge = RestSeatSpec(
        tooth=spec.tooth,
        kind="cingulum" if spec.form == "chevron" else "ball",
        point=cingulum(tooth, cast),
        inward=_level(tooth.facial, up),
        up=up,
        width_mm=spec.width_mm if spec.form == "chevron" else spec.ball_mm,
        length_mm=2.0,
        depth_mm=spec.depth_mm,
    )
    return fit_reach(fit_ledge(ledge, cast), tooth, cast)


def _occlusal(spec: OcclusalRest, tooth: Tooth, cast: Mesh, up: Floats) -> RestSeatSpec:
    ridge = marginal_ridge(tooth, cast, spec.side)
    hollow = fossa(tooth, cast)
    along = _level(-tooth.direction(spec.side), up)
    seat = RestSeatSpec(
        tooth=spec.tooth,
        kind="occlusal" if spec.form == "short" else spec.form,
        point=ridge,
        inward=_run(_level(hollow - ridge, up), along),
        up=up,
        width_mm=spec.width_mm,
        length_mm=min(spec.length_mm, 6.0) if spec.form != "long" else spec.length_mm,
        depth_mm=spec.depth_mm,
    )
    if spec.form != "long":
        return seat
    # Along the crown, not into the nearest pit.
    extent = (cast.vertices[np.unique(cast.faces[tooth.faces])] - ridge) @ along
    rim = float(extent.min())  # how far the crown reaches beyond the ridge
    length = max(spec.length_mm, PAST_MIDDLE * float(np.ptp(extent)) + rim)
    fall = float((ridge - hollow) @ up) + LONG_FLOOR_MM - spec.depth_mm
    return replace(seat, inward=along, length_mm=min(length, 8.0), fall_mm=float(np.clip(fall, seat.fall_mm, LONG_FALL_MM)))


def seat_of(spec: AnyRest, site: Site) -> RestSeatSpec:
    """The seat of a rest on this cast."""
    return planned_seat(spec, site.teeth, site.cast, site.up)


def _level(vector: Floats, up: Floats) -> Floats:
    flat = vector - (vector @ up) * up
    return flat / np.linalg.norm(flat)


def _run(way: Floats, along: Floats) -> Floats:
    """The way of a seat: to the hollow, turned towards the crown's own direction as far as ASIDE_DEG asks; along the crown where the hollow
    was found beside it (LOST_DEG), which on a worn or coarsely scanned crown it can be. way, along : (3,) unit vectors, level
    """
    aside = way - (way @ along) * along
    size = float(np.linalg.norm(aside))
    angle = float(np.degrees(np.arctan2(size, way @ along)))
    if angle <= ASIDE_DEG:
        return way
    if angle > LOST_DEG:
        return along
    turn = np.radians(ASIDE_DEG)
    return np.asarray(np.cos(turn) * along + np.sin(turn) * aside / max(size, 1e-12))


def _hull(points: Floats) -> Floats:
    """(k, 2) convex outline of points (n, 2)."""
    return np.asarray(points[ConvexHull(points).vertices])


def partner_side(tooth: int, side: str) -> tuple[int, str]:
    """The neighbour (FDI, 0 for none) on a side of a tooth, and which of its own sides looks back."""
    other = dict(zip(("mesial", "distal"), numbering.neighbours(tooth), strict=True))[side] or 0
    across = side == "mesial" and other // 10 != tooth // 10
    return other, "mesial" if across else "distal" if side == "mesial" else "mesial"


def _needs_partner(spec: OcclusalRest, site: Site, components: tuple[Component, ...]) -> None:
    other, facing = partner_side(spec.tooth, spec.side)
    if other not in site.teeth.teeth:
        raise ComponentError(f"{spec.id}: no tooth stands {spec.side} of {spec.tooth}, so there is no embrasure; ask for a short rest")
    pairs = [c for c in components if isinstance(c, OcclusalRest) and (c.tooth, c.side, c.form) == (other, facing, "embrasure")]
    if not pairs:
        raise ComponentError(
            f"{spec.id}: a rest in an embrasure alone would wedge {spec.tooth} and {other} apart; add its partner, "
            f"an embrasure rest on the {facing} side of {other}"
        )


Field = Callable[[Floats], Floats]


def _face(seat: RestSeatSpec, cast: Mesh, reach: float) -> Field:
    """Distance (mm) to the face or edge of a front tooth as it was before preparation."""
    return SurfaceDistance(cast, smoothing=0.35, within=np.array([seat.point - reach, seat.point + reach]))


def _table(seat: RestSeatSpec, cast: Mesh) -> Field:
    """Distance (mm) to the occlusal table as it was before preparation, its fissures bridged: from a map of heights, so that no crease
    of it shows in the metal."""
    x = np.arange(-3.5, seat.length_mm + 2.5, TOP_STEP_MM)
    y = np.arange(-0.5 * seat.width_mm - 3.5, 0.5 * seat.width_mm + 3.5, TOP_STEP_MM)
    xx, yy = np.meshgrid(x, y, indexing="ij")
    start = seat.point + np.stack([xx.ravel(), yy.ravel(), np.full(xx.size, 12.0)], axis=1) @ seat.axes
    corner = cast.triangles
    low, high = start.min(axis=0) - 1.0, start.max(axis=0) + 1.0
    near = np.all((corner.max(axis=1)[:, :2] >= low[:2]) & (corner.min(axis=1)[:, :2] <= high[:2]), axis=1)
    distance, face = RayScene(cast.submesh(near)[0]).first_hit(start, -seat.up)
    z = np.maximum(np.where(face >= 0, 12.0 - distance, -DROP_MM), -DROP_MM).reshape(xx.shape)
    size = 2 * int(round(0.5 * BRIDGED_MM / TOP_STEP_MM)) + 1
    u, v = np.meshgrid(*(np.arange(size) - size // 2,) * 2, indexing="ij")
    z = gaussian_filter(grey_closing(z, footprint=np.hypot(u, v) <= size / 2), CALM_MM / TOP_STEP_MM, mode="nearest")
    steep = np.sqrt(1.0 + np.minimum(np.hypot(*np.gradient(z, TOP_STEP_MM)), 2.0) ** 2)

    def field(points: Floats) -> Floats:
        local = (points - seat.point) @ seat.axes.T
        at = np.stack([(local[:, 0] - x[0]) / TOP_STEP_MM, (local[:, 1] - y[0]) / TOP_STEP_MM])
        height, slope = (map_coordinates(m, at, order=1, mode="nearest") for m in (z, steep))
        return np.asarray((local[:, 2] - height) / slope)

    return field


def rest(spec: AnyRest, site: Site, components: tuple[Component, ...] = ()) -> Built:
    """The rest's metal: its seat filled up to the form the tooth had, a little proud.

    Raises ComponentError for an embrasure rest without its partner.
    """
    site.chart(spec.tooth, spec.id)
    if isinstance(spec, OcclusalRest) and spec.form == "embrasure":
        _needs_partner(spec, site, components)
    seat = seat_of(spec, site)
    # The metal stops a little inside the rim of its own crown, beyond it there is only a fin over the neighbour; a pair meets there.
    pair = seat.kind == "embrasure"
    shape_of_seat = seat_field(replace(seat, reach_mm=seat.reach_mm + OVER_EMBRASURE_MM if pair else max(seat.reach_mm - RIM_MM, 0.0)))
    proud = PROUD_MM[seat.kind]
    reach = max(seat.width_mm, seat.length_mm) + 1.5
    # What the upper side of a rest restores: the cast before preparation.
    anatomy = _table(seat, site.cast) if seat.kind in ON_TOP else _face(seat, site.cast, reach + 3.0)

    axes = site.path.rotation[:2].T
    # Over its own crown only: a neighbour's form is not the rest's to restore.
    crown = Footprint(_hull(site.cast.vertices[np.unique(site.cast.faces[site.teeth.teeth[spec.tooth].faces])] @ axes))
    over = OVER_EMBRASURE_MM if pair else OVER_RIM_MM
    ceiling, turn = FAR, 0.35
    if seat.kind in ON_LEDGE:
        ceiling = LEDGE_REST_MM
    if seat.kind == "ball":
        ceiling, turn = ball_centre(seat)[1] + 0.5 * seat.width_mm, 0.4 * seat.width_mm  # as high as the ball, and as round

    def field(points: Floats) -> Floats:
        form = round_max(anatomy(points) - proud, (points - seat.point) @ site.up - ceiling, turn)
        form = np.maximum(form, crown(points @ axes) - over)
        if pair:  # it bridges the embrasure and does not hang down in it
            form = round_max(form, (seat.point - points) @ site.up - seat.depth_mm - BRIDGE_MM, 0.3)
        return round_max(shape_of_seat(points) - SEAT_OVERLAP_MM, form, 0.25)

    bounds = np.array([seat.point - reach, seat.point + reach])
    return Built(
        shapes=(Shape(field, bounds, spec.id),),
        seat=seat,
        facts={"width_mm": seat.width_mm, "length_mm": seat.length_mm, "seat_depth_mm": seat.depth_mm},
    )
