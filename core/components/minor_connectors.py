"""Minor connectors: from a rest down to the major connector of either arch, straight down an embrasure or over a cingulum."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..case import AnyRest, Component, MinorConnector, OcclusalRest
from ..errors import ComponentError
from ..mesh import Floats
from ..preparation import RestSeatSpec
from ..solids.curves import arc_length, resample, smooth
from ..solids.fields import Shape
from ..solids.sweep import Rail, make_rail, sweep
from .rests import partner_side, seat_of
from .site import Built, Relief, Site

OUT_OF_PLANE_MM = 4.0  # a strut goes straight down its embrasure; a connector that ends further off is not behind it
SPACING_MM = 5.0  # least space between upright struts, so that food and tongue do not catch (McCracken's, from memory)
CREVICE_MM, ON_CROWN_MM = 1.1, 0.4  # relief reaches so far over the free gingiva, and so little up the crown
OUT_MM = 1.6  # the outer face swells a little further than the relief does
BESIDE_MM = 0.4
FALLS_MM = 1.0  # an arm from a cingulum meets the strut of the embrasure beside it so far below its own rest (common practice)
BEYOND_MM = 3.0  # a crown leans out over the bar by less
INTO_MM = 1.5  # and runs on in it this far, where its end is hidden


def minor_connector(
    spec: MinorConnector, site: Site, components: tuple[Component, ...], bar: Rail, *, facial: bool = False
) -> Built:
    """From the rest through the embrasure (or over the cingulum) to the bar, which it meets at a right angle.

    One from a cingulum that would stand nearer than SPACING_MM to the strut of an embrasure beside it becomes an arm of that strut.
    facial : down the facial side, to a labial bar
    """
    seat, descent = _planned(spec, site, components, bar, facial)
    host = _host(spec, site, components, bar, descent)
    # From the floor of the seat to the embrasure the strut lies on the prepared tooth like everywhere else.
    inside = seat.point + 0.35 * seat.length_mm * seat.inward - 0.5 * seat.depth_mm * site.up
    if seat.kind == "incisal":
        inside = seat.point - seat.depth_mm * site.up
    below = descent if host is None else _arm(descent[0], host[1], site)
    line = smooth(resample(np.vstack([inside, below]), 0.2), 2.0)
    line = smooth(site.calm.project(line)[0], 2.5)
    frame = site.calm.with_normal(line)[1]
    share = np.linspace(0, 1, len(line))
    if host is None:
        width = np.interp(share, [0, 0.2, 0.75, 1.0], [0.75 * seat.width_mm, spec.width_mm, spec.width_mm, spec.width_mm + 1.2])
        end = 0.2 + min(spec.thickness_mm, float(bar.thickness.min()))  # on a thin strap it runs out flat
        thick = np.interp(share, [0, 0.2, 0.4, 0.8, 1.0], [1.0, 1.2, spec.thickness_mm, max(end, 0.7 * spec.thickness_mm), end])
    else:
        width = np.interp(share, [0, 0.3, 1.0], [0.75 * seat.width_mm, spec.width_mm, spec.width_mm])
        thick = np.interp(share, [0, 0.3, 0.6, 1.0], [1.0, 1.2, spec.thickness_mm, min(spec.thickness_mm, host[0].thickness_mm)])
    margins = _margins(site)
    rail = make_rail(line, frame, width, thick + spec.relief_mm * np.exp(-((margins.query(line)[0] / OUT_MM) ** 2)), calm=12)
    facts: dict[str, float | str] = {"width_mm": spec.width_mm, "thickness_mm": spec.thickness_mm, "length_mm": rail.length}
    if host is not None:
        facts["joins"] = host[0].id
    reliefs = _crevice(spec, rail, margins, site)
    return Built(shapes=(sweep(rail, depth=1.0, name=spec.id),), rails={"minor": rail}, reliefs=reliefs, facts=facts)


def _margins(site: Site) -> cKDTree:
    """The gingival margins of all teeth, as points close together."""
    rings = [t.margin for t in site.teeth.teeth.values()]
    return cKDTree(np.vstack([resample(np.vstack([r, r[:1]]), 0.25) for r in rings]))


def _crevice(spec: MinorConnector, rail: Rail, margins: cKDTree, site: Site) -> tuple[Relief, ...]:
    """Relief over the free gingiva under the strut and a little beside it."""
    if spec.relief_mm <= 0:
        return ()
    line = cKDTree(rail.points)
    reach = 0.5 * float(rail.width.max()) + BESIDE_MM

    def field(points: Floats) -> Floats:
        strut = np.minimum(line.query(points, distance_upper_bound=reach + 2.0)[0], reach + 2.0) - reach
        out = strut.copy()
        near = strut < 1.0
        if near.any():
            away, nearest = margins.query(points[near])
            over = (points[near] - margins.data[nearest]) @ site.up > 0.0
            out[near] = np.maximum(strut[near], away - np.where(over, ON_CROWN_MM, CREVICE_MM))
        return out

    bounds = np.array([rail.points.min(axis=0) - reach - 1.0, rail.points.max(axis=0) + reach + 1.0])
    return (Relief(Shape(field, bounds, f"{spec.id} crevice"), spec.relief_mm),)


def _planned(
    spec: MinorConnector, site: Site, components: tuple[Component, ...], bar: Rail, facial: bool
) -> tuple[RestSeatSpec, Floats]:
    """The seat that a strut comes from, and its (k, 3) points from there down to the bar. Raises ComponentError."""
    site.chart(spec.tooth, spec.id)
    if facial and spec.side == "lingual":
        raise ComponentError(f"{spec.id}: a labial bar cannot reach a rest on the cingulum; give {spec.tooth} a rest beside an embrasure")
    rests = [c for c in components if isinstance(c, AnyRest) and c.tooth == spec.tooth]
    if spec.side != "lingual":
        rests = [c for c in rests if isinstance(c, OcclusalRest) and c.side == spec.side]
    if not rests:
        raise ComponentError(f"{spec.id}: tooth {spec.tooth} has no rest on its {spec.side} side for the minor connector to carry; add one")
    seat = seat_of(rests[0], site)
    start, lead, origin = _way_down(spec, site, seat, facial)
    return seat, _descent(site, spec, start, lead, origin, bar)


def _host(
    spec: MinorConnector, site: Site, components: tuple[Component, ...], bar: Rail, descent: Floats
) -> tuple[MinorConnector, Floats] | None:
    """The strut of an embrasure beside the tooth that stands too near for a second one, with its (k, 3) points; the nearest of two."""
    if spec.side != "lingual":
        return None
    near = []
    for other in components:
        if not isinstance(other, MinorConnector) or other.side == "lingual":
            continue
        if spec.tooth not in (other.tooth, partner_side(other.tooth, other.side)[0]):
            continue
        try:
            points = _planned(other, site, components, bar, False)[1]
        except ComponentError:
            continue  # where it cannot be built there is nothing to join
        away = float(np.linalg.norm(points[-1] - descent[-1]))
        if away - 0.5 * (spec.width_mm + other.width_mm) < SPACING_MM:
            near.append((away, other, points))
    if not near:
        return None
    _, other, points = min(near, key=lambda n: n[0])
    return other, points


def _arm(start: Floats, host: Floats, site: Site) -> Floats:
    """(k, 3) points of the blocked-out cast from `start` (3,) across to a strut's line `host` (m, 3) and a little down in it."""
    height = host @ site.up
    meets = int(np.argmax(height <= start @ site.up - FALLS_MM)) if height.min() <= start @ site.up - FALLS_MM else len(host) - 1
    ends = int(np.searchsorted(arc_length(host), arc_length(host)[meets] + INTO_MM))
    t = np.linspace(0.0, 1.0, 12)[:-1, None]
    # It leaves the rest nearly level and turns down into the strut, so that the corner between them is round.
    level = start + t * (host[meets] - start)
    level += (t * (1 - t) * FALLS_MM) * site.up
    return np.vstack([site.calm.project(level)[0], host[meets : ends + 1]])


def _way_down(spec: MinorConnector, site: Site, seat: RestSeatSpec, facial: bool) -> tuple[Floats, Floats, Floats]:
    """Where the strut starts (3,), the level unit vector (3,) towards the tongue (or the lip), a point (3,) of its plane."""
    if spec.side == "lingual":
        top = seat.point - 1.2 * seat.depth_mm * site.up if seat.kind == "incisal" else seat.point
        return top, site.chart(spec.tooth, spec.id).outward(90.0 if facial else 270.0)[0], seat.point
    ends = site.arch.extent(spec.tooth)
    mesial, distal = sorted(ends, key=abs)
    frame = site.arch.frame(mesial if spec.side == "mesial" else distal)
    return seat.point - 0.5 * site.up, frame.outward if facial else -frame.outward, frame.origin


def _descent(site: Site, spec: MinorConnector, start: Floats, lead: Floats, origin: Floats, bar: Rail) -> Floats:
    """(k, 3) points of the blocked-out cast straight down from the height of `start` to the bar, in the upright plane of `lead`.

    bar : the bar's own line, or the border of a strap, which goes round: then its nearest place in that plane counts.
    """
    up = site.up
    side = np.cross(up, lead)
    ahead = (bar.points - origin) @ lead
    off = np.abs((bar.points - origin) @ side) + 1e3 * (ahead < 0) + 0.02 * np.maximum(ahead, 0.0)
    foot = bar.points[int(np.argmin(off))]
    if np.abs((foot - origin) @ side) > OUT_OF_PLANE_MM:
        raise ComponentError(f"{spec.id}: the major connector does not pass behind tooth {spec.tooth}; extend it, or leave the strut out")
    z_top, z_foot = float(start @ up), float(foot @ up)
    if z_top - z_foot < 2.0:
        raise ComponentError(f"{spec.id}: less than 2 mm between the rest and the bar; lower the bar or leave the strut out")
    z = np.arange(z_top, z_foot, -0.3)
    away = 14.0  # mm to the lingual side: from there one looks back at the teeth
    eye = origin - (origin @ up) * up + lead * away + z[:, None] * up
    distance, _ = site.rays.first_hit(eye, np.broadcast_to(-lead, eye.shape))
    # Under the rim of a facial sulcus one looks from within the stone or at its outer wall: so far beyond the bar is no way to it.
    hit = np.isfinite(distance) & (distance < away + 3.0) & (away - distance < max(float((foot - origin) @ lead), 0.0) + BEYOND_MM)
    if hit.sum() < 3:
        raise ComponentError(f"{spec.id}: no surface found between the rest and the bar; choose another side")
    return np.vstack([smooth(eye[hit] - lead * distance[hit, None], 1.5), foot])
