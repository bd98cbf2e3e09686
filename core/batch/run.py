"""Cases side by side on this computer: one process a case, so that one that dies takes no other with it and gives its memory back."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any

from ..errors import WriteError
from ..files import make_folder, sole_writer
from ..memory import free_memory_gb, one_heap
from .cases import BatchCase
from .work import Outcome, Settings, finished, key_of_case, work, write_outcome

TRIES = 2
"""A process that was killed is tried once more: often it was another program that took the memory."""
GB_A_JOB = 2.0
Told = Callable[[Outcome, bool], None]
"""Called with each outcome, and whether it was there before."""


def usual_jobs() -> int:
    """As many as there are cores, but no more than the memory that is free now has room for (2 GB each)."""
    return max(1, min(os.cpu_count() or 1, int(free_memory_gb() / GB_A_JOB)))


def _child(case: BatchCase, settings: Settings, answer: Connection) -> None:
    one_heap()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        answer.send(work(case, settings))
    except WriteError as error:
        answer.send(str(error))
    except KeyboardInterrupt:
        os._exit(1)  # the parent tells of it
    answer.close()
    sys.stderr.flush()
    os._exit(0)  # at an orderly end the boolean kernel's binding would print what it thinks is left over


def _end_with_parent() -> None:
    """A parent that was killed cannot end its children: they look after that themselves, or two would build one case after a restart."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def run_here(cases: Sequence[BatchCase], settings: Settings, jobs: int, told: Told) -> list[Outcome]:
    """Build all cases, `jobs` at a time; in the order of `cases`. What is finished is not built again.

    Raises WriteError when results cannot be written; KeyboardInterrupt passes through after all processes have ended.
    """
    outcomes: dict[str, Outcome] = {}
    waiting: deque[tuple[BatchCase, int]] = deque()
    for case in cases:
        before = finished(case, key_of_case(case, settings))
        if before is None:
            waiting.append((case, 1))
        else:
            outcomes[case.name] = before
            told(before, True)
    context = multiprocessing.get_context("spawn")  # a fork would copy threads of the libraries in mid-work
    running: dict[Any, tuple[BaseProcess, BatchCase, int]] = {}
    try:
        while waiting or running:
            while waiting and len(running) < jobs:
                case, turn = waiting.popleft()
                near, far = context.Pipe(duplex=False)
                child: BaseProcess = context.Process(target=_child, args=(case, settings, far), daemon=True)
                child.start()
                far.close()
                running[near] = child, case, turn
            ready = set(wait(list(running)))
            for near in (c for c in list(running) if c in ready):
                ended, case, turn = running.pop(near)
                outcome = _answer(near, ended, case, settings)
                if outcome is None and turn < TRIES:
                    waiting.append((case, turn + 1))
                    continue
                outcomes[case.name] = outcome or _died(ended, case, settings)
                told(outcomes[case.name], False)
    finally:
        for left, _, _ in running.values():
            left.kill()
        for left, _, _ in running.values():
            left.join()
    return [outcomes[case.name] for case in cases]


def _answer(near: Connection, child: BaseProcess, case: BatchCase, settings: Settings) -> Outcome | None:
    """What a process said at its end; None when it died without a word."""
    try:
        said = near.recv()
    except (EOFError, OSError):
        said = None
    near.close()
    child.join()
    if isinstance(said, str):
        raise WriteError(said)
    return said if isinstance(said, Outcome) else finished(case, key_of_case(case, settings))


def _died(child: BaseProcess, case: BatchCase, settings: Settings) -> Outcome:
    code = child.exitcode or 0
    how = f"signal {-code}" if code < 0 else f"exit code {code}"
    words = f"its process ended {TRIES} times in mid-build ({how}); build it by itself to see why"
    outcome = Outcome(case.name, key_of_case(case, settings), "died", words)
    with sole_writer(make_folder(case.into)):
        write_outcome(case, outcome)
    return outcome
