"""`claspwright plan`: a charted scan in, a drafted design with its reasons out."""

from __future__ import annotations

import argparse
import importlib
from dataclasses import replace
from pathlib import Path as File
from typing import TYPE_CHECKING, Any

from ... import __version__
from ..case import load_case, save_case
from ..cast import write_atomic
from ..errors import CaseError
from .console import Console
from .folder import result_folder, write_json

if TYPE_CHECKING:
    from ..pipeline.plan import Plan


def run(options: argparse.Namespace, console: Console) -> int:
    """Write case.json with the drafted components, its scan, plan.json and plan.html; 1 when something must be settled."""
    pipeline = importlib.import_module("..pipeline.plan", __package__)
    output = importlib.import_module("..output.plan_page", __package__)
    case = load_case(options.case)
    folder = result_folder(options.output)
    if not options.critique and folder.resolve() == File(case.folder).resolve():
        raise CaseError(f"{folder}: the case itself lies there and would be overwritten; give another folder with -o DIR")
    made = pipeline.plan(case, keep=options.critique, progress=console.stage)
    console.stage("write the plan")
    page = output.PlanPage(made.draft, made.design, made.findings, made.outlines, made.positions, __version__)
    write_atomic(folder / "plan.html", output.plan_html(page).encode("utf-8"))
    result = describe(made)
    write_json(folder / "plan.json", result)
    files = ["plan.html", "plan.json"]
    if not options.critique:
        write_atomic(folder / case.cast.file, case.scan.read_bytes())
        save_case(replace(made.draft.case, folder=str(folder)), folder / "case.json")
        files += ["case.json", case.cast.file]
    console.finish({"folder": str(folder), **result}, [*_words(made), f"written to {folder}: {', '.join(files)}"])
    return 1 if any(f.severity == "error" for f in made.findings) else 0


def describe(made: Plan) -> dict[str, Any]:
    """What plan.json holds."""
    return {
        "version": __version__,
        "class": made.design.classification.name,
        "fulcrum_lines": [{"teeth": [f.first, f.second], "why": f.why} for f in made.design.fulcrums],
        "parts": [{"id": r.part, "why": r.words} for r in made.draft.reasons],
        "open": list(made.draft.open),
        "clasps": {
            str(tooth): [
                {
                    "kind": o.kind, "origin": o.origin, "face": o.face, "points": round(o.points, 1), "for": list(o.speaks_for),
                    "against": list(o.speaks_against), "vetoes": list(o.vetoes),
                }
                for o in options
            ]
            for tooth, options in made.draft.options.items()
        },
        "findings": [
            {"rule": f.rule, "severity": f.severity, "parts": list(f.parts), "words": f.words, "detail": f.detail, "source": f.source}
            for f in made.findings
        ],
        "times": made.stages,
    }  # fmt: skip


def _words(made: Plan) -> list[str]:
    result = describe(made)
    lines = [str(result["class"])]
    lines += [f"  {p['id']}: {p['why']}" for p in result["parts"]]
    lines += [f"  not settled: {w}" for w in result["open"]]
    lines += [f"  {f['severity']}: {f['words']} ({f['detail']})" for f in result["findings"]]
    return lines
