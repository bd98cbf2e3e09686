"""Surveys beside the window: one at a time in a thread, the last few kept, so that undo and redo find theirs ready.

A thread is enough here: the survey is array work that lets go of Python's lock (longest hold seen 0.1 s). Blender's data is never touched.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

Key = tuple[str, float, float]
KEPT = 6


@dataclass(frozen=True, eq=False)
class Seen:
    """What the views need of a survey: undercut (n,) mm; lines: contour first, then the gauges, each a list of (points, closed)."""

    undercut: Any
    lines: tuple[list[tuple[Any, bool]], ...]


class Surveyor:
    """Answers `ask` at once with a finished survey, or None and begins it."""

    def __init__(self) -> None:
        self._done: OrderedDict[Key, Seen] = OrderedDict()
        self._thread: threading.Thread | None = None
        self._meshes: dict[str, Any] = {}
        self._latest: tuple[Key, Seen] | None = None

    def has_mesh(self, name: str) -> bool:
        """Whether the mesh of this key is known."""
        return name in self._meshes

    def give_mesh(self, name: str, mesh: Any) -> None:
        """The mesh (core, mm) of the cast that is worked on; one is kept."""
        self._meshes = {name: mesh}

    @property
    def busy(self) -> bool:
        """Whether a survey is under way."""
        return self._thread is not None and self._thread.is_alive()

    def ask(self, key: Key, *, wait: bool = False) -> Seen | None:
        """The survey of a mesh at two tilts (degrees)."""
        if key in self._done:
            self._done.move_to_end(key)
            return self._done[key]
        if wait:
            self.join()
            self._work(key)
            return self._done.get(key)
        if not self.busy and key[0] in self._meshes:
            self._thread = threading.Thread(target=self._work, args=(key,), name="claspwright survey", daemon=True)
            self._thread.start()
        return None

    def latest(self, name: str) -> tuple[Key, Seen] | None:
        """The survey of this mesh that was finished last: what to show while a number is dragged faster than surveys are made."""
        return self._latest if self._latest is not None and self._latest[0][0] == name else None

    def _work(self, key: Key) -> None:
        mesh = self._meshes.get(key[0])
        if mesh is None:
            return
        from ..core.gauges import GAUGES_INCH, INCH_MM
        from ..core.survey import Path, contours_to_show, gauge_lines, survey

        found = survey(mesh, Path(key[1], key[2]))
        sets = [contours_to_show(found.mesh, found), *(gauge_lines(found.mesh, found, INCH_MM * inch) for inch in GAUGES_INCH)]
        seen = Seen(found.undercut, tuple([(c.points, c.closed) for c in lines] for lines in sets))
        self._done[key], self._latest = seen, (key, seen)
        while len(self._done) > KEPT:
            self._done.popitem(last=False)

    def join(self) -> None:
        """Until nothing is under way."""
        if self._thread is not None:
            self._thread.join(timeout=60)

    def clear(self) -> None:
        """Forget everything."""
        self.join()
        self._done.clear()
        self._latest = None
        self._meshes.clear()
