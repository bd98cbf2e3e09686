"""A search for a path of placement in words: what it was judged on, the terms side by side, what each degree buys and costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ..mesh import Floats
from ..planning.path_search import PathSearch, Scored
from ..planning.path_search_grid import CONE_DEG
from ..planning.path_search_score import NAMES, SCALES
from ..planning.path_search_terms import Terms
from ..survey import proximal_enamel_mm
from .wording import tilt_words

# From memory of Stewart's text: about 10 degrees is the usual limit; handbook section 1.
USUAL_LIMIT_DEG, STRONG_LIMIT_DEG = 10.0, 15.0
_SPENDABLE = 0.5  # share of the local enamel beyond which a cut is warned of (project default, as in the survey)


@dataclass(frozen=True)
class PathRow:
    """One term of one path against no tilt. values : one a path, in the order asked for; sign : +1 where less is better, -1 where more is.

    key : for machines; tangible : a difference worth telling, in the row's unit; enough : more than this is no gain
    """

    key: str
    words: str
    unit: str
    sign: int
    tangible: float
    values: tuple[float, ...]
    enough: float = float("inf")

    @property
    def gain(self) -> float:
        """How much the second path is better than the first, in the row's unit; what goes beyond enough does not count."""
        first, second = (min(v, self.enough) for v in self.values[:2])
        return self.sign * (first - second)


def path_rows(found: PathSearch, paths: Sequence[Terms]) -> list[PathRow]:
    """Every term of some paths (Terms of one direction each), each in its own unit."""

    def row(key: str, words: str, unit: str, scale: str, values: Sequence[float], enough: float | None = None) -> PathRow:
        read = tuple(float(v) for v in values)
        if enough is None:
            return PathRow(key, words, unit, 1, SCALES[scale].tangible, read)
        return PathRow(key, words, unit, -1, SCALES[scale].tangible, read, enough)

    plan = found.plan
    rows = []
    for k, s in enumerate(plan.surfaces):
        rows.append(row(f"enamel {s.name}", f"enamel to remove, {s.name}", "mm", "guide_planes", [t.enamel[0, k] for t in paths]))
    if len(plan.surfaces) > 1:
        rows.append(row("guide_inequality", SCALES["guide_inequality"].words, "mm", "guide_inequality", [t.inequality[0] for t in paths]))
    for k, tip in enumerate(plan.tips):
        reach = [t.undercut[0, k] for t in paths]
        rows.append(row(f"undercut {tip.name}", f"undercut within reach, {tip.name}", "mm", "retention", reach, tip.gauge_mm))
        held = [t.held[0, k] for t in paths]
        rows.append(row(f"held {tip.name}", "  of it against pull straight up", "mm", "retention", held, tip.gauge_mm))
    if len({tip.right for tip in plan.tips}) == 2:
        rows.append(row("balance", SCALES["balance"].words, "mm", "balance", [t.balance[0] for t in paths]))
    for k, part in enumerate(plan.parts):
        rows.append(row(f"stand_off {part.name}", f"stand-off, {part.name}", "mm", "interference", [t.stand_off[0, k] for t in paths]))
    rows.append(row("block_out", SCALES["block_out"].words, "mm3", "block_out", [t.block_out[0] for t in paths]))
    if any(s.fdi % 10 <= 3 for s in plan.surfaces):
        rows.append(row("looks", SCALES["looks"].words, "mm2", "looks", [t.looks[0] for t in paths]))
    rows.append(row("tilt", "tilt", "deg", "tilt", [t.tilt[0] for t in paths]))
    return rows


def path_name(path: Scored, arch: str) -> str:
    """A path in one phrase: which edges of the cast are lowered."""
    return tilt_words(path.path.anteroposterior_deg, path.path.lateral_deg, arch).removeprefix("cast tilted: ")


def path_words(found: PathSearch) -> list[str]:
    """The whole account, a line a string."""
    arch = found.plan.arch
    out = [
        "Path of placement: what was found, for the clinician to judge",
        "",
        f"Looked at: {len(found.terms)} directions within {CONE_DEG:g} degrees of the occlusal normal, the best refined to 0.1 degrees.",
        *_judged_on(found),
        *(f"Note: {words}." for words in found.plan.remarks),
        "",
        f"Best path: {path_name(found.best, arch)}; {found.best.terms.tilt[0]:.1f} degrees in all.",
    ]
    if found.picked is not None:
        out.append(f"Picked path: {path_name(found.picked, arch)}; {found.picked.terms.tilt[0]:.1f} degrees in all.")
    out += ["", *_table(found), "", *_trade(found, found.best, "the best path")]
    if found.picked is not None:
        out += ["", *_trade(found, found.picked, "the picked path")]
    out += ["", *_by_degree(found), "", *_choices(found), "", *warnings(found)]
    return out


def _judged_on(found: PathSearch) -> Iterator[str]:
    plan = found.plan
    if plan.surfaces:
        yield "Guide surfaces: " + ", ".join(f"{s.name} ({s.height_mm:.1f} mm high)" for s in plan.surfaces) + "."
    if plan.tips:
        yield "Retentive tips: " + ", ".join(f"{t.name} ({t.gauge_mm:.2f} mm wanted)" for t in plan.tips) + "."
    if plan.parts:
        yield "Rigid parts: " + ", ".join(p.name for p in plan.parts) + "."
    weights = ", ".join(f"{name.replace('_', ' ')} {getattr(found.weights, name):g}" for name in NAMES)
    yield f"Weights: {weights}."


def _columns(found: PathSearch) -> list[tuple[str, Scored]]:
    named = [("no tilt", found.zero), ("best", found.best)]
    return named if found.picked is None else [*named, ("picked", found.picked)]


def _table(found: PathSearch) -> Iterator[str]:
    named = _columns(found)
    rows = path_rows(found, [s.terms for _, s in named])
    wide = max(len(r.words) for r in rows) + 2
    yield " " * (wide + 6) + "".join(f"{name:>10s}" for name, _ in named)
    for r in rows:
        yield f"{r.words:<{wide}s}{r.unit:<6s}" + "".join(f"{v:10.{_decimals(r.unit)}f}" for v in r.values)
    yield f"{'score (less is better)':<{wide}s}{'':<6s}" + "".join(f"{s.total:10.2f}" for _, s in named)


def _decimals(unit: str) -> int:
    return {"mm": 2, "mm2": 1, "deg": 1}.get(unit, 0)


def _trade(found: PathSearch, path: Scored, name: str) -> Iterator[str]:
    """What a path buys and costs against no tilt, and how much a degree."""
    tilt = float(path.terms.tilt[0])
    if tilt < 0.1:
        yield f"Against no tilt, {name} changes nothing: it is at right angles to the occlusal plane."
        return
    rows = [r for r in path_rows(found, [found.zero.terms, path.terms]) if r.key != "tilt"]
    yield f"What {name} buys and costs against no tilt, in all and a degree (over {tilt:.1f} degrees):"
    told = False
    for sign, verb in ((1, "buys"), (-1, "costs")):
        for r in rows:
            if sign * r.gain >= r.tangible:
                told = True
                yield f"  {verb:<6s} {_change(r)} ({abs(r.values[1] - r.values[0]) / tilt:.{_decimals(r.unit) + 1}f} a degree)"
    if not told:
        yield "  nothing that can be told apart at the bench; staying at no tilt loses nothing."


def _by_degree(found: PathSearch) -> Iterator[str]:
    """The terms at each degree on the way from no tilt to the best path."""
    along = found.along
    if len(along) < 3:
        return
    yield "Degree by degree on the way to the best path:"
    yield "  tilt   enamel mean  difference   undercut least   held least   block-out   stand-off"
    for k in range(len(along)):
        t = along.row(k)
        undercut, held = _least(t.undercut), _least(t.held)
        yield (
            f"  {t.tilt[0]:4.1f}   {t.mean_enamel[0]:8.2f} mm {t.inequality[0]:8.2f} mm   {undercut:>11s} mm {held:>9s} mm"
            f"   {t.block_out[0]:5.0f} mm3   {t.interference[0]:6.2f} mm"
        )


def _least(values: Floats) -> str:
    return f"{values.min():.2f}" if values.size else "-"


def _choices(found: PathSearch) -> Iterator[str]:
    """The other paths worth a look, each with what it is better and worse in than the best."""
    if not found.choices:
        yield "No other path within 10 degrees is tangibly better than the best one in anything."
        return
    yield "Other choices near it (no path beats them in everything); against the best path:"
    for number, choice in enumerate(found.choices, 1):
        better, worse = choice_words(found, choice)
        yield f"  {number}. {path_name(choice, found.plan.arch)}"
        yield f"     better: {better}"
        yield f"     worse: {worse}"


def choice_words(found: PathSearch, choice: Scored) -> tuple[str, str]:
    """What a choice is tangibly better in than the best path, and what worse."""
    rows = path_rows(found, [found.best.terms, choice.terms])
    rows.sort(key=lambda r: -r.gain / r.tangible)
    better = [_change(r) for r in rows if r.gain >= r.tangible][:3]
    worse = [_change(r) for r in rows[::-1] if r.gain <= -r.tangible][:3]
    return "; ".join(better) or "nothing tangible", "; ".join(worse) or "nothing tangible"


def _change(row: PathRow) -> str:
    n = _decimals(row.unit)
    words = row.words if not row.key.startswith("held") else f"undercut against pull straight up, {row.key[5:]}"
    return f"{words}: {row.values[0]:.{n}f} to {row.values[1]:.{n}f} {row.unit}"


def warnings(found: PathSearch) -> list[str]:
    """What must be looked at before a path is taken, for the best and the picked one."""
    out = []
    for name, scored in [("best path", found.best)] + ([("picked path", found.picked)] if found.picked is not None else []):
        tilt = float(scored.terms.tilt[0])
        if name == "best path" and tilt > CONE_DEG - 0.5:
            out.append("Look at: the best path lies at the edge of the cone: nothing inside stands out; pick one by hand.")
        if tilt > STRONG_LIMIT_DEG:
            out.append(f"Look at: the {name} is tilted {tilt:.1f} degrees; over {STRONG_LIMIT_DEG:g} is far outside what is usual.")
        elif tilt > USUAL_LIMIT_DEG:
            out.append(f"Look at: the {name} is tilted {tilt:.1f} degrees; about {USUAL_LIMIT_DEG:g} is the usual limit.")
        for k, s in enumerate(found.plan.surfaces):
            cut, enamel = float(scored.terms.enamel[0, k]), proximal_enamel_mm(s.fdi, s.side)
            if cut > _SPENDABLE * enamel:
                out.append(f"Look at: the {name} takes {cut:.2f} mm off {s.name}, over half of the {enamel:.2f} mm of enamel usual there.")
        for k, tip in enumerate(found.plan.tips):
            reach, held = float(scored.terms.undercut[0, k]), float(scored.terms.held[0, k])
            if reach < tip.gauge_mm - 0.005:
                out.append(f"Look at: on the {name} {tip.name} reaches only {reach:.2f} mm of the {tip.gauge_mm:.2f} mm wanted.")
            elif held < tip.gauge_mm - 0.005:
                out.append(
                    f"Look at: on the {name} {tip.name} has {reach:.2f} mm, but only {held:.2f} mm of it holds against pull straight up:"
                    " the rest is made by the tilt alone."
                )
    out.append("Depths and cuts are read off the scan as it stands; a scan's error of 0.02 mm or another tilt of 1 degree changes them.")
    out.append("The score only orders directions. Which path is right is the clinician's decision.")
    return out


