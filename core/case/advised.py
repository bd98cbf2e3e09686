"""Advice put into a case: the one press that applies it. Advice comes as plain values, so that a window need not know the mechanics."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from ..errors import CaseError
from .document import Case, case_from_json, case_to_json

CONFIRM = "Estimates of the changed arm: build again to confirm. The decision is the clinician's."


def apply_changes(case: Case, component: str, changes: Mapping[str, float | str]) -> Case:
    """The case with other fields of one component, or another alloy of the framework. Raises CaseError where that cannot be."""
    if not changes:
        raise CaseError(f"{component}: this advice is another kind of clasp; change the component itself")
    if all(c.id != component for c in case.components):
        raise CaseError(f"there is no component {component[:40]!r} in this case")
    arm: dict[str, Any] = {field: value for field, value in changes.items() if field != "alloy"}
    whole: dict[str, Any] = {field: value for field, value in changes.items() if field == "alloy"}
    parts = tuple(dataclasses.replace(c, **arm) if c.id == component else c for c in case.components)
    changed = dataclasses.replace(case, components=parts, manufacture=dataclasses.replace(case.manufacture, **whole))
    return case_from_json(case_to_json(changed), folder=case.folder)


def applies(case: Case, row: Mapping[str, Any]) -> bool:
    """Whether the arm and the alloy are still those that the advice of a row was made for."""
    return bool(entry_of(case, row["component"]) == row["of"])


def apply_row(case: Case, row: Mapping[str, Any], number: int) -> Case:
    """The case with one piece of advice of a row. Raises CaseError where the arm or the alloy is no longer what was judged."""
    if not 0 <= number < len(row["advice"]):
        raise CaseError(f"{row['component']}: there is no such advice; build again")
    if not applies(case, row):
        raise CaseError(f"{row['component']}: it or the alloy was changed after it was judged; build again for new advice")
    return apply_changes(case, row["component"], row["advice"][number]["changes"])


def entry_of(case: Case, component: str) -> dict[str, Any]:
    """The component as the case file has it, with the framework's alloy."""
    whole = case_to_json(case)
    mine: dict[str, Any] = next((c for c in whole["components"] if c["id"] == component), {})
    return {**mine, "alloy": case.manufacture.alloy}
