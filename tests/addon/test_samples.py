"""sample_scenes/*/*.blend: small, with something to see for those who lack the add-on, and whole for those who have it."""

import json
from pathlib import Path
from typing import Any

import pytest

bpy = pytest.importorskip("bpy")

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "sample_scenes").glob("*/*.blend"))


def test_every_sample_case_has_its_blend():
    folder = Path(__file__).resolve().parents[2] / "sample_scenes"
    assert {p.parent.name for p in SAMPLES} == {p.parent.name for p in folder.glob("*/case.json")}


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_a_sample_can_be_looked_at_and_worked_on(registered: None, path: Path):
    assert path.stat().st_size < 3_000_000
    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene: Any = bpy.context.scene
    assert scene.camera is not None and scene.unit_settings.scale_length == pytest.approx(0.001)
    shown = {o.name: o for o in bpy.data.collections["Claspwright"].objects}
    assert set(shown) == {"Prepared cast", "Framework"} and all(o.visible_get() for o in shown.values())
    assert shown["Framework"].active_material.metallic == 1.0
    assert 50 < max(shown["Prepared cast"].dimensions) < 90, "millimetres"
    assert json.loads(scene.claspwright.case_text) == json.loads(path.with_name("case.json").read_text(encoding="utf-8"))
    assert scene.claspwright.folder == "//", "no folder of the machine that made it"
    assert not bpy.data.texts and not [i for i in bpy.data.images if i.source == "FILE"]


def test_the_cast_comes_back_into_a_sample(registered: None):
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLES[0]))
    assert bpy.ops.claspwright.bring_cast() == {"FINISHED"}
    assert {"Cast", "Framework"} <= set(bpy.context.scene.objects.keys()), "the framework stays"
    assert bpy.context.scene.claspwright.folder == "//"
