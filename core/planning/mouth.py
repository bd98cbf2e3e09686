"""Mouth preparation as a list to work off: what to do to which tooth, in the order of treatment, and what it takes.

Order (McCracken's Removable Partial Prosthodontics, from memory): guide planes first, because they change the contours; then heights of
contour lowered where a rigid part would lie on the bulge; then rest seats; last the check on a new cast.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..case import BackActionArm, Component, ExtendedArm, ReciprocalArm, RetentiveArm, RingArm
from ..charts import CrownChart
from ..charts.sectors import sector_of
from ..components.crown_rails import RIGID_PART, arm_angles
from ..mesh import Floats
from ..preparation import Cut
from ..teeth.numbering import neighbours, order

TO_THE_EDGE_MM = 0.5
"""Crown left between an arm's occlusal border and the edge of the crown (common practice)."""
LEAST_MM = 0.03  # less than a scan's noise is nothing to grind
MOST_MM = 0.5
"""Deepest recontouring of enamel proposed without a warning: what stripping takes of a surface (handbook, section 1)."""
NECK_MM = 1.0
"""Nothing is ground within this of the margin, where enamel thins out (handbook, section 1)."""

Rigid = RetentiveArm | ReciprocalArm | RingArm | BackActionArm | ExtendedArm
"""Arms whose rigid part lies above the height of contour."""

GUIDE, CONTOUR, SEAT = "guide plane", "height of contour", "rest seat"
STEPS = (GUIDE, CONTOUR, SEAT)


@dataclass(frozen=True)
class Task:
    """One thing to do. step : of STEPS; where : sector or side; words : what; deepest_mm : deepest cut along the surface's normal

    enamel_mm : usual local enamel, None where no figure is published; warning : "" when nothing speaks against it
    """

    step: str
    tooth: int
    where: str
    words: str
    deepest_mm: float
    enamel_mm: float | None = None
    warning: str = ""


def mouth_preparation(cuts: Iterable[Cut], components: Sequence[Component], charts: Mapping[int, CrownChart]) -> tuple[Task, ...]:
    """All tasks in the order of treatment, along the arch within a step.

    cuts : of the seats and planes as cut in the cast; charts : crowns along the path, by tooth
    """
    tasks = [_of_cut(cut) for cut in cuts]
    for part in components:
        if isinstance(part, Rigid) and part.tooth in charts:
            found = lowered_contour(part, charts[part.tooth])
            tasks += [found] if found is not None else []
    row = [*order("upper"), *order("lower")]
    deepest: dict[tuple[str, int, str], Task] = {}
    for task in tasks:  # two arms may ask for the same sector: the deeper cut serves both
        key = task.step, task.tooth, task.where if task.step == CONTOUR else task.words
        if key not in deepest or task.deepest_mm > deepest[key].deepest_mm:
            deepest[key] = task
    return tuple(sorted(deepest.values(), key=lambda t: (STEPS.index(t.step), row.index(t.tooth))))


def _of_cut(cut: Cut) -> Task:
    side = cut.what.split()[0]
    step = GUIDE if GUIDE in cut.what else SEAT
    return Task(step, cut.tooth, side if step == GUIDE else "", cut.what, cut.deepest_mm, cut.enamel_mm, cut.warning)


def _rigid_part(arm: Rigid) -> tuple[Floats, Floats]:
    """(k,) chart angles and widths, mm, of the part of an arm that lies above the contour."""
    if isinstance(arm, ExtendedArm):  # all of it that lies on the first tooth
        away = neighbours(arm.tooth)[0] == arm.onto
        return (phi := arm_angles("distal" if away else "mesial", arm.face, 160.0)), np.full(len(phi), arm.base_width_mm)
    phi = arm_angles(arm.origin, arm.face, arm.reach_deg)
    share = np.linspace(0.0, 1.0, len(phi))
    until = 180.0 / arm.reach_deg if isinstance(arm, RingArm | BackActionArm) else RIGID_PART if isinstance(arm, RetentiveArm) else 1.0
    base = arm.width_mm if isinstance(arm, ReciprocalArm) else arm.base_width_mm
    slim = 1.0 if isinstance(arm, RingArm | BackActionArm) else arm.taper
    rigid = share <= until
    return phi[rigid], (base * (1.0 - (1.0 - slim) * share))[rigid]


def lowered_contour(arm: Rigid, chart: CrownChart) -> Task | None:
    """How much enamel goes so that the rigid part of an arm finds room above the height of contour; None when it has it already.

    Lowering the contour to a height takes there what the rod leaves between itself and the tooth at that height: the undercut depth.
    """
    phi, width = _rigid_part(arm)
    contour, top, margin = chart.contour(phi), chart.top(phi), chart.margin(phi)
    wanted = top - width - TO_THE_EDGE_MM
    low = np.maximum(wanted, margin + NECK_MM)
    over = contour > low + 0.05
    if not over.any():
        return None
    depth = np.nan_to_num(chart.depth(phi[over], low[over]))
    k = int(depth.argmax())
    if depth[k] < LEAST_MM:
        return None
    where = sector_of(float(phi[over][k]))
    now, then = (float(z[over][k] - margin[over][k]) for z in (contour, low))
    words = f"lower the height of contour from {now:.1f} to {then:.1f} mm above the margin for the {arm.kind.replace('_', ' ')}"
    warnings = []
    if depth[k] > MOST_MM:
        warnings.append(f"takes {depth[k]:.2f} mm, more than {MOST_MM:g} mm: weigh another clasp or a crown")
    if (wanted[over] < margin[over] + NECK_MM).any():
        warnings.append("the crown is too short for the whole width of the arm; make it narrower")
    return Task(CONTOUR, arm.tooth, where, words, float(depth[k]), None, "; ".join(warnings))
