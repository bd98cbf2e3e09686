"""From the components as built and the tooth as scanned to what the mechanics look at: lines, sections, profiles, rests, bases."""

from __future__ import annotations

import numpy as np

from ..case import AnyRest, BeadPlate, Case, GuidePlate, LatticeBase
from ..components import Assembly, Site
from ..components.gaps import find_gap, ridge_line
from ..components.rests import seat_of
from ..errors import CaseError, ComponentError, GeometryError
from ..mechanics import (
    MATERIALS,
    BaseInput,
    CaseInput,
    ConnectorInput,
    Material,
    find_material,
    material,
)
from ..mesh import Floats
from .clasp_lines import clasp_input, side_of
from .connector_lines import connector_input

CLEAR_OF_TOOTH_MM = 3.0  # beside an abutment the scan shows no crest yet
INDIRECT_MM = 1.0  # a rest nearer than this to the fulcrum line does not resist turning; how well others do is worked out
BASES = (LatticeBase, BeadPlate)


def case_input(case: Case, assembly: Assembly, site: Site, alloy: Material) -> CaseInput:
    """Everything the mechanics need of a build. What cannot be analysed is left out with a remark."""
    clasps, remarks, own = [], [], own_materials(case)
    for component in case.components:
        built = assembly.built.get(component.id)
        if built is None or not built.tips or "arm" not in built.rails:
            continue
        try:
            clasps.append(clasp_input(component, built, case, assembly, site, alloy, own))
        except (ComponentError, GeometryError, ValueError) as error:
            remarks.append(f"{component.id}: its mechanics could not be worked out ({error})")
    rests = {
        c.id: (c.tooth, seat_of(c, site).point)
        for c in case.components
        if isinstance(c, AnyRest) and c.id in assembly.built
    }
    bases, unknown = _bases(case, assembly, site)
    fulcrum, indirect = _support(list(rests.values()), bases, site)
    planes = [c.tooth for c in case.components if isinstance(c, GuidePlate) and c.id in assembly.built]
    right = sum(side_of(t) == "right" for t in planes)
    forward = np.array([0.0, 1.0, 0.0]) - site.up[1] * site.up
    connector, unmeasured = _connector(case, assembly, list(rests.values()), bases, site)
    return CaseInput(
        site.up, forward / np.linalg.norm(forward), alloy, tuple(clasps), bases,
        None if fulcrum is None else (fulcrum[0][1], fulcrum[1][1]), None if fulcrum is None else (fulcrum[0][0], fulcrum[1][0]),
        tuple(p for _, p in indirect), tuple(t for t, _ in indirect), (right, len(planes) - right),
        connector, (*remarks, *unknown, *unmeasured),
    )  # fmt: skip


def own_materials(case: Case) -> dict[str, Material]:
    """The materials that the case brings, by name. Raises CaseError for figures that make no sense."""
    own = {}
    for k, m in enumerate(case.materials):
        try:
            own[m.name] = material(
                m.name, m.label or m.name, m.modulus_gpa, m.proof_mpa, m.elongation_pct, m.density_g_cm3, m.source, m.poisson, m.metal
            )
        except ValueError as error:
            raise CaseError(f"case.materials[{k}] ({m.name}): {error}") from error
    return own


def framework_material(case: Case) -> tuple[Material, tuple[str, ...]]:
    """What the framework is made of, and a remark where the case's words are not known. Raises CaseError for figures that make no sense."""
    own = own_materials(case)
    found = find_material(case.manufacture.alloy, own)
    if found is not None:
        return found, ()
    fallback = MATERIALS["cocr_laser"]
    words = f"{case.manufacture.alloy[:60]!r} is not known; figures of {fallback.label} are used; add it to case.materials"
    return fallback, (f"case.manufacture.alloy: {words}",)


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


def _connector(
    case: Case, assembly: Assembly, rests: list[Placed], bases: tuple[BaseInput, ...], site: Site
) -> tuple[ConnectorInput | None, tuple[str, ...]]:
    """The major connector, None where it has none or no base on both sides to load; and a remark where no plane meets it."""
    by_side = {s: [b for b in bases if b.side == s] for s in ("right", "left")}
    if not rests or not all(by_side.values()):
        return None, ()
    right, left = (np.mean([b.middle for b in by_side[s]], axis=0) for s in ("right", "left"))
    borne = [float(np.mean([b.free_end for b in by_side[s]])) for s in ("right", "left")]
    sides = np.array([0 if side_of(t) == "right" else 1 for t, _ in rests])
    placed = (np.array([p for _, p in rests]), sides)
    try:
        return connector_input(case, assembly, site, placed, (right, left), (borne[0], borne[1])), ()
    except GeometryError as error:
        return None, (f"major connector: {error}",)
