"""Run inside a desktop Blender's window: use the add-on as a person does, with mouse and keys where they matter; write down what was seen.

    blender --factory-startup --enable-event-simulate --python drive.py -- ZIP CASE.json FOLDER [PART...]

Everything seen goes into FOLDER/seen.json, pictures of the screen beside it; the test judges, here nothing is asserted. The way is a
generator: a timer takes one step at a time, so that the window lives in between, and the longest time that it did not is measured.
"""

import importlib
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import addon_utils
import bpy

sys.path.insert(0, str(Path(__file__).parent))
from hands import (
    NAME,
    OUT,
    area,
    case,
    case_path,
    click,
    crowns_shown,
    drag,
    glide,
    here,
    idle,
    jobs,
    key,
    look_from,
    middle,
    mouse,
    on_screen,
    own,
    pause,
    phase,
    picture,
    region,
    room,
    seen,
    shown_tilt,
    start,
    tell,
    until,
    wanted,
    watch,
    watch_drawing,
    window,
    zip_path,
)  # fmt: skip


def install() -> Iterator[None]:
    if zip_path == "-":  # installed in this profile already
        addon_utils.enable("bl_ext.user_default.claspwright")
    else:
        bpy.ops.extensions.package_install_files(filepath=zip_path, repo="user_default", enable_on_install=True)
    watch("derived", "step")
    watch_drawing()
    yield from pause(5)
    area().spaces.active.show_region_ui = True
    yield from pause(10)
    region("UI").active_panel_category = "Claspwright"
    area().tag_redraw()
    yield from pause(10)
    picture("0_empty")


def open_it() -> Iterator[None]:
    with here():
        bpy.ops.claspwright.open_case("INVOKE_DEFAULT", filepath=case_path)
    yield from until(lambda: not idle(), 5)
    yield from until(idle, 60)
    yield from until(lambda: crowns_shown() and "UNDERCUT" in shown_tilt(), 60)
    yield from pause(30)
    seen["opened"] = sorted(o.name for o in bpy.context.scene.objects)
    seen["scale"] = bpy.context.scene.unit_settings.scale_length
    picture("1_open")


def mark() -> Iterator[None]:
    """Take the mark off a tooth, then click the tooth in the view."""
    tooth = next(t for t in case()["chart"]["teeth"] if t["fdi"] % 10 == 4 and t["fdi"] // 10 in (2, 4))
    fdi, seed = tooth["fdi"], tooth["seeds"][0]
    with here():
        bpy.ops.claspwright.chart_tooth("EXEC_DEFAULT", True, fdi=fdi, state="uncharted")
    yield from until(crowns_shown, 60)
    with here():
        bpy.ops.claspwright.mark_teeth("INVOKE_DEFAULT")
    yield from pause(5)
    yield from click(on_screen(seed))
    yield from until(crowns_shown, 60)
    yield from pause(10)
    picture("2_marked")
    found = [t for t in case()["chart"]["teeth"] if t["fdi"] == fdi]
    far = [sum((a - b) ** 2 for a, b in zip(found[0]["seeds"][-1], seed, strict=True)) ** 0.5] if found else []
    seen["marked"] = {"fdi": fdi, "found": bool(found), "off_mm": far[0] if far else None}
    yield from click(on_screen([seed[0], seed[1] - 2.0, seed[2]]), shift=True)
    again = [t for t in case()["chart"]["teeth"] if t["fdi"] == fdi]
    seen["marked"]["seeds_after_shift_click"] = len(again[0]["seeds"]) if again else 0
    yield from key("Z", middle(), ctrl=True)
    again = [t for t in case()["chart"]["teeth"] if t["fdi"] == fdi]
    seen["marked"]["seeds_after_undo"] = len(again[0]["seeds"]) if again else 0
    yield from key("ESC", middle())
    yield from until(crowns_shown, 60)
    seen["marked"]["ended"] = window().modal_operators.keys() == [] if hasattr(window(), "modal_operators") else True


def tilt() -> Iterator[None]:
    """Drag the numbers: many values in a row, one undo step, as Blender's own number fields do it."""
    with here():
        bpy.ops.claspwright.level("EXEC_DEFAULT", True)
    yield from until(lambda: "UNDERCUT" in shown_tilt() and "0.0, 0.0" in shown_tilt(), 30)
    before = {"shown": shown_tilt()}
    begin, pictures, k = time.monotonic(), set(), 0
    while k < 30 or (len(pictures) < 4 and time.monotonic() < begin + 20):  # never at rest: what is shown has to follow a moving number
        k += 1
        own().anteroposterior_deg = 0.2 * min(k, 30) - 0.1 * (k % 2)
        pictures.add(shown_tilt())
        yield
    own().anteroposterior_deg = 6.0
    own().lateral_deg = -4.0
    with here():
        bpy.ops.ed.undo_push(message="Tilt")
    seen["drag_s"], seen["drag_pictures"] = time.monotonic() - begin, len(pictures)
    yield from until(lambda: "6.0, -4.0" in shown_tilt(), 30)
    yield from pause(10)
    picture("3_tilted")
    seen["tilted"] = {"before": before["shown"], "after": shown_tilt(), "path": case()["path"]}
    yield from key("Z", middle(), ctrl=True)
    yield from until(lambda: "0.0, 0.0" in shown_tilt(), 30)
    seen["tilt_undone"] = {"shown": shown_tilt(), "path": case().get("path", {})}


def knob(axis: str = "both") -> tuple[float, float]:
    """Where a knob of the rod is in the window."""
    tilting, path, survey = room("tilt_gizmo"), case().get("path", {}), importlib.import_module(f"{NAME}.core.survey")
    foot, length = room("rays").standing(bpy.context.scene.objects["Cast"])
    way = survey.Path(path.get("anteroposterior_deg", 0.0), path.get("lateral_deg", 0.0)).vector
    return on_screen([f + length * tilting.KNOBS[axis][0] * w for f, w in zip(foot, way, strict=True)])


def rod() -> Iterator[None]:
    """Drag the knob of the rod; the graphics card's first look and the exact survey follow; one undo takes it back."""
    drawn: list[float] = []
    shader = room("tilt_shader")
    batch_draw = shader._batch

    def timed(data: Any) -> Any:
        drawn.append(time.perf_counter())
        return batch_draw(data)

    shader._batch = timed
    begin = knob()
    mouse("MOUSEMOVE", "NOTHING", begin)
    yield from pause(10)
    picture("3_rod")
    mouse("LEFTMOUSE", "PRESS", begin)
    yield from pause(2)
    from_, to = begin, (begin[0] + 45, begin[1] + 28)
    yield from glide(from_, to, 14)
    picture("3_rod_dragged")
    paths = case()["path"]
    mouse("LEFTMOUSE", "RELEASE", to)
    yield from until(lambda: str(tuple(paths.values()))[1:-1] in shown_tilt(), 30)
    yield from pause(10)
    picture("3_rod_settled")
    shader._batch = batch_draw
    seen["rod"] = {"dragged": paths, "kept": case()["path"], "shown": shown_tilt(), "first_looks": len(drawn)}
    yield from key("Z", middle(), ctrl=True)
    yield from pause(10)
    seen["rod"]["undone"] = case().get("path", {})
    side = knob("lateral_deg")
    yield from drag(side, (side[0] + 40, side[1] + 30))
    seen["rod"]["one_way"] = case().get("path", {})
    side = knob("anteroposterior_deg")
    mouse("MOUSEMOVE", "NOTHING", side)
    yield from pause(8)
    mouse("LEFTMOUSE", "PRESS", side)
    yield from glide(side, (side[0], side[1] + 60), 6)
    yield from key("ESC", (side[0], side[1] + 60))
    seen["rod"]["cancelled"] = case().get("path", {})
    mouse("LEFTMOUSE", "RELEASE", side)
    yield from pause(5)
    yield from key("Z", middle(), ctrl=True)
    yield from pause(5)
    seen["rod"]["undone_again"] = case().get("path", {})


def map_spot(share: tuple[float, float]) -> tuple[float, float]:
    """Where a spot of the map of tilts (its radius is 1) is in the window."""
    chart, k = room("path_map"), room("ink").pixel()
    return region().x + k * (chart.LEFT + chart.RADIUS * share[0]), region().y + k * (chart.LOW + chart.RADIUS * share[1])


def choose() -> Iterator[None]:
    """Have the tilts mapped, read the map at the pointer, click in it, undo; take the best from the list."""
    with here():
        bpy.ops.claspwright.search_path("INVOKE_DEFAULT")
    begin = time.monotonic()
    yield from until(idle, 120)
    found = room("ops_path").found_for(bpy.context.scene)
    seen["map"] = {"s": round(time.monotonic() - begin, 1), "before": case().get("path", {}), "paths": len(found.paths)}
    yield from pause(5)
    mouse("MOUSEMOVE", "NOTHING", map_spot((0.2, 0.3)))
    yield from pause(6)
    picture("2_map_pointed")
    yield from click(map_spot((-0.15, 0.25)))
    tilt = tuple(case()["path"].values())
    yield from until(lambda: str(tilt)[1:-1] in shown_tilt(), 30)
    yield from pause(4)
    picture("2_map_clicked")
    seen["map"] |= {"clicked": case()["path"], "shown": shown_tilt()}
    yield from key("Z", middle(), ctrl=True)
    seen["map"]["undone"] = case().get("path", {})


def handle_spot(field: str) -> tuple[float, float]:
    """Where the handle of a number of the selected component is in the window."""
    handle = next(h for h in room("live").part(bpy.context.scene).handles if h["field"] == field)
    return on_screen(handle["point"])


def measures(name: str) -> dict[str, Any]:
    return next(c for c in case()["components"] if c["id"] == name)


def pull() -> Iterator[None]:
    """Take hold of a clasp and of the bar, pull, see the part follow, stop at a limit, undo."""
    live = room("live")

    def handled() -> bool:
        part = live.part(bpy.context.scene)
        return part is not None and bool(part.handles) and not live.finding()

    with here():
        bpy.ops.claspwright.select_component("EXEC_DEFAULT", True, name="I-bar 34")
    kept = area().spaces.active.region_3d.view_rotation.copy()
    look_from("LEFT")
    begin = time.monotonic()
    yield from until(handled, 60)
    seen["pull"] = {"first_s": round(time.monotonic() - begin, 2), "fields": [h["field"] for h in live.part(bpy.context.scene).handles]}
    yield from pause(2)
    spot = handle_spot("margin_mm")
    mouse("MOUSEMOVE", "NOTHING", spot)
    yield from pause(6)
    picture("3_handles")
    before, shown = dict(measures("I-bar 34")), live.part(bpy.context.scene).count
    mouse("LEFTMOUSE", "PRESS", spot)
    yield from pause(2)
    yield from glide(spot, (spot[0], spot[1] - 12), 3)
    begin, count = time.monotonic(), live.part(bpy.context.scene).count
    yield from until(lambda: live.part(bpy.context.scene).count > count, 20)
    seen["pull"] |= {"follow_s": round(time.monotonic() - begin, 2), "dragged": dict(measures("I-bar 34"))}
    yield from glide((spot[0], spot[1] - 12), (spot[0], spot[1] - 160), 3)
    yield from pause(3)
    picture("3_handle_stopped")
    mouse("LEFTMOUSE", "RELEASE", (spot[0], spot[1] - 160))
    yield from pause(3)
    document = room("document")
    yield from until(lambda: live.keys(document.need_case(bpy.context.scene), "I-bar 34")[0] == live.part(bpy.context.scene).key, 30)
    part = live.part(bpy.context.scene)
    seen["pull"] |= {"before": before, "after": measures("I-bar 34"), "facts": part.facts, "refused": part.refused}
    seen["pull"]["built_anew"] = part.count - shown
    yield from key("Z", middle(), ctrl=True)
    yield from pause(2)
    seen["pull"]["undone"] = measures("I-bar 34")
    area().spaces.active.region_3d.view_rotation = kept


def stop_a_build() -> Iterator[None]:
    with here():
        own().quick = True
        bpy.ops.claspwright.build("INVOKE_DEFAULT")
    yield from until(lambda: not idle() and jobs().current().call.stage not in ("starting", ""), 30)
    yield from pause(20)
    picture("4_building")
    bpy.ops.claspwright.stop()
    yield from until(idle, 10)
    seen["stopped"] = {"idle": idle(), "framework": "Framework" in bpy.context.scene.objects, "built": own().built_key}


def build() -> Iterator[None]:
    with here():
        bpy.ops.claspwright.build("INVOKE_DEFAULT")
    begin = last = time.monotonic()
    while not idle() and time.monotonic() < begin + 200:
        if time.monotonic() > last + 2:
            last = time.monotonic()
            tell(f"  {jobs().current().call.stage} {jobs().current().call.share}")
        yield
    seen["build_s"] = time.monotonic() - begin
    yield from pause(15)
    seen["checks"] = [c["status"] for c in json.loads(own().checks or "[]")]
    seen["built"] = {o.name: len(o.data.vertices) for o in bpy.context.scene.objects if o.name in ("Framework", "Master cast")}
    picture("5_built")
    yield from key("Z", middle(), ctrl=True)
    yield from pause(10)
    seen["build_undone"] = {"framework": "Framework" in bpy.context.scene.objects, "built": own().built_key}
    yield from key("Z", middle(), ctrl=True, shift=True)
    yield from pause(20)
    seen["build_redone"] = {o.name: len(o.data.vertices) for o in bpy.context.scene.objects if o.name in ("Framework", "Master cast")}


def place() -> Iterator[None]:
    """Click a tooth: a rest stands on it, on the side of the click; then the framework follows by itself."""
    follow, live = room("follow"), room("live")
    seed = next(t["seeds"][0] for t in case()["chart"]["teeth"] if t["fdi"] == 44)
    with here():
        bpy.ops.claspwright.view("EXEC_DEFAULT", True, what="SURVEY")
        bpy.ops.view3d.view_axis(type="TOP")
        bpy.ops.view3d.view_all()
        bpy.ops.claspwright.place("INVOKE_DEFAULT")
    yield from pause(8)
    yield from click(on_screen([seed[0] + 0.8, seed[1] - 1.6, seed[2]]))
    yield from key("ESC", middle())
    seen["placed"] = [c for c in case()["components"] if c.get("tooth") == 44]
    yield from until(lambda: follow.busy(), 30)
    seen["follow"] = {"began": follow.busy()}
    begin, landed = time.monotonic(), follow.now.count
    yield from until(lambda: bool(live.now.parts.get(own().component)), 60)
    seen["follow"]["part_s"] = round(time.monotonic() - begin, 2)
    picture("7_placed")
    yield from until(lambda: follow.now.count > landed, 120)
    yield from pause(5)
    document = room("document")
    seen["follow"]["s"] = round(time.monotonic() - begin, 2)
    seen["follow"]["current"] = live.current(bpy.context.scene, document.need_case(bpy.context.scene))
    with here():
        bpy.ops.claspwright.view("EXEC_DEFAULT", True, what="FRAMEWORK")
    yield from pause(3)
    picture("7_followed")
    for _ in range(3):  # the view, the rest, the view
        yield from key("Z", middle(), ctrl=True)
    seen["follow"]["undone"] = [c for c in case()["components"] if c.get("tooth") == 44]
    seen["follow"]["fits_or_known_stale"] = live.current(bpy.context.scene, document.need_case(bpy.context.scene)) or (
        bpy.data.objects["Framework"].data["claspwright_built"] != own().built_key
    )


def tour() -> Iterator[None]:
    """Have every panel drawn: a component's form, passed and accepted checks, the draft's reasons, down to the cautions."""
    kept = own().case_text
    with here():
        bpy.ops.claspwright.select_component("EXEC_DEFAULT", True, name="lingual bar")
        bpy.ops.claspwright.overrule("EXEC_DEFAULT", True, check="form.feather", reason="Polished by hand")
        bpy.ops.claspwright.view("EXEC_DEFAULT", True, what="METAL")
        bpy.ops.claspwright.go_to("EXEC_DEFAULT", place=(-17.0, -9.0, -2.0))
    own().all_checks, own().reasons = True, "? something is open\nlingual bar: because"
    panel = region("UI")
    for k in range(2):
        for _ in range(100 if k else 12):
            mouse("WHEELDOWNMOUSE", "PRESS", (panel.x + panel.width / 2, panel.y + panel.height / 2))
        area().tag_redraw()
        yield from pause(12)
        picture(f"5_{'ab'[k]}_panels")
    own().reasons = ""
    yield from key("Z", middle(), ctrl=True)
    yield from key("Z", middle(), ctrl=True)
    yield from key("Z", middle(), ctrl=True)
    seen["tour_undone"] = own().case_text == kept


def keep() -> Iterator[None]:
    """Save, reopen, export."""
    kept = own().case_text
    with here():
        bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "case.blend"), compress=True)
        bpy.ops.wm.open_mainfile(filepath=str(OUT / "case.blend"))
    yield from pause(30)
    seen["reopened"] = {"same_case": own().case_text == kept, "framework": "Framework" in bpy.context.scene.objects}
    with here():
        bpy.ops.claspwright.export("EXEC_DEFAULT", what="FRAMEWORK_STL", filepath=str(OUT / "framework.stl"))
    (OUT / "case_in_window.json").write_text(own().case_text, encoding="utf-8")
    yield from pause(10)
    picture("6_reopened")


def way() -> Iterator[None]:
    parts = (install, open_it, mark, tilt, rod, choose, pull, stop_a_build, build, tour, keep, place)
    for part in [p for p in parts if not wanted or p.__name__ in wanted]:
        phase(part.__name__)
        tell(part.__name__)
        begin = time.monotonic()
        yield from part()
        seen.setdefault("seconds", {})[part.__name__] = round(time.monotonic() - begin, 1)


start(way())
