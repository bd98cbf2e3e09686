"""U-shaped palatal connector on the lingual faces of the teeth and the tissue beside them."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates, maximum_filter1d
from scipy.spatial import cKDTree

from ..case import UShapedPlate
from ..errors import ComponentError, GeometryError
from ..mesh import Floats
from ..solids.fields import Footprint, Shape, round_max
from .site import Built, Relief, Site

STEP_MM = 0.4
MARCH_MM = 0.25
INSIDE_MM = 0.7  # the border ends this far inside the scan: nothing is known of what lies beyond
LEAST_MM = 2.0  # of tissue that a border must reach over to lie on anything
DROP_MM = 1.5  # a fall this deep in one step is the edge of the scan, not tissue
OVER_CROWN_MM = 0.9  # the plate's region reaches this far over the lingual height of contour, seen along the path
HIGHEST = 0.62  # of the crown's height: no lingual plate goes above the middle third (standard texts, from memory)
LEAST_RISE_MM = 2.0  # over the margin: where the contour lies at the gingiva, the plate still rests on enamel
CORNER_MM = 1.2
OUTLINE_MM = 0.03
DEPTH_MM = 0.8
CREVICE_MM = 1.1  # relief over the free gingiva reaches this far on either side of the margin
INTO_GAP_MM = 4.0
CREST_TO_PLATE_MM = 2.0  # in a gap it ends on the lingual slope of the ridge, under the base's finish line


@dataclass(frozen=True, eq=False)
class Course:
    """The plate by station. stations (k,); border, crown: offsets from the line of the arch outward, mm, of its tissue border and of
    its crown side (k,); top: height along the path of its upper border (k,) mm; tissue: mm of tissue it covers (k,)."""

    stations: Floats
    border: Floats
    crown: Floats
    top: Floats
    tissue: Floats


def u_shaped_plate(spec: UShapedPlate, site: Site) -> Built:
    """A plate of even thickness. Raises ComponentError where too little tissue was scanned for it to lie on."""
    course = _course(spec, site)
    axes = site.path.rotation
    plan = Footprint(_outline(site, course))
    top, calm = _height_map(site, course, plan, spec.thickness_mm), site.plate

    def field(points: Floats) -> Floats:
        flat = points @ axes.T
        edge = round_max(plan(flat[:, :2]), flat[:, 2] - top(flat[:, :2]), 0.4)
        out = edge.copy()
        near = edge < 1.2
        if near.any():
            distance = calm(points[near])
            out[near] = np.maximum(round_max(edge[near], distance - spec.thickness_mm, 0.5), -distance - DEPTH_MM)
        return out

    bounds = _bounds(site, course)
    covered = float(np.median(course.tissue))
    warnings = [f"{spec.id}: a U-shaped connector is the least rigid of the upper ones; a strap or a plate across the palate is stiffer"]
    if covered < spec.width_mm - 0.5:
        warnings.append(
            f"{spec.id}: the scan shows so little tissue behind the teeth that the plate covers {covered:.1f} mm of it, not "
            f"{spec.width_mm:g}; scan the palate"
        )
    facts: dict[str, float | str] = {"thickness_mm": spec.thickness_mm, "tissue_mm": covered}
    reliefs = (_crevice(spec, site, plan, bounds),) if spec.relief_mm > 0 else ()
    return Built(shapes=(Shape(field, bounds, spec.id),), reliefs=reliefs, facts=facts, warnings=tuple(warnings))


def _course(spec: UShapedPlate, site: Site) -> Course:
    first, last = (site.arch.extent(n) for n in sorted((spec.start, spec.end), key=site.arch.station))
    stations = np.arange(_end(site, first[0], -1.0), _end(site, last[1], 1.0), STEP_MM)
    if len(stations) < 20:
        raise ComponentError(f"{spec.id}: from {spec.start} to {spec.end} is too short; name the last teeth of either side")
    crown, top = _crown_side(spec, site, stations)
    border, tissue = _tissue_border(spec, site, stations)
    if float(np.median(tissue)) < LEAST_MM:
        raise ComponentError(
            f"{spec.id}: only {float(np.median(tissue)):.1f} mm of tissue behind the teeth were scanned; scan the palate, "
            f"{LEAST_MM + INSIDE_MM:g} mm are the least"
        )
    return Course(stations, border, crown, top, tissue)


def _end(site: Site, edge: float, way: float) -> float:
    """Station at which the plate ends beside the outer edge of its last tooth: short of it, or in a gap under the base that lies there."""
    gap = site.arch.gap_at(edge + 0.5 * way)
    if gap is None:
        return edge - 0.8 * way
    return edge + way * min(INTO_GAP_MM, 0.6 * gap.length)


def _crown_side(spec: UShapedPlate, site: Site, stations: Floats) -> tuple[Floats, Floats]:
    """Offset and height of the plate's upper border: a little above the lingual contour of each crown, low on the ridge in a gap."""
    rows = []
    phi = np.arange(225.0, 316.0, 5.0)
    for tooth in site.teeth.ordered:
        chart = site.chart(tooth.fdi, spec.id)
        z, margin, top = chart.contour(phi), chart.margin(phi), chart.top(phi)
        high = np.minimum(np.maximum(z + spec.rise_mm, margin + LEAST_RISE_MM), margin + HIGHEST * (top - margin))
        points = chart.surface(phi, z)
        for point, rise in zip(points[np.isfinite(points).all(axis=1)], high[np.isfinite(points).all(axis=1)], strict=True):
            s = site.arch.station(point)
            frame = site.arch.frame(s)
            rows.append((s, float((point - frame.origin) @ frame.outward), float(chart.origin @ site.up + rise)))
    for s in stations:
        gap = site.arch.gap_at(float(s))
        if gap is not None and min(s - gap.start, gap.end - s) > 1.0:
            frame = site.arch.frame(float(s))
            crest = site.arch.crest(float(s))
            rows.append((float(s), float((crest - frame.origin) @ frame.outward) - CREST_TO_PLATE_MM, float(crest @ site.up) + 1.0))
    table = np.array(sorted(rows))
    wide = 1.6 / STEP_MM
    return tuple(gaussian_filter1d(np.interp(stations, table[:, 0], table[:, k]), wide, mode="nearest") for k in (1, 2))


def _tissue_border(spec: UShapedPlate, site: Site, stations: Floats) -> tuple[Floats, Floats]:
    """Offset of the border that lies on tissue, as far as asked or as the scan reaches, and how much tissue that is, along it."""
    wanted, limit, start = np.empty((3, len(stations)))
    paths = []
    for k, s in enumerate(stations):
        frame = site.arch.frame(float(s))
        start[k] = float((site.arch.margin(float(s), "lingual") - frame.origin) @ frame.outward)
        offsets = start[k] - np.arange(0.0, spec.width_mm + 2.0, MARCH_MM)
        height = _heights(site, frame.origin + offsets[:, None] * frame.outward)
        fall = np.abs(np.diff(height))
        # Beside the margin the fall may be that of a crown which the smoothed margin cuts.
        broken = np.flatnonzero(~np.isfinite(fall) | ((fall > DROP_MM) & (np.arange(len(fall)) * MARCH_MM > 1.5)))
        fall = np.minimum(np.nan_to_num(fall), 1.0)
        reach = int(broken[0]) if len(broken) else len(offsets) - 1
        along = np.r_[0.0, np.cumsum(np.hypot(MARCH_MM, fall[:reach]))]
        limit[k] = offsets[reach] + INSIDE_MM if len(broken) else -np.inf
        wanted[k] = float(np.interp(spec.width_mm, along, offsets[: reach + 1]))
        paths.append((offsets[: reach + 1], along))
    half = max(int(1.2 / STEP_MM), 1)
    border = maximum_filter1d(np.maximum(wanted, limit), 2 * half + 1, mode="nearest")
    border = gaussian_filter1d(border, 2.0 / STEP_MM, mode="nearest")
    border = gaussian_filter1d(np.maximum(border, limit), 1.0 / STEP_MM, mode="nearest")
    tissue = [float(np.interp(-b, -offsets, along)) for b, (offsets, along) in zip(border, paths, strict=True)]
    return border, np.array(tissue)


def _heights(site: Site, points: Floats) -> Floats:
    """(k,) height along the path of the cast at plan places, nan where there is none."""
    above = float((site.cast.vertices @ site.up).max()) + 1.0
    start = points + (above - points @ site.up)[:, None] * site.up
    distance, face = site.rays.first_hit(start, -site.up)
    return np.where(face >= 0, above - distance, np.nan)


def _line(site: Site, stations: Floats, offsets: Floats) -> Floats:
    """(k, 2) places in plan at offsets from the line of the arch."""
    frames = [site.arch.frame(float(s)) for s in stations]
    return np.array([f.origin + o * f.outward for f, o in zip(frames, offsets, strict=True)]) @ site.path.rotation[:2].T


def _outline(site: Site, course: Course) -> Floats:
    """(k, 2) outline in plan with rounded corners."""
    inner = _line(site, course.stations, course.border)
    outer = _line(site, course.stations, np.maximum(course.crown + OVER_CROWN_MM, course.border + 2 * CORNER_MM + 0.5))
    section = manifold3d.CrossSection([np.vstack([outer, inner[::-1]])], manifold3d.FillRule.NonZero)
    section = section.offset(-CORNER_MM, manifold3d.JoinType.Round).offset(CORNER_MM, manifold3d.JoinType.Round)
    parts = section.simplify(OUTLINE_MM).to_polygons()  # fewer corners, quicker to look up
    if not parts:
        raise GeometryError("the U-shaped plate is narrower than 2.4 mm everywhere; ask for a wider one")
    return np.asarray(max(parts, key=len), dtype=np.float64)


class _HeightMap:
    """Height of the upper border over the plan, looked up from a grid: (k, 2) mm -> (k,) mm."""

    def __init__(self, low: Floats, values: Floats, step: float) -> None:
        self.low, self.values, self.step = low, values, step

    def __call__(self, points: Floats) -> Floats:
        return np.asarray(map_coordinates(self.values, ((points - self.low) / self.step).T, order=1, mode="nearest"))


def _height_map(site: Site, course: Course, plan: Footprint, thickness_mm: float) -> _HeightMap:
    step = 0.5
    shape = (np.array(plan.values.shape) * plan.STEP_MM / step).astype(int) + 2
    grid = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 2) * step + plan.low
    line = _line(site, course.stations, course.crown)
    near = cKDTree(line).query(grid)[1]
    # The upper border is a border on the crowns; what lies on the tissue, further in than the metal on a crown is thick, has none.
    inward = line - _line(site, course.stations, course.crown + 1.0)
    beyond = np.einsum("ij,ij->i", grid - line[near], inward[near]) - thickness_mm - 0.3
    return _HeightMap(plan.low, (course.top[near] + 2.0 * np.maximum(beyond, 0.0)).reshape(tuple(shape)), step)


def _bounds(site: Site, course: Course) -> Floats:
    """(2, 3) box round the plate."""
    axes = site.path.rotation
    flat = np.vstack([_line(site, course.stations, course.border), _line(site, course.stations, course.crown + 2.0)])
    tissue = _heights(site, np.column_stack([flat, np.zeros(len(flat))]) @ axes)
    low = np.r_[flat.min(axis=0) - 1.5, np.nanmin(tissue) - 1.5]
    high = np.r_[flat.max(axis=0) + 1.5, course.top.max() + 1.0]
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]) @ axes
    return np.array([corners.min(axis=0), corners.max(axis=0)])


def _crevice(spec: UShapedPlate, site: Site, plan: Footprint, bounds: Floats) -> Relief:
    """Relief along the gingival margins under the plate."""
    margins = cKDTree(np.vstack([_dense(t.margin) for t in site.teeth.teeth.values()]))
    axes = site.path.rotation

    def field(points: Floats) -> Floats:
        edge = plan(points @ axes[:2].T) - 0.6
        out = edge.copy()
        near = edge < 1.0
        if near.any():
            out[near] = np.maximum(edge[near], np.minimum(margins.query(points[near], distance_upper_bound=4.0)[0], 4.0) - CREVICE_MM)
        return out

    return Relief(Shape(field, bounds, f"{spec.id} crevice"), spec.relief_mm)


def _dense(ring: Floats) -> Floats:
    """A closed polyline (k, 3) with points in between."""
    share = np.linspace(0.0, 1.0, 6)[:-1]
    after = np.roll(ring, -1, axis=0)
    return (ring[:, None] + share[:, None] * (after - ring)[:, None]).reshape(-1, 3)
