"""From a charted scan to a drafted design, with its reasons and what the rules say of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..case import Case
from ..cast import Cast
from ..charts import CrownChart
from ..mesh import Floats
from ..planning import Abutment, Design, Draft, Finding, critique, draft, measure_abutment
from ..teeth import Teeth
from .build import Clock, Progress, surveyed


@dataclass(frozen=True, eq=False)
class Plan:
    """draft : the proposed design; design : as the rules see it; findings : of the rules; abutments : measured crowns, by tooth

    outlines : (k, 2) mm, each standing crown seen along the path, by tooth; positions : (3,) mm, middles of the crowns
    """

    cast: Cast
    teeth: Teeth
    draft: Draft
    design: Design
    findings: tuple[Finding, ...]
    abutments: dict[int, Abutment]
    outlines: dict[int, Floats]
    positions: dict[int, Floats]
    stages: dict[str, float]


def plan(case: Case, *, keep: bool = False, progress: Progress | None = None, cancelled: Callable[[], bool] | None = None) -> Plan:
    """Measure the crowns of a charted case and draft its design.

    keep : judge the components that the case holds instead of drafting new ones
    Raises the named errors of core.errors, also where the chart asks for no partial denture.
    """
    clock = Clock(progress, cancelled)
    seen = surveyed(case, clock)
    positions = {fdi: tooth.centre for fdi, tooth in seen.teeth.teeth.items()}
    with clock.stage("plan"):
        abutments = {fdi: measure_abutment(chart) for fdi, chart in seen.charts.items()}
        made = Draft(case, (), {}) if keep else draft(case, abutments, positions)
        design = Design(made.case, positions)
        findings = critique(design)
    outlines = {fdi: _outline(chart) for fdi, chart in seen.charts.items()}
    return Plan(seen.cast, seen.teeth, made, design, findings, abutments, outlines, positions, clock.times)


def _outline(chart: CrownChart) -> Floats:
    line = chart.line("contour")
    return line[np.isfinite(line).all(axis=1), :2]
