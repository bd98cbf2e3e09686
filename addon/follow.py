"""The framework follows an edit: once one was built, it is built again in the background when the document has been still for a while.

Nothing waits for it and nothing is locked by it. A further edit asks it to end at its next step; an operator that builds takes it over.
What comes back is put into the meshes that are there, one a tick, outside undo steps; each mesh is signed with the case that it is of,
so that after an undo it fits or is built again (`live.current`).
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy

from ..core.background import Call, Process
from ..core.case import Case
from ..core.errors import ClaspwrightError
from . import document, live

STILL_S = 0.8  # a hand between two moves of a number is not at rest yet

builder = Process()


@dataclass
class State:
    """What this session knows. wanted, since : the last case key that was seen, and when; key : that of the build under way"""

    wanted: str = ""
    since: float = 0.0
    key: str = ""
    task: dict[str, Any] = field(default_factory=dict)
    call: Call | None = None
    asked_to_stop: bool = False
    failed: str = ""
    landing: Iterator[None] | None = None
    said: tuple[str, int] = ("", 0)
    count: int = 0  # of frameworks that followed


now = State()


def busy() -> bool:
    """Whether a framework is being built to follow an edit."""
    return now.call is not None


def stage() -> str:
    """What is being done."""
    return now.call.stage if now.call is not None else ""


def share() -> float:
    """How much of it is done."""
    return now.call.share if now.call is not None else 0.0


def told() -> bool:
    """Whether there is more to tell than the last time."""
    said = (stage(), round(20 * share()))
    changed, now.said = said != now.said, said
    return changed


def step(scene: bpy.types.Scene, case: Case, *, still: bool) -> bool:
    """Begin, stop or land a build, whatever is due; True while something is under way or awaited. still: nothing is held by the pointer."""
    own = document.settings(scene)
    if not own.built_key or live.current(scene, case):
        now.wanted = ""
        if now.call is None:
            return False
    key = document.case_key(case, own.built_quick)
    if key != now.wanted:
        now.wanted, now.since = key, time.monotonic()
    if now.landing is not None:
        return _land(key)
    if now.call is not None:
        return _watch(scene, key)
    if not own.follow or key == now.failed or builder.busy or not case.components:
        return False
    if not still or time.monotonic() < now.since + STILL_S:
        return True
    now.task = {"case": document.as_json(case), "folder": case.folder, "quick": bool(own.built_quick)}
    now.call, now.key, now.asked_to_stop = builder.start("build", **now.task), key, False
    return True


def _watch(scene: bpy.types.Scene, key: str) -> bool:
    assert now.call is not None
    if not now.call.over:
        if key != now.key and not now.asked_to_stop:
            builder.ask_stop()
            now.asked_to_stop = True
        return True
    call, now.call = now.call, None
    try:
        result = call.result()
    except ClaspwrightError as error:
        if error.exit_code != 1:
            now.failed = now.key
            document.notice(scene, str(error))
        return True
    if key == now.key:
        now.landing = _pieces(scene, key, *result)
    return True


def _pieces(scene: bpy.types.Scene, key: str, info: dict[str, Any], arrays: dict[str, Any]) -> Iterator[None]:
    """The result piece by piece, so that no picture waits for all of it."""
    from . import ops_build

    for role in ("framework", "prepared", "master"):
        yield from ops_build.put_mesh(scene, role, arrays, key, into=True)
        yield
    ops_build.put_tips(scene, info, arrays)
    ops_build.put_words(scene, info, key)


def _land(key: str) -> bool:
    """One piece of the result; it is left where it is when the case was changed meanwhile: its signature says that it is not of it."""
    assert now.landing is not None
    if key != now.key:
        now.landing = None
    elif next(now.landing, True):
        now.landing = None
        now.count += 1
    return True


def take_over(process: Process, do: str, task: dict[str, Any]) -> Call | None:
    """The build under way, where it is the very one that is asked for; it is then the asker's."""
    if process is not builder or do != "build" or now.call is None or now.asked_to_stop or task != now.task:
        return None
    call, now.call = now.call, None
    return call


def halt() -> None:
    """Stop following this case; the next edit begins anew."""
    now.failed = now.key
    builder.ask_stop()
    now.asked_to_stop = True


def forget() -> None:
    """Drop everything."""
    count = now.count
    now.__init__()
    now.count = count


def register() -> None:
    forget()


def unregister() -> None:
    forget()
    builder.stop()
