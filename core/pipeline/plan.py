"""From a charted scan to a drafted design on a path that suits it, with its reasons, its cost, and what the rules say of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..case import Case
from ..cast import Cast
from ..charts import CrownChart
from ..mesh import Floats
from ..planning import (
    Abutment,
    Design,
    Draft,
    Estimate,
    Finding,
    Known,
    Measured,
    Pair,
    Round,
    Settled,
    Task,
    critique,
    draft,
    estimate,
    mouth_preparation,
    palate_shown,
    settle,
    tip_gauge_mm,
)
from ..preparation import Prepared
from ..survey import Path, Survey
from ..teeth import Teeth
from .build import Clock, Progress, Surveyed, mark_teeth, read_cast, surveyed
from .mechanics import framework_material
from .preparing import prepare_mouth
from .trial import tried


@dataclass(frozen=True, eq=False)
class Offer:
    """A plan-and-path pair with what it costs. pair : None where no path was searched; findings : what the rules say of it"""

    name: str
    path: Path
    pair: Pair | None
    cost: Estimate | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """draft : the proposed design; design : as the rules see it; findings : of the rules; abutments : measured crowns, by tooth

    survey : along the plan's path; offers : the plan itself first, then pairs near it; rounds : how path and design came to agree
    tasks : mouth preparation in the order of treatment; prepared : the cast with it done; remarks : in words
    outlines : (k, 2) mm, each standing crown seen along the path, by tooth; positions : (3,) mm, middles of the crowns
    foretold : what a build of the plan will find at fault, by a trial of its parts
    """

    cast: Cast
    teeth: Teeth
    survey: Survey
    draft: Draft
    design: Design
    findings: tuple[Finding, ...]
    abutments: Mapping[int, Abutment]
    offers: tuple[Offer, ...]
    rounds: tuple[Round, ...]
    tasks: tuple[Task, ...]
    prepared: Prepared
    outlines: dict[int, Floats]
    positions: dict[int, Floats]
    stages: dict[str, float]
    remarks: tuple[str, ...] = ()
    foretold: tuple[str, ...] = ()

    @property
    def path(self) -> Path:
        """The path of placement that the plan is made for."""
        return self.survey.path


def plan(
    case: Case, *, keep: bool = False, keep_path: bool = False, progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Plan:  # fmt: skip
    """Measure the crowns of a charted case, draft its design and search its path, each for the other.

    keep : judge the components that the case holds, on its own path, instead of drafting new ones
    keep_path : draft for the path of the case instead of searching one
    Raises the named errors of core.errors, also where the chart asks for no partial denture.
    """
    clock = Clock(progress, cancelled)
    settled = None
    if keep or keep_path:
        seen = surveyed(case, clock)
        with clock.stage("plan"):
            palate = palate_shown(seen.cast.mesh, seen.teeth)
            gauge = tip_gauge_mm(case.manufacture.alloy)
            abutments: Mapping[int, Abutment] = Measured(seen.charts, gauge)
            made = Draft(case, (), {}) if keep else draft(case, abutments, _middles(seen.teeth), Known(palate=palate))
    else:
        with clock.stage("read cast"):
            cast = read_cast(case)
        with clock.stage("teeth"):
            teeth = mark_teeth(case, cast)
        with clock.stage("design and path"):
            settled = settle(case, cast.mesh, teeth, clock.say)
        view = settled.chosen.view
        seen = Surveyed(cast, teeth, view.survey, dict(view.charts), "")
        abutments, made, palate = view.abutments, settled.chosen.draft, settled.palate
    positions = _middles(seen.teeth)
    foretold: tuple[str, ...] = ()
    if keep:
        with clock.stage("preparation"):
            prepared, remarks = prepare_mouth(made.case, seen.cast.mesh, seen.teeth, seen.path)
    else:
        with clock.stage("trial"):
            told = made.case
            known = Known(palate=palate)
            trial = tried(made, known, lambda k: draft(told, abutments, positions, k), seen, clock)
        made, prepared, remarks, foretold = trial.draft, trial.prepared, trial.remarks, trial.foretold
    design = Design(made.case, positions)
    findings = critique(design)
    tasks = mouth_preparation(prepared.cuts, made.case.components, seen.charts)
    own = Offer("the design of the case" if keep else "the plan", seen.path, None, _cost(design), findings)
    offers = (own,) if settled is None else (replace(own, pair=settled.chosen), *_offers(settled, positions))
    if settled is not None and not settled.settled:
        remarks = (*remarks, "design and path did not come to rest; the best of their turns is shown: compare the pairs")
    outlines = {fdi: _outline(chart) for fdi, chart in seen.charts.items()}
    rounds = () if settled is None else settled.rounds
    return Plan(
        seen.cast, seen.teeth, seen.survey, made, design, findings, abutments, offers, rounds, tasks, prepared, outlines, positions,
        clock.times, remarks, foretold,
    )  # fmt: skip


def _middles(teeth: Teeth) -> dict[int, Floats]:
    return {fdi: tooth.centre for fdi, tooth in teeth.teeth.items()}


def _cost(design: Design) -> Estimate | None:
    return estimate(design, framework_material(design.case)[0])


def _offers(settled: Settled, positions: dict[int, Floats]) -> tuple[Offer, ...]:
    out = []
    for pair in settled.others:
        design = Design(pair.draft.case, positions)
        out.append(Offer(pair.name, pair.path, pair, _cost(design), critique(design)))
    return tuple(out)


def _outline(chart: CrownChart) -> Floats:
    line = chart.line("contour")
    return line[np.isfinite(line).all(axis=1), :2]
