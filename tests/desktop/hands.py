"""Hands and eyes in a desktop Blender's window: mouse, keys, pictures of the screen, waiting; and the walk that takes one step a tick.

What is seen goes into `seen`, which the walk's end writes down. The script that begins a walk ends with `start(way())`.
"""

import importlib
import json
import shutil
import subprocess
import sys
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
from bpy_extras import view3d_utils
from mathutils import Vector

NAME = "bl_ext.user_default.claspwright"
TICK_S = 0.02
zip_path, case_path, folder, *wanted = sys.argv[sys.argv.index("--") + 1 :]
OUT = Path(folder)
seen: dict[str, Any] = {"gaps": {}, "pictures": []}
clock = {"last": time.perf_counter(), "phase": "start"}


def window() -> Any:
    return bpy.context.window_manager.windows[0]


def area() -> Any:
    return next(a for a in window().screen.areas if a.type == "VIEW_3D")


def region(kind: str = "WINDOW") -> Any:
    return next(r for r in area().regions if r.type == kind)


def here() -> Any:
    """The context that a click in the 3D view has."""
    return bpy.context.temp_override(window=window(), area=area(), region=region())


def own() -> Any:
    return bpy.context.scene.claspwright


def case() -> dict[str, Any]:
    return json.loads(own().case_text) if own().case_text else {}


def picture(name: str) -> None:
    """The screen as it is, where the tool for it is there."""
    if shutil.which("import"):
        subprocess.run(["import", "-window", "root", str(OUT / f"{name}.png")], check=False, timeout=30)
        seen["pictures"].append(name)


def pause(ticks: int) -> Iterator[None]:
    for _ in range(ticks):
        yield


def until(done: Any, seconds: float) -> Iterator[None]:
    """Ticks until `done()` or the time is over; the caller looks again."""
    end = time.monotonic() + seconds
    while not done() and time.monotonic() < end:
        yield


def phase(name: str) -> None:
    clock["phase"] = name


def mouse(kind: str, value: str, spot: tuple[float, float], **keys: bool) -> None:
    window().event_simulate(type=kind, value=value, x=int(spot[0]), y=int(spot[1]), **keys)


def click(spot: tuple[float, float], **keys: bool) -> Iterator[None]:
    mouse("MOUSEMOVE", "NOTHING", spot)
    yield from pause(3)
    mouse("LEFTMOUSE", "PRESS", spot, **keys)
    yield
    mouse("LEFTMOUSE", "RELEASE", spot, **keys)
    yield from pause(3)


def key(kind: str, spot: tuple[float, float], **keys: bool) -> Iterator[None]:
    window().event_simulate(type=kind, value="PRESS", x=int(spot[0]), y=int(spot[1]), **keys)
    window().event_simulate(type=kind, value="RELEASE", x=int(spot[0]), y=int(spot[1]), **keys)
    yield from pause(5)


def on_screen(point: list[float]) -> tuple[float, float]:
    """Where a point of the cast (mm) lies in the window."""
    thing = bpy.context.scene.objects["Cast"]
    space = area().spaces.active
    flat = view3d_utils.location_3d_to_region_2d(region(), space.region_3d, thing.matrix_world @ Vector(point))
    return region().x + flat.x, region().y + flat.y


def jobs() -> Any:
    return importlib.import_module(f"{NAME}.addon.jobs")


def idle() -> bool:
    return jobs().current() is None


def crowns_shown() -> bool:
    document, thing = importlib.import_module(f"{NAME}.addon.document"), bpy.context.scene.objects["Cast"]
    return thing.data.get("claspwright_teeth") == document.teeth_key(document.find_case(bpy.context.scene))


def shown_tilt() -> str:
    return str(bpy.context.scene.objects["Cast"].data.get("claspwright_shown", ""))


def middle() -> tuple[float, float]:
    return region().x + region().width / 2, region().y + region().height / 2


def look_from(side: str) -> None:
    """Turn the view to one of Blender's own sides and back off a little."""
    with here():
        bpy.ops.view3d.view_axis(type=side)


def watch(name: str, function: str) -> None:
    """Time a function of the add-on: the longest call of each phase goes to seen["spent"]."""
    module = room(name)
    inner = getattr(module, function)

    def timed(*values: Any, **more: Any) -> Any:
        begin = time.perf_counter()
        try:
            return inner(*values, **more)
        finally:
            spent = seen.setdefault("spent", {}).setdefault(f"{name}.{function}", {})
            spent[clock["phase"]] = max(spent.get(clock["phase"], 0.0), round(time.perf_counter() - begin, 3))

    setattr(module, function, timed)


def drag(begin: tuple[float, float], end: tuple[float, float], steps: int = 12, **keys: bool) -> Iterator[None]:
    """Press at one place, move in small steps, let go at the other."""
    mouse("MOUSEMOVE", "NOTHING", begin)
    yield from pause(8)
    mouse("LEFTMOUSE", "PRESS", begin, **keys)
    yield from pause(2)
    yield from glide(begin, end, steps, **keys)
    mouse("LEFTMOUSE", "RELEASE", end, **keys)
    yield from pause(6)


def glide(begin: tuple[float, float], end: tuple[float, float], steps: int = 12, **keys: bool) -> Iterator[None]:
    """Move in small steps."""
    for k in range(1, steps + 1):
        spot = (begin[0] + (end[0] - begin[0]) * k / steps, begin[1] + (end[1] - begin[1]) * k / steps)
        mouse("MOUSEMOVE", "NOTHING", spot, **keys)
        yield from pause(2)


def room(name: str) -> Any:
    """A module of the add-on."""
    return importlib.import_module(f"{NAME}.addon.{name}")


def watch_drawing() -> None:
    """Time the drawing of the view, from its first to its last part: the longest picture of each phase."""
    begin = [0.0]

    def first() -> None:
        begin[0] = time.perf_counter()

    def last() -> None:
        spent = seen.setdefault("spent", {}).setdefault("view", {})
        spent[clock["phase"]] = max(spent.get(clock["phase"], 0.0), round(time.perf_counter() - begin[0], 3))

    bpy.types.SpaceView3D.draw_handler_add(first, (), "WINDOW", "PRE_VIEW")
    bpy.types.SpaceView3D.draw_handler_add(last, (), "WINDOW", "POST_PIXEL")


walk: list[Iterator[None]] = []


def tick() -> float | None:
    now = time.perf_counter()
    gaps = seen["gaps"]
    gaps[clock["phase"]] = max(gaps.get(clock["phase"], 0.0), round(now - clock["last"], 3))
    try:
        next(walk[0])
    except StopIteration:
        end(0)
    except BaseException:  # noqa: BLE001 (written down, and the end of this run)
        seen["error"] = traceback.format_exc()
        end(4)
    clock["last"] = time.perf_counter()
    return TICK_S


def tell(words: str) -> None:
    """Where it is, for whoever looks at a run that takes long."""
    with open(OUT / "trace.txt", "a", encoding="utf-8") as stream:
        stream.write(f"{time.strftime('%H:%M:%S')} {words}\n")


def end(code: int) -> None:
    (OUT / "seen.json").write_text(json.dumps(seen), encoding="utf-8")
    if code == 0:
        importlib.import_module("addon_utils").disable(NAME)
        bpy.ops.wm.quit_blender()
    sys.exit(code)


def start(way: Iterator[None]) -> None:
    """Begin the walk."""
    walk.append(way)
    bpy.app.timers.register(tick, first_interval=1.0, persistent=True)


bpy.context.preferences.view.show_splash = False
bpy.context.preferences.view.use_save_prompt = False
bpy.context.preferences.system.viewport_aa = "OFF"  # drawing is in software here: every picture would be drawn eight times
