"""The whole job in one call: case in, framework, checks and files out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path as FilePath

from ..case import load_case
from ..files import make_folder, sole_writer
from .build import STAGES, Build, Progress, build
from .exports import EXPORTS, USUAL, wanted_exports
from .limits import foretold
from .outputs import summary, write_findings, write_outputs
from .recheck import check_framework, read_framework


def build_case(
    case_file: str | FilePath,
    folder: str | FilePath,
    *,
    quick: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    exports: str = ",".join(USUAL),
    pages: bool = True,
    tell: Callable[[str], None] | None = None,
) -> Build:
    """Load a case file, build it and write every file of the result into `folder`, which no other process writes to meanwhile.

    exports : names out of EXPORTS, with commas; pages : also pictures, report and preview; tell : hears beforehand what it will take
    """
    wanted, case = wanted_exports(exports), load_case(case_file)
    words = foretold(case.scan)
    if tell is not None and words:
        tell(words)
    with sole_writer(make_folder(folder)) as into:
        result = build(case, quick=quick, progress=progress, cancelled=cancelled)
        write_outputs(result, into, progress=progress, exports=wanted, pages=pages)
    return result


__all__ = [
    "EXPORTS",
    "STAGES",
    "USUAL",
    "Build",
    "Progress",
    "build",
    "build_case",
    "check_framework",
    "read_framework",
    "summary",
    "wanted_exports",
    "write_findings",
    "write_outputs",
]
