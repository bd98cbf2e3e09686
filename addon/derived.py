"""What follows from the document: the crowns at the clicks, the undercut on the cast, height of contour and gauge lines.

Nothing is computed in property callbacks. They, and undo, redo and loading, only say that something may be stale; a timer then looks,
asks a working process (crowns) or a thread (survey), and shows what comes back. All of it is written outside undo steps, which is
sound because it is signed: the mesh and the curves name the input that they show, so whatever an undo brings back, the next look
sees whether it fits.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from bpy.app.handlers import persistent

from ..core.background import Call, Process
from ..core.case import Case
from ..core.errors import ClaspwrightError
from . import bridge, document, follow, live, materials, scan
from .surveyor import Seen, Surveyor

SHOWN, LINES, TEETH, SOURCE = "claspwright_shown", "claspwright_lines", "claspwright_teeth", "claspwright_source"
COLOUR = "Cast"
LINE_ROLES = ("contour", "gauge 0", "gauge 1", "gauge 2")
LINE_WIDTH_MM = 0.09
TICK_S = 0.03
# Eight easily told colours, dealt along the arch so that neighbours differ (Okabe and Ito's set for colour-blind eyes, lightened).
CROWN_SRGB = np.array([
    [0.90, 0.72, 0.35], [0.55, 0.76, 0.92], [0.45, 0.75, 0.62], [0.93, 0.88, 0.50],
    [0.45, 0.62, 0.80], [0.88, 0.58, 0.42], [0.86, 0.66, 0.78], [0.70, 0.70, 0.70],
])  # fmt: skip

bench = Process()  # finds crowns and opens scans; the build has a process of its own
surveyor = Surveyor()
dragging: set[str] = set()  # what the pointer holds now; of this session only
asked: dict[str, Any] = {}  # the crowns under way: "key" and "call"; "failed": a key that gave an error


def mark_stale() -> None:
    """Have everything looked at soon. Cheap: callbacks may call it as often as they like."""
    if not bpy.app.background and not bpy.app.timers.is_registered(_tick):
        bpy.app.timers.register(_tick, first_interval=TICK_S)


def _tick() -> float | None:
    before, parts = finding(), (live.now.count, follow.now.count, scan.busy())
    busy = [step(scene) for scene in {w.scene for w in bpy.context.window_manager.windows}]
    if (live.now.count, follow.now.count, scan.busy()) != parts:
        redraw()
    elif finding() != before or follow.told():
        redraw(panels_only=True)
    return TICK_S if any(busy) or scan.busy() else None


def redraw(*, panels_only: bool = False) -> None:
    """Draw all 3D views again, or only the panels beside them."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type == "UI" or not panels_only:
                        region.tag_redraw()


def step(scene: bpy.types.Scene, *, wait: bool = False) -> bool:
    """Bring a scene nearer to what its document says; True while something is under way. wait: finish everything now."""
    try:
        case = document.find_case(scene)
    except ClaspwrightError:
        return False
    thing = bridge.find_object(scene, "cast")
    if case is None or thing is None or thing.mode == "EDIT":
        return False
    busy = _crowns(scene, case, thing, wait)
    busy = _survey(scene, case, thing, wait) or busy
    if wait:
        return busy
    busy = live.step(scene, case, bench, tilting=bool(dragging)) or busy
    return follow.step(scene, case, still=not dragging and not live.held) or busy


# --- crowns -------------------------------------------------------------------------------------------------------


def finding() -> bool:
    """Whether crowns are being found now."""
    call: Call | None = asked.get("call")
    return call is not None and not call.over


def _crowns(scene: bpy.types.Scene, case: Case, thing: Any, wait: bool) -> bool:
    want, data = document.teeth_key(case), thing.data
    if data.get(TEETH) == want:
        return False
    if want == "none":
        _show_labels(data, np.zeros(len(data.vertices), dtype=np.int32), want)
        return False
    call: Call | None = asked.get("call")
    if call is None and asked.get("failed") != want and not bench.busy:
        call = bench.start("find_teeth", case=document.as_json(case), folder=case.folder)
        asked.update(call=call, key=want)
    if call is not None and wait:
        bench.wait(call)
    if call is None or not call.over:
        return call is not None or bench.busy
    asked.pop("call")
    if asked["key"] != want:
        return _crowns(scene, case, thing, wait)  # clicked again meanwhile
    _take_crowns(scene, data, call, want)
    return False


def _take_crowns(scene: bpy.types.Scene, data: Any, call: Call, key: str) -> None:
    try:
        info, arrays = call.result()
    except ClaspwrightError as error:
        asked["failed"] = key
        document.notice(scene, str(error))
        return
    if len(arrays["labels"]) != len(data.vertices):
        asked["failed"] = key
        document.notice(scene, "the cast in the view was edited and is no longer the scan; undo that, or open the scan again")
        return
    document.notice(scene, "; ".join(info["flags"][:3]))
    _show_labels(data, arrays["labels"], key)


def _show_labels(data: Any, labels: Any, key: str) -> None:
    bridge.set_numbers(data, "tooth", labels, "INT")
    data[TEETH] = key


# --- survey -------------------------------------------------------------------------------------------------------


def core_mesh(thing: Any) -> str:
    """The key of the cast's mesh at the surveyor, given to it where it is not known (read back in single precision after a reopening)."""
    data = thing.data
    key = f"{data.get(SOURCE, data.name_full)} {len(data.vertices)} {len(data.polygons)}"
    if not surveyor.has_mesh(key):
        surveyor.give_mesh(key, bridge.to_core(data))
    return key


def _survey(scene: bpy.types.Scene, case: Case, thing: Any, wait: bool) -> bool:
    shade = document.settings(scene).shade
    if not thing.visible_get() and not wait:
        return False
    tilt = (case.path.anteroposterior_deg, case.path.lateral_deg)
    sign = _sign(thing.data, shade, tilt)
    if thing.data.get(SHOWN) == sign and not _stale_lines(scene, tilt):
        return False
    if shade != "UNDERCUT" and thing.data.get(SHOWN) != sign:
        _show_colours(thing.data, shade, None, case.cast.arch)
        thing.data[SHOWN] = sign
    if shade != "UNDERCUT" and not _stale_lines(scene, tilt):
        return False
    name = core_mesh(thing)
    seen = surveyor.ask((name, *tilt), wait=wait)
    found = seen
    if found is None and (last := surveyor.latest(name)) is not None:
        tilt, found = last[0][1:], last[1]  # the number is still being dragged: the last survey that is ready follows it
    if found is not None:
        _show_survey(scene, case, thing, tilt, found)
    return seen is None


def is_stale(scene: bpy.types.Scene, thing: Any, tilt: tuple[float, float]) -> bool:
    """Whether the undercut that is shown is of another tilt than this."""
    return thing.data.get(SHOWN) != _sign(thing.data, "UNDERCUT", tilt)


def _sign(data: Any, shade: str, tilt: tuple[float, float]) -> str:
    """What the colours show, in words that are kept with them."""
    return repr((shade, tilt if shade == "UNDERCUT" else (), data.get(TEETH) if shade == "CROWNS" else ""))


def _stale_lines(scene: bpy.types.Scene, tilt: tuple[float, float]) -> list[str]:
    return [r for r in LINE_ROLES if (c := bridge.find_object(scene, r)) is not None and c.data.get(LINES) != repr(tilt)]


def _show_survey(scene: bpy.types.Scene, case: Case, thing: Any, tilt: tuple[float, float], seen: Seen) -> None:
    shade = document.settings(scene).shade
    sign = _sign(thing.data, shade, tilt)
    if shade == "UNDERCUT" and thing.data.get(SHOWN) != sign:
        _show_colours(thing.data, shade, seen, case.cast.arch)
        thing.data[SHOWN] = sign
    for role in _stale_lines(scene, tilt):
        curve: Any = bridge.find_object(scene, role)
        bridge.set_lines(curve.data, seen.lines[LINE_ROLES.index(role)])
        curve.data[LINES] = repr(tilt)


def _show_colours(data: Any, shade: str, seen: Seen | None, arch: str) -> None:
    from ..core.output.materials import to_linear
    from ..core.output.palette import depth_colours

    count = len(data.vertices)
    if shade == "UNDERCUT" and seen is not None:
        bridge.set_numbers(data, "undercut", seen.undercut, "FLOAT")
        linear = to_linear(depth_colours(seen.undercut))
    else:
        linear = materials.flat_colour("stone", count)
        if shade == "CROWNS":
            linear = _crown_colours(linear, bridge.get_numbers(data, "tooth", "INT"), arch)
    bridge.set_colours(data, COLOUR, linear)
    bridge.show_colours(data, COLOUR)


def _crown_colours(linear: Any, labels: Any, arch: str) -> Any:
    from ..core.case.edit import arch_numbers
    from ..core.output.materials import to_linear

    if labels is not None:
        for k, fdi in enumerate(arch_numbers(arch)):
            linear[labels == fdi] = to_linear(CROWN_SRGB[k % len(CROWN_SRGB)])
    return linear


def put_line_objects(scene: bpy.types.Scene) -> None:
    """The curves that will hold the lines; made while a cast is opened, inside its undo step."""
    from ..core.gauges import GAUGES_INCH, INCH_MM, gauge_name
    from ..core.output.palette import INK, SURVEY_LINE

    names = ["Height of contour", *(f"Undercut {gauge_name(INCH_MM * inch)}" for inch in GAUGES_INCH)]
    for role, name in zip(LINE_ROLES, names, strict=True):
        curve = bpy.data.curves.new(name, "CURVE")
        curve.dimensions = "3D"
        curve.bevel_depth, curve.bevel_resolution = LINE_WIDTH_MM, 0
        made = bridge.put_object(scene, role, name, curve)
        made.hide_select = True
        ink = SURVEY_LINE if role == "contour" else INK
        materials.give_ink(made, "height of contour" if role == "contour" else "gauge line", ink)


def forget() -> None:
    """Drop everything that was computed."""
    asked.clear()
    surveyor.clear()
    live.forget()
    follow.forget()


@persistent
def _after_change(*_: Any) -> None:
    mark_stale()


@persistent
def _after_load(*_: Any) -> None:
    forget()
    mark_stale()


def _handlers() -> list[tuple[list, Any]]:
    at = bpy.app.handlers
    return [(at.undo_post, _after_change), (at.redo_post, _after_change), (at.load_post, _after_load)]


def register() -> None:
    for where, what in _handlers():
        where.append(what)
    mark_stale()


def unregister() -> None:
    for where, what in _handlers():
        if what in where:
            where.remove(what)
    if bpy.app.timers.is_registered(_tick):
        bpy.app.timers.unregister(_tick)
    bench.stop()
    forget()
