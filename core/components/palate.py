"""Upper major connector: anteroposterior palatal straps."""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np

from ..case import BeadPlate, Component, LatticeBase, PalatalStraps
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import resample, smooth
from ..solids.fields import Footprint, Shape, round_max
from ..solids.sweep import Rail
from .bases import FINISH_MM, SLOPE_MM
from .beading import INSIDE_MM, score
from .gaps import Gap, find_gap, tissue_line
from .metal_bases import LINGUAL_MM
from .site import Built, Site

OPENING_MM = 15.0  # least length of the opening between the straps (standard texts, from memory)
LEAST_STATION_MM = 9.0
TURN_MM = 3.5  # the border leaves the ridge this far before a tooth, to pass its margin at a distance
CORNER_MM = 4.0
NEAR_MM = 2.5
DEPTH_MM = 0.8
BORDER_CALM_MM = 9.0
JOIN_MM = 1.5  # minor connectors run on over the border by so much


def palatal_straps(spec: PalatalStraps, site: Site, components: tuple[Component, ...]) -> Built:
    """A ring of even thickness on the palate; its sides reach the bases, elsewhere its borders keep off the gingival margins."""
    gaps = [g for g in base_gaps(site, components) if not g.crosses]
    if not any(g.sign > 0 for g in gaps) or not any(g.sign < 0 for g in gaps):
        raise ComponentError(f"{spec.id}: straps need a base on each side of the arch; for one side use a single strap")
    sides = [_side_border(spec, site, [g for g in gaps if g.sign == sign]) for sign in (1.0, -1.0)]
    section = off_margins(site, sides, spec.margin_mm)
    opening = _opening(section, spec)
    outline = loop(section)
    lengths = opening.max(axis=0) - opening.min(axis=0)
    warnings = (
        []
        if lengths[1] >= OPENING_MM
        else [f"{spec.id}: the opening is {lengths[1]:.0f} mm long; {OPENING_MM:.0f} mm is wanted: use one broad strap"]
    )
    facts: dict[str, float | str] = {
        "anterior_width_mm": spec.anterior_width_mm,
        "posterior_width_mm": spec.posterior_width_mm,
        "thickness_mm": spec.thickness_mm,
    }
    rails = {"ring": _ring(outline, opening, spec, site), "border": strap_border(outline, spec.thickness_mm, site)}
    shape = sheet(site, Footprint(outline, opening), np.vstack(sides), spec.thickness_mm, spec.id)
    lines = (inside(outline, INSIDE_MM, site), inside(opening, -INSIDE_MM, site))
    scores = score(lines, spec.bead_mm, site, base_gaps(site, components), spec.id)
    return Built(shapes=(shape,), rails=rails, scores=scores, facts=facts, warnings=tuple(warnings))


def base_gaps(site: Site, components: tuple[Component, ...]) -> list[Gap]:
    """The gaps that bases lie in, with how far each base reaches to the palate."""
    found = []
    for c in components:
        if isinstance(c, LatticeBase | BeadPlate):
            reach = SLOPE_MM + FINISH_MM if isinstance(c, LatticeBase) else LINGUAL_MM
            found.append(replace(find_gap(site, c.teeth, c.id), lingual_mm=reach))
    return found


def off_margins(site: Site, sides: list[Floats], margin_mm: float) -> manifold3d.CrossSection:
    """The plan between two side borders (k, 3), front to back, less all that lies nearer than `margin_mm` to a gingival margin."""
    axes = site.path.rotation
    flat = [s @ axes[:2].T for s in sides]
    section = filled(between(flat[0], flat[1]))
    for tooth in site.teeth.teeth.values():  # measured in plan, so on a sloping palate the distance is rather more
        section -= filled(tooth.margin @ axes[:2].T).offset(margin_mm, manifold3d.JoinType.Round)
    return section.offset(-2.5, manifold3d.JoinType.Round).offset(2.5, manifold3d.JoinType.Round)


def sheet(site: Site, footprint: Footprint, cloud: Floats, thickness_mm: float, name: str) -> Shape:
    """Metal of even thickness on the smoothed palate within a footprint. cloud (k, 3): its borders, for the sampled box."""
    calm, axes = site.plate, site.path.rotation

    def field(points: Floats) -> Floats:
        plan = footprint(points @ axes[:2].T)
        out = plan.copy()
        near = plan < NEAR_MM
        if near.any():
            distance = calm(points[near])
            out[near] = np.maximum(round_max(plan[near], distance - thickness_mm, 0.45), -distance - DEPTH_MM)
        return out

    vault = float(site.cast.vertices[:, 2].max())
    bounds = np.array(
        [
            [cloud[:, 0].min() - 2, cloud[:, 1].min() - 8, cloud[:, 2].min() - 30.0],
            [cloud[:, 0].max() + 2, cloud[:, 1].max() + 8, min(cloud[:, 2].max() + 4, vault)],
        ]
    )
    bounds[0, 2] = max(bounds[0, 2], _lowest(site, bounds) - 1.5)
    return Shape(field, bounds, name)


def strap_border(outline: Floats, thickness_mm: float, site: Site) -> Rail:
    """The outer border, a little inside it: where minor connectors join. outline (k, 2)."""
    section = filled(outline).offset(-JOIN_MM, manifold3d.JoinType.Round)
    line = loop(section)
    closed = np.column_stack([np.vstack([line, line[:1]]), np.zeros(len(line) + 1)])
    points, normals = on_palate(resample(closed, 0.5)[:, :2], site)
    count = len(points)
    return Rail(points, normals, np.full(count, 2 * JOIN_MM), np.full(count, thickness_mm))


def inside(outline: Floats, by_mm: float, site: Site) -> Floats:
    """(k, 3) closed line on the palate, `by_mm` inside an outline (k, 2), outside it where negative."""
    line = loop(filled(outline).offset(-by_mm, manifold3d.JoinType.Round))
    closed = np.column_stack([np.vstack([line, line[:1]]), np.zeros(len(line) + 1)])
    return on_palate(resample(closed, 0.5)[:, :2], site)[0]


def on_palate(line: Floats, site: Site) -> tuple[Floats, Floats]:
    """Points (k, 3) of the smoothed palate under places (k, 2) of the plan, and the normals there."""
    axes = site.path.rotation
    top = float((site.blocked.vertices @ site.up).max()) + 1.0
    above = line @ axes[:2] + top * site.up
    distance, _ = site.rays.first_hit(above, np.broadcast_to(-site.up, above.shape))
    return site.plate.project(above - np.where(np.isfinite(distance), distance, 0.0)[:, None] * site.up)


def _ring(outline: Floats, opening: Floats, spec: PalatalStraps, site: Site) -> Rail:
    """The middle of the straps all the way round, on the palate: what their stiffness is worked out from. outline, opening (k, 2)."""
    middle = opening.mean(axis=0)
    angle = np.linspace(-np.pi, np.pi, 121)[:-1]

    def reach(border: Floats) -> Floats:
        around = resample(np.column_stack([np.vstack([border, border[:1]]), np.zeros(len(border) + 1)]), 0.3)[:, :2] - middle
        turn = np.arctan2(around[:, 1], around[:, 0])
        return np.asarray(np.interp(angle, turn, np.hypot(around[:, 0], around[:, 1]), period=2 * np.pi))

    inner, outer = reach(opening), reach(outline)
    ray = np.column_stack([np.cos(angle), np.sin(angle)])
    line = middle + 0.5 * (inner + outer)[:, None] * ray
    ahead = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    width = (outer - inner) * np.abs(ray[:, 0] * ahead[:, 1] - ray[:, 1] * ahead[:, 0])
    points, normals = on_palate(line, site)
    return Rail(points, normals, width, np.full(len(points), spec.thickness_mm))


def _lowest(site: Site, bounds: Floats) -> float:
    """Lowest point of the palate within the straps' reach: keeps the sampled box small."""
    p = site.cast.vertices
    n = site.cast.vertex_normals
    middle = 0.5 * (bounds[0, :2] + bounds[1, :2])
    half = 0.5 * (bounds[1, :2] - bounds[0, :2])
    near = np.all(np.abs(p[:, :2] - middle) < half, axis=1) & (n[:, 2] > 0.3)
    return float(p[near, 2].min()) if near.any() else float(bounds[0, 2])


def _side_border(spec: PalatalStraps, site: Site, gaps: list[Gap]) -> Floats:
    """(k, 3) outer border of one side, from the front backwards."""
    sign = gaps[0].sign
    back = back_station(site, gaps)
    front = _front(site, spec, sign, min(abs(g.start) for g in gaps), back)
    return side_border(site, sign * np.array([front, back]), spec.margin_mm, gaps)


def back_station(site: Site, gaps: list[Gap]) -> float:
    """Distance from the midline (mm along the arch) at which a connector ends behind these gaps of one side."""
    last = max(gaps, key=lambda g: abs(g.end))
    return abs(last.end) if last.free_end else max(abs(s) for s in site.arch.extent(last.distal)) + 1.5


def side_border(site: Site, ends: Floats, margin_mm: float, gaps: list[Gap]) -> Floats:
    """(k, 3) border between two stations (front, back): `margin_mm` from the margins, and out to the bases in the gaps."""
    stations = np.linspace(ends[0], ends[1], max(int(abs(ends[1] - ends[0])), 6))
    points = tissue_line(site, stations, "lingual", margin_mm, start="margin")
    for gap in gaps:
        inside = (np.abs(stations) > abs(gap.start) + TURN_MM) & (np.abs(stations) < abs(gap.end) - TURN_MM)
        if inside.sum() > 1:
            points[inside] = tissue_line(site, stations[inside], "lingual", gap.lingual_mm, start="crest")
    return smooth(resample(points, 0.5), BORDER_CALM_MM)


def _front(site: Site, spec: PalatalStraps, sign: float, start: float, back: float) -> float:
    """Station (mm from the midline) at which the ring begins: as far forward as the opening needs, at most beside the lateral incisor."""
    wanted = spec.anterior_width_mm + spec.posterior_width_mm + OPENING_MM + 1.0
    behind = site.arch.frame(sign * back).origin[1]
    for station in np.arange(start - 0.5 * spec.anterior_width_mm, LEAST_STATION_MM, -1.0):
        if site.arch.walk(float(sign * station), "lingual", spec.margin_mm, start="margin")[0][1] - behind >= wanted:
            return float(station)
    return LEAST_STATION_MM


def filled(outline: Floats) -> manifold3d.CrossSection:
    """The region inside an outline (k, 2), whichever way round it runs: a clockwise one counts as nothing."""
    section = manifold3d.CrossSection([outline])
    return section if section.area() > 0 else manifold3d.CrossSection([outline[::-1]])


def between(right: Floats, left: Floats) -> Floats:
    """(k, 2) closed outline from the two side borders (front to back): front and back borders are gentle arcs."""

    def arc(a: Floats, b: Floats, bow: float) -> Floats:
        t = np.linspace(0, 1, 24)[1:-1, None]
        normal = np.array([0.0, 1.0])
        return a + (b - a) * t + normal * bow * 4 * t * (1 - t)

    back = arc(right[-1], left[-1], 3.0)
    front = arc(left[0], right[0], 1.5)
    return np.vstack([right, back, left[::-1], front])


def _opening(section: manifold3d.CrossSection, spec: PalatalStraps) -> Floats:
    """(k, 2) outline of the opening, corners rounded."""
    least = min(spec.anterior_width_mm, spec.posterior_width_mm, spec.side_width_mm)
    inner = section.offset(-least, manifold3d.JoinType.Round)
    x0, y0, x1, y1 = section.bounds()
    keep = manifold3d.CrossSection.square((x1 - x0, y1 - y0 - spec.anterior_width_mm - spec.posterior_width_mm)).translate(
        (x0, y0 + spec.posterior_width_mm)
    )
    inner = (inner ^ keep).offset(-CORNER_MM, manifold3d.JoinType.Round).offset(CORNER_MM, manifold3d.JoinType.Round)
    if inner.area() < 60:
        raise ComponentError(f"{spec.id}: no room for an opening between straps of these widths; use one broad strap")
    return loop(inner)


def loop(section: manifold3d.CrossSection) -> Floats:
    return np.asarray(max(section.to_polygons(), key=len), dtype=np.float64)
