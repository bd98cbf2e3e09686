"""`claspwright build`: from case file to framework."""

from __future__ import annotations

import argparse
import importlib
from typing import Any

from .console import Console
from .folder import result_folder


def run(options: argparse.Namespace, console: Console) -> int:
    """Build the case; 1 when a check fails."""
    pipeline = importlib.import_module("..pipeline", __package__)
    folder = result_folder(options.output)
    built = pipeline.build_case(options.case, folder, quick=options.quick, progress=console.stage)
    checks: list[dict[str, Any]] = [check.as_dict() for check in built.checks]
    failed = [c for c in checks if c["status"] == "fail"]
    warned = [c for c in checks if c["status"] == "warn"]
    lines = [_line(c) for c in failed + warned]
    lines.append(f"{len(checks)} checks: {len(failed)} failed, {len(warned)} to look at. Report: {folder / 'report.html'}")
    console.finish({"folder": str(folder), "quick": bool(options.quick), "checks": checks}, lines)
    return 1 if failed else 0


def _line(check: dict[str, Any]) -> str:
    number = "" if check["value"] is None else f" {check['value']:g} {check['unit']}"
    limit = "" if check["limit"] is None else f" (limit {check['limit']:g})"
    return f"{check['status'].upper()} {check['id']}{number}{limit} {check['where']}: {check['words']}".rstrip(": ")
