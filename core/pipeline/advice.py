"""Advice of the mechanics put into a case: the one press that applies it."""

from __future__ import annotations

import dataclasses
from typing import Any

from ..case import Case, case_from_json, case_to_json
from ..errors import CaseError
from ..mechanics import Advice


def apply_advice(case: Case, advice: Advice) -> Case:
    """The case with the changes that one piece of advice names; to be built again. Raises CaseError where it cannot be applied."""
    if not advice.changes:
        raise CaseError(f"{advice.component}: this advice is another kind of clasp; change the component itself")
    if all(c.id != advice.component for c in case.components):
        raise CaseError(f"there is no component {advice.component[:40]!r} in this case")
    arm: dict[str, Any] = {field: value for field, value in advice.changes if field != "alloy"}
    whole: dict[str, Any] = {field: value for field, value in advice.changes if field == "alloy"}
    parts = tuple(dataclasses.replace(c, **arm) if c.id == advice.component else c for c in case.components)
    changed = dataclasses.replace(case, components=parts, manufacture=dataclasses.replace(case.manufacture, **whole))
    return case_from_json(case_to_json(changed), folder=case.folder)
