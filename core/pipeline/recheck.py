"""A framework that was changed elsewhere, held against the case it was made for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path as FilePath

import numpy as np

from ..case import load_case
from ..cast import read_mesh
from ..cast.threemf import UNITS
from ..checks import joined
from ..mesh import Mesh
from .build import Build, Clock, Progress, groundwork, judge


def read_framework(path: str | FilePath) -> tuple[Mesh, tuple[str, ...]]:
    """The surface of a file in millimetres, and nothing mended: what is wrong with it is for the checks to say.

    Equal corners are joined unless the file itself says how faces join (STL never does).

    A unit that the file declares is obeyed; a file without one is taken as millimetres. Raises CastError.
    """
    raw, header = read_mesh(path)
    factor = UNITS.get(header["unit"] or "millimeter", 1.0)
    remarks = [] if factor == 1.0 else [f"framework: declared in {header['unit']}, taken times {factor:g}"]
    mesh = raw.transformed(np.diag([factor, factor, factor, 1.0]))
    return mesh if mesh.is_closed else joined(mesh), (*header["remarks"], *remarks)


def check_framework(
    framework_file: str | FilePath,
    case_file: str | FilePath,
    *,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Build:
    """All checks of a framework file against its case: cast, teeth, survey and master cast are made again, the metal is not.

    The file must lie in the cast frame, as every framework that this program writes does. Raises the named errors of core.errors.
    """
    case = load_case(case_file)
    framework, remarks = read_framework(framework_file)
    clock = Clock(progress, cancelled)
    found = groundwork(case, clock)
    with clock.stage("checks"):
        verdict = judge(found, framework)
    return found.with_framework(verdict, clock.times, remarks)
