"""The command line as a user meets it: files, exit codes, one line for every error. Exit codes are checked in a process of its own once."""

import argparse
import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from claspwright.core.checks import Check
from claspwright.core.cli import main
from claspwright.core.cli.survey import labelled_arch
from claspwright.core.errors import CaseError


@pytest.fixture(scope="module")
def sample(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("sample")
    assert main(["sample", "lower_class_i", "-o", str(folder), "--triangles", "12000", "--seed", "5", "--quiet"]) == 0
    return folder


def output(capsys) -> tuple[str, str]:
    captured = capsys.readouterr()
    return captured.out, captured.err


def test_sample_writes_a_cast_and_its_truth(sample):
    truth = json.loads((sample / "truth.json").read_text())
    assert truth["arch"] == "lower" and truth["missing"] == [35, 36, 37, 45, 46, 47] and truth["spec"]["seed"] == 5
    cast = trimesh.load(sample / "cast.ply", process=False)
    assert cast.is_watertight and cast.volume > 1e4
    labels = np.load(sample / "labels.npy")
    assert np.array_equal(cast.metadata["_ply_raw"]["vertex"]["data"]["tooth"].ravel(), labels)
    assert set(np.unique(labels)) == {0, *map(int, truth["margins"])}
    # FDI quadrant 4 is the patient's right: +X of a lower cast in the cast frame
    assert cast.vertices[labels == 44, 0].mean() > 0 > cast.vertices[labels == 34, 0].mean()


def test_survey_writes_the_cleaned_cast_with_its_undercuts(sample, tmp_path, capsys):
    code = main(["survey", str(sample / "cast.ply"), "--keep-frame", "--arch", "lower", "--labels", str(sample / "labels.npy"),
                 "--tilt", "4", "-3", "-o", str(tmp_path), "--json"])  # fmt: skip
    out, err = output(capsys)
    result = json.loads(out)
    assert code == 0 and result["path"]["anteroposterior_deg"] == 4.0 and set(result["times"]) >= {"survey", "read and mend"}
    assert "survey" in err and "total" in err and "Traceback" not in err
    table = trimesh.load(tmp_path / "survey.ply", process=False)
    data = table.metadata["_ply_raw"]["vertex"]["data"]
    assert data["undercut"].dtype == np.float32 and data["visible"].dtype == np.uint8 and data["tooth"].dtype == np.int16
    visible, depth = data["visible"].ravel() == 1, data["undercut"].ravel()
    assert (depth[visible] == 0).all() and depth.max() > 0.2 and 0.2 < visible.mean() < 0.9
    labels = np.load(sample / "labels.npy")
    assert np.array_equal(data["tooth"].ravel(), labels)
    # in the shadow of everything a tooth is nowhere less undercut than taken alone, but for faces seen in part, cut to 0.12 mm
    alone, angle = data["undercut_alone"].ravel(), data["convergence"].ravel()
    assert (alone[labels == 0] == 0).all() and alone.max() > 0.2
    assert np.quantile((depth - alone)[labels > 0], 0.005) > -1e-3 and (depth - alone)[labels > 0].min() > -0.12
    assert (angle[visible] == 0).all() and angle.min() >= 0 and 10 < angle[labels > 0].max() <= 90
    # trimesh's own rays as judge: nothing stands above a visible point, something above a hidden one
    way = np.array(result["path"]["vector"])
    assert way @ way == pytest.approx(1.0) and way[1] < 0 < way[0]
    ray = trimesh.ray.ray_pyembree.RayMeshIntersector(table, scale_to_box=False)
    for chosen, blocked in ((visible, False), (~visible & (depth > 0.05), True)):
        index = np.nonzero(chosen)[0][::40]
        start = table.vertices[index] + 0.01 * table.vertex_normals[index]
        hit = ray.intersects_any(start, np.tile(way, (len(index), 1)))
        assert (hit == blocked).mean() > 0.97
    assert json.loads((tmp_path / "survey.json").read_text())["cast"]["sha256"] == result["cast"]["sha256"]
    assert (tmp_path / "survey.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["survey.json", "survey.ply", "survey.png"]


def test_keep_frame_leaves_any_solid_where_it_is(tmp_path, capsys):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    (tmp_path / "ball.stl").write_bytes(ball.export(file_type="stl"))
    assert main(["survey", str(tmp_path / "ball.stl"), "--keep-frame", "-o", str(tmp_path / "out"), "--quiet"]) == 0
    table = trimesh.load(tmp_path / "out" / "survey.ply", process=False)
    assert np.allclose(table.bounds, ball.bounds, atol=1e-5)
    depth = table.metadata["_ply_raw"]["vertex"]["data"]["undercut"].ravel()
    # closed form: below the equator the gauge reads R - sqrt(R2 - z2)
    z = table.vertices[:, 2]
    expected = np.where(z < 0, 5.0 - np.sqrt(np.maximum(25.0 - z**2, 0.0)), 0.0)
    assert np.abs(depth - expected)[z > -4.0].max() < 0.02
    out, err = output(capsys)
    assert "ball.stl" in out and err == ""


BAD = {
    "no file": (["survey", "none.stl", "-o", "out"], "none.stl: cannot be read"),
    "no folder": (["survey", "none.stl"], "required: -o"),
    "tilt": (["survey", "a.stl", "--tilt", "80", "0", "-o", "out"], "no tilt"),
    "tilt word": (["survey", "a.stl", "--tilt", "up", "0", "-o", "out"], "invalid"),
    "arch": (["survey", "a.stl", "--arch", "middle", "-o", "out"], "invalid choice"),
    "command": (["survay"], "invalid choice"),
    "nothing": ([], "required"),
    "sample": (["sample", "nobody", "-o", "out"], "there is no sample"),
    "sample size": (["sample", "lower_full", "--triangles", "3", "-o", "out"], "triangles must be"),
    "sample folder": (["sample", "lower_full"], "no folder"),
    "empty": (["survey", "empty.stl", "-o", "out"], "the file is empty"),
    "blocked": (["sample", "lower_full", "-o", "empty.stl/sub"], "cannot be the folder"),
    "labels": (["survey", "box.stl", "--keep-frame", "--labels", "empty.stl", "-o", "out"], "FDI numbers"),
    "labels count": (["survey", "box.stl", "--keep-frame", "--labels", "two.npy", "-o", "out"], "fit neither"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gets_one_line_and_exit_code_2(tmp_path, monkeypatch, capsys, name):
    monkeypatch.chdir(tmp_path)
    Path("empty.stl").write_bytes(b"")
    Path("box.stl").write_bytes(trimesh.creation.box([9, 9, 9]).export(file_type="stl"))
    np.save("two.npy", np.array([1, 2]))
    before = sorted(p.name for p in tmp_path.rglob("*"))
    arguments, words = BAD[name]
    assert main([*arguments, *(["--quiet"] if arguments and "-o" in arguments else [])]) == 2
    out, err = output(capsys)
    assert out == "" and words in err and err.count("\n") == 1 and err.startswith("claspwright")
    assert [p for p in tmp_path.rglob("*") if p.is_file() and p.name not in before] == []


def test_errors_are_told_to_machines_too(tmp_path, capsys):
    assert main(["survey", str(tmp_path / "none.stl"), "-o", str(tmp_path / "o"), "--json"]) == 2
    out, err = output(capsys)
    assert "cannot be read" in json.loads(out)["error"] and err.count("\n") == 1


def test_help_version_and_list(capsys):
    for arguments in (["--help"], ["build", "--help"], ["--version"], ["sample", "list"]):
        assert main(arguments) == 0
    out, _ = output(capsys)
    assert "Not a certified medical device" in out and "lower_class_i: lower, missing 35 36 37 45 46 47" in out


def checked(status: str) -> SimpleNamespace:
    return SimpleNamespace(checks=[Check("a.b", status, 0.03, 0.02, "mm", "44", "test", "words")])  # type: ignore[arg-type]


@pytest.mark.parametrize(("status", "code"), [("pass", 0), ("warn", 0), ("fail", 1), ("skip", 0)])
def test_build_says_by_its_exit_code_whether_a_check_failed(tmp_path, monkeypatch, capsys, status, code):
    seen = {}

    def build_case(path, folder, *, quick, progress, exports, tell):
        seen.update(path=path, folder=folder, quick=quick, exports=exports)
        tell("about a minute")
        progress("one")
        progress("two", 0.5)
        return checked(status)

    monkeypatch.setattr("claspwright.core.cli.build.importlib.import_module", lambda *_: SimpleNamespace(build_case=build_case))
    assert main(["build", "case.json", "-o", str(tmp_path), "--quick", "--json"]) == code
    out, err = output(capsys)
    result = json.loads(out)
    assert seen == {"path": "case.json", "folder": tmp_path, "quick": True, "exports": "stl,3mf"}
    assert result["checks"][0]["status"] == status and list(result["times"]) == ["one", "two"] and "one" in err and "about a minute" in err
    assert main(["build", "case.json", "-o", str(tmp_path), "--quiet"]) == code
    out, err = output(capsys)
    assert err == "" and ("FAIL a.b 0.03 mm (limit 0.02 mm) 44: words" in out) == (status == "fail")


def test_build_passes_errors_on(tmp_path, monkeypatch, capsys):
    def build_case(*_, **__):
        raise CaseError("case.json: chart.missing\nis no list; write tooth numbers")

    monkeypatch.setattr("claspwright.core.cli.build.importlib.import_module", lambda *_: SimpleNamespace(build_case=build_case))
    assert main(["build", "case.json", "-o", str(tmp_path)]) == 2
    assert output(capsys)[1] == "claspwright: case.json: chart.missing is no list; write tooth numbers\n"


def test_as_a_module_in_a_process_of_its_own(tmp_path):
    command = [sys.executable, "-m", "claspwright", "survey", "no\nfile.stl", "-o", str(tmp_path / "o")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and done.stdout == "" and done.stderr.count("\n") == 1


@pytest.mark.parametrize(("numbers", "arch"), [([0, 47, 31], "lower"), ([17, 0, 21], "upper"), ([0, 53, 26], "upper"), ([11, 41], None)])
def test_the_tooth_numbers_tell_the_arch(tmp_path: Path, numbers: list[int], arch: str | None) -> None:
    """ISO 3950: quadrants 1, 2 (deciduous 5, 6) are upper, 3, 4 (7, 8) lower."""
    np.save(tmp_path / "labels.npy", numbers)
    assert labelled_arch(argparse.Namespace(labels=str(tmp_path / "labels.npy"))) == arch
