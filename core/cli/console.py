"""What the user sees: stages with times on stderr, results on stdout."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any


class Console:
    """Progress by stage, and the result once at the end, for people or for machines."""

    def __init__(self, *, as_json: bool, quiet: bool) -> None:
        self.as_json = as_json
        self.quiet = quiet
        self.times: dict[str, float] = {}
        self._stage = ""
        self._since = 0.0
        self._begin = time.perf_counter()

    def stage(self, name: str, *_: object, **__: object) -> None:
        """A new stage begins; the one before it is done. Also takes the pipeline's further arguments, such as a fraction."""
        if name == self._stage:
            return
        self._close()
        self._stage, self._since = name, time.perf_counter()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """A stage as a block."""
        self.stage(name)
        yield
        self._close()

    def _close(self) -> None:
        if not self._stage:
            return
        took = time.perf_counter() - self._since
        self.times[self._stage] = round(self.times.get(self._stage, 0.0) + took, 3)
        self.say(f"  {self._stage:<28s} {took:7.2f} s")
        self._stage = ""

    def say(self, line: str) -> None:
        """A line of progress or remark."""
        if not self.quiet:
            print(line, file=sys.stderr, flush=True)

    def finish(self, result: Mapping[str, Any], lines: list[str]) -> None:
        """The result: JSON or the lines."""
        self._close()
        self.say(f"  {'total':<28s} {time.perf_counter() - self._begin:7.2f} s")
        if self.as_json:
            print(json.dumps({**result, "times": self.times}, indent=2, allow_nan=False))
        else:
            print("\n".join(lines))

    def fail(self, message: str) -> None:
        """An error, in one line on stderr; for machines also as JSON on stdout."""
        line = " ".join(message.split())
        print(f"claspwright: {line}", file=sys.stderr, flush=True)
        if self.as_json:
            print(json.dumps({"error": line}))
