"""The mechanics of a case as plain values, for build.json."""

from __future__ import annotations

from typing import Any

from .case import CaseMechanics
from .clasps import ClaspResult
from .connector import Stiffness
from .ranges import Range


def plain_range(value: Range) -> dict[str, Any]:
    """Low, likely, high, unit and what is assumed."""
    low, likely, high = (float(f"{x:.4g}") for x in (value.low, value.likely, value.high))
    return {"low": low, "likely": likely, "high": high, "unit": value.unit, "assumption": value.assumption}


def record(found: CaseMechanics) -> dict[str, Any]:
    """Every figure with its range; curves are left to the report."""
    part = found.connector
    return {
        "material": {"name": found.material.name, "label": found.material.label, "source": found.material.source},
        "clasps": {c.id: _clasp(c) for c in found.clasps},
        "retention": {"right": plain_range(found.balance.right), "left": plain_range(found.balance.left)},
        "guide_plane_friction": {"right": plain_range(found.hold[0]), "left": plain_range(found.hold[1])},
        "lifts": [
            {
                "base": base,
                "without_indirect_retainer": None if without is None else plain_range(without.holds_n),
                "with_indirect_retainer": None if with_it is None else plain_range(with_it.holds_n),
            }
            for base, without, with_it in found.lifts
        ],
        "sinkings": [
            {
                "base": s.base, "angle": plain_range(s.angle_deg),
                "tips": {t.id: {"does": t.word, "away": plain_range(t.away_mm)} for t in s.tips},
            }
            for s in found.sinkings
        ],
        "connector": None
        if part is None
        else {
            "id": part.id, "stiffness": _stiffness(part.stiffness), "stress": plain_range(part.stress), "sag": plain_range(part.sag_mm),
            "compared": {label: _stiffness(other) for label, other in part.references},
        },
        "advice": [{"component": a.component, "changes": dict(a.changes), "in_range": a.good, "words": a.words} for a in found.advice],
    }  # fmt: skip


def _clasp(c: ClaspResult) -> dict[str, Any]:
    return {
        "tooth": c.tooth, "length_mm": round(c.length_mm, 3), "free_mm": round(c.bending_mm, 3), "reached_mm": round(c.reached_mm, 3),
        "stiffness": plain_range(c.stiffness), "force": plain_range(c.force), "pull": plain_range(c.peak), "stress": plain_range(c.stress),
        "set": plain_range(c.set_mm), "allowable_undercut": plain_range(c.allowable), "life": c.life.words,
    }  # fmt: skip


def _stiffness(s: Stiffness) -> dict[str, float]:
    return {"spread_n_per_mm": round(s.spread, 1), "shift_n_per_mm": round(s.lift, 2), "turn_nmm_per_degree": round(s.twist, 1)}
