"""`claspwright check`: a framework that was changed elsewhere, against the case it was made for."""

from __future__ import annotations

import argparse
import importlib
from pathlib import Path as FilePath

from ..files import sole_writer
from .console import Console
from .folder import result_folder
from .verdict import verdict


def run(options: argparse.Namespace, console: Console) -> int:
    """All checks that apply; with -o also report, pictures and check.json. 1 when a check fails."""
    pipeline = importlib.import_module("..pipeline", __package__)
    folder = result_folder(options.output) if options.output else None
    built = pipeline.check_framework(options.framework, options.case, progress=console.stage)
    lines, code = verdict(built.checks)
    lines += [f"remark: {words}" for words in built.remarks]
    result = {
        "framework": FilePath(options.framework).name,
        "case": FilePath(options.case).name,
        "remarks": list(built.remarks),
        "checks": [check.as_dict() for check in built.checks],
    }
    if folder is not None:
        with sole_writer(folder):
            pipeline.write_findings(built, folder, progress=console.stage)
        lines.append(f"Report: {folder / 'report.html'}")
    console.finish(result if folder is None else {"folder": str(folder), **result}, lines)
    return code
