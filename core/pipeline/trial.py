"""A draft tried on the cast before it is shown: its parts are built, its arms bent. What cannot be is drafted again without it.

Only parts and mechanics are made, no framework: the rest of a build asks of a design what the parts have answered already.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace

from ..blockout import block_out
from ..case import AnyRest, Case, Component, GuidePlate, MinorConnector, ReciprocalArm, RetentiveArm, UShapedPlate
from ..case.bases import BasePart
from ..case.clasps import ClaspPart
from ..case.connectors import ConnectorPart
from ..charts import ArchChart
from ..checks.mechanics import check_mechanics, short
from ..components import Built, Site, build_components
from ..components.arms import retentive_arm
from ..errors import ComponentError, GeometryError
from ..mechanics import analyse
from ..mesh import Mesh
from ..planning import Draft, Known
from ..planning.design import Retainer
from ..planning.option import Key
from ..preparation import Prepared
from ..teeth.numbering import neighbours
from .build import Clock, Surveyed
from .mechanics import case_input, framework_material
from .preparing import prepare_mouth, spare_enamel
from .tips import entries

MOST_TRIALS = 5
STEP_MM = 0.25  # of the block-out, as in a quick build: parts lie on it, nothing is cut from it
MOST_ON_CROWNS = 8
MOST_STOUTER = 2
THIN_MM = 0.02  # for the same reason the cast is thinned out so far before its block-out: a fraction of the faces, hardly any shape

_Frame = ConnectorPart | BasePart | MinorConnector
"""What joins and carries the rest: one leans on the other."""

Redraft = Callable[[Known], Draft]


@dataclass(frozen=True, eq=False)
class Trial:
    """draft : with every clasp that could be; foretold : what a build of it will find at fault, in words

    prepared : the mouth as it asks for; remarks : on that
    """

    draft: Draft
    prepared: Prepared
    remarks: tuple[str, ...]
    foretold: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Bed:
    """What a draft's clasps stand on, made from its other parts: those parts with their planes lowered, words on these, the cast."""

    asked: tuple[Component, ...]
    given: tuple[Component, ...]
    why: dict[str, str]
    prepared: Prepared
    remarks: tuple[str, ...]
    site: Site


@dataclass(frozen=True, eq=False)
class _Fault:
    """part : id; kind : refused, stress, length, tip, or told where the draft stays as it is; words"""

    part: str
    kind: str
    words: str


def tried(first: Draft, known: Known, redraft: Redraft, seen: Surveyed, clock: Clock) -> Trial:
    """Try a draft and its successors until every part of one can be built and every clasp bears its bending, at most MOST_TRIALS times.

    known : what the first draft was written with; redraft : one that knows more
    """
    made, known = _on_crowns(first, known, redraft, seen)
    bed, built = None, dict[str, Built]()
    for turn in range(MOST_TRIALS):
        clock.say(f"the draft is tried on the cast, turn {turn + 1}")
        fixed = _fixed(made.case)
        if bed is None or bed.asked != fixed:
            bed = _bed(made.case, seen, bed)
        spared = {c.id: c for c in bed.given}
        before, case = made, replace(made.case, components=tuple(spared.get(c.id, c) for c in made.case.components))
        made = replace(made, case=case, reasons=tuple(replace(r, words=r.words + bed.why.get(r.part, "")) for r in made.reasons))
        faults, built = _faults(case, bed, built)
        learnt = _learnt(known, made, faults)
        if learnt == known or turn == MOST_TRIALS - 1:
            break
        known = learnt
        made = redraft(known)
        built = {n: b for n, b in built.items() if _same(n, before.case, made.case)}
    assert bed is not None
    return Trial(made, bed.prepared, bed.remarks, tuple(f"{f.part}: {f.words}" for f in faults))


def _on_crowns(made: Draft, known: Known, redraft: Redraft, seen: Surveyed) -> tuple[Draft, Known]:
    """A draft whose cast arms all lie on their crowns, and what was learnt on the way there.

    An arm needs the crown as it stands alone, so those that cannot be are found out before the mouth is prepared and blocked out.
    """
    mesh = seen.cast.mesh
    site = Site(mesh, mesh, mesh, seen.teeth, seen.charts, ArchChart(mesh, seen.teeth, seen.path), seen.path)
    tried: dict[Component, str] = {}
    for _ in range(MOST_ON_CROWNS):
        arms = [c for c in made.case.components if isinstance(c, RetentiveArm)]
        tried |= {arm: _refused(arm, made.case, site) for arm in arms if arm not in tried}
        learnt = _learnt(known, made, [_Fault(arm.id, "refused", tried[arm]) for arm in arms if tried[arm]])
        if learnt == known:
            break
        known, made = learnt, redraft(learnt)
    return made, known


def _refused(arm: RetentiveArm, case: Case, site: Site) -> str:
    """Why an arm cannot be on its crown, "" when it can."""
    try:
        retentive_arm(arm, site, case.components)
    except (ComponentError, GeometryError) as error:
        return str(error).removeprefix(f"{arm.id}: ")
    return ""


def _learnt(known: Known, made: Draft, faults: Collection[_Fault]) -> Known:
    """What is known after a trial: a strained arm is made slighter, then barred; a clasp that cannot be is barred; others are denied.

    A part that stands against an arm, and cannot be, bars that arm. Connectors and bases are never left out.
    """
    barred, denied, slight, stouter = dict(known.barred), dict(known.denied), set(known.slight), known.stouter
    for fault in faults:
        part = next(c for c in made.case.components if c.id == fault.part)
        key = _key(made, part)
        if fault.kind == "told":
            continue
        if isinstance(part, UShapedPlate) and fault.kind == "stress" and stouter < MOST_STOUTER:
            stouter = known.stouter + 1
        elif key is not None and fault.kind == "stress" and key not in slight:
            slight.add(key)
        elif key is not None:
            barred[key] = fault.words
        elif isinstance(part, AnyRest | MinorConnector | GuidePlate):
            denied[part.id] = fault.words
    return replace(known, barred=barred, denied=denied, slight=frozenset(slight), stouter=stouter)


def _fixed(case: Case) -> tuple[Component, ...]:
    """What is no clasp: seats and planes are cut for it, and clasps hang on it."""
    return tuple(c for c in case.components if not isinstance(c, ClaspPart))


def _same(name: str, before: Case, after: Case) -> bool:
    """Whether a part needs no building again: nothing has changed of it, of its tooth and of those beside it, nor of what it hangs on.

    A seat or a plane changes the cast on its own tooth alone, so what lies elsewhere is the same on the new bed.
    """
    part = next((c for c in after.components if c.id == name), None)
    if part is None or part not in before.components:
        return False
    changed = [c for c in (*before.components, *after.components) if c not in before.components or c not in after.components]
    tooth = getattr(part, "tooth", 0)
    if isinstance(part, ClaspPart) and any(isinstance(c, ClaspPart) and c.tooth == tooth for c in changed):
        return False
    fixed = [c for c in changed if not isinstance(c, ClaspPart)]
    if isinstance(part, _Frame):
        return not any(isinstance(c, _Frame) for c in fixed) and not {getattr(c, "tooth", 0) for c in fixed} & _beside(part)
    return not {getattr(c, "tooth", 0) for c in fixed} & _beside(part)


def _beside(part: Component) -> set[int]:
    """The teeth that a part lies on or next to."""
    own = {t for t in (getattr(part, "tooth", 0), getattr(part, "onto", 0), *getattr(part, "teeth", ())) if t}
    return own | {n for t in own for n in neighbours(t) if n is not None}


def _bed(case: Case, seen: Surveyed, last: _Bed | None) -> _Bed:
    """The bed of a case. last : the one before; where no guide plate has changed, the planes are lowered as they were"""
    mesh, teeth, path = seen.cast.mesh, seen.teeth, seen.path
    if last is not None and _plates(last.asked) == _plates(case.components):
        low = {c.id: c for c in last.given}
        why, parts = last.why, tuple(low[c.id] if isinstance(c, GuidePlate) else c for c in case.components)
        spared = replace(case, components=parts)
    else:
        spared, why = spare_enamel(case, mesh, teeth, path)
    prepared, remarks = prepare_mouth(spared, mesh, teeth, path)
    thin = Mesh.from_manifold(prepared.mesh.to_manifold().simplify(THIN_MM))
    blocked = block_out(thin, path, taper_deg=case.manufacture.block_out_taper_deg, step_mm=STEP_MM)
    site = Site(mesh, prepared.mesh, blocked, teeth, seen.charts, ArchChart(mesh, teeth, path), path)
    return _Bed(_fixed(case), _fixed(spared), why, prepared, remarks, site)


def _plates(components: Iterable[Component]) -> tuple[GuidePlate, ...]:
    return tuple(c for c in components if isinstance(c, GuidePlate))


def _key(made: Draft, part: Component) -> Key | None:
    """The option behind a retentive part of a draft, or behind the arm that stands against one; None for any other part."""
    if not isinstance(part, Retainer | ReciprocalArm):
        return None
    options = [o for o in made.options.get(part.tooth, ()) if o.possible]
    return options[0].key(part.tooth) if options else None


def _faults(case: Case, bed: _Bed, known: dict[str, Built]) -> tuple[tuple[_Fault, ...], dict[str, Built]]:
    """What is wrong with the parts of a case, and the parts as built. known : those that need no building again."""
    assembly = build_components(case, bed.site, known=known)
    faults = [_Fault(part, "refused", words.removeprefix(f"{part}: ")) for part, words in assembly.refused.items()]
    checks = check_mechanics(analyse(case_input(case, assembly, bed.site, framework_material(case)[0])))
    for part in case.components:
        for check in checks:
            kind = check.id.split(".")[1]
            if check.status == "fail" and kind in ("stress", "length") and check.id.endswith(f".{short(part.id)}"):
                limit = "at the least" if kind == "length" else "at the most"
                faults.append(_Fault(part.id, kind, f"its {kind} would be {check.value:.3g} {check.unit}, {check.limit:.3g} {limit}"))
    entered = entries(assembly.built, bed.prepared.mesh, bed.site.up)
    faults += [_Fault(e.part, "tip" if e.grave else "told", e.fault) for e in entered if e.fault and e.part not in {f.part for f in faults}]
    return tuple(faults), assembly.built
