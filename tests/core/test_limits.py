"""What a build will take is told before it begins, and the memory is kept to."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from claspwright.core.cast import write_mesh
from claspwright.core.cast.files import encode_stl, triangles_in
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import limits

SCENES = Path(__file__).parents[2] / "sample_scenes"
TRIANGLE = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])


def test_triangles_are_read_off_the_head_of_a_file(tmp_path):
    write_mesh(tmp_path / "a.ply", TRIANGLE)
    write_mesh(tmp_path / "a.stl", TRIANGLE)
    write_mesh(tmp_path / "a.3mf", TRIANGLE)
    (tmp_path / "b.stl").write_bytes(encode_stl(TRIANGLE)[:-3])
    (tmp_path / "empty.stl").write_bytes(b"")
    said = [triangles_in(tmp_path / name) for name in ("a.ply", "a.stl", "a.3mf", "b.stl", "empty.stl", "none.stl")]
    assert said == [1, 1, None, None, None, None]


def test_expectation_grows_with_the_cast_and_is_a_range():
    sizes = [8_000, 50_000, 200_000, 700_000, 1_000_000, 6_000_000]
    told = [limits.expectation(n) for n in sizes]
    assert all(low < high for low, high, _ in told)
    assert all(a[0] <= b[0] and a[2] <= b[2] for a, b in zip(told, told[1:], strict=False))


def test_foretold_warns_when_memory_is_short(tmp_path, monkeypatch):
    write_mesh(tmp_path / "a.ply", TRIANGLE)
    monkeypatch.setattr(limits, "free_memory_gb", lambda: 0.3)
    assert "close other programs" in limits.foretold(tmp_path / "a.ply")
    monkeypatch.setattr(limits, "free_memory_gb", lambda: 64.0)
    words = limits.foretold(tmp_path / "a.ply")
    assert words.startswith("1 triangles: expect") and "close" not in words
    assert limits.foretold(tmp_path / "none.ply") == ""


def test_a_scan_larger_than_was_measured_gets_no_figure_of_its_own(tmp_path):
    head = b"ply\nformat binary_little_endian 1.0\nelement vertex 2500000\nelement face 5000000\nend_header\n"
    (tmp_path / "a.ply").write_bytes(head)
    assert "more than was measured" in limits.foretold(tmp_path / "a.ply")


@pytest.mark.nightly
@pytest.mark.parametrize("name", ["lower_class_i", "upper_class_iii_mod_1"])
def test_a_sample_keeps_to_the_memory_that_was_told(tmp_path, name):
    case = SCENES / name / "case.json"
    command = [sys.executable, "-m", "claspwright", "build", str(case), "-o", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr
    triangles = triangles_in(SCENES / name / json.loads(case.read_text())["cast"]["file"])
    assert f"{triangles:,} triangles: expect" in done.stderr
    found = json.loads((tmp_path / "out" / "build.json").read_text())
    assert found["peak_memory_gb"] <= limits.expectation(triangles)[2]
