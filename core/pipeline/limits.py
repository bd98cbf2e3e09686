"""How long a full build takes and what it holds, by the size of the cast: told before it begins."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..cast.files import triangles_in
from ..memory import free_memory_gb

MEASURED: tuple[tuple[int, float, float], ...] = (
    (12_534, 21.0, 0.83),
    (186_788, 30.0, 1.39),
    (520_668, 49.0, 2.65),
    (986_948, 80.0, 4.98),
)
"""(triangles, seconds, GB) of full builds of one lower case, with all files, on two quiet cores (`scripts/measure_limits.py`, 2026-11)."""
SLOWER = 2.5
"""Other days and computers took up to so many times as long."""
ROOM = 1.15
"""Memory is stated with this much to spare: another design on the same cast may need a little more."""


def expectation(triangles: int) -> tuple[float, float, float]:
    """Seconds at least and at most, and GB at most, that a full build of a cast of so many triangles takes on two cores.

    Beyond the largest cast that was measured these are the figures of that one.
    """
    size, seconds, memory = np.array(MEASURED).T
    low = float(np.interp(triangles, size, seconds))
    return low, SLOWER * low, ROOM * float(np.interp(triangles, size, memory))


def foretold(scan: Path) -> str:
    """One line on what a build of this scan will take, "" where the file's size does not tell. With a warning when memory may not do."""
    triangles = triangles_in(scan)
    if triangles is None:
        return ""
    low, high, memory = expectation(triangles)
    words = f"{triangles:,} triangles: expect {_time(low)} to {_time(high)} on two cores and up to {memory:.1f} GB of memory"
    if triangles > 1.1 * MEASURED[-1][0]:
        words = f"{triangles:,} triangles, more than was measured: expect well over {_time(low)} and {memory:.0f} GB; reduce the scan"
    free = free_memory_gb()
    return words if memory <= free else f"{words}; only {free:.1f} GB are free: close other programs or reduce the scan"


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
