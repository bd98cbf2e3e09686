"""Advice of the mechanics for a case: applied, and as plain values for the window that shows it beside a button."""

from __future__ import annotations

from typing import Any

from ..case import Case
from ..case.advised import apply_changes, entry_of
from ..mechanics import Advice, CaseMechanics
from ..mechanics.advice import wanted_pull
from ..mechanics.record import plain_range


def apply_advice(case: Case, advice: Advice) -> Case:
    """The case with the changes that one piece of advice names; to be built again. Raises CaseError where it cannot be applied."""
    return apply_changes(case, advice.component, dict(advice.changes))


def arm_rows(case: Case, found: CaseMechanics) -> list[dict[str, Any]]:
    """Each retentive arm as plain values for the window: figures with ranges, and what would bring them into range.

    of : the arm's entry in the case and the alloy; what was advised holds for these alone (`case.advised.apply_row`)
    """
    rows = []
    for c in found.clasps:
        wanted = wanted_pull(sum(o.side == c.side for o in found.clasps))
        mine = [a for a in found.advice if a.component == c.id]
        rows.append({
            "component": c.id, "tooth": c.tooth, "of": entry_of(case, c.id), "pull": plain_range(c.peak), "wanted": list(wanted),
            "stress": plain_range(c.stress), "allowable": c.allowable_mpa, "source": f"{c.material.label}: {c.material.source}",
            "advice": [{"words": a.words, "changes": dict(a.changes), "good": a.good} for a in mine],
        })  # fmt: skip
    return rows
