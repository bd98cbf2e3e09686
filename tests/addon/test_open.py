"""Opening: what comes into the scene, its size and unit, bad input in one line, undo."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

import claspwright  # noqa: E402 (after the check for bpy)
from claspwright.core.cast import load_cast  # noqa: E402

LINES = ["Height of contour", "Undercut 0.25 mm (0.010 in)", "Undercut 0.50 mm (0.020 in)", "Undercut 0.75 mm (0.030 in)"]


def document(scene: Any) -> dict[str, Any]:
    return json.loads(scene.claspwright.case_text)


def said(action: Any, **values: Any) -> str:
    """The one line that an operator reports when it refuses."""
    with pytest.raises(RuntimeError) as caught:
        action(**values)
    lines = [line for line in str(caught.value).splitlines() if line.strip()]
    assert len(lines) == 1, lines
    return lines[0]


def test_a_case_comes_in_with_its_lines(opened: Any):
    names = {o.name for o in bpy.data.collections["Claspwright"].objects}
    assert names == {"Cast", *LINES}
    assert opened.unit_settings.scale_length == pytest.approx(0.001) and opened.unit_settings.length_unit == "MILLIMETERS"
    assert not bpy.data.objects["Cube"].visible_get(), "the start-up cube would stand inside the cast"


def test_the_cast_is_the_scan_in_millimetres(opened: Any, case_file: Path):
    scan = load_cast(case_file.with_name("cast.ply"), to_cast=np.eye(4), add_base=True)
    data = bpy.data.objects["Cast"].data
    points = np.zeros(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    assert np.array_equal(points.reshape(-1, 3), scan.mesh.vertices.astype(np.float32))
    assert tuple(bpy.data.objects["Cast"].scale) == pytest.approx((1, 1, 1))


def test_an_existing_scene_keeps_its_unit(scene: Any, case_file: Path):
    """A scene in metres with something in it stays in metres; the cast comes in at its true size."""
    bpy.data.objects["Cube"].name = "Somebody's work"
    bpy.ops.claspwright.open_case(filepath=str(case_file))
    assert scene.unit_settings.scale_length == pytest.approx(1.0)
    assert tuple(bpy.data.objects["Cast"].scale) == pytest.approx((0.001,) * 3)
    assert bpy.data.objects["Somebody's work"].visible_get()


def test_a_scan_begins_a_case(scene: Any, case_file: Path):
    assert bpy.ops.claspwright.open_scan(filepath=str(case_file.with_name("cast.ply"))) == {"FINISHED"}
    made = document(scene)
    assert made["cast"]["arch"] == "lower" and made["cast"]["file"] == "cast.ply"
    assert len(made["cast"]["to_cast"]) == 4 and "teeth" not in made.get("chart", {})
    assert "millimetre" in scene.claspwright.remarks


def test_the_arch_can_be_set_right(scene: Any, case_file: Path):
    bpy.ops.claspwright.open_scan(filepath=str(case_file.with_name("cast.ply")), arch="upper")
    assert document(scene)["cast"]["arch"] == "upper"
    assert "? is it really the upper" in scene.claspwright.remarks


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("no.stl", None, "cannot be read"),
        ("junk.stl", b"solid nothing\nendsolid nothing\n", "no triangles"),
        ("picture.png", b"\x89PNG", "not a scan format"),
    ],
)
def test_a_bad_scan_gets_one_line(scene: Any, tmp_path: Path, name: str, content: bytes | None, words: str):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    line = said(bpy.ops.claspwright.open_scan, filepath=str(tmp_path / name))
    assert name in line and words in line
    assert scene.claspwright.case_text == "" and "Cast" not in bpy.data.objects


def test_a_bad_case_gets_one_line(scene: Any, case_file: Path, tmp_path: Path):
    data = json.loads(case_file.read_text())
    data["path"] = {"lateral_deg": 90}
    (tmp_path / "case.json").write_text(json.dumps(data))
    assert "case.path.lateral_deg: 90.0 is outside -30 to 30" in said(bpy.ops.claspwright.open_case, filepath=str(tmp_path / "case.json"))
    (tmp_path / "case.json").write_text("{")
    assert "not valid JSON" in said(bpy.ops.claspwright.open_case, filepath=str(tmp_path / "case.json"))
    assert "no file is named" in said(bpy.ops.claspwright.open_case, filepath="")


def test_another_scan_under_the_same_name_is_noticed(scene: Any, case_file: Path, tmp_path: Path):
    (tmp_path / "case.json").write_bytes(case_file.read_bytes())
    (tmp_path / "cast.ply").write_bytes(case_file.with_name("cast.ply").read_bytes() + b"\n")
    assert "another file than the case was made for" in said(bpy.ops.claspwright.open_case, filepath=str(tmp_path / "case.json"))


def test_a_moved_scan_is_found_again(opened: Any, case_file: Path, tmp_path: Path):
    (tmp_path / "renamed.ply").write_bytes(case_file.with_name("cast.ply").read_bytes())
    assert bpy.ops.claspwright.find_scan(filepath=str(tmp_path / "renamed.ply")) == {"FINISHED"}
    assert document(opened)["cast"]["file"] == "renamed.ply" and opened.claspwright.folder == str(tmp_path)
    (tmp_path / "other.ply").write_bytes(b"ply\n")
    assert "SHA-256 differs" in said(bpy.ops.claspwright.find_scan, filepath=str(tmp_path / "other.ply"))


def test_a_missing_or_changed_scan_is_noticed_and_can_be_taken(scene: Any, case_file: Path, tmp_path: Path):
    """The file is put away, comes back, is written over with a coarser cast: each state is told; taken, the case stands on the new file."""
    from claspwright.addon import document, scan
    from claspwright.core.cast import write_mesh
    from claspwright.core.mesh import Mesh

    for name in ("case.json", "cast.ply"):
        (tmp_path / name).write_bytes((case_file.parent / name).read_bytes())
    bpy.ops.claspwright.open_case(filepath=str(tmp_path / "case.json"))
    case, file = document.need_case(scene), tmp_path / "cast.ply"
    assert scan.state(case, wait=True) == "there"
    assert "no other file" in said(bpy.ops.claspwright.accept_scan)
    file.rename(tmp_path / "away.ply")
    assert scan.state(case) == "missing"
    (tmp_path / "away.ply").rename(file)
    assert scan.state(case, wait=True) == "there"
    old = load_cast(file, arch="lower").mesh
    write_mesh(file, Mesh(old.vertices * 1.001, old.faces))
    assert scan.state(case, wait=True) == "changed"
    bpy.ops.ed.undo_push(message="start")
    assert bpy.ops.claspwright.accept_scan("EXEC_DEFAULT", True) == {"FINISHED"}
    taken = document.need_case(bpy.context.scene)
    assert scan.state(taken, wait=True) == "there" and taken.components == case.components
    wide = bpy.data.objects["Cast"].dimensions.x
    assert wide == pytest.approx(1.001 * float(np.ptp(old.vertices[:, 0])), rel=1e-4)


def test_clearing_takes_away_only_what_is_ours(opened: Any):
    bpy.ops.mesh.primitive_cube_add()
    bpy.context.object.name = "Somebody's work"
    assert bpy.ops.claspwright.clear() == {"FINISHED"}
    assert {o.name for o in bpy.data.objects} == {"Camera", "Cube", "Light", "Somebody's work"}
    assert opened.claspwright.case_text == ""


def test_a_damaged_document_is_said_and_nothing_breaks(opened: Any):
    opened.claspwright.case_text = "{"
    assert "damaged" in said(bpy.ops.claspwright.level)
    opened.claspwright.case_text = json.dumps({"format": "claspwright-case", "version": 99})
    assert "version" in said(bpy.ops.claspwright.level)


@pytest.mark.parametrize("sample", ["lower_class_i", pytest.param("upper_class_iii_mod_1", marks=pytest.mark.nightly)])
def test_each_sample_opens_ready_to_build(scene: Any, sample: str):
    """Its case is the file of the sample scenes; opening is one undo step."""
    bpy.ops.ed.undo_push(message="before")
    assert bpy.ops.claspwright.open_sample("EXEC_DEFAULT", True, sample=sample) == {"FINISHED"}
    made = document(bpy.context.scene)
    told = json.loads((Path(claspwright.__file__).parent / "sample_scenes" / sample / "case.json").read_text(encoding="utf-8"))
    assert [c["id"] for c in made["components"]] == [c["id"] for c in told["components"]] and bpy.ops.claspwright.build.poll()
    bpy.ops.ed.undo()
    assert bpy.context.scene.claspwright.case_text == "" and "Cast" not in bpy.data.objects
    bpy.ops.ed.redo()
    assert document(bpy.context.scene) == made and "Cast" in bpy.context.scene.objects
    with pytest.raises(TypeError, match="not found in"):
        bpy.ops.claspwright.open_sample(sample="somebody's mouth")


def test_what_a_file_browser_chose_is_opened(scene: Any, case_file: Path):
    assert bpy.ops.claspwright.choose_case(filepath=str(case_file)) == {"FINISHED"}
    assert document(scene)["title"] == "A small invented case"
    bpy.ops.claspwright.clear()
    assert bpy.ops.claspwright.choose_scan(filepath=str(case_file.with_name("cast.ply")), arch="lower") == {"FINISHED"}
    assert document(scene)["cast"] == {**document(scene)["cast"], "file": "cast.ply", "arch": "lower"}


@pytest.mark.parametrize("browse", ["choose_case", "choose_scan"])
@pytest.mark.parametrize(("name", "words"), [("", "no file is named"), ("gone.json", "gone.json")])
def test_a_bad_choice_in_the_file_browser_gets_one_line(scene: Any, tmp_path: Path, browse: str, name: str, words: str):
    assert words in said(getattr(bpy.ops.claspwright, browse), filepath=str(tmp_path / name) if name else "")
    assert scene.claspwright.case_text == ""


def test_first_steps_change_nothing(scene: Any):
    """The page is read, so it may be called at any time; its headings are the tab's panels in their order."""
    from claspwright.addon import first_steps

    objects = set(bpy.data.objects.keys())
    assert bpy.ops.claspwright.first_steps() == {"FINISHED"}
    assert scene.claspwright.case_text == "" and set(bpy.data.objects.keys()) == objects
    labels = [getattr(bpy.types, n).bl_label for n in dir(bpy.types) if n.startswith("CLASPWRIGHT_PT")]
    assert {heading for heading, _ in first_steps.STEPS} <= set(labels)
