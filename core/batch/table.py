"""The summary of a batch: a table for people and spreadsheets, the same as JSON for programs."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from ..files import write_atomic
from .work import STATES, Outcome

COLUMNS = ("name", "state", "failed", "warned", "triangles", "seconds", "peak_memory_gb", "framework_sha256", "message")


def write_summary(outcomes: Sequence[Outcome], folder: Path, asked: int) -> None:
    """summary.csv and summary.json. asked : how many cases the batch has; fewer outcomes mean that it is not at its end."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for outcome in outcomes:
        row = dataclasses.asdict(outcome)
        table.writerow(_harmless(row[name]) for name in COLUMNS)
    write_atomic(folder / "summary.csv", text.getvalue().encode("utf-8"))
    document = {"format": "claspwright-batch", "cases": asked, "done": len(outcomes), "states": tally(outcomes)}
    rows = [{name: getattr(o, name) for name in COLUMNS} for o in outcomes]
    write_atomic(folder / "summary.json", (json.dumps(document | {"outcomes": rows}, indent=1, ensure_ascii=False) + "\n").encode("utf-8"))


def _harmless(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets a mark in front."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t") else value


def tally(outcomes: Sequence[Outcome]) -> dict[str, int]:
    """How many came to which end, in the order of STATES."""
    count = Counter(o.state for o in outcomes)
    return {state: count[state] for state in STATES if count[state]}


def summary_lines(outcomes: Sequence[Outcome], kept: int, elapsed_s: float) -> list[str]:
    """The table for a terminal, and how fast it went."""
    width = max([4, *(len(o.name) for o in outcomes)])
    lines = [f"{'case':<{width}s}  {'state':<8s} {'failed':>6s} {'warned':>6s} {'triangles':>9s} {'s':>7s} {'GB':>5s}  why"]
    for o in outcomes:
        memory = "" if o.peak_memory_gb is None else f"{o.peak_memory_gb:.2f}"
        row = f"{o.name:<{width}s}  {o.state:<8s} {o.failed:>6d} {o.warned:>6d} {o.triangles:>9d} {o.seconds:>7.1f} {memory:>5s}"
        lines.append(f"{row}  {o.message}".rstrip())
    words = ", ".join(f"{n} {state}" for state, n in tally(outcomes).items())
    lines.append(f"{len(outcomes)} cases: {words}; {kept} of them built before.")
    new = len(outcomes) - kept
    if new > 0 and elapsed_s > 0:
        lines.append(f"{new} built in {elapsed_s:.0f} s: {3600 * new / elapsed_s:.0f} cases an hour.")
    return lines
