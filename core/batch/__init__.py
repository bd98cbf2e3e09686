"""Many cases: a folder of them built side by side or on a cluster, gone on with after a stop, told in one table."""

from .cases import BatchCase, find_cases
from .cluster import run_on_cluster
from .run import run_here
from .table import summary_lines, write_summary
from .work import Outcome, Settings, finished, work

__all__ = [
    "BatchCase", "Outcome", "Settings", "find_cases", "finished", "run_here", "run_on_cluster", "summary_lines", "work", "write_summary",
]  # fmt: skip
