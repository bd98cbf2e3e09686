"""Changes of a case document: pure functions from a case to a case. What they give is valid, or they raise CaseError."""

from __future__ import annotations

import dataclasses
from typing import Any

from ..errors import CaseError
from .components import KINDS, Component
from .document import Case, Chart, Overrule, Point, ToothEntry, case_from_json, case_to_json

STATES = ("uncharted", "missing", "not replaced")


def arch_numbers(arch: str) -> tuple[int, ...]:
    """FDI numbers of an arch from the cast frame's -X to +X: an upper from 18 to 28, a lower from 38 to 48."""
    left, right = (10, 20) if arch == "upper" else (30, 40)
    return (*(left + k for k in range(8, 0, -1)), *(right + k for k in range(1, 9)))


def checked(case: Case) -> Case:
    """The same case. Raises CaseError where the document is not valid."""
    return case_from_json(case_to_json(case), folder=case.folder)


def _chart(case: Case, **changes: object) -> Case:
    return checked(dataclasses.replace(case, chart=dataclasses.replace(case.chart, **changes)))  # type: ignore[arg-type]


def _numbered(case: Case, fdi: int) -> int:
    if fdi not in arch_numbers(case.cast.arch):
        raise CaseError(f"tooth {fdi} does not stand in the {case.cast.arch} arch; give another number (FDI)")
    return fdi


def _as_point(point: tuple[float, ...]) -> Point:
    x, y, z = (round(float(v), 3) for v in point)
    return x, y, z


def _without(chart: Chart, fdi: int) -> dict[str, tuple]:
    return {
        "teeth": tuple(t for t in chart.teeth if t.fdi != fdi),
        "missing": tuple(n for n in chart.missing if n != fdi),
        "not_replaced": tuple(n for n in chart.not_replaced if n != fdi),
    }


def mark_tooth(case: Case, fdi: int, point: tuple[float, ...]) -> Case:
    """Tooth `fdi` stands and is clicked at `point` (cast frame, mm); a further click on the same tooth adds to its crown."""
    _numbered(case, fdi)
    old = next((t for t in case.chart.teeth if t.fdi == fdi), ToothEntry(fdi))
    new = dataclasses.replace(old, seeds=(*old.seeds, _as_point(point)))
    rest = _without(case.chart, fdi)
    return _chart(case, **{**rest, "teeth": tuple(sorted((*rest["teeth"], new), key=lambda t: t.fdi))})


def mark_not_here(case: Case, point: tuple[float, ...]) -> Case:
    """The surface at `point` belongs to no crown."""
    return _chart(case, not_here=(*case.chart.not_here, _as_point(point)))


def clear_not_here(case: Case) -> Case:
    """Forget all points that belong to no crown."""
    return _chart(case, not_here=())


def chart_tooth(case: Case, fdi: int, state: str) -> Case:
    """Chart a tooth as "missing" (to be replaced), "not replaced" (missing, no base carries it) or "uncharted"; a mark on it goes."""
    if state not in STATES:
        raise CaseError(f"a tooth is {', '.join(STATES)}; not {state!r}")
    rest = _without(case.chart, _numbered(case, fdi))
    if state != "uncharted":
        rest["missing"] = tuple(sorted((*rest["missing"], fdi)))
    if state == "not replaced":
        rest["not_replaced"] = tuple(sorted((*rest["not_replaced"], fdi)))
    return _chart(case, **rest)


def renumber_tooth(case: Case, fdi: int, to: int) -> Case:
    """Give a marked tooth another number; its components go with it."""
    moved = next((t for t in case.chart.teeth if t.fdi == fdi), None)
    if moved is None:
        raise CaseError(f"tooth {fdi} is not marked; click it on the cast first")
    if any(t.fdi == _numbered(case, to) for t in case.chart.teeth):
        raise CaseError(f"tooth {to} is marked already; take its mark away first")
    rest = _without(case.chart, to)
    teeth = (*(t for t in rest["teeth"] if t.fdi != fdi), dataclasses.replace(moved, fdi=to))
    change: dict[str, Any] = {"tooth": to}  # not every kind has one, which the types cannot say
    parts = tuple(dataclasses.replace(c, **change) if getattr(c, "tooth", None) == fdi else c for c in case.components)
    return _chart(dataclasses.replace(case, components=parts), **{**rest, "teeth": tuple(sorted(teeth, key=lambda t: t.fdi))})


def chart_rest_missing(case: Case) -> Case:
    """Every tooth without a mark is missing; third molars are not replaced."""
    standing = {t.fdi for t in case.chart.teeth}
    if not standing:
        raise CaseError("no tooth is marked yet; click those that stand first")
    missing = tuple(sorted(n for n in arch_numbers(case.cast.arch) if n not in standing))
    new_thirds = {n for n in missing if n % 10 == 8 and n not in case.chart.missing}
    return _chart(case, missing=missing, not_replaced=tuple(sorted(new_thirds | (set(case.chart.not_replaced) & set(missing)))))


def kind_words(kind: str) -> str:
    """The name of a kind of component: "occlusal_rest" is "Occlusal rest"."""
    return "I-bar" if kind == "i_bar" else kind.replace("_", " ").capitalize()


def _free_id(case: Case, kind: str, tooth: int | None) -> str:
    stem = kind_words(kind)
    stem = stem if stem.startswith("I-") else stem[0].lower() + stem[1:]
    stem = stem if tooth is None else f"{stem} {tooth}"
    taken = {c.id for c in case.components}
    return next(name for name in (stem, *(f"{stem} ({k})" for k in range(2, len(taken) + 3))) if name not in taken)


def new_component(case: Case, kind: str, tooth: int) -> Component:
    """A component with the usual measures of its kind: on `tooth`, or over the charted gap of that side where the kind spans one.

    Raises CaseError when the kind or the tooth does not belong to the case.
    """
    if kind not in KINDS:
        raise CaseError(f"{kind[:40]!r} is no kind of component; known are {', '.join(KINDS)}")
    cls, quadrant = KINDS[kind], _numbered(case, tooth) // 10
    names = {f.name for f in dataclasses.fields(cls)}
    values: dict[str, object] = {"id": _free_id(case, kind, tooth if "tooth" in names else None)}
    if "tooth" in names:
        values["tooth"] = tooth
    if "onto" in names:  # the tooth behind it where that stands, else the one in front
        there = {t.fdi for t in case.chart.teeth}
        values["onto"] = tooth + 1 if tooth + 1 in there or tooth % 10 == 1 else tooth - 1
    if "start" in names:
        marked = [t.fdi for t in case.chart.teeth]
        sides = (1, 2) if case.cast.arch == "upper" else (3, 4)
        values["start"], values["end"] = (max((n for n in marked if n // 10 == q), default=q * 10 + 4) for q in sides)
    if "teeth" in names:
        values["teeth"] = tuple(n for n in case.chart.missing if n not in case.chart.not_replaced and n // 10 == quadrant)
    if "base" in names:
        bases = [(c.id, getattr(c, "teeth", ())) for c in case.components]
        values["base"] = next((name for name, teeth in bases if any(n // 10 == quadrant for n in teeth)), "")
    made: Component = cls(**values)
    return made


def side_of_click(case: Case, fdi: int, point: tuple[float, ...]) -> str:
    """Which half of a marked crown a click is on, "mesial" or "distal": along the line between the marks beside it.

    Raises CaseError where the tooth is not marked, or no other is.
    """
    order = arch_numbers(case.cast.arch)
    seeds = {t.fdi: t.seeds[0] for t in case.chart.teeth if t.seeds}
    if fdi not in seeds or len(seeds) < 2:
        raise CaseError(f"tooth {fdi}: mark it and one of its neighbours first")
    place = order.index(fdi)
    before = [n for n in order[:place] if n in seeds][-1:] or [fdi]
    after = [n for n in order[place + 1 :] if n in seeds][:1] or [fdi]
    ahead = sum(
        (b - a) * (p - s) for a, b, p, s in zip(seeds[before[0]], seeds[after[0]], point, seeds[fdi], strict=True)
    )
    return "mesial" if (ahead > 0) == (place < len(order) // 2) else "distal"


def rest_kind(fdi: int) -> str:
    """The usual rest of a tooth: occlusal on premolars and molars, on the cingulum of front teeth."""
    return "occlusal_rest" if fdi % 10 >= 4 else "cingulum_rest"


def placed(case: Case, kind: str, tooth: int, side: str = "") -> Component:
    """As `new_component`, on this side of the tooth where the kind has sides. Raises CaseError."""
    made = new_component(case, kind, tooth)
    names = [n for n in ("side", "origin") if hasattr(made, n)] if side else []
    change: dict[str, Any] = {names[0]: side} if names else {}
    return dataclasses.replace(made, **change)


def put_component(case: Case, component: Component) -> Case:
    """The case with this component: in the place of the one with its id, else at the end."""
    ids = [c.id for c in case.components]
    parts = list(case.components)
    if component.id in ids:
        parts[ids.index(component.id)] = component
    else:
        parts.append(component)
    return checked(dataclasses.replace(case, components=tuple(parts)))


def drop_component(case: Case, name: str) -> Case:
    """The case without the component of this id. Raises CaseError when there is none."""
    parts = tuple(c for c in case.components if c.id != name)
    if len(parts) == len(case.components):
        raise CaseError(f"there is no component {name[:40]!r} in this case")
    return checked(dataclasses.replace(case, components=parts))


def overruled(case: Case, check: str, reason: str) -> Case:
    """The case with a person's reason for accepting a check that did not pass; an empty reason takes the acceptance back."""
    kept = tuple(o for o in case.overrules if o.check != check)
    new = (Overrule(check, reason.strip()),) if reason.strip() else ()
    return checked(dataclasses.replace(case, overrules=(*kept, *new)))


def tilted(case: Case, anteroposterior_deg: float, lateral_deg: float) -> Case:
    """The case on another path of placement, degrees."""
    path = dataclasses.replace(case.path, anteroposterior_deg=round(anteroposterior_deg, 3), lateral_deg=round(lateral_deg, 3))
    return checked(dataclasses.replace(case, path=path))
