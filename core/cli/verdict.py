"""Checks as lines for a terminal, and the exit code that follows from them."""

from __future__ import annotations

from collections.abc import Sequence

from ..checks import Check
from ..output.wording import measured


def verdict(checks: Sequence[Check]) -> tuple[list[str], int]:
    """What did not pass, gravest first, and a tally; 1 when a check failed that nobody has answered for, else 0."""
    failed = [c for c in checks if c.status == "fail"]
    warned = [c for c in checks if c.status == "warn"]
    accepted = sum(bool(c.overruled) for c in checks)
    tally = f"{len(checks)} checks: {len(failed)} failed, {len(warned)} to look at"
    tally += f", {accepted} of these accepted with a reason" if accepted else ""
    return [*map(_line, failed + warned), tally + "."], int(any(c.stops for c in checks))


def _line(check: Check) -> str:
    number = "" if check.value is None else f" {measured(check.value, check.unit)}"
    limit = "" if check.limit is None else f" (limit {measured(check.limit, check.unit)})"
    line = f"{check.status.upper()} {check.id}{number}{limit} {check.where}: {check.words}".rstrip(": ")
    return line + (f" -- ACCEPTED: {check.overruled}" if check.overruled else "")
