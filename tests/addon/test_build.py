"""Building beside the window: progress, stop, results, checks, exports that are the command line's own, undo, and refusals in one line."""

import hashlib
import json
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

bpy = pytest.importorskip("bpy")

from claspwright.core.case import load_case  # noqa: E402
from claspwright.core.cast import write_mesh  # noqa: E402
from claspwright.core.pipeline import build  # noqa: E402
from claspwright.core.pipeline.build import STAGES  # noqa: E402

C = bpy.ops.claspwright


def refused(action: Any, words: str, **values: Any) -> None:
    with pytest.raises(RuntimeError) as caught:
        action(**values)
    lines = [line for line in str(caught.value).splitlines() if line.strip()]
    assert len(lines) == 1 and words in lines[0], lines


def test_results_are_objects_with_names_and_looks(built: Any):
    names = {o.name for o in bpy.data.collections["Claspwright"].objects}
    assert {"Cast", "Prepared cast", "Master cast", "Framework", "Height of contour", "Clasp tip 34, 0.25 mm"} <= names
    frame, stone = bpy.data.objects["Framework"], bpy.data.objects["Prepared cast"]
    assert frame.active_material.metallic == 1.0 and stone.active_material.metallic == 0.0
    assert frame.visible_get() and stone.visible_get() and not bpy.data.objects["Cast"].visible_get()
    edges = np.zeros(len(frame.data.loops), dtype=np.int32)
    frame.data.loops.foreach_get("edge_index", edges)
    assert (np.bincount(edges) == 2).all(), "the framework is closed in Blender too"


def test_checks_are_kept_with_their_places(built: Any):
    checks = json.loads(built.claspwright.checks)
    assert len(checks) > 15 and {c["status"] for c in checks} <= {"pass", "warn", "fail", "skip"}
    placed = [c for c in checks if c["place"]]
    assert placed
    assert C.go_to(place=placed[0]["place"]) == {"FINISHED"}
    from claspwright.addon import ops_view

    assert ops_view.focus[built.name] == pytest.approx(placed[0]["place"], abs=1e-4)
    C.go_to(place=placed[0]["place"])
    assert built.name not in ops_view.focus, "a second click takes the pointer away"


def test_a_check_is_accepted_with_a_reason(built: Any):
    """It is a judgement, not a change of shape: the framework stays current; the case document carries it; undo takes it back."""
    bpy.ops.ed.undo_push(message="start")
    C.overrule("EXEC_DEFAULT", True, check="form.feather", reason="Polished by hand")
    assert json.loads(bpy.context.scene.claspwright.case_text)["overrules"] == [{"check": "form.feather", "reason": "Polished by hand"}]
    C.export(what="FRAMEWORK_STL", filepath=str(Path(bpy.app.tempdir) / "a.stl"))
    C.overrule(check="form.feather", reason="  ")
    assert not json.loads(bpy.context.scene.claspwright.case_text).get("overrules")


def test_advice_is_applied_with_one_press_and_undone(built: Any):
    """The press writes what the advice names, and nothing else; the framework is then of an older case; it fits one arm as judged."""
    row = json.loads(built.claspwright.arms)[0]
    number = next(k for k, a in enumerate(row["advice"]) if a["changes"])
    wanted = row["advice"][number]["changes"]
    assert row["component"] == "I-bar 34" and row["pull"]["low"] < row["pull"]["likely"] < row["pull"]["high"] and row["pull"]["assumption"]
    before = json.loads(built.claspwright.case_text)
    bpy.ops.ed.undo_push(message="start")
    assert C.apply_advice("EXEC_DEFAULT", True, component="I-bar 34", number=number) == {"FINISHED"}
    own = bpy.context.scene.claspwright
    after = json.loads(own.case_text)
    arm = next(c for c in after["components"] if c["id"] == "I-bar 34")
    told = {**arm, "alloy": after.get("manufacture", {}).get("alloy")}
    assert {k: told[k] for k in wanted} == wanted
    assert [c for c in after["components"] if c["id"] != "I-bar 34"] == [c for c in before["components"] if c["id"] != "I-bar 34"]
    refused(C.export, "was changed after the framework was built", what="FRAMEWORK_STL", filepath=str(Path(bpy.app.tempdir) / "b.stl"))
    refused(C.apply_advice, "build again for new advice", component="I-bar 34", number=number)
    refused(C.apply_advice, "build the framework first", component="I-bar 44")
    bpy.ops.ed.undo()
    assert json.loads(bpy.context.scene.claspwright.case_text) == before
    assert C.apply_advice(component="I-bar 34", number=number) == {"FINISHED"}, "after the undo the advice holds again"


def test_the_export_is_what_the_core_builds(built: Any, tmp_path: Path):
    """Case file and framework out of a reopened .blend; the case, built again by the pipeline alone, gives the same bytes."""
    for what, name in (("CASE", "case.json"), ("FRAMEWORK_STL", "a.stl"), ("FRAMEWORK_3MF", "a.3mf"), ("MASTER_STL", "m.stl")):
        assert C.export(what=what, filepath=str(tmp_path / name)) == {"FINISHED"}
    again = build(load_case(tmp_path / "case.json"), quick=True)
    write_mesh(tmp_path / "b.stl", again.framework)
    write_mesh(tmp_path / "b.3mf", again.framework)
    write_mesh(tmp_path / "n.stl", again.master.mesh)
    for ours, theirs in (("a.stl", "b.stl"), ("a.3mf", "b.3mf"), ("m.stl", "n.stl")):
        digests = [hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() for name in (ours, theirs)]
        assert digests[0] == digests[1], f"{ours} is not what the pipeline writes"
    assert [c.as_dict() for c in again.checks] == json.loads(built.claspwright.checks)


def test_exports_refuse_what_is_stale_or_edited(built: Any, tmp_path: Path):
    frame = bpy.data.objects["Framework"].data
    frame.vertices[0].co.x += 0.5
    refused(C.export, "edited after its checks", what="FRAMEWORK_STL", filepath=str(tmp_path / "a.stl"))
    frame.vertices[0].co.x -= 0.5
    built.claspwright.lateral_deg = 1.0
    refused(C.export, "was changed after the framework was built", what="FRAMEWORK_STL", filepath=str(tmp_path / "a.stl"))
    refused(C.export_all, "was changed after", directory=str(tmp_path))
    refused(C.export, "no such folder", what="CASE", filepath=str(tmp_path / "nowhere" / "case.json"))
    assert list(tmp_path.iterdir()) == []


def test_nothing_overwrites_the_scan(built: Any, case_file: Path):
    before = case_file.with_name("cast.ply").read_bytes()
    built.claspwright.quick = True
    target = case_file.with_name("cast.stl")
    assert C.export(what="FRAMEWORK_STL", filepath=str(target)) == {"FINISHED"}
    target.unlink()
    assert case_file.with_name("cast.ply").read_bytes() == before


def test_undo_of_a_build(built: Any, case_file: Path):
    """The finished build is one undo step: here its landing alone is done again, with the meshes that are there."""
    bpy.ops.ed.undo_push(message="start")
    C.clear("EXEC_DEFAULT", True)
    assert "Framework" not in bpy.context.scene.objects
    bpy.ops.ed.undo()
    assert "Framework" in bpy.context.scene.objects and bpy.context.scene.claspwright.built_key
    C.view("EXEC_DEFAULT", True, what="SURVEY")
    assert bpy.data.objects["Cast"].visible_get() and not bpy.data.objects["Framework"].visible_get()
    bpy.ops.ed.undo()
    assert bpy.data.objects["Framework"].visible_get()


def test_progress_and_stop(opened: Any):
    """The working process tells its stages in order and is gone at once when stopped; the next build starts a new one."""
    from claspwright.addon import document, jobs

    opened.claspwright.lateral_deg = 1.0  # not the case that another test has built: the process would answer with that at once
    case = document.need_case(opened)
    task = {"case": document.as_json(case), "folder": case.folder, "quick": True}
    call = jobs.builder.start("build", **task)
    stages, end = [], time.monotonic() + 120
    while not call.over and time.monotonic() < end and len(stages) < 4:
        if call.stage not in ("starting", *stages):
            stages.append(call.stage)
        time.sleep(0.005)
    assert stages == [s for s in STAGES if s in stages] and len(stages) == 4, "stages come in the pipeline's order"
    assert 0 < call.share < 1
    from claspwright.core.errors import Cancelled

    jobs.builder.ask_stop()
    jobs.builder.wait(call, 120)
    with pytest.raises(Cancelled):
        call.result()
    assert jobs.builder.alive, "asked to stop, it ends the task and keeps what it made"
    call = jobs.builder.start("build", **task)
    begin = time.monotonic()
    jobs.builder.stop()
    assert time.monotonic() - begin < 2.0 and call.over and not jobs.builder.alive
    with pytest.raises(Cancelled):
        call.result()
    assert "Framework" not in bpy.context.scene.objects and opened.claspwright.built_key == ""


def test_a_killed_worker_is_said_in_one_line(opened: Any):
    from claspwright.addon import document, jobs
    from claspwright.core.errors import GeometryError

    opened.claspwright.lateral_deg = 1.5
    case = document.need_case(opened)
    call = jobs.builder.start("build", case=document.as_json(case), folder=case.folder, quick=True)
    jobs.builder._child.kill()
    jobs.builder.wait(call, 20)
    with pytest.raises(GeometryError, match="ended before its time"):
        call.result()


def test_builds_that_cannot_be_are_refused_in_one_line(opened: Any, case_file: Path, tmp_path: Path):
    for name in [c["id"] for c in json.loads(opened.claspwright.case_text)["components"]]:
        C.remove_component(name=name)
    refused(C.build, "the prescription is empty")
    C.add_component(kind="i_bar", tooth=44)
    opened.claspwright.folder = str(tmp_path)
    refused(C.build, "cast.ply: cannot be read")
    refused(C.export, "there is no framework yet", what="FRAMEWORK_STL", filepath=str(tmp_path / "a.stl"))


def test_set_views_are_rendered_framed_as_in_the_report(built: Any, tmp_path: Path):
    """The outline of cast and metal in each picture is that of the program's own renderer; the scene is as it was."""
    from claspwright.addon import bridge
    from claspwright.core.output import Part, Scene
    from claspwright.core.output.camera import view_camera
    from claspwright.core.output.pictures import FRAMEWORK_VIEWS
    from claspwright.core.output.render import SIZE, draw

    scene: Any = bpy.context.scene
    def state() -> tuple[Any, ...]:
        look = (scene.display.shading.color_type, scene.view_settings.view_transform, scene.world)
        return (scene.render.engine, scene.render.filepath, scene.camera, len(scene.objects), len(bpy.data.cameras), *look)

    before = state()
    hidden = {o.name: o.hide_render for o in scene.objects}
    assert bpy.ops.claspwright.set_pictures(directory=str(tmp_path)) == {"FINISHED"}
    assert before == state()
    assert hidden == {o.name: o.hide_render for o in scene.objects}
    parts = [Part(role, bridge.to_core(bridge.find_object(scene, role).data)) for role in ("prepared", "framework")]
    arch = json.loads(scene.claspwright.case_text)["cast"]["arch"]

    def outline(image: Image.Image) -> np.ndarray:
        pixels = np.asarray(image.convert("RGB"), dtype=float)
        return np.abs(pixels - pixels[2, 2]).max(axis=2) > 12.0

    for view in FRAMEWORK_VIEWS:
        with Image.open(tmp_path / f"rendered_{view}.png") as picture:
            theirs = outline(picture)
        ours = outline(draw(Scene(parts), view_camera(parts[0].mesh.vertices, view, arch=arch, aspect=SIZE[0] / SIZE[1])))
        assert theirs.shape == ours.shape and 0.1 < theirs.mean() < 0.9
        assert (theirs & ours).sum() / (theirs | ours).sum() > 0.98, view
    with pytest.raises(RuntimeError, match="no such folder"):
        bpy.ops.claspwright.set_pictures(directory=str(tmp_path / "nowhere"))
    with pytest.raises(RuntimeError, match="no folder is named"):
        bpy.ops.claspwright.set_pictures("EXEC_DEFAULT")


def test_a_folder_is_chosen_only_for_what_is_built(built: Any, tmp_path: Path, case_file: Path):
    """The browser's folder goes to the export; a folder that cannot be made is said in one line, and nothing is written."""
    assert C.choose_folder.poll()
    wrong = tmp_path / "a file"
    wrong.write_text("in the way", encoding="utf-8")
    with pytest.raises(RuntimeError) as caught:
        C.choose_folder(directory=str(wrong / "inside"))
    assert len([line for line in str(caught.value).splitlines() if line.strip()]) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["a file"] and wrong.read_text(encoding="utf-8") == "in the way"
    C.open_case(filepath=str(case_file))
    assert not C.choose_folder.poll()


def test_every_check_of_a_build_is_named_in_words(built: Any):
    from claspwright.core.output.check_words import heading

    names = [heading(c["id"]) for c in json.loads(built.claspwright.checks)]
    assert len(set(names)) == len(names), "no two alike in the tab"
    assert not [n for n in names if "_" in n or "." in n]
