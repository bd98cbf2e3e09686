"""Marking, charting, tilting, components: what the document says after each act, what the view shows, and undo and redo of it."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from claspwright.core.case import load_case  # noqa: E402
from claspwright.core.survey import Path as Placement  # noqa: E402
from claspwright.core.survey import contours_to_show, survey  # noqa: E402
from claspwright.core.teeth import find_teeth  # noqa: E402

C = bpy.ops.claspwright


def document(scene: Any) -> dict[str, Any]:
    return json.loads(scene.claspwright.case_text)


def numbers(name: str, kind: type) -> Any:
    data = bpy.data.objects["Cast"].data
    values = np.zeros(len(data.vertices), dtype=kind)
    data.attributes[name].data.foreach_get("value", values)
    return values


def colours() -> Any:
    data = bpy.data.objects["Cast"].data
    values = np.zeros(4 * len(data.vertices), dtype=np.float32)
    data.color_attributes["Cast"].data.foreach_get("color", values)
    return values.reshape(-1, 4)


def mesh_of(scene: Any) -> Any:
    from claspwright.addon import bridge

    return bridge.to_core(bpy.data.objects["Cast"].data)


def test_crowns_are_those_of_the_core(opened: Any, case_file: Path):
    C.refresh()
    case = load_case(case_file)
    from claspwright.core.pipeline.build import mark_teeth, read_cast

    expected = mark_teeth(case, read_cast(case)).labels
    assert np.array_equal(numbers("tooth", np.int32), expected)
    assert set(np.unique(expected)) == {0, 31, 32, 33, 34, 41, 42, 43, 44}


def test_crowns_are_coloured_each_its_own(opened: Any):
    opened.claspwright.shade = "CROWNS"
    C.refresh()
    labels, shown = numbers("tooth", np.int32), colours()
    each = {n: {tuple(c) for c in shown[labels == n]} for n in np.unique(labels)}
    assert all(len(c) == 1 for c in each.values()), "one colour a crown"
    assert each[33] != each[34] and each[34] != each[0]


def test_marking_a_tooth_from_a_click(opened: Any, case_file: Path):
    """Take a mark away, put it back where a click would: the crown goes and comes."""
    seed = next(t for t in document(opened)["chart"]["teeth"] if t["fdi"] == 44)["seeds"][0]
    C.chart_tooth(fdi=44, state="uncharted")
    C.refresh()
    assert 44 not in numbers("tooth", np.int32)
    C.mark_tooth(fdi=44, point=seed)
    C.refresh()
    again = next(t for t in document(opened)["chart"]["teeth"] if t["fdi"] == 44)["seeds"]
    assert again == [pytest.approx(seed, abs=2e-3)]
    assert (numbers("tooth", np.int32) == 44).sum() > 50


def test_taking_away_from_a_crown(opened: Any):
    """A "no crown here" mark reaches the core's search for teeth, and is stored with the case."""
    C.refresh()
    mesh, labels = mesh_of(opened), numbers("tooth", np.int32)
    lowest = mesh.vertices[labels == 34][mesh.vertices[labels == 34][:, 2].argmin()]
    C.mark_not_here(point=lowest.tolist())
    C.refresh()
    seeds = {t["fdi"]: np.array(t["seeds"]) for t in document(opened)["chart"]["teeth"]}
    kept = np.array(document(opened)["chart"]["not_here"])
    expected = find_teeth(mesh, "lower", seeds, (), not_here=kept).labels
    assert (numbers("tooth", np.int32) != expected).mean() < 0.002  # the child reads the scan in double precision, the view in single
    assert (numbers("tooth", np.int32) != labels).any()
    C.clear_not_here()
    assert "not_here" not in document(opened)["chart"]


def test_the_chart(opened: Any):
    C.chart_tooth(fdi=37, state="not replaced")
    assert 37 in document(opened)["chart"]["not_replaced"]
    C.chart_tooth(fdi=37, state="uncharted")
    assert 37 not in document(opened)["chart"]["missing"]
    C.chart_rest()
    chart = document(opened)["chart"]
    assert sorted([*chart["missing"], *(t["fdi"] for t in chart["teeth"])]) == [*range(31, 39), *range(41, 49)]
    C.renumber_tooth(fdi=34, to=35)
    assert {c.get("tooth") for c in document(opened)["components"]} == {None, 35}, "components go with their tooth"


def test_wrong_numbers_get_one_line(opened: Any):
    for action, values, words in (
        (C.mark_tooth, {"fdi": 14, "point": (0, 0, 0)}, "does not stand in the lower arch"),
        (C.renumber_tooth, {"fdi": 34, "to": 33}, "marked already"),
        (C.add_component, {"kind": "occlusal_rest", "tooth": 19}, "does not stand"),
        (C.remove_component, {"name": "nobody"}, "no component"),
    ):
        before = opened.claspwright.case_text
        with pytest.raises(RuntimeError, match=words):
            action(**values)
        assert opened.claspwright.case_text == before, "what is refused changes nothing"


def test_tilt_shades_as_the_core_surveys(opened: Any):
    opened.claspwright.anteroposterior_deg, opened.claspwright.lateral_deg = 5.0, -3.0
    C.refresh()
    assert document(opened)["path"] == {"anteroposterior_deg": 5.0, "lateral_deg": -3.0}
    expected = survey(mesh_of(opened), Placement(5.0, -3.0))
    assert numbers("undercut", np.float32) == pytest.approx(expected.undercut, abs=1e-4)
    drawn = sum(len(s.points) for s in bpy.data.objects["Height of contour"].data.splines)
    assert drawn == sum(len(c.points) for c in contours_to_show(mesh_of(opened), expected))
    deep, seen = expected.undercut > 0.4, expected.visible
    assert colours()[deep].mean(axis=0)[0] < colours()[seen].mean(axis=0)[0] - 0.1, "deep undercut is dark and blue"


@pytest.mark.parametrize("arch", ["upper", "lower"])
def test_the_tilt_says_whose_right(registered: None, arch: str):
    """Against the words of the report, and against the numbers of the teeth: +X holds quadrants 2 and 4 (ISO 3950: 2 left, 4 right)."""
    from claspwright.addon.panels_work import lowered_side
    from claspwright.core.output.wording import tilt_words
    from claspwright.core.teeth import numbering

    assert lowered_side(arch).lower() in tilt_words(0.0, 5.0, arch)
    assert numbering.name(numbering.order(arch)[-1]).split()[1] == lowered_side(arch).split()[1]


def test_tilt_has_limits(opened: Any):
    opened.claspwright.lateral_deg = 80.0
    assert opened.claspwright.lateral_deg == pytest.approx(30.0)
    C.level()
    assert "path" not in document(opened) or document(opened)["path"] == {}


def test_editing_a_component(opened: Any):
    C.select_component(name="lingual bar")
    form = opened.claspwright.form_lingual_bar
    assert form.height_mm == pytest.approx(4.1)
    form.height_mm = 4.5
    form.start = 33
    bar = document(opened)["components"][0]
    assert (bar["height_mm"], bar["start"]) == (4.5, 33)
    form.height_mm = 50.0
    assert form.height_mm == pytest.approx(6.0), "the limits of the document are those of the field"
    C.select_component(name="base 3")
    opened.claspwright.form_lattice_base.teeth = "35, 36"
    assert next(c for c in document(opened)["components"] if c["id"] == "base 3")["teeth"] == [35, 36]
    opened.claspwright.form_lattice_base.teeth = "thirty-five"
    from claspwright.addon import document as room

    assert "whole numbers" in room.notices[opened.name]


def test_adding_and_removing_components(opened: Any):
    kinds = [item.identifier for item in C.add_component.get_rna_type().properties["kind"].enum_items]
    assert len(kinds) >= 10
    for kind in kinds:
        assert C.add_component(kind=kind, tooth=44) == {"FINISHED"}
    added = document(opened)["components"][6:]
    assert [c["kind"] for c in added] == kinds and len({c["id"] for c in added}) == len(kinds)
    C.remove_component(name=added[0]["id"])
    assert len(document(opened)["components"]) == 5 + len(kinds)


def test_undo_and_redo_of_every_act(opened: Any):
    """Each operator with an undo step of its own: the document goes back and comes again, and what is derived follows when looked at."""
    acts = [
        lambda: C.level("EXEC_DEFAULT", True),
        lambda: C.chart_tooth("EXEC_DEFAULT", True, fdi=44, state="missing"),
        lambda: C.mark_tooth("EXEC_DEFAULT", True, fdi=44, point=(16.783, -9.102, -0.368)),
        lambda: C.mark_not_here("EXEC_DEFAULT", True, point=(20, -9, -8)),
        lambda: C.clear_not_here("EXEC_DEFAULT", True),
        lambda: C.renumber_tooth("EXEC_DEFAULT", True, fdi=34, to=35),
        lambda: C.chart_rest("EXEC_DEFAULT", True),
        lambda: C.add_component("EXEC_DEFAULT", True, kind="occlusal_rest", tooth=44),
        lambda: C.remove_component("EXEC_DEFAULT", True, name="lingual bar"),
        lambda: C.clear("EXEC_DEFAULT", True),
    ]
    opened.claspwright.anteroposterior_deg = 2.0
    bpy.ops.ed.undo_push(message="tilt")
    states = [bpy.context.scene.claspwright.case_text]
    for act in acts:
        assert act() == {"FINISHED"}
        states.append(bpy.context.scene.claspwright.case_text)
    assert all(a != b for a, b in zip(states, states[1:], strict=False)), "every act changes the document"
    for state in reversed(states[:-1]):
        bpy.ops.ed.undo()
        assert bpy.context.scene.claspwright.case_text == state
    for state in states[1:]:
        bpy.ops.ed.redo()
        assert bpy.context.scene.claspwright.case_text == state
    assert "Cast" not in bpy.context.scene.objects
    bpy.ops.ed.undo()
    assert "Cast" in bpy.context.scene.objects, "clearing is undone with its objects"


def test_what_is_derived_follows_an_undo(opened: Any):
    C.refresh("EXEC_DEFAULT", True)
    flat = numbers("undercut", np.float32).copy()
    opened.claspwright.anteroposterior_deg = 8.0
    bpy.ops.ed.undo_push(message="tilt")
    C.refresh()  # outside any undo step, as the window's timer does it
    assert not np.array_equal(numbers("undercut", np.float32), flat)
    bpy.ops.ed.undo()
    C.refresh()
    assert np.array_equal(numbers("undercut", np.float32), flat)


def test_save_and_reopen_carry_the_case(opened: Any, tmp_path: Path):
    opened.claspwright.lateral_deg = 2.5
    C.refresh()
    text, undercut = opened.claspwright.case_text, numbers("undercut", np.float32).copy()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "case.blend"))
    bpy.ops.wm.read_factory_settings()
    assert bpy.context.scene.claspwright.case_text == ""
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "case.blend"))
    assert bpy.context.scene.claspwright.case_text == text
    assert np.array_equal(numbers("undercut", np.float32), undercut)
    bpy.context.scene.claspwright.lateral_deg = 0.0
    C.refresh()  # the survey goes on with the mesh read back from the file
    assert not np.array_equal(numbers("undercut", np.float32), undercut)


def test_marks_are_proposed_for_every_crown(opened: Any, case_file: Path):
    """All marks away, then proposed: the made-up cast's own crowns come back under their numbers."""
    truth = [t["fdi"] for t in document(opened)["chart"]["teeth"]]
    for fdi in truth:
        C.chart_tooth(fdi=fdi, state="uncharted")
    assert C.propose_marks() == {"FINISHED"}
    assert [t["fdi"] for t in document(opened)["chart"]["teeth"]] == truth


def test_a_design_is_drafted_with_reasons(opened: Any):
    assert C.draft() == {"FINISHED"}
    parts = document(opened)["components"]
    kinds = {c["kind"] for c in parts}
    assert {"lattice_base", "occlusal_rest", "guide_plate"} <= kinds and kinds & {"lingual_bar", "lingual_plate"}
    assert all(any(line.startswith(f"{c['id']}: ") for line in opened.claspwright.reasons.splitlines()) for c in parts)
    for fdi in (35, 36, 37, 38, 45, 46, 47, 48):
        C.chart_tooth(fdi=fdi, state="not replaced")
    with pytest.raises(RuntimeError, match="nothing to design"):
        C.draft()


def test_paths_are_searched_and_taken_from_the_map(opened: Any):
    """The map's best path is the core's own search; a spot of the disk and its tilt are each other's (azimuthal equidistant chart)."""
    from claspwright.addon import document as room
    from claspwright.addon import ops_path

    assert C.search_path() == {"FINISHED"}
    found = ops_path.found_for(opened)
    assert found is not None and found.paths[0]["name"] == "best"
    score = found.map.values[:, 0]
    places = {tuple(np.round(p, 6)): s for p, s in zip(found.map.plane, score, strict=True)}
    best = Placement(found.paths[0]["anteroposterior_deg"], found.paths[0]["lateral_deg"])
    near = min(places, key=lambda p: np.hypot(*(np.array(p) - 20.0 * np.array(found.map.share(best)))))
    assert len(score) > 400 and (score < places[near]).mean() < 0.01, "beside the best path lies one of the least scores of the map"
    for place in ((3.0, 4.0), (-6.0, 1.0)):
        share = (place[0] / 20.0, place[1] / 20.0)
        path = found.map.path(share)
        # Euclid: the tilt of the rod is the distance from the middle of the disk, whichever way
        assert path.tilt_deg == pytest.approx(np.hypot(*place), abs=1e-9) and found.map.share(path) == pytest.approx(share)
        assert (path.lateral_deg * place[0] > 0) and (path.anteroposterior_deg * place[1] > 0)
    assert found.map.reading(Placement(0.0, 0.0))[0] == f"score: {score[np.hypot(*found.map.plane.T).argmin()]:.2f}"
    assert found.map.reading(Placement(29.0, 0.0)) == () and found.map.share(Placement(29.0, 0.0)) is None
    picture = found.picture
    assert picture.shape == (256, 256, 4) and picture[128, 128, 3] == 255 and picture[0, 0, 3] == 0
    best = found.paths[0]
    C.take_path(anteroposterior_deg=best["anteroposterior_deg"], lateral_deg=best["lateral_deg"])
    assert opened.claspwright.lateral_deg == pytest.approx(best["lateral_deg"])
    assert ops_path.is_current(found, room.need_case(opened)), "the map does not hang on the tilt that is taken"
    C.remove_component(name="I-bar 34")
    assert not ops_path.is_current(found, room.need_case(opened))


def view_context() -> Any:
    """The context that a click in the 3D view has."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    return bpy.context.temp_override(window=window, area=area, region=next(r for r in area.regions if r.type == "WINDOW"))


def test_placing_needs_a_view_and_a_marked_tooth(opened: Any):
    """In the window it is clicked (tests/desktop); here who may press it, and what a click hits."""
    from claspwright.addon import ops_place

    assert not C.place.poll(), "without a 3D view there is nothing to click in"
    C.refresh()
    thing = bpy.data.objects["Cast"]
    with view_context():
        assert C.place.poll()
        for fdi in (33, 34, 44):
            seed = next(t for t in document(opened)["chart"]["teeth"] if t["fdi"] == fdi)["seeds"][0]
            hit, _, _, face = thing.ray_cast((seed[0], seed[1], 60.0), (0.0, 0.0, -1.0))
            assert hit and ops_place.tooth_under(thing, face) == fdi
        assert ops_place.tooth_under(thing, -1) == 0
        for tooth in document(opened)["chart"]["teeth"]:
            C.chart_tooth(fdi=tooth["fdi"], state="uncharted")
        assert not C.place.poll(), "greyed, and its tooltip says to mark the teeth first"


def test_stop_ends_the_work_and_is_greyed_without_any(opened: Any):
    from claspwright.addon import derived, jobs
    from claspwright.addon import document as room

    assert not C.stop.poll()
    before, case = opened.claspwright.case_text, room.need_case(opened)
    call = derived.bench.start("find_teeth", case=room.as_json(case), folder=case.folder)
    jobs.running["now"] = jobs.Job("Finding", derived.bench, call, opened.name)
    try:
        assert C.stop.poll() and not C.build.poll(), "one work at a time"
        assert C.stop() == {"FINISHED"}
        assert call.over and not derived.bench.alive and opened.claspwright.case_text == before
    finally:
        jobs.running.clear()
    assert not C.stop.poll()


def test_views_are_set_and_a_turntable_goes_round(opened: Any):
    """The camera goes once round what is shown, at the same distance and aimed at its middle; all of it is one undo step."""
    from claspwright.addon import ops_look

    with pytest.raises(RuntimeError, match="nothing of this case is shown"):
        C.look(side="FRONT")
    with view_context():
        ways = {"OCCLUSAL": (0, 0, 1), "FRONT": (0, 1, 0), "TISSUE": (0, 0, -1), "RIGHT": (1, 0, 0), "LEFT": (-1, 0, 0)}
        for side, way in ways.items():
            assert C.look(side=side) == {"FINISHED"}
            toward = bpy.context.space_data.region_3d.view_rotation.to_matrix() @ ops_look.Vector((0.0, 0.0, 1.0))
            assert tuple(toward) == pytest.approx(way, abs=1e-5)
    assert C.turntable("EXEC_DEFAULT", True) == {"FINISHED"}
    scene, places = bpy.context.scene, []
    middle, _ = ops_look.bounds(ops_look.shown(scene))
    for frame in (1, 31, 61, 91, 121):
        scene.frame_set(frame)
        eye = scene.camera.evaluated_get(bpy.context.evaluated_depsgraph_get()).matrix_world
        places.append(eye.translation - middle)
        aim = eye.to_3x3() @ ops_look.Vector((0.0, 0.0, 1.0))
        assert aim.dot(places[-1].normalized()) == pytest.approx(1.0, abs=1e-4)
    assert max(p.length for p in places) == pytest.approx(min(p.length for p in places), rel=1e-4)
    assert (places[0] - places[4]).length < 1e-2 * places[0].length and places[0].dot(places[2]) < places[0].dot(places[1])
    C.clear("EXEC_DEFAULT", True)
    assert not [o for o in bpy.context.scene.objects if "Turntable" in o.name], "clearing takes it away, too"


def test_a_tooths_menu_is_refused_where_there_is_no_window(opened: Any):
    """Blender without a window ends hard when it is asked for a menu, so the operator refuses first; a broken case gets one line, too."""
    before = opened.claspwright.case_text
    with pytest.raises(RuntimeError, match="needs a window"):
        C.tooth_menu(fdi=34)
    assert opened.claspwright.case_text == before
    opened.claspwright.case_text = "{"
    with pytest.raises(RuntimeError, match="Error"):
        C.tooth_menu(fdi=34)
