"""`claspwright check`, overrules, the opposing arch, and the new measures on shapes whose answer is known in closed form."""

import io
import json
import zipfile
from dataclasses import replace
from types import SimpleNamespace

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from claspwright.core.case import CastEntry, Overrule, case_from_json, case_to_json
from claspwright.core.cast import write_mesh
from claspwright.core.cast.scenes import encode_obj
from claspwright.core.cast.threemf import encode_3mf
from claspwright.core.checks import Check, overrule
from claspwright.core.checks.finish import FinishLine, check_finish_line
from claspwright.core.checks.manufacture import arm_angle, build_angle, check_reach
from claspwright.core.checks.opposing import check_clearance
from claspwright.core.checks.process import PROCESSES
from claspwright.core.checks.radius import check_corner_radius
from claspwright.core.checks.rays import Rays
from claspwright.core.cli import main
from claspwright.core.errors import CaseError
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import read_framework

UP = np.array([0.0, 0.0, 1.0])


def check(name: str, status: str) -> Check:
    return Check(name, status, 1.0, 2.0, "mm", "", "a book", "words")  # type: ignore[arg-type]


def test_an_overrule_keeps_the_status_and_shows_its_reason():
    found = (check("arm.length.44", "fail"), check("solid.watertight", "fail"), check("form.mass", "pass"))
    reasons = {"arm.length.44": "short tooth (AB)", "solid.watertight": "never mind", "form.mass": "x", "no.such": "y"}
    after, remarks = overrule(found, reasons)
    assert [c.status for c in after] == ["fail", "fail", "pass"]
    assert [c.stops for c in after] == [False, True, False] and after[0].as_dict()["overruled"] == "short tooth (AB)"
    assert len(remarks) == 3 and "broken solid" in remarks[0] and "no such check" in remarks[-1]


def test_overrules_travel_in_the_case_and_need_a_reason():
    data = {
        "format": "claspwright-case", "version": 1, "cast": {"file": "a.stl", "sha256": "", "arch": "lower"},
        "overrules": [{"check": "form.mass", "reason": "thick on purpose", "by": "CD"}], "opposing": {"file": "b.stl"},
    }  # fmt: skip
    case = case_from_json(data)
    assert case.overrules == (Overrule("form.mass", "thick on purpose", "CD"),) and case.opposing is not None
    assert case_from_json(case_to_json(case)) == case and case.cast == CastEntry("a.stl", "", "lower")
    for wrong in ({"check": "form.mass", "reason": " "}, {"check": "", "reason": "x"}):
        with pytest.raises(CaseError, match=r"overrules\[0\]"):
            case_from_json({**data, "overrules": [wrong]})
    with pytest.raises(CaseError, match="opposing.file"):
        case_from_json({**data, "opposing": {"file": "../b.stl"}})


@pytest.mark.parametrize("suffix", ["stl", "3mf", "ply"])
def test_a_framework_file_is_joined_but_not_mended(tmp_path, suffix):
    box = trimesh.creation.box((30, 20, 10))
    holed = Mesh(box.vertices, box.faces[:-1])
    write_mesh(tmp_path / f"a.{suffix}", holed)
    mesh, _ = read_framework(tmp_path / f"a.{suffix}")
    assert len(mesh.vertices) == 8 and len(mesh.faces) == 11 and len(mesh.boundary_edges) == 3


def test_a_declared_unit_is_obeyed(tmp_path):
    box = trimesh.creation.box((3, 2, 1))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(encode_3mf(Mesh(box.vertices, box.faces)))) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'unit="millimeter"', b'unit="centimeter"'))
    (tmp_path / "a.3mf").write_bytes(out.getvalue())
    mesh, remarks = read_framework(tmp_path / "a.3mf")
    assert np.ptp(mesh.vertices, axis=0) == pytest.approx([30, 20, 10]) and "centimeter" in remarks[0]


@pytest.mark.parametrize(
    ("checks", "code"),
    [
        ([check("a", "pass")], 0),
        ([check("a", "fail")], 1),
        ([replace(check("a", "fail"), overruled="agreed")], 0),
        ([check("a", "warn")], 0),
    ],
)
def test_the_command_says_by_its_exit_code_whether_a_check_failed(monkeypatch, capsys, checks, code):
    made = SimpleNamespace(checks=checks, remarks=("one thing",))
    stub = SimpleNamespace(check_framework=lambda framework, case, progress: made)
    monkeypatch.setattr("claspwright.core.cli.check.importlib.import_module", lambda *_: stub)
    assert main(["check", "framework.stl", "--case", "case.json", "--json"]) == code
    result = json.loads(capsys.readouterr().out)
    assert result["checks"][0]["overruled"] == checks[0].overruled and result["remarks"] == ["one thing"]
    assert main(["check", "framework.stl", "--case", "case.json", "--quiet"]) == code
    assert ("ACCEPTED: agreed" in capsys.readouterr().out) == bool(checks[0].overruled)


@pytest.mark.parametrize(("gap", "status"), [(0.5, "pass"), (0.1, "warn"), (-0.02, "warn"), (-0.1, "fail"), (-0.6, "fail")])
def test_room_to_a_flat_opposing_arch_is_the_gap(gap, status):
    metal = trimesh.creation.box((10, 10, 2))
    plane = Mesh(np.array([[-9.0, -9, 1 + gap], [9, -9, 1 + gap], [9, 9, 1 + gap], [-9, 9, 1 + gap]]), np.array([[0, 2, 1], [0, 3, 2]]))
    found = check_clearance(Mesh(metal.vertices, metal.faces), None, Rays(plane), UP)
    assert found.status == status and found.value == pytest.approx(gap, abs=1e-3)


@pytest.mark.parametrize("radius", [0.3, 0.5, 0.9])
def test_radius_of_a_rounded_inner_corner(radius):
    """An L-shaped block whose inner corner is a quarter circle."""
    step = np.linspace(0, np.pi / 2, 24)
    arc = [(5 + radius - radius * np.sin(a), 5 + radius - radius * np.cos(a)) for a in step]
    outline = m3.CrossSection([np.array([(0, 0), (20, 0), (20, 5), *arc, (5, 20), (0, 20)])])
    block = Mesh.from_manifold(m3.Manifold.extrude(outline, 12.0).refine_to_length(0.6))
    found = check_corner_radius(block, np.ones(len(block.faces), dtype=bool), PROCESSES["printed metal"])
    assert found.value == pytest.approx(radius, rel=0.25) and found.status == "pass"


def test_a_sharp_inner_corner_is_told():
    outline = m3.CrossSection([np.array([(0, 0), (20, 0), (20, 5), (5, 5), (5, 20), (0, 20)])])
    block = Mesh.from_manifold(m3.Manifold.extrude(outline, 12.0).refine_to_length(0.6))
    found = check_corner_radius(block, np.ones(len(block.faces), dtype=bool), PROCESSES["milled"])
    assert found.status == "warn" and found.value < 0.3


@pytest.mark.parametrize("angle", [70, 90, 110, 135])
def test_angle_of_a_finish_line_is_that_of_the_step(angle):
    """A bar whose side towards the resin leans: the resin's corner at its foot has exactly that angle."""
    profile = np.array([(-3, 0), (0, 0), (2.0 / np.tan(np.radians(angle)), 2), (-3, 2)])
    bar = m3.Manifold.extrude(m3.CrossSection([profile]), 20.0).rotate((90, 0, 0)).refine_to_length(0.4)
    metal = Mesh.from_manifold(bar)
    line = FinishLine("a", np.array([[0.0, -y, 1.0] for y in np.linspace(3, 17, 8)]), np.array([1.0, 0, 0]), UP)
    found = check_finish_line(metal, line, metal.face_normals[:, 2] < -0.9)
    assert found.value == pytest.approx(angle, abs=2)
    assert found.status == ("pass" if angle <= 95 else "warn" if angle <= 120 else "fail")


def test_arms_and_supports_have_their_closed_form():
    for degrees in (0, 30, 90):
        arm = np.outer(np.linspace(0, 12, 30), [np.cos(np.radians(degrees)), 0, np.sin(np.radians(degrees))])
        assert arm_angle(arm, UP) == pytest.approx(degrees, abs=0.01)
    # A flat plate is best stood up: on an edge nothing but that edge looks down.
    plate = trimesh.creation.box((40, 30, 1))
    mesh = Mesh(plate.vertices, plate.faces)
    found = build_angle(mesh, UP, PROCESSES["printed metal"], {}, np.zeros(len(mesh.faces), dtype=bool))
    assert 45 < found.tilt_deg < 135 and found.supported_mm2 < 80


def test_a_cutter_does_not_reach_under_a_roof():
    """A table: only the underside between top and base is out of reach along the path, 20 x 20 mm twice, less the leg."""
    slab = m3.Manifold.cube((20, 20, 2), True)
    leg = m3.Manifold.cube((4, 4, 12), True).translate((0, 0, 6))
    mesh = Mesh.from_manifold((slab + slab.translate((0, 0, 12)) + leg).refine_to_length(1.0))
    found = check_reach(mesh, UP, PROCESSES["milled"])
    assert found.value == pytest.approx(2 * (400 - 16), rel=0.02) and found.status == "warn"


@pytest.mark.parametrize("suffix", ["3mf", "obj"])
def test_corners_that_nearly_meet_stay_apart_in_text(tmp_path, suffix):
    """A seam has corners a ten-thousandth of a micrometre apart near the origin: 6 decimals would make them one and tear the solid."""
    v = np.array([[0.0, 0, 0], [1e-7, 0, 0], [20, 0, 0], [0, 20, 0], [0, 0, 20]]).astype(np.float32).astype(float)
    faces = np.array([[0, 3, 1], [1, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    mesh = Mesh(v, faces)
    assert mesh.is_closed
    (tmp_path / f"a.{suffix}").write_bytes(encode_3mf(mesh) if suffix == "3mf" else encode_obj({"a": mesh}))
    again, _ = read_framework(tmp_path / f"a.{suffix}")
    assert again.is_closed and np.array_equal(again.vertices.astype(np.float32), v.astype(np.float32))
