"""From the components as built and the tooth as scanned to what the mechanics look at: lines, sections, profiles, rests, bases."""

from __future__ import annotations

import numpy as np

from ..case import BeadPlate, Case, CingulumRest, GuidePlate, LatticeBase, OcclusalRest, ReciprocalArm
from ..charts import CrownChart
from ..components import Assembly, Built, Site
from ..components.gaps import find_gap, ridge_line
from ..components.rests import seat_of
from ..errors import CaseError, ComponentError, GeometryError
from ..mechanics import (
    MATERIALS,
    BaseInput,
    CaseInput,
    ClaspArm,
    ClaspInput,
    ConnectorInput,
    Material,
    Profile,
    Run,
    find_material,
    material,
)
from ..mesh import Floats
from ..solids.curves import tangents
from ..solids.sweep import Rail

CONTACTS = 6  # along the part of an arm that lies below the contour
STEPS = 41  # of travel
CLEAR_OF_TOOTH_MM = 3.0  # beside an abutment the scan shows no crest yet
BEYOND_MM = 0.7  # the lift is followed this far past the contour
LEAST_UNDERCUT_MM = 0.02
INDIRECT_MM = 1.0  # a rest nearer than this to the fulcrum line does not resist turning; how well others do is worked out
BASES = (LatticeBase, BeadPlate)
RIGHT = (1, 4)  # quadrants on the patient's right


def case_input(case: Case, assembly: Assembly, site: Site, alloy: Material) -> CaseInput:
    """Everything the mechanics need of a build. What cannot be analysed is left out with a remark."""
    clasps, remarks = [], []
    for component in case.components:
        built = assembly.built.get(component.id)
        if built is None or not built.tips or "arm" not in built.rails:
            continue
        try:
            clasps.append(_clasp(component.id, built, case, assembly, site, alloy))
        except (ComponentError, GeometryError, ValueError) as error:
            remarks.append(f"{component.id}: its mechanics could not be worked out ({error})")
    rests = {
        c.id: (c.tooth, seat_of(c, site).point)
        for c in case.components
        if isinstance(c, OcclusalRest | CingulumRest) and c.id in assembly.built
    }
    bases, unknown = _bases(case, assembly, site)
    fulcrum, indirect = _support(list(rests.values()), bases, site)
    planes = [c.tooth for c in case.components if isinstance(c, GuidePlate) and c.id in assembly.built]
    right = sum(side_of(t) == "right" for t in planes)
    forward = np.array([0.0, 1.0, 0.0]) - site.up[1] * site.up
    return CaseInput(
        site.up, forward / np.linalg.norm(forward), alloy, tuple(clasps), bases,
        None if fulcrum is None else (fulcrum[0][1], fulcrum[1][1]), None if fulcrum is None else (fulcrum[0][0], fulcrum[1][0]),
        tuple(p for _, p in indirect), tuple(t for t, _ in indirect), (right, len(planes) - right),
        _connector(assembly, list(rests.values()), bases, site), (*remarks, *unknown),
    )  # fmt: skip


def framework_material(case: Case) -> tuple[Material, tuple[str, ...]]:
    """What the framework is made of, and a remark where the case's words are not known. Raises CaseError for figures that make no sense."""
    own = {}
    for k, m in enumerate(case.materials):
        try:
            own[m.name] = material(
                m.name, m.label or m.name, m.modulus_gpa, m.proof_mpa, m.elongation_pct, m.density_g_cm3, m.source, m.poisson
            )
        except ValueError as error:
            raise CaseError(f"case.materials[{k}] ({m.name}): {error}") from error
    found = find_material(case.manufacture.alloy, own)
    if found is not None:
        return found, ()
    fallback = MATERIALS["cocr_laser"]
    words = f"{case.manufacture.alloy[:60]!r} is not known; figures of {fallback.label} are used; add it to case.materials"
    return fallback, (f"case.manufacture.alloy: {words}",)


def side_of(tooth: int) -> str:
    """The patient's side a tooth (FDI) stands on."""
    return "right" if tooth // 10 in RIGHT else "left"


def _clasp(name: str, built: Built, case: Case, assembly: Assembly, site: Site, alloy: Material) -> ClaspInput:
    rail, tip = built.rails["arm"], built.tips[0]
    spec = next(c for c in case.components if c.id == name)
    kind = "circumferential" if spec.kind == "retentive_arm" else "bar"
    chart = site.chart(tip.tooth, name)
    arm = ClaspArm(rail.points, rail.normals, rail.width, rail.thickness, alloy, "half_round", _held(name, rail, assembly))
    border = _border(rail, site.up) if kind == "circumferential" else rail.points
    lowest = -np.inf if kind == "circumferential" else float(chart.local(tip.points)[:, 2].min()) - 0.05
    at = _touching(chart, border, lowest, arm)
    phi, z = chart.locate(border[at])
    travel, profile = _profile(chart, phi, z)
    outward = _level_normals(chart, phi, z)
    places = chart.surface(phi, z)
    rigid = _rigid_gap(tip.tooth, case, assembly, chart, travel)
    return ClaspInput(
        name, tip.tooth, kind, side_of(tip.tooth), arm, tip.planned_mm, site.up, arm.station[at], places, outward, profile,
        *((travel, rigid) if rigid is not None else (np.zeros(0), np.zeros(0))), case.manufacture.fillet_mm,
    )  # fmt: skip


def _held(name: str, rail: Rail, assembly: Assembly) -> float:
    """mm of the arm, from its first point, that lie inside other metal: the rigid part it leaves."""
    middle = rail.points + 0.4 * rail.thickness[:, None] * rail.normals
    inside = np.zeros(len(middle), dtype=bool)
    for other, built in assembly.built.items():
        if other == name:
            continue
        for shape in built.shapes:
            low, high = np.asarray(shape.bounds)
            near = np.flatnonzero(np.all((middle >= low) & (middle <= high), axis=1))
            if len(near):
                inside[near] |= shape.field(middle[near]) < 0.0
    # Metal that the far half of an arm runs into is not its root.
    held = np.flatnonzero(inside[: len(inside) // 2])
    station = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(rail.points, axis=0), axis=1))]
    return float(station[held[-1]]) if len(held) else 0.0


def _border(rail: Rail, up: Floats) -> Floats:
    """(k, 3) gingival border of the flat side."""
    across = np.cross(tangents(rail.points), rail.normals)
    down = np.where((across @ up) > 0, -1.0, 1.0)
    return rail.points + (0.5 * rail.width * down)[:, None] * across


def _touching(chart: CrownChart, border: Floats, lowest: float, arm: ClaspArm) -> np.ndarray:
    """(c,) samples of the arm that lie in an undercut of the crown, spread evenly over that part, the last of them included."""
    phi, z = chart.locate(border)
    depth = np.nan_to_num(chart.depth(phi, z))
    inside = (depth > LEAST_UNDERCUT_MM) & (z < chart.contour(phi)) & (z >= lowest) & (arm.station > arm.free_mm + 0.5)
    inside &= np.isfinite(chart.radius(phi, z))
    found = np.flatnonzero(inside)
    if len(found) == 0:
        raise ComponentError("no part of it touches the tooth below the contour")
    return np.unique(found[np.round(np.linspace(0, len(found) - 1, CONTACTS)).astype(int)])


def _profile(chart: CrownChart, phi: Floats, z: Floats) -> tuple[Floats, Profile]:
    """How far the tooth bulges above each contact while the arm is lifted, measured on the scan."""
    travel = np.linspace(0.0, float((chart.contour(phi) - z).max()) + BEYOND_MM, STEPS)
    angle, height = np.repeat(phi, STEPS), (z[:, None] + travel).ravel()
    radius = chart.radius(angle, height).reshape(-1, STEPS)
    normal = chart.normal(angle, height)
    lean = -(normal @ chart.up) / np.maximum(np.linalg.norm(normal - np.outer(normal @ chart.up, chart.up), axis=1), 1e-6)
    facing = np.einsum("ij,ij->i", _level_normals(chart, phi, z), chart.outward(phi))
    bulge = (radius - radius[:, :1]) * facing[:, None]
    slope = lean.reshape(-1, STEPS)
    return travel, Profile(travel, np.where(np.isfinite(bulge), bulge, -1.0), np.clip(np.nan_to_num(slope), -2.0, 2.0))


def _level_normals(chart: CrownChart, phi: Floats, z: Floats) -> Floats:
    """(k, 3) unit outward normals of the tooth, square to the path."""
    normal = chart.normal(phi, z)
    flat = normal - np.outer(normal @ chart.up, chart.up)
    size = np.linalg.norm(flat, axis=1, keepdims=True)
    return np.where(np.isfinite(size) & (size > 1e-6), flat / np.where(size > 1e-6, size, 1.0), chart.outward(phi))


def _rigid_gap(tooth: int, case: Case, assembly: Assembly, chart: CrownChart, travel: Floats) -> Floats | None:
    """(m,) least distance of the rigid parts opposite the tip from the tooth, after each travel; None where there are none.

    A reciprocal arm where the tooth has one; the guide plate (proximal, so it opposes only in part) where it has not, as with bar clasps.
    """
    gaps, plates = [], []
    for component in case.components:
        built = assembly.built.get(component.id)
        if built is None or getattr(component, "tooth", None) != tooth:
            continue
        if isinstance(component, ReciprocalArm) and "arm" in built.rails:
            gaps.append(_arm_gap(built.rails["arm"], chart, travel))
        elif isinstance(component, GuidePlate):
            # A plate slides on its guide plane until it has travelled the plane's height; the crown above it falls away by about 1 in 4.
            plates.append(0.25 * np.maximum(travel - component.plane_height_mm, 0.0))
    return np.min(gaps or plates, axis=0) if gaps or plates else None


def _arm_gap(rail: Rail, chart: CrownChart, travel: Floats) -> Floats:
    """(m,) least distance of a rigid arm's flat side from the crown after each travel; it touches where it lies above the contour."""
    pick = np.linspace(0, len(rail.points) - 1, 12).astype(int)
    across = np.cross(tangents(rail.points), rail.normals)[pick]
    spread = np.linspace(-0.45, 0.45, 5)
    places = (rail.points[pick, None] + (spread[:, None] * rail.width[pick][:, None, None]) * across[:, None]).reshape(-1, 3)
    phi, z = chart.locate(places)
    rest = chart.radius(phi, z)
    use = np.isfinite(rest) & (z >= chart.contour(phi) - 0.05)
    phi, z, rest = phi[use], z[use], rest[use]
    if len(phi) == 0:
        return np.full(len(travel), np.inf)
    lifted = chart.radius(np.repeat(phi, len(travel)), (z[:, None] + travel).ravel()).reshape(len(phi), -1)
    return np.asarray(np.maximum(np.nanmin(np.where(np.isfinite(lifted), rest[:, None] - lifted, np.inf), axis=0), 0.0))


def _bases(case: Case, assembly: Assembly, site: Site) -> tuple[tuple[BaseInput, ...], list[str]]:
    """Every base that was built; one whose ridge the scan does not show is left out with a remark."""
    found, remarks = [], []
    for c in case.components:
        if isinstance(c, BASES) and c.id in assembly.built:
            try:
                found.append(_base(c, site))
            except GeometryError as error:
                remarks.append(f"{c.id}: left out of levers and connector ({error})")
    return tuple(found), remarks


def _base(spec: LatticeBase | BeadPlate, site: Site) -> BaseInput:
    gap = find_gap(site, spec.teeth, spec.id)
    last = gap.end if gap.free_end else gap.end - gap.sign * CLEAR_OF_TOOTH_MM
    crest = ridge_line(site, np.array([0.5 * (gap.start + gap.end), last]), "facial", 0.0)
    return BaseInput(spec.id, side_of(spec.teeth[0]), crest[0], crest[1], gap.free_end)


Placed = tuple[int, Floats]


def _support(rests: list[Placed], bases: tuple[BaseInput, ...], site: Site) -> tuple[tuple[Placed, Placed] | None, list[Placed]]:
    """The two rests that extension bases turn about (the most posterior of each side), and the rests beyond that line."""
    sides = {s: sorted((r for r in rests if side_of(r[0]) == s), key=lambda r: (-(r[0] % 10), r[1][1])) for s in ("right", "left")}
    if not any(b.free_end for b in bases) or not all(sides.values()):
        return None, []
    first, second = sides["right"][0], sides["left"][0]
    across = np.cross(site.up, second[1] - first[1])
    across /= np.linalg.norm(across)
    reach = {i: float((p - first[1]) @ across) for i, (_, p) in enumerate(rests)}
    bearing = np.mean([(b.middle - first[1]) @ across for b in bases if b.free_end])
    beyond = [rests[i] for i, d in reach.items() if d * np.sign(bearing) < -INDIRECT_MM]
    if len(beyond) == 1:  # one rest: the line through it, parallel to the fulcrum line
        tooth, point = beyond[0]
        beyond.append((tooth, point + (second[1] - first[1])))
    ordered = sorted(beyond, key=lambda r: float(r[1] @ np.cross(site.up, across)))
    return (first, second), ordered


def _connector(assembly: Assembly, rests: list[Placed], bases: tuple[BaseInput, ...], site: Site) -> ConnectorInput | None:
    """The major connector's line; None where it has none, or where there is no base on both sides to load."""
    found = next(((n, b.rails[r], r) for n, b in assembly.built.items() for r in ("bar", "ring") if r in b.rails), None)
    by_side = {s: [b for b in bases if b.side == s] for s in ("right", "left")}
    if found is None or not rests or not all(by_side.values()):
        return None
    name, rail, form = found
    run = Run(rail.points, rail.normals, rail.width, rail.thickness, "half_pear" if form == "bar" else "strip", form == "ring")
    loads = tuple(np.mean([b.middle for b in by_side[s]], axis=0) for s in ("right", "left"))
    borne = tuple(float(np.mean([b.free_end for b in by_side[s]])) for s in ("right", "left"))
    ends = tuple(rail.points[int(np.linalg.norm(rail.points - p, axis=1).argmin())] for p in loads)
    sides = np.array([0 if side_of(t) == "right" else 1 for t, _ in rests])
    places = np.array([p for _, p in rests])
    return ConnectorInput(name, run, site.up, (ends[0], ends[1]), places, sides, (loads[0], loads[1]), (borne[0], borne[1]))
