"""Lingual plate: a bar on the lingual slope and a thin apron from it up to the cingula and the contact points."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from ..case import ContinuousBar, LingualPlate
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.fields import Shape, round_max, smooth_min
from ..solids.sweep import Rail, half_pear, sweep
from ..teeth import numbering
from .bars import bar_ends, bar_rail, bar_relief
from .site import Built, Relief, Site

STEP_MM = 0.3
LEAST_SULCUS_MM = 5.0  # a bar of the least height and 2 mm of tissue over it; less has no room for metal (from memory of standard texts)
LEAST_BAR_MM = 2.5
HIGHEST = 0.6  # of the crown's height: no plate goes above the middle third (standard texts, from memory)
HIGHEST_POINT = 0.7  # of the crown's height, for the points of the scallops
LEAST_RISE_MM = 1.6  # over the margin, so that the border rests on enamel
UNDER_CONTACT_MM = 0.8
STEP_BACK_MM = 1.2  # below the margin, where nothing shows between the crowns
STEP_BACK_WIDE_MM = 0.5  # on either side of the space
TIP_MM = 0.8  # the scallops' points are rounded over this
FACIAL_LIMIT_MM = 0.4  # the apron stays lingual to the line of the arch by this: it does not come through between the crowns
DEPTH_MM = 0.8
EDGE_MM = 0.4
NEAR_MM = 0.25
GRAIN_MM = 0.25  # crowns of a scan that share a border are an edge's length apart
CREVICE_MM = 1.1  # relief over the free gingiva reaches this far on either side of the margin
LEANING = 0.66  # a contour above this share of the crown's height: the crown leans to the tongue


@dataclass(frozen=True, eq=False)
class Apron:
    """The apron along the arch. stations (k,); line (k, 2): the lingual margins in plan; outward (k, 2); top, low (k,): heights along the
    path, mm; facial (k,): limit outward from the line, mm; ends: (n, 2) stretches of stations that it covers."""

    stations: Floats
    line: Floats
    outward: Floats
    top: Floats
    low: Floats
    facial: Floats
    ends: Floats


def lingual_plate(spec: LingualPlate, site: Site, sulcus_mm: float | None) -> Built:
    """Bar and apron, relieved over the tissue. Raises ComponentError where the floor of the mouth leaves no room for the bar."""
    if site.teeth.arch != "lower":
        raise ComponentError(f"{spec.id}: a lingual plate lies on lower teeth; use a U-shaped or a palatal plate above")
    border = spec.border_mm if sulcus_mm is None else min(spec.border_mm, sulcus_mm)
    if sulcus_mm is not None and sulcus_mm < LEAST_SULCUS_MM:
        raise ComponentError(
            f"{spec.id}: the lingual sulcus is {sulcus_mm:.1f} mm deep; a lingual plate needs {LEAST_SULCUS_MM:g} mm for its bar: "
            "use a continuous bar with rests, or a labial bar"
        )
    height = float(np.clip(border - 2.0, LEAST_BAR_MM, spec.height_mm))
    middle = border - 0.5 * height
    rail = bar_rail(site, bar_ends(spec.start, spec.end, site), (middle, 0.5 * height), (height, spec.bar_thickness_mm), spec.relief_mm)
    apron, spaces, warnings = _apron(spec, site, rail)
    shape, plan = sheet_on_teeth(site, apron, _thickness(spec, site), spec.id)
    reliefs = (*bar_relief(rail, spec.relief_mm, spec.id), *((_crevice(spec, site, plan, shape),) if spec.relief_mm > 0 else ()))
    if border < spec.border_mm:
        warnings.append(f"{spec.id}: its lower border ends at the floor of the mouth, {border:.1f} mm under the margins")
    facts: dict[str, float | str] = {
        "thickness_mm": spec.thickness_mm, "bar_height_mm": height, "bar_thickness_mm": spec.bar_thickness_mm, "border_mm": border,
        "length_mm": rail.length, "step_backs": float(spaces),
    }  # fmt: skip
    shapes = (sweep(rail, half_pear, depth=0.9, name=f"{spec.id} bar"), shape)
    return Built(shapes=shapes, rails={"bar": rail}, reliefs=reliefs, facts=facts, warnings=tuple(warnings))


def covered(spec: LingualPlate | ContinuousBar, site: Site) -> list[int]:
    """Standing teeth from start to end, in the order of their stations."""
    low, high = sorted((site.arch.station(spec.start), site.arch.station(spec.end)))
    teeth = sorted((t.fdi for t in site.teeth.ordered if low - 0.5 <= site.arch.station(t.fdi) <= high + 0.5), key=site.arch.station)
    if len(teeth) < 2:
        raise ComponentError(f"{spec.id}: from {spec.start} to {spec.end} there are fewer than two teeth to lie on; use a lingual bar")
    return teeth


def _apron(spec: LingualPlate, site: Site, rail: Rail) -> tuple[Apron, int, list[str]]:
    teeth = covered(spec, site)
    stations, ends = stretches(site, teeth, 0.0)
    top, spaces, warnings = _upper_border(spec, site, teeth, stations)
    line, outward, offset = lingual_margin(site, stations)
    low = (rail.points @ site.up)[cKDTree(rail.points @ site.path.rotation[:2].T).query(line)[1]]
    return Apron(stations, line, outward, top, low, -FACIAL_LIMIT_MM - offset, ends), spaces, warnings


def stretches(site: Site, teeth: list[int], over_mm: float) -> tuple[Floats, Floats]:
    """Stations (k,) past the teeth, and the stretches (n, 2) of them without gaps, each longer by `over_mm` at both ends."""
    extents = [site.arch.extent(t) for t in teeth]
    ends = [[extents[0][0] - over_mm, extents[0][1]]]
    for before, here in zip(extents[:-1], extents[1:], strict=True):
        if site.arch.gap_at(0.5 * (before[1] + here[0])) is not None:
            ends[-1][1] = before[1] + over_mm
            ends.append([here[0] - over_mm, here[1]])
    ends[-1][1] = extents[-1][1] + over_mm
    return np.arange(extents[0][0] - over_mm - 1.0, extents[-1][1] + over_mm + 1.0, STEP_MM), np.array(ends)


def lingual_margin(site: Site, stations: Floats) -> tuple[Floats, Floats, Floats]:
    """The lingual margins in plan (k, 2), outward there (k, 2), and their offsets from the line of the arch (k,) mm."""
    frames = [site.arch.frame(float(s)) for s in stations]
    margin = [site.arch.margin(float(s), "lingual") for s in stations]
    offset = np.array([(m - f.origin) @ f.outward for m, f in zip(margin, frames, strict=True)])
    offset = gaussian_filter1d(offset, 1.2 / STEP_MM, mode="nearest")
    axes = site.path.rotation[:2]
    line = np.array([f.origin + o * f.outward for f, o in zip(frames, offset, strict=True)]) @ axes.T
    return line, np.array([f.outward for f in frames]) @ axes.T, offset


def _upper_border(spec: LingualPlate, site: Site, teeth: list[int], stations: Floats) -> tuple[Floats, int, list[str]]:
    """Heights (k,) of the border, how many step-backs it has, and warnings: low over each cingulum, up to the contacts beside it."""
    top = np.full(len(stations), -np.inf)
    spaces, warnings = [], []
    joints = [_joint(site, a, b) for a, b in zip(teeth[:-1], teeth[1:], strict=True)]
    for k, fdi in enumerate(teeth):
        chart = site.chart(fdi, spec.id)
        phi = np.linspace(255.0, 285.0, 7)
        z, margin, cusp = (float(np.median(v)) for v in (chart.contour(phi), chart.margin(phi), chart.top(phi)))
        highest = margin + HIGHEST * (cusp - margin)
        if z - margin > LEANING * (cusp - margin) and numbering.position(fdi) <= 3:
            warnings.append(
                f"{spec.id}: {fdi} leans to the tongue, {z - margin:.1f} mm of it are undercut and the plate stands off its neck; "
                "tilt the path, or use a labial bar"
            )
        middle = min(max(z + spec.rise_mm, margin + LEAST_RISE_MM), highest)
        base = float(chart.origin @ site.up)
        s0, (first, last) = site.arch.station(fdi), site.arch.extent(fdi)
        for edge, joint in ((first, joints[k - 1] if k > 0 else None), (last, joints[k] if k < len(joints) else None)):
            touching = joint is not None and joint[1] <= spec.space_mm
            point = min(max(joint[0] - UNDER_CONTACT_MM - base, middle), margin + HIGHEST_POINT * (cusp - margin)) if joint else middle
            side = point if touching else middle
            share = np.clip((stations - s0) / (edge - s0), 0.0, 1.0)
            here = ((stations - s0) * np.sign(edge - s0) >= 0) & ((stations - s0) * np.sign(edge - s0) <= abs(edge - s0) + 0.6)
            top[here] = np.maximum(top[here], base + middle + (side - middle) * share[here] ** 1.6)
    known = np.isfinite(top)
    top = gaussian_filter1d(np.interp(stations, stations[known], top[known]), TIP_MM / STEP_MM, mode="nearest")
    for k, joint in enumerate(joints):
        left, right = site.arch.extent(teeth[k])[1], site.arch.extent(teeth[k + 1])[0]
        if joint[1] > spec.space_mm and site.arch.gap_at(0.5 * (left + right)) is None:
            spaces.append((min(left, right) - STEP_BACK_WIDE_MM, max(left, right) + STEP_BACK_WIDE_MM))
    for first, last in spaces:
        inside = (stations >= first) & (stations <= last)
        margin_z = np.array([site.arch.margin(float(s), "lingual") @ site.up for s in stations[inside]])
        top[inside] = np.minimum(top[inside], margin_z - STEP_BACK_MM)
    if spaces:
        top = gaussian_filter1d(top, 0.35 / STEP_MM, mode="nearest")
    return top, len(spaces), warnings


def _joint(site: Site, a: int, b: int) -> tuple[float, float]:
    """Height along the path of where two crowns meet, and the space between them, mm."""
    first, second = (site.cast.vertices[np.unique(site.cast.faces[site.teeth.teeth[t].faces])] for t in (a, b))
    distance = cKDTree(second).query(first)[0]
    near = first[distance < distance.min() + NEAR_MM] @ site.up
    space = float(distance.min())
    return float(np.percentile(near, 90)), 0.0 if space < GRAIN_MM else space


def sheet_on_teeth(site: Site, apron: Apron, thick: Callable[[Floats], Floats], name: str) -> tuple[Shape, Shape]:
    """The apron's metal, and its region over the cast without regard to thickness. thick : (k, 3) -> (k,) mm over the blocked-out cast."""
    axes, calm = site.path.rotation, site.plate
    tree = cKDTree(apron.line)
    last = len(apron.stations) - 1
    along = np.gradient(apron.line, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)

    def region(points: Floats) -> Floats:
        flat = points @ axes.T
        near = tree.query(flat[:, :2])[1]
        rel = flat[:, :2] - apron.line[near]
        place = np.clip(near + np.einsum("ij,ij->i", rel, along[near]) / STEP_MM, 0, last)
        s = apron.stations[0] + place * STEP_MM
        out = np.einsum("ij,ij->i", rel, apron.outward[near])

        def at(values: Floats) -> Floats:
            return np.interp(place, np.arange(last + 1), values)

        beyond = np.min(np.maximum(apron.ends[:, :1] - s, s - apron.ends[:, 1:]), axis=0)
        edge = round_max(flat[:, 2] - at(apron.top), beyond, 0.8)
        return np.maximum(np.maximum(edge, at(apron.low) - flat[:, 2]), np.maximum(out - at(apron.facial), -out - 9.0))

    def field(points: Floats) -> Floats:
        edge = region(points)
        out = edge.copy()
        near = edge < 1.2
        if near.any():
            # The calm surface lies inside the bulge of a cingulum; there the plate goes by the nearer one, so that it is nowhere thin.
            distance = smooth_min(calm(points[near]), site.calm(points[near]), 0.3)
            out[near] = np.maximum(round_max(edge[near], distance - thick(points[near]), EDGE_MM), -distance - DEPTH_MM)
        return out

    bounds = _bounds(site, apron)
    return Shape(field, bounds, name), Shape(region, bounds, name)


def _thickness(spec: LingualPlate, site: Site) -> Callable[[Floats], Floats]:
    """Over the blocked-out cast: as asked on the teeth, and more by the relief where there is relief."""
    tree, height = _margins(site)

    def thick(points: Floats) -> Floats:
        flat = points @ site.path.rotation.T
        under = height[tree.query(flat[:, :2])[1]] + CREVICE_MM - flat[:, 2]
        return spec.thickness_mm + spec.relief_mm * np.clip(under / 0.8 + 0.5, 0.0, 1.0)

    return thick


def _margins(site: Site) -> tuple[cKDTree, Floats]:
    """Places of the gingival margins in plan, and their heights along the path (k,) mm."""
    margins = np.vstack([t.margin for t in site.teeth.teeth.values()])
    return cKDTree(margins @ site.path.rotation[:2].T), margins @ site.up


def _bounds(site: Site, apron: Apron) -> Floats:
    flat = np.vstack([apron.line - 8.0 * apron.outward, apron.line + apron.facial[:, None] * apron.outward])
    low, high = np.r_[flat.min(axis=0), apron.low.min() - 0.5], np.r_[flat.max(axis=0) + 0.5, apron.top.max() + 0.5]
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]) @ site.path.rotation
    return np.array([corners.min(axis=0), corners.max(axis=0)])


def _crevice(spec: LingualPlate, site: Site, region: Shape, shape: Shape) -> Relief:
    """Relief under the apron from the free gingiva down to the bar: a lower connector touches teeth, never the tissue."""
    (tree, height), axes = _margins(site), site.path.rotation

    def field(points: Floats) -> Floats:
        edge = region.field(points) - 0.6
        out = edge.copy()
        near = edge < 1.0
        if near.any():
            flat = points[near] @ axes.T
            margin = height[tree.query(flat[:, :2])[1]]
            out[near] = np.maximum(edge[near], flat[:, 2] - margin - CREVICE_MM)
        return out

    return Relief(Shape(field, shape.bounds, f"{spec.id} crevice"), spec.relief_mm)
