"""Jobs side by side in threads: numpy, scipy, embree and manifold3d let go of Python's lock while they work."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def side_by_side(job: Callable[[Item], Result], items: Iterable[Item], *, most: int = 8) -> Iterator[Result]:
    """The results of a job for each item, in the order of the items whatever their times; few wait in memory at once. most : at a time"""
    workers = min(os.cpu_count() or 1, most)
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(workers) as pool:
        for item in items:
            waiting.append(pool.submit(job, item))
            if len(waiting) > workers:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
