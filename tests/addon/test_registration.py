"""Registering the add-on from the installed package, without the extension loader: again and again, and nothing left behind."""

import gc
import subprocess
import sys
from typing import Any

import pytest

bpy = pytest.importorskip("bpy")

import claspwright  # noqa: E402 (after the check for bpy)

HEAVY = {"scipy", "trimesh", "manifold3d", "embreex", "PIL"}


def footprint() -> dict[str, Any]:
    """Everything that an add-on could leave behind."""
    owners = ("Scene", "Object", "WindowManager", "Mesh", "Collection")
    kept: dict[str, Any] = {f"{o}.{n}" for o in owners for n, _ in getattr(bpy.types, o).bl_rna.properties.items()}  # type: ignore[assignment]
    handlers = {n: len(v) for n in dir(bpy.app.handlers) if isinstance(v := getattr(bpy.app.handlers, n), list)}
    classes = {c for c in dir(bpy.types) if c.startswith("CLASPWRIGHT")}
    keys = {k.name: len(k.keymap_items) for c in bpy.context.window_manager.keyconfigs for k in c.keymaps}
    helps = len(bpy.types.TOPBAR_MT_help._dyn_ui_initialize())
    return {
        "properties": kept, "handlers": handlers, "classes": classes, "operators": dir(bpy.ops.claspwright), "keys": keys, "help": helps,
    }  # fmt: skip


def test_register_and_unregister_ten_times(registered: None):
    claspwright.unregister()
    gc.collect()
    before = footprint()
    assert before["classes"] == set() and before["operators"] == []
    for _ in range(10):
        claspwright.register()
        there = footprint()
        assert len(there["classes"]) > 30 and there["help"] == before["help"] + 1
        assert there["keys"] == before["keys"], "no shortcut of Blender's is taken"
        claspwright.unregister()
        assert footprint() == before
    claspwright.register()


def test_registering_loads_nothing_heavy_and_leaves_no_process():
    code = (
        "import sys, bpy, claspwright, threading, multiprocessing\n"
        "claspwright.register()\n"
        "from claspwright.addon import derived, jobs\n"
        "print(*{n.split('.')[0] for n in sys.modules})\n"
        "assert not derived.bench.alive and not jobs.builder.alive\n"
        "assert len(threading.enumerate()) == 1\n"
        "claspwright.unregister()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert set(done.stdout.split()) & HEAVY == set()
    assert "Warning" not in done.stdout + done.stderr and "Error" not in done.stdout + done.stderr


def test_scripts_are_reloaded_safely():
    """As Blender's own reload does it: off, every module read again, on. In a process of its own, or later tests would hold old classes."""
    code = (
        "import importlib, sys, bpy, claspwright\n"
        "seen = lambda: ({c for c in dir(bpy.types) if c.startswith('CLASPWRIGHT')}, dir(bpy.ops.claspwright),\n"
        "    {n: len(v) for n in dir(bpy.app.handlers) if isinstance(v := getattr(bpy.app.handlers, n), list)},\n"
        "    len(bpy.types.TOPBAR_MT_help._dyn_ui_initialize()))\n"
        "claspwright.register()\n"
        "before = seen()\n"
        "for _ in range(3):\n"
        "    claspwright.unregister()\n"
        "    for name in sorted(n for n in sys.modules if n.startswith('claspwright.addon')):\n"
        "        importlib.reload(sys.modules[name])\n"
        "    importlib.reload(claspwright)\n"
        "    claspwright.register()\n"
        "    assert seen() == before\n"
        "assert len(before[0]) > 30 and bpy.context.scene.claspwright.case_text == ''\n"
        "claspwright.unregister()\n"
        "assert not seen()[0]\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stdout + done.stderr and "Error" not in done.stdout + done.stderr


def test_a_failure_half_way_takes_the_rest_back(registered: None, monkeypatch: pytest.MonkeyPatch):
    claspwright.unregister()
    before = footprint()
    from claspwright.addon import panels_work

    def fail() -> None:
        raise RuntimeError("made up")

    monkeypatch.setattr(panels_work, "register", fail)
    with pytest.raises(RuntimeError, match="made up"):
        claspwright.register()
    assert footprint() == before
    monkeypatch.undo()
    claspwright.register()


def test_every_operator_and_panel_is_named_and_explained(registered: None):
    for name in sorted(n for n in dir(bpy.types) if n.startswith("CLASPWRIGHT_OT")):
        cls = getattr(bpy.types, name)
        assert cls.__doc__ and cls.bl_label, name
        if "UNDO" in getattr(cls, "bl_options", set()):
            assert "REGISTER" in cls.bl_options, name
    panels = [getattr(bpy.types, n) for n in dir(bpy.types) if n.startswith("CLASPWRIGHT_PT")]
    assert {p.bl_category for p in panels} == {"Claspwright"}


# Beginnings, and what is only read.
WITHOUT_A_CASE = {"choose_scan", "choose_case", "open_scan", "open_case", "open_sample", "first_steps"}


def test_nothing_can_be_pressed_without_a_case(scene: Any):
    """All operators that are registered, so that a new one has to take a side here."""
    ready = {name for name in dir(bpy.ops.claspwright) if getattr(bpy.ops.claspwright, name).poll()}
    assert ready == WITHOUT_A_CASE


def test_pointing_needs_a_view(opened: Any):
    with bpy.context.temp_override(area=None, region=None):
        assert not bpy.ops.claspwright.mark_teeth.poll() and not bpy.ops.claspwright.place.poll()
        assert bpy.ops.claspwright.level.poll()
