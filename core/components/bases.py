"""Base retention: a lattice or mesh that stands over the ridge on relief, with a tissue stop where the base has a free end."""

from __future__ import annotations

import numpy as np

from ..case import LatticeBase
from ..mesh import Floats
from ..solids.curves import resample, smooth
from ..solids.fields import Footprint, Shape
from ..solids.sweep import Rail, Section, half_round, make_rail, sweep
from .bars import join_to_bar
from .gaps import Gap, find_gap, ridge_line
from .mesh_sheet import mesh_sheet
from .site import Built, Relief, Site

SLOPE_MM = 3.3  # long struts lie on the slopes of the ridge, not on its crest (standard texts, from memory)
RELIEF_START_MM = 2.0  # metal touches the tissue for 1.5 to 2 mm beside the abutment (handbook, section 5)
RELIEF_MARGIN_MM = 1.4
CROSS_EVERY_MM = 7.0  # between tooth centres, 6 to 8 mm (standard texts, from memory)
FINISH_MM = 2.2  # from the lingual strut to the palatal finish line
STEP_MM = 0.45  # the step stands this far to the resin's side of the line: outer and inner finish line are not one above the other
STEP_LEAN = 0.2  # and leans over by so much of its height (79 degrees): below a right angle it locks the resin (McCracken's, from memory)
STOP_RADIUS_MM = 1.15  # about 2 x 2 mm on the crest (standard texts, from memory)
MEETS_MM = 1.5  # a labial bar that comes so near runs into the facial strut
STRUT_START_MM = 2.7  # under the outer finish line of the abutment's plate, which it joins


def lattice_base(spec: LatticeBase, site: Site, bar: Rail | None, labial: Rail | None = None) -> Built:
    """Two long struts, cross struts or a mesh between them, relief under all; joined to a lower bar when one is given, and to a labial
    bar that passes below it."""
    gap = find_gap(site, spec.teeth, spec.id)
    last = 0.0 if gap.free_end else STRUT_START_MM
    stations = gap.inset(STRUT_START_MM, last)
    struts = {side: _strut(site, stations, side, spec) for side in ("facial", "lingual")}
    shapes = [sweep(rail, depth=0.5, name=f"{spec.id} {side}") for side, rail in struts.items()]
    rails = dict(struts)
    for k, s in enumerate(_cross_stations(gap) if spec.form == "lattice" or site.teeth.arch == "upper" else ()):
        rails[f"cross {k + 1}"] = _cross(site, s, spec, tie=spec.form == "mesh")
    # The frame is closed at both ends; beside an abutment the end bar lies under the foot of its guide plate.
    rails["front"] = _cross(site, float(stations[0]), spec, spec.strut_mm)
    rails["back"] = _cross(site, float(stations[-1]), spec, spec.strut_mm)
    shapes += [sweep(rails[n], depth=0.5, name=f"{spec.id} {n}") for n in rails if n not in struts]
    facts: dict[str, float | str] = {"length_mm": struts["facial"].length, "relief_mm": spec.relief_mm, "struts": len(rails) - 2}
    if spec.form == "mesh":
        sheet = mesh_sheet(spec, site, stations, (struts["facial"].points, struts["lingual"].points), SLOPE_MM)
        shapes.append(sheet.shape)
        facts |= {"holes": len(sheet.holes), "hole_mm": spec.hole_mm}
    zone = _relief_zone(site, gap, spec)
    warnings: list[str] = []
    if spec.stop:
        at, normal = site.skin.project(ridge_line(site, np.array([stations[-1] - gap.sign * 0.2]), "facial", 0)[:1])
        shapes.append(_post(at[0], normal[0], spec.relief_mm, spec.id))
        zone = _without_post(zone, at[0], normal[0])
    if bar is not None:
        edge = struts["lingual"]
        own = _joins_from_below(site, bar, edge, spec) if gap.crosses else {"join": join_to_bar(site, bar, edge, spec.relief_mm)}
        rails |= own
        shapes += [sweep(rail, half_round, depth=0.9, name=f"{spec.id} {name}") for name, rail in own.items()]
    elif labial is not None and np.linalg.norm(labial.points[:, None] - struts["facial"].points[None], axis=2).min() > MEETS_MM:
        own = _joins_from_below(site, labial, struts["facial"], spec)
        rails |= own
        shapes += [sweep(rail, half_round, depth=0.9, name=f"{spec.id} {name}") for name, rail in own.items()]
    elif site.teeth.arch == "upper":
        rails["finish line"] = _finish_line(site, gap)
        section = _step_towards(rails["finish line"], struts["lingual"].points.mean(axis=0))
        shapes.append(sweep(rails["finish line"], section, depth=0.7, name=f"{spec.id} finish line"))
    return Built(shapes=tuple(shapes), rails=rails, reliefs=(Relief(zone, spec.relief_mm),), facts=facts, warnings=tuple(warnings))


def _strut(site: Site, stations: Floats, side: str, spec: LatticeBase) -> Rail:
    raw = smooth(resample(ridge_line(site, stations, side, SLOPE_MM), 0.25), 5.0)
    points, normals = site.calm.project(raw, height=spec.relief_mm)
    return make_rail(smooth(points, 2.0), normals, spec.strut_mm, 0.75 * spec.strut_mm, calm=10)


def _cross_stations(gap: Gap) -> Floats:
    length = abs(gap.end - gap.start)
    count = max(int(round(length / CROSS_EVERY_MM)) - (0 if gap.free_end else 0), 1)
    edge = length / (count + 0.0 if gap.free_end else count)
    inner = [gap.start + gap.sign * edge * (k + (0.62 if gap.free_end else 0.5)) for k in range(count)]
    inside = [s for s in inner if abs(s - gap.start) > 4.2 and abs(gap.end - s) > 3.4]
    return np.array(inside)


def _cross(site: Site, station: float, spec: LatticeBase, width: float | None = None, *, tie: bool = False) -> Rail:
    """A cross strut; tie : only its stretch from the lingual strut to the finish line, beside a mesh."""
    offsets = [("facial", SLOPE_MM), ("facial", 0.5 * SLOPE_MM), ("facial", 0.0), ("lingual", 0.5 * SLOPE_MM), ("lingual", SLOPE_MM)]
    if site.teeth.arch == "upper":
        offsets.append(("lingual", SLOPE_MM + FINISH_MM))  # into the finish line: nothing of the lattice ends in the air
    raw = np.vstack([ridge_line(site, np.array([station]), side, d) for side, d in (offsets[-2:] if tie else offsets)])
    points, normals = site.calm.project(smooth(resample(raw, 0.2), 1.5), height=spec.relief_mm)
    wide = width or spec.cross_mm
    return make_rail(points, normals, wide, 0.75 * wide, calm=6)


def _relief_zone(site: Site, gap: Gap, spec: LatticeBase) -> Shape:
    """A prism along the path over the lattice's footprint."""
    stations = gap.inset(RELIEF_START_MM, -1.5 if gap.free_end else RELIEF_START_MM)
    reach = SLOPE_MM + 0.5 * spec.strut_mm + RELIEF_MARGIN_MM
    facial, lingual = (smooth(ridge_line(site, stations, side, reach), 3.0) for side in ("facial", "lingual"))
    axes = site.path.rotation
    outline = np.vstack([facial, lingual[::-1]])
    plan = Footprint(outline @ axes[:2].T)

    def field(points: Floats) -> Floats:
        return plan(points @ axes[:2].T)

    pad = np.array([3.0, 3.0, 6.0])
    return Shape(field, np.array([outline.min(axis=0) - pad, outline.max(axis=0) + pad]), spec.id)


def _post(at: Floats, normal: Floats, relief_mm: float, name: str) -> Shape:
    """A round post from the crest up into the lattice."""

    def field(points: Floats) -> Floats:
        rel = points - at
        along = rel @ normal
        radial = np.linalg.norm(rel - along[:, None] * normal, axis=1)
        return np.maximum(radial - STOP_RADIUS_MM, np.maximum(along - relief_mm - 0.5, -0.8 - along))

    reach = relief_mm + 2.5
    return Shape(field, np.array([at - reach, at + reach]), f"{name} stop")


def _without_post(zone: Shape, at: Floats, normal: Floats) -> Shape:
    def field(points: Floats) -> Floats:
        rel = points - at
        radial = np.linalg.norm(rel - (rel @ normal)[:, None] * normal, axis=1)
        return np.maximum(zone.field(points), STOP_RADIUS_MM + 0.02 - radial)

    return Shape(field, zone.bounds, zone.name)


def _joins_from_below(site: Site, bar: Rail, strut: Rail, spec: LatticeBase) -> dict[str, Rail]:
    """Bands from a bar that passes under a gap of front teeth up to its lingual strut, at a third and two thirds of it."""
    out = {}
    for k, share in enumerate((0.3, 0.7)):
        top = strut.points[int(share * (len(strut.points) - 1))]
        foot = bar.points[int(np.linalg.norm(bar.points - top, axis=1).argmin())]
        raw = resample(np.vstack([foot, 0.5 * (foot + top), top]), 0.2)
        share_of_way = np.linspace(0.0, 1.0, len(raw))
        points, normals = site.calm.project(raw)
        points = points + normals * np.interp(share_of_way, [0.0, 1.0], [0.25, spec.relief_mm])[:, None]
        out[f"join {k + 1}"] = make_rail(smooth(points, 1.0), normals, 2.6, 1.4, calm=10)
    return out


def _step_towards(rail: Rail, resin: Floats) -> Section:
    """Section of a finish line: a quarter ellipse that runs out on the palate, an upright, slightly undercut step towards the resin."""
    middle = len(rail.points) // 2
    across = np.cross(rail.points[middle + 1] - rail.points[middle - 1], rail.normals[middle])
    sign = 1.0 if across @ (resin - rail.points[middle]) > 0 else -1.0

    def section(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
        side = sign * u
        slope = np.where(side < 0, half_round(side, v, half, height), v - height)
        step = side - STEP_MM - STEP_LEAN * np.maximum(v, 0.0)
        return np.maximum(np.where(v >= 0, slope, -half - side), step)

    return section


def _finish_line(site: Site, gap: Gap) -> Rail:
    """The raised line where the base resin will end on the palatal side, from plate to plate."""
    stations = gap.inset(STRUT_START_MM, 0.0 if gap.free_end else STRUT_START_MM)
    raw = smooth(resample(ridge_line(site, stations, "lingual", SLOPE_MM + FINISH_MM), 0.25), 5.0)
    points, normals = site.calm.project(raw, height=0.0)
    return make_rail(smooth(points, 2.0), normals, 2.4, 1.9, calm=10)
