"""The survey on the cast: colours by undercut or by crown, contour and gauge lines.

Nothing is computed in property callbacks. They, and undo, redo and loading, only mark the picture stale; a one-shot timer draws it again.
What is shown is signed in the mesh itself, so after an undo the signature tells whether the colours came back with the tilt or not.
"""

from __future__ import annotations

import hashlib
from typing import Any

import bpy
import numpy as np
from bpy.app.handlers import persistent

from ..core.case import Case
from . import bridge, document, materials

COLOURS = {"UNDERCUT": "Undercut", "CROWNS": "Crowns", "PLAIN": "Stone"}
SHOWN, LINES = "claspwright_shown", "claspwright_lines"
WAIT_S, LINES_WAIT_S = 0.02, 0.35  # lines wait until a dragged number rests for a moment
LINE_WIDTH_MM = 0.09
# Eight easily told colours, dealt along the arch so that neighbours differ (Okabe and Ito's set for colour-blind eyes, lightened).
CROWN_SRGB = np.array([
    [0.90, 0.72, 0.35], [0.55, 0.76, 0.92], [0.45, 0.75, 0.62], [0.93, 0.88, 0.50],
    [0.45, 0.62, 0.80], [0.88, 0.58, 0.42], [0.86, 0.66, 0.78], [0.70, 0.70, 0.70],
])  # fmt: skip


def mark_stale() -> None:
    """Ask for the picture to be drawn again soon. Cheap: callbacks may call it as often as they like."""
    if bpy.app.background:
        return
    for timer, wait in ((_on_colours, WAIT_S), (_on_lines, LINES_WAIT_S)):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
        bpy.app.timers.register(timer, first_interval=wait)


def _on_colours() -> None:
    _for_scenes(refresh_colours)


def _on_lines() -> None:
    _for_scenes(refresh_lines)


def _for_scenes(work: Any) -> None:
    for scene in {w.scene for w in bpy.context.window_manager.windows}:
        if document.find_case(scene) is not None:
            work(scene)
    redraw()


def redraw() -> None:
    """Draw all 3D views again."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def core_cast(scene: bpy.types.Scene, case: Case) -> Any:
    """The mesh in the view for the core, with rays prepared once: exact where this session opened it, else read back from Blender."""
    data = bridge.need_cast(scene).data
    kept = document.cache
    if kept.cast is not None and kept.cast_key == document.cast_key(case) and len(kept.cast.mesh.vertices) == len(data.vertices):
        return kept.cast.mesh
    return _read_back(data.name_full, len(data.vertices), document.cast_key(case))


_back: dict[str, Any] = {}


def _read_back(name: str, count: int, key: str) -> Any:
    sign = f"{name} {count} {key}"
    if sign not in _back:
        _back.clear()
        _back[sign] = bridge.to_core(bpy.data.meshes[name])
    return _back[sign]


def _survey(scene: bpy.types.Scene, case: Case) -> Any:
    """The survey at the present tilt; the last one is kept, for colours and lines ask for the same."""
    from ..core.survey import Path, survey

    mesh = core_cast(scene, case)
    labels = bridge.get_numbers(bridge.need_cast(scene).data, "tooth", "INT")
    path = Path(case.path.anteroposterior_deg, case.path.lateral_deg)
    sign = (id(mesh), path, None if labels is None else hashlib.sha256(labels.tobytes()).hexdigest())
    if _last.get("sign") != sign:
        _last.clear()
        _last.update(sign=sign, mesh=mesh, survey=survey(mesh, path, None if labels is None else labels.astype(np.int64)))
    return _last["survey"]


_last: dict[str, Any] = {}


def picture_key(scene: bpy.types.Scene, case: Case) -> str:
    """What the colours depend on."""
    own = document.settings(scene)
    labels = bridge.need_cast(scene).data.get("claspwright_teeth", "")
    tilt = (case.path.anteroposterior_deg, case.path.lateral_deg) if own.shade == "UNDERCUT" else ()
    return repr((own.shade, tilt, labels))


def refresh_colours(scene: bpy.types.Scene) -> None:
    """Bring the colours of the cast up to date; nothing happens where they are."""
    case = document.find_case(scene)
    thing = bridge.find_object(scene, "cast")
    if case is None or thing is None:
        return
    data = thing.data
    key = picture_key(scene, case)
    shade = document.settings(scene).shade
    if data.get(SHOWN) == key:
        return
    if shade == "UNDERCUT":
        from ..core.output.palette import depth_colours

        found = _survey(scene, case)
        bridge.set_numbers(data, "undercut", found.undercut, "FLOAT")
        srgb = depth_colours(found.undercut)
    elif shade == "CROWNS":
        srgb = crown_colours(bridge.get_numbers(data, "tooth", "INT"), len(data.vertices), case.cast.arch)
    else:
        srgb = _stone(len(data.vertices))
    from ..core.output.materials import to_linear

    bridge.set_colours(data, COLOURS[shade], to_linear(srgb))
    bridge.show_colours(data, COLOURS[shade])
    data[SHOWN] = key


def _stone(count: int) -> np.ndarray:
    from ..core.output.materials import MATERIALS

    return np.tile(np.array(MATERIALS["stone"].colour), (count, 1))


def crown_colours(labels: np.ndarray | None, count: int, arch: str) -> np.ndarray:
    """(n, 3) sRGB: a colour a crown, stone for tissue."""
    from ..core.teeth import numbering

    srgb = _stone(count)
    if labels is not None:
        for k, fdi in enumerate(numbering.order(arch)):
            srgb[labels == fdi] = CROWN_SRGB[k % len(CROWN_SRGB)]
    return srgb


def refresh_lines(scene: bpy.types.Scene) -> None:
    """Bring height of contour and gauge lines up to date."""
    case = document.find_case(scene)
    thing = bridge.find_object(scene, "cast")
    if case is None or thing is None:
        return
    from ..core.output.palette import INK, SURVEY_LINE
    from ..core.survey import GAUGES_INCH, INCH_MM, gauge_lines

    curves = [(bridge.find_object(scene, "contour"), None)]
    curves += [(bridge.find_object(scene, f"gauge {k}"), INCH_MM * inch) for k, inch in enumerate(GAUGES_INCH)]
    hidden = document.settings(scene).shade != "UNDERCUT"
    for curve, _ in curves:
        if curve is not None and curve.hide_get() != hidden:
            curve.hide_set(hidden)
    key = repr((case.path.anteroposterior_deg, case.path.lateral_deg, thing.data.get("claspwright_teeth", "")))
    if hidden or all(c is None or c.data.get(LINES) == key for c, _ in curves):
        return
    found = _survey(scene, case)
    for curve, depth in curves:
        if curve is None:
            continue
        lines = found.contours if depth is None else gauge_lines(found.mesh, found, depth)
        bridge.set_lines(curve.data, [(c.points, c.closed) for c in lines])
        materials.give_ink(curve, "survey line" if depth is None else "gauge line", SURVEY_LINE if depth is None else INK)
        curve.data[LINES] = key


def put_line_objects(scene: bpy.types.Scene) -> None:
    """The curves that will hold the lines; made while a cast is opened, so that undo knows them."""
    from ..core.survey import GAUGES_INCH, INCH_MM, gauge_name

    names = {"contour": "Height of contour"} | {f"gauge {k}": f"Undercut {gauge_name(INCH_MM * i)}" for k, i in enumerate(GAUGES_INCH)}
    for role, name in names.items():
        if bridge.find_object(scene, role) is None:
            curve = bpy.data.curves.new(name, "CURVE")
            curve.dimensions = "3D"
            curve.bevel_depth = LINE_WIDTH_MM
            made = bridge.put_object(scene, role, name, curve)
            made.hide_select = True


def refresh(scene: bpy.types.Scene) -> None:
    """Colours and lines at once; for operators that close with a finished picture."""
    refresh_colours(scene)
    refresh_lines(scene)


@persistent
def _after_change(*_: Any) -> None:
    mark_stale()


@persistent
def _after_load(*_: Any) -> None:
    document.cache.clear()
    _back.clear()
    _last.clear()
    mark_stale()


def _handlers() -> list[tuple[list, Any]]:
    at = bpy.app.handlers
    return [(at.undo_post, _after_change), (at.redo_post, _after_change), (at.load_post, _after_load)]


def register() -> None:
    for where, what in _handlers():
        where.append(what)


def unregister() -> None:
    for where, what in _handlers():
        if what in where:
            where.remove(what)
    for timer in (_on_colours, _on_lines):
        if bpy.app.timers.is_registered(timer):
            bpy.app.timers.unregister(timer)
    _back.clear()
    _last.clear()
