"""`claspwright batch`: a folder of cases, all of them."""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import CaseError
from ..files import sole_writer
from .console import Console
from .folder import result_folder

if TYPE_CHECKING:
    from ..batch import Outcome


def run(options: argparse.Namespace, console: Console) -> int:
    """Build what is not built yet; 1 when a case failed, was refused or died."""
    batch = importlib.import_module("..batch", __package__)
    here = importlib.import_module("..batch.run", __package__)
    importlib.import_module("..pipeline", __package__).wanted_exports(options.export)
    jobs = here.usual_jobs() if options.jobs is None else options.jobs
    if jobs < 1:
        raise CaseError(f"--jobs: {jobs} is too few; give 1 or more")
    folder = result_folder(options.output)
    cases = batch.find_cases(Path(options.folder), folder)
    settings = batch.Settings(quick=options.quick, exports=options.export, pages=not options.no_report)
    done: dict[str, Outcome] = {}
    old = 0

    def told(outcome: Outcome, before: bool) -> None:
        nonlocal old
        old += before
        done[outcome.name] = outcome
        how = "built before" if before else f"{outcome.seconds:.1f} s"
        console.say(f"  [{len(done)}/{len(cases)}] {outcome.name}: {outcome.state}, {how} {outcome.message}".rstrip())
        if not before:
            batch.write_summary([done[c.name] for c in cases if c.name in done], folder, len(cases))

    begin = time.perf_counter()
    with sole_writer(folder):
        try:
            if options.cluster:
                outcomes = batch.run_on_cluster(cases, settings, options.cluster, told)
            else:
                outcomes = batch.run_here(cases, settings, jobs, told)
        except KeyboardInterrupt:
            console.say(f"  {len(done)} of {len(cases)} cases are done; the same command goes on from here")
            raise
        batch.write_summary(outcomes, folder, len(cases))
    lines = batch.summary_lines(outcomes, old, time.perf_counter() - begin)
    result = {"folder": str(folder), "built_before": old, "jobs": jobs, "outcomes": [dataclasses.asdict(o) for o in outcomes]}
    console.finish(result, [*lines, f"Table: {folder / 'summary.csv'}"])
    return int(any(o.state != "passed" for o in outcomes))
