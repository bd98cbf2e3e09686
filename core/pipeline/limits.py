"""How long a full build takes and what it holds, by the size of the cast: told before it begins."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..cast.files import triangles_in
from ..memory import free_memory_gb

MEASURED: tuple[tuple[int, float, float], ...] = (
    (12_000, 20.0, 0.8),
    (190_890, 40.0, 1.6),
    (500_000, 100.0, 3.0),
    (1_000_000, 200.0, 6.0),
    (5_000_000, 400.0, 8.0),
)
"""(triangles, seconds, GB) of full builds with all files of one lower case on two quiet cores (`make bench` measures them anew)."""
SLOWER = 2.5
"""Other days and computers took up to so many times as long."""
ROOM = 1.15
"""Memory is stated with this much to spare: another design on the same cast may need a little more."""


def expectation(triangles: int) -> tuple[float, float, float]:
    """Seconds at least and at most, and GB at most, that a full build of a cast of so many triangles takes on two cores."""
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
    free = free_memory_gb()
    return words if memory <= free else f"{words}; only {free:.1f} GB are free: close other programs or reduce the scan"


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
