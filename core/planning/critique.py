"""What the rules find in a design."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .design import Design
from .rules import RULES, Rule

OVERRULE = "plan."
"""Overrules of a case that mean a rule of critique begin with this, so that they are not taken for those of a check."""
_ORDER = {"error": 0, "warning": 1, "advice": 2}


@dataclass(frozen=True)
class Finding:
    """rule : its id; severity : error, warning or advice; parts : ids of components; words and detail for the reader

    overruled : the reason why a person accepts it, "" while nobody does
    """

    rule: str
    severity: str
    parts: tuple[str, ...]
    words: str
    detail: str
    source: str
    overruled: str = ""


def critique(design: Design, rules: Iterable[Rule] = RULES) -> tuple[Finding, ...]:
    """All findings, the gravest first, then in the order of the rules; each with the reason of the case for overruling its rule."""
    reasons = {o.check: o.reason + (f" ({o.by})" if o.by else "") for o in design.case.overrules}
    found = (
        Finding(r.id, r.severity, parts, r.words, detail, r.source, reasons.get(OVERRULE + r.id, ""))
        for r in rules
        for parts, detail in r.condition(design)
    )
    return tuple(sorted(found, key=lambda f: _ORDER[f.severity]))
