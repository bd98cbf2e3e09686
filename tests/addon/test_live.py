"""Single components beside the build: what is built again after which edit, where it can be held, and what is done when it cannot be."""

import dataclasses
import time
from typing import Any

import numpy as np
import pytest
import trimesh

bpy = pytest.importorskip("bpy")

from claspwright.core.case import load_case  # noqa: E402
from claspwright.core.case.edit import put_component  # noqa: E402
from claspwright.core.case.keys import cuts_key, named, part_key  # noqa: E402

C = bpy.ops.claspwright


def settle(scene: Any, seconds: float = 60.0) -> None:
    """What the window's timer does, until nothing is left to do."""
    from claspwright.addon import derived

    end = time.monotonic() + seconds
    while derived.step(scene) and time.monotonic() < end:
        time.sleep(0.01)


def test_a_selected_part_is_built_and_follows_its_numbers(opened: Any):
    from claspwright.addon import forms, live

    C.select_component(name="I-bar 34")
    settle(opened)
    first = live.part(opened)
    assert first is not None and not first.refused and len(first.mesh["faces"]) > 1000
    assert set(live.now.parts) == {c.id for c in forms.document.need_case(opened).components}, "no framework yet: all parts stand as wax"
    grown = {h["field"]: h for h in first.handles}
    assert {"gauge_mm", "margin_mm"} <= set(grown)
    handle = grown["margin_mm"]
    opened.claspwright.form_i_bar.margin_mm = handle["value"] + 0.5
    live.held.add("margin_mm")  # as while the pointer holds it: the others wait
    settle(opened)
    moved = live.part(opened)
    assert moved.count > first.count and moved.handles == first.handles
    # the metal went where the handle said, as far as it said: the surface measured by trimesh, triangle by triangle
    place, way = np.array(handle["point"]), np.array(handle["way"])
    mesh = trimesh.Trimesh(moved.mesh["vertices"], moved.mesh["faces"], process=False)
    spots = np.array([place, place + way * 0.5 / handle["per_mm"]])
    _, off, _ = trimesh.proximity.closest_point_naive(mesh, spots)
    assert off[0] > 0.25 and off[1] < 0.12, "from the old place the surface is gone, at the new one it is"
    live.held.clear()
    opened.claspwright.form_i_bar.gauge_mm = 0.75  # deeper than this crown is undercut
    settle(opened)
    refused = live.part(opened)
    assert refused.refused and refused.mesh, "what cannot be built says why, and what was there is still shown"
    assert "I-bar 34" in live.now.good and live.now.good["I-bar 34"].gauge_mm == pytest.approx(0.25)


def test_what_is_built_again_after_which_edit(case_file: Any):
    case = load_case(case_file)
    names = [c.id for c in case.components]

    def touched(name: str, **change: Any) -> set[str]:
        other = put_component(case, dataclasses.replace(named(case, name), **change))
        assert (cuts_key(other) != cuts_key(case)) == (name in ("rest 34", "guide plate 34"))
        return {n for n in names if part_key(other, n) != part_key(case, n)}

    assert touched("I-bar 34", gauge_mm=0.5) == {"I-bar 34", "rest 34", "minor connector 34", "guide plate 34"}
    assert touched("rest 34", width_mm=3.0) == {"I-bar 34", "rest 34", "minor connector 34", "guide plate 34"}
    assert touched("lingual bar", height_mm=4.5) == set(names), "everything may lean on a connector"


def test_limits_say_why():
    from claspwright.addon.handle_gizmo import reading
    from claspwright.core.case.limits import why

    assert reading("gauge_mm", 0.25) == "Gauge 0.25 mm" and reading("reach_deg", 118.0) == "Reach 118°"
    assert "margin" in why("margin_mm", "least") and why("strut_margin_mm", "most") != why("margin_mm", "most")
    assert why("tip_width_mm", "least") == why("width_mm", "least")
