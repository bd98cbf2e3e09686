"""What a build made, kept for the next one: a stage is done again only when something that it is made from has changed.

Keys are content: the text of the parts of a case that a stage reads, and the key of the stage before it. One value a stage is kept, the
last: who moves a clasp to and fro pays for the clasp.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")


def stamp_of(file: Path) -> tuple[int, int] | None:
    """Size and time of a file, None where there is none: who reads it will say so."""
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


@dataclass
class Kept:
    """Values by stage, each with the key it was made for. made : how often each stage was done (for those who count)"""

    values: dict[str, tuple[str, Any]] = field(default_factory=dict)
    made: dict[str, int] = field(default_factory=dict)

    def get(self, stage: str, key: str, make: Callable[[], T]) -> T:
        """The kept value of a stage if it was made for this key, else a new one."""
        old = self.values.get(stage)
        if old is not None and old[0] == key:
            value: T = old[1]
            return value
        self.values.pop(stage, None)  # before the new one is made: two would need twice the memory
        value = make()
        self.values[stage] = (key, value)
        self.made[stage] = self.made.get(stage, 0) + 1
        return value
