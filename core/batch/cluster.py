"""Cases on a cluster through Dask, which is an optional extra (`pip install claspwright[cluster]`): all computers see the same folders."""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from typing import Any

from ..errors import CaseError, WriteError
from .cases import BatchCase
from .run import Told
from .work import Outcome, Settings, finished, key_of_case, work, write_outcome


def run_on_cluster(cases: Sequence[BatchCase], settings: Settings, address: str, told: Told) -> list[Outcome]:
    """Build all cases on the workers of a scheduler, in the order of `cases`. What is finished is not built again.

    A case whose worker is lost goes to another one; a result that two workers came to is written by one of them, since the folder is
    held while it is built and looked into before. Raises CaseError when Dask is missing or the scheduler does not answer, WriteError.
    """
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise CaseError("a cluster needs Dask, which is not installed; pip install 'claspwright[cluster]' or leave --cluster out") from None
    outcomes: dict[str, Outcome] = {}
    left = {}
    for case in cases:
        before = finished(case, key_of_case(case, settings))
        if before is None:
            left[case.name] = case
        else:
            outcomes[case.name] = before
            told(before, True)
    try:
        client = distributed.Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError) as error:
        words = " ".join(str(error).split())[:80]
        raise CaseError(f"{address}: no scheduler answers there ({words}); start it or mend the address") from None
    with client:
        waiting = {client.submit(work, case, settings, pure=False, retries=1): case for case in left.values()}
        for future in distributed.as_completed(waiting):
            case = waiting[future]
            raised = future.exception()
            if isinstance(raised, WriteError):
                raise raised
            outcome = future.result() if raised is None else _lost(case, settings, raised)
            outcomes[case.name] = outcome
            told(outcome, False)
    return [outcomes[case.name] for case in cases]


def _lost(case: BatchCase, settings: Settings, error: BaseException) -> Outcome:
    """The cluster gave a case up: its workers died again and again, or something unforeseen was raised."""
    words = f"the cluster gave it up ({type(error).__name__}); build it by itself to see why"
    outcome = Outcome(case.name, key_of_case(case, settings), "died", words)
    case.into.mkdir(parents=True, exist_ok=True)
    write_outcome(case, outcome)
    return outcome
