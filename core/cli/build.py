"""`claspwright build`: from case file to framework."""

from __future__ import annotations

import argparse
import importlib

from .console import Console
from .folder import result_folder
from .verdict import verdict


def run(options: argparse.Namespace, console: Console) -> int:
    """Build the case; 1 when a check fails."""
    pipeline = importlib.import_module("..pipeline", __package__)
    folder = result_folder(options.output)
    built = pipeline.build_case(
        options.case, folder, quick=options.quick, progress=console.stage, exports=options.export, tell=lambda w: console.say(f"  {w}")
    )
    lines, code = verdict(built.checks)
    lines.append(f"Report: {folder / 'report.html'}")
    checks = [check.as_dict() for check in built.checks]
    console.finish({"folder": str(folder), "quick": bool(options.quick), "checks": checks}, lines)
    return code
