"""A draft tried on the cast before it is shown: its parts are built, its arms bent. What cannot be is drafted again without it.

Only parts and mechanics are made, no framework: the rest of a build asks of a design what the parts have answered already.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ..blockout import block_out
from ..case import Case, Component
from ..case.clasps import ClaspPart
from ..charts import ArchChart
from ..checks.mechanics import check_mechanics, short
from ..components import Built, Site, build_components
from ..mechanics import analyse
from ..planning import Draft
from ..planning.design import Retainer
from ..planning.option import Key
from ..preparation import Prepared
from .build import Clock, Surveyed
from .mechanics import case_input, framework_material
from .preparing import prepare_mouth, spare_enamel

MOST_TRIALS = 5
STEP_MM = 0.25  # of the block-out, as in a quick build: parts lie on it, nothing is cut from it

Redraft = Callable[[dict[Key, str], frozenset[Key]], Draft]


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
    """part : id; kind : refused, stress or length; words"""

    part: str
    kind: str
    words: str


def tried(first: Draft, redraft: Redraft, seen: Surveyed, clock: Clock) -> Trial:
    """Try a draft and its successors until every clasp of one can be built and bears its bending, at most MOST_TRIALS times.

    redraft : a draft without the clasps of the first argument, and with slighter arms for those of the second
    """
    barred: dict[Key, str] = {}
    slight: frozenset[Key] = frozenset()
    made, bed, built = first, None, dict[str, Built]()
    for turn in range(MOST_TRIALS):
        clock.say(f"the draft is tried on the cast, turn {turn + 1}")
        fixed = _fixed(made.case)
        if bed is None or bed.asked != fixed:
            bed, built = _bed(made.case, seen), {}
        spared = {c.id: c for c in bed.given}
        before, case = made, replace(made.case, components=tuple(spared.get(c.id, c) for c in made.case.components))
        made = replace(made, case=case, reasons=tuple(replace(r, words=r.words + bed.why.get(r.part, "")) for r in made.reasons))
        faults, built = _faults(case, bed, built)
        keys = {f: key for f in faults if (key := _key(made, f.part)) is not None}
        if not keys or turn == MOST_TRIALS - 1:
            break
        softer = {key for f, key in keys.items() if f.kind == "stress" and key not in slight}
        slight |= softer
        barred.update({key: f.words for f, key in keys.items() if key not in softer})
        made = redraft(barred, slight)
        built = {n: b for n, b in built.items() if _same(n, before.case, made.case)}
    assert bed is not None
    return Trial(made, bed.prepared, bed.remarks, tuple(f"{f.part}: {f.words}" for f in faults))


def _fixed(case: Case) -> tuple[Component, ...]:
    """What is no clasp: seats and planes are cut for it, and clasps hang on it."""
    return tuple(c for c in case.components if not isinstance(c, ClaspPart))


def _same(name: str, before: Case, after: Case) -> bool:
    """Whether a part needs no building again: neither it nor any clasp of its tooth has changed."""
    part = next((c for c in after.components if c.id == name), None)
    tooth = getattr(part, "tooth", 0)

    def own(case: Case) -> list[Component]:
        return [c for c in case.components if isinstance(c, ClaspPart) and c.tooth == tooth]

    return part is not None and part in before.components and own(before) == own(after)


def _bed(case: Case, seen: Surveyed) -> _Bed:
    mesh, teeth, path = seen.cast.mesh, seen.teeth, seen.path
    spared, why = spare_enamel(case, mesh, teeth, path)
    prepared, remarks = prepare_mouth(spared, mesh, teeth, path)
    blocked = block_out(prepared.mesh, path, taper_deg=case.manufacture.block_out_taper_deg, step_mm=STEP_MM)
    site = Site(mesh, prepared.mesh, blocked, teeth, seen.charts, ArchChart(mesh, teeth, path), path)
    return _Bed(_fixed(case), _fixed(spared), why, prepared, remarks, site)


def _key(made: Draft, part_id: str) -> Key | None:
    """The option behind a retentive part of a draft; None for any other part."""
    part = next((c for c in made.case.components if c.id == part_id), None)
    if not isinstance(part, Retainer):
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
            if check.status == "fail" and check.id in (f"arm.stress.{short(part.id)}", f"arm.length.{short(part.id)}"):
                kind = check.id.split(".")[1]
                limit = "at the least" if kind == "length" else "at the most"
                faults.append(_Fault(part.id, kind, f"its {kind} would be {check.value:.3g} {check.unit}, {check.limit:.3g} {limit}"))
    return tuple(faults), assembly.built
