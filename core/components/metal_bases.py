"""Metal bases of short gaps: a plate on the ridge with beads or posts, where a lattice has no room for an opening."""

from __future__ import annotations

import numpy as np

from ..case import BeadPlate
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import resample, smooth
from ..solids.fields import Footprint, Shape, round_max
from ..solids.sweep import Rail, half_round, make_rail, sweep
from .bars import join_to_bar
from .gaps import Gap, find_gap, ridge_line
from .site import Built, Relief, Site

LEAST_GAP_MM = 2.0
FACIAL_MM = 2.6  # the plate ends under the neck of the artificial tooth, where it does not show (common practice)
LINGUAL_MM = 4.2  # to the finish line, medial to the lingual face of the artificial tooth (from memory of McCracken's)
UNDER_MM = 1.4  # it runs this far under the guide plates at either end
DEPTH_MM = 0.8
EDGE_MM = 1.7  # half the finish line and 0.7 mm: nothing is known of what lies beyond the scan
RISE_MM = 1.0  # metal stays this low over the crest: it does not climb the abutments
BEAD_EVERY_MM = 2.1
POSTS_EVERY_MM = 2.7  # resin has to flow round a head from all sides
STEM_SHARE, TALL_SHARE = 0.6, 1.3  # of a small post: width of its stem and its height, in widths of its head
BEAD_NECK = 0.55  # the centre of a bead stands this share of its radius over the plate: what lies below is undercut
POST_RADIUS_MM = 0.75
POST_HEAD_MM = 1.05  # radius of the head of the post
MEETS_MM = 1.2  # the border's own line lies 1.5 mm inside the connector
BAND_MM = (4.0, 1.3)
LINE_MM = (2.0, 1.5)  # width and height of the finish line


def bead_plate(spec: BeadPlate, site: Site, bar: Rail | None, border: Rail | None = None) -> Built:
    """A plate over the whole gap, beads on it, a post in its middle and a finish line along its lingual border; joined to a lower bar
    when one is given, or to the border of a palatal connector that passes at a distance.

    Raises ComponentError for a free end (a metal base cannot be relined) and for a gap with no room.
    """
    gap = find_gap(site, spec.teeth, spec.id)
    length = abs(gap.end - gap.start)
    if gap.free_end:
        raise ComponentError(f"{spec.id}: a metal base over a free end cannot be relined; use a lattice base with a tissue stop")
    if length < LEAST_GAP_MM:
        raise ComponentError(f"{spec.id}: {length:.1f} mm between {gap.mesial} and {gap.distal}; {LEAST_GAP_MM:g} mm are needed for a base")
    ridge = _open_ridge(spec, site, gap)
    lines = {side: _border(site, ridge, side, off) for side, off in (("facial", FACIAL_MM), ("lingual", LINGUAL_MM))}
    outline = np.vstack([_longer(lines["facial"]), _longer(lines["lingual"])[::-1]])
    plan = Footprint(outline @ site.path.rotation[:2].T)
    crest = float(np.median(ridge_line(site, ridge, "facial", 0.0) @ site.up))
    height = spec.relief_mm + spec.thickness_mm
    shapes = [_plate(spec, site, plan, outline, crest, height), *_beads(spec, site, ridge, height, plan)]
    if spec.post_mm > 0:
        shapes.append(_post(spec, site, ridge, height))
    points, normals = site.calm.project(lines["lingual"])
    rail = make_rail(smooth(points, 2.0), normals, *LINE_MM, calm=10)
    shapes.append(sweep(rail, half_round, depth=0.7, name=f"{spec.id} finish line"))
    rails = {"finish line": rail}
    if bar is not None:
        rails["join"] = join_to_bar(site, bar, rail, spec.relief_mm)
    elif border is not None and (band := _to_border(site, border, rail)) is not None:
        rails["join"] = band
    if "join" in rails:
        shapes.append(sweep(rails["join"], half_round, depth=0.9, name=f"{spec.id} join"))
    zone = Shape(
        lambda p: plan(p @ site.path.rotation[:2].T), np.array([outline.min(axis=0) - [2, 2, 5], outline.max(axis=0) + [2, 2, 5]]), spec.id
    )
    facts: dict[str, float | str] = {"gap_mm": length, "thickness_mm": spec.thickness_mm, "relief_mm": spec.relief_mm}
    return Built(
        shapes=tuple(shapes),
        rails=rails,
        reliefs=(Relief(zone, spec.relief_mm),) if spec.relief_mm > 0 else (),
        facts=facts,
    )


def _to_border(site: Site, border: Rail, line: Rail) -> Rail | None:
    """A broad flat band from the finish line straight to a palatal connector; None where the two meet by themselves.

    In a gap of one tooth the connector has to keep off the margins of both neighbours, and does not come as far as the ridge.
    """
    middle = line.points[len(line.points) // 2]
    foot = border.points[int(np.linalg.norm(border.points - middle, axis=1).argmin())]
    if np.linalg.norm(border.points[:, None] - line.points[None], axis=2).min() < MEETS_MM:
        return None
    points, normals = site.calm.project(resample(np.vstack([middle, foot]), 0.2))
    return make_rail(smooth(points, 1.5), normals, BAND_MM[0], BAND_MM[1], calm=10)


def _open_ridge(spec: BeadPlate, site: Site, gap: Gap) -> Floats:
    """(k,) stations over the open part of the gap, from its mesial end: close beside the abutments a profile shows their crowns."""
    open_ = next((g for g in site.arch.gaps if {g.before, g.after} == {gap.mesial, gap.distal}), None)
    if open_ is None:
        raise ComponentError(f"{spec.id}: {gap.mesial} and {gap.distal} meet over the ridge; mark them again, or use a backing")
    low, high = sorted((gap.start, gap.end))
    low, high = max(low, open_.start), min(high, open_.end)
    inset = min(0.2 * (high - low), UNDER_MM)  # what is left open here is run over to lie under the guide plates
    return np.linspace(low + inset, high - inset, 8)[:: int(gap.sign)]


def _border(site: Site, ridge: Floats, side: str, distance_mm: float) -> Floats:
    """(k, 3) border of the plate along the gap, drawn back towards the crest where the scan ends."""
    for nearer in np.arange(0.0, distance_mm - 1.0, 0.4):
        line = smooth(resample(ridge_line(site, ridge, side, distance_mm - nearer), 0.2), 4.0)
        crest = ridge_line(site, ridge[[0, -1]], side, 0.0).mean(axis=0)
        away = line.mean(axis=0) - crest
        away -= (away @ site.up) * site.up
        ahead = line + EDGE_MM * away / max(float(np.linalg.norm(away)), 1e-9) + 5.0 * site.up
        distance, face = site.rays.first_hit(ahead, -site.up)
        if ((face >= 0) & (distance < 9.0)).all():
            break
    return line


def _longer(line: Floats) -> Floats:
    """The line (k, 3) carried straight on at both ends, under the guide plates."""
    ends = [line[0] - line[-1], line[-1] - line[0]]
    first, last = (e / max(float(np.linalg.norm(e)), 1e-9) * UNDER_MM for e in ends)
    return np.vstack([line[0] + first, line, line[-1] + last])


def _plate(spec: BeadPlate, site: Site, plan: Footprint, outline: Floats, crest: float, height: float) -> Shape:
    axes, skin, up = site.path.rotation, site.plate, site.up

    def field(points: Floats) -> Floats:
        edge = np.maximum(plan(points @ axes[:2].T), points @ up - crest - height - RISE_MM)
        out = edge.copy()
        near = edge < 1.0
        if near.any():
            distance = skin(points[near])
            out[near] = np.maximum(round_max(edge[near], distance - height, 0.4), -distance - DEPTH_MM)
        return out

    pad = np.array([1.0, 1.0, 3.0])
    return Shape(field, np.array([outline.min(axis=0) - pad, outline.max(axis=0) + pad]), spec.id)


def _on_ridge(site: Site, station: float, side: str, distance_mm: float, height: float) -> tuple[Floats, Floats]:
    """A point (3,) `height` mm over the ridge and the normal (3,) there."""
    at, normal = site.plate.project(ridge_line(site, np.array([station]), side, distance_mm), height=height)
    return at[0], normal[0]


def _beads(spec: BeadPlate, site: Site, ridge: Floats, height: float, plan: Footprint) -> list[Shape]:
    """Rows of beads on both sides of the crest, as many as fit between the guide plates and stand whole on the plate."""
    room = abs(ridge[-1] - ridge[0])
    every = BEAD_EVERY_MM if spec.form == "beads" else POSTS_EVERY_MM
    count = max(int(room / every) + 1, 1)
    middle = 0.5 * (ridge[0] + ridge[-1])
    along = middle + (np.arange(count) - 0.5 * (count - 1)) * every
    radius = 0.5 * spec.bead_mm
    beads = []
    rows = (("facial", 1.5), ("lingual", 1.5), ("lingual", 3.0)) if spec.form == "beads" else (("facial", 1.5), ("lingual", 2.0))
    for side, off in rows:
        for station in along:
            at, normal = _on_ridge(site, float(station), side, off, height)
            if plan(at[None] @ site.path.rotation[:2].T)[0] < -1.3 * radius:
                beads.append(
                    _ball(at + BEAD_NECK * radius * normal, radius, spec.id)
                    if spec.form == "beads"
                    else _nail(at, site.up, STEM_SHARE * radius, 2.0 * TALL_SHARE * radius, radius, f"{spec.id} small post")
                )
    return beads


def _ball(centre: Floats, radius: float, name: str) -> Shape:
    reach = radius + 0.4
    return Shape(lambda p: np.linalg.norm(p - centre, axis=1) - radius, np.array([centre - reach, centre + reach]), f"{name} bead")


def _post(spec: BeadPlate, site: Site, ridge: Floats, height: float) -> Shape:
    """A post with a round head, parallel to the path, in the middle of the gap."""
    foot, _ = _on_ridge(site, 0.5 * float(ridge[0] + ridge[-1]), "facial", 0.0, height)
    return _nail(foot, site.up, POST_RADIUS_MM, spec.post_mm, POST_HEAD_MM, f"{spec.id} post")


def _nail(foot: Floats, up: Floats, stem_mm: float, tall_mm: float, head_mm: float, name: str) -> Shape:
    """A round stem with a lens-shaped head. stem_mm, head_mm : radii; tall_mm : from the foot to the top of the head"""
    half = 0.57 * head_mm  # of the head's height
    head = foot + (tall_mm - half) * up

    def field(points: Floats) -> Floats:
        rel = points - foot
        along = rel @ up
        radial = np.linalg.norm(rel - along[:, None] * up, axis=1)
        stem = np.maximum(radial - stem_mm, np.maximum(along - tall_mm + 0.4, -0.5 - along))
        rise = ((points - head) @ up) / half
        return np.minimum(stem, (np.hypot(rise, radial / head_mm) - 1.0) * half)

    reach = tall_mm + 1.5
    return Shape(field, np.array([foot - reach, foot + reach]), name)
