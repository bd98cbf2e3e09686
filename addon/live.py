"""Single components beside the whole build: the selected one and those that an edit has touched, each built by itself in the background.

They are of this session only and are drawn over the view (`wax.py`), not kept as objects: the document and the built framework stay the
only truth of the file. What is under way is asked of the process that also finds crowns; that comes first.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import bpy

from ..core.background import Call
from ..core.case import Case
from ..core.errors import ClaspwrightError
from . import bridge, document


@dataclass
class Part:
    """A component as it was built last. key, cuts : of what (core.case.keys); mesh : arrays, mm, none before it could be built"""

    key: str
    cuts: str
    mesh: dict[str, Any]
    facts: dict[str, float]
    warnings: list[str]
    refused: str
    handles: list[dict[str, Any]] | None  # None: not looked for yet
    count: int = 0  # grows with each new mesh, so that what is drawn from it can tell


@dataclass
class State:
    """What this session knows. values : of the component as it was last built, to fall back to"""

    parts: dict[str, Part] = field(default_factory=dict)
    call: Call | None = None
    asked: tuple[str, str, str, bool] = ("", "", "", False)  # name, key, cuts, handles
    failed: str = ""
    good: dict[str, Any] = field(default_factory=dict)
    hid: set[str] = field(default_factory=set)  # scenes whose framework's eye was closed here
    count: int = 0


now = State()
known: dict[str, Any] = {}  # "case", "cuts" and, by component, the keys of the last case that was asked for
held: set[str] = set()  # the handle that the pointer holds; of this session only


def keys(case: Case, name: str) -> tuple[str, str]:
    """What the shape of a component hangs on, and what the cuts in the cast hang on."""
    from ..core.case.keys import cuts_key, part_key

    if known.get("case") is not case:  # the document gives the same object for the same text
        known.clear()
        known.update({"case": case, "cuts": cuts_key(case)})
    if name not in known:
        known[name] = part_key(case, name)
    return known[name], known["cuts"]


def current(scene: bpy.types.Scene, case: Case) -> bool:
    """Whether the framework in the scene is that of the case as it is now."""
    own = document.settings(scene)
    if not own.built_key or own.built_key != document.case_key(case, own.built_quick):
        return False
    framework = bridge.find_object(scene, "framework")
    return framework is None or framework.data.get(bridge.BUILT) in (None, own.built_key)


def waxed(scene: bpy.types.Scene, case: Case) -> list[str]:
    """The components to be shown by themselves, the selected one first: it alone while the framework is current, else all."""
    chosen = document.settings(scene).component
    names = [c.id for c in case.components]
    if chosen not in names:
        return []
    return [chosen] if current(scene, case) else [chosen, *(n for n in names if n != chosen)]


def finding() -> bool:
    """Whether a component is being built now."""
    return now.call is not None and not now.call.over


def step(scene: bpy.types.Scene, case: Case, process: Any, *, tilting: bool) -> bool:
    """Ask for the next component that is not as the document says, and take what has come; True while something is under way."""
    if now.call is not None and now.call.over:
        _take(scene, case)
    names = waxed(scene, case)
    if now.call is not None:
        return True
    _eye(scene, case, names)
    if not names or tilting or not any(t.seeds for t in case.chart.teeth):
        return False
    wanted = _next(case, names)
    if wanted is None:
        return False
    if process.busy:
        return True
    name, key, cuts, handles = wanted
    fresh = not held
    task = {"case": document.as_json(case), "folder": case.folder, "name": name, "handles": handles, "fresh": fresh}
    now.call, now.asked = process.start("part", **task), (name, key, cuts if fresh else "", handles)
    return True


def _next(case: Case, names: list[str]) -> tuple[str, str, str, bool] | None:
    for k, name in enumerate(names[:1] if held else names):
        key, cuts = keys(case, name)
        part = now.parts.get(name)
        if now.failed == key:
            continue
        if part is None or part.key != key or (part.cuts != cuts and not held):
            return name, key, cuts, False
        if k == 0 and part.handles is None and not held and not part.refused:
            return name, key, cuts, True
    return None


def _take(scene: bpy.types.Scene, case: Case) -> None:
    assert now.call is not None
    call, (name, key, cuts, handles) = now.call, now.asked
    now.call = None
    try:
        info, arrays = call.result()
    except ClaspwrightError as error:
        now.failed = key
        if error.exit_code != 1:
            now.parts.pop(name, None)
            document.notice(scene, str(error))
        return
    before = now.parts.get(name)
    now.count += 1
    found = info["handles"] if handles else (before.handles if before is not None and held else None)
    mesh = arrays or (before.mesh if before is not None else {})  # what could not be built is shown as it was, in another colour
    now.parts[name] = Part(key, cuts, mesh, info["facts"], info["warnings"], info["refused"], found, now.count)
    if not info["refused"] and any(c.id == name for c in case.components) and keys(case, name)[0] == key:
        now.good[name] = next(c for c in case.components if c.id == name)


def _eye(scene: bpy.types.Scene, case: Case, names: list[str]) -> None:
    """Close the eye of a framework that is out of date while all components stand in its place; open it again afterwards."""
    framework = bridge.find_object(scene, "framework")
    if framework is None:
        return
    stands = bool(names) and not current(scene, case) and all(n in now.parts for n in names)
    if stands and framework.visible_get():
        bridge.show(framework, False)
        now.hid.add(scene.name)
    elif not stands and scene.name in now.hid:
        bridge.show(framework, True)
        now.hid.discard(scene.name)


def part(scene: bpy.types.Scene) -> Part | None:
    """The selected component as it was built last, None before."""
    return now.parts.get(document.settings(scene).component)


def forget() -> None:
    """Drop everything: another cast, another file."""
    now.__init__()
    held.clear()
    known.clear()


def register() -> None:
    forget()


def unregister() -> None:
    forget()
