"""The two stages of a rotational path against a closed form: a curved tongue in a curved slot, both round one axis."""

import manifold3d
import numpy as np
import pytest
from claspwright.core.case import case_from_json, case_to_json, load_case
from claspwright.core.checks import TipSpec, check_rigid, tip_travel
from claspwright.core.checks.rays import Rays
from claspwright.core.checks.run import CheckInput, insertion_checks
from claspwright.core.checks.two_stage import TwoStage, check_first_stage, check_rotation, depth_inside, opening
from claspwright.core.errors import CaseError
from claspwright.core.mesh import Mesh
from claspwright.core.output.insertion_picture import insertion_frames
from claspwright.core.pipeline.insertion import move, turn_mm

from .conftest import SAMPLES

UP = np.array([0.0, 0.0, 1.0])
AXIS = np.array([[-10.0, 0, 0], [10.0, 0, 0]])


def pipe(length: float) -> manifold3d.Manifold:
    """From 8 to 9 mm round the X axis."""
    outer, inner = (manifold3d.Manifold.cylinder(length, r, r, 360, True) for r in (9.0, 8.0))
    return (outer - inner).rotate([0, 90, 0])


@pytest.fixture(scope="module")
def slotted() -> tuple[Mesh, Rays]:
    """A tongue from 10 to 60 degrees below the horizon in a slot that fits it; the straight way up is barred by the slot's core."""
    cast = manifold3d.Manifold.cube([20, 30, 14], True).translate([0, 0, -7]) - pipe(1.2)
    wedge = manifold3d.CrossSection([[(0, 0), (20, -34.641), (20, -3.527)]]).extrude(20).translate([0, 0, -10]).rotate([90, 0, 90])
    tongue = Mesh.from_manifold(pipe(1.2) ^ wedge)
    turn = np.degrees(np.arctan2(tongue.vertices[:, 2], tongue.vertices[:, 1]))
    assert turn.min() == pytest.approx(-60, abs=0.1) and turn.max() == pytest.approx(-10, abs=0.1)
    return tongue, Rays(Mesh.from_manifold(cast))


def test_what_no_straight_path_seats_goes_in_by_turning(slotted):
    tongue, cast = slotted
    stages = TwoStage(AXIS, 65.0)
    assert check_rigid(tongue, cast.mesh, UP, cast_scene=cast).status == "fail"
    turned = check_rotation(tongue, cast, UP, stages)
    assert turned.status == "pass" and turned.value < 0.002  # 360 flats of a circle: 9 (1 - cos 0.5 degrees) = 0.0003 mm
    assert check_first_stage(tongue, cast, UP, stages).status == "pass"
    assert check_first_stage(tongue, cast, UP, TwoStage(AXIS, 20.0)).status == "fail"  # not opened far enough to be lifted off
    either_order = [opening(TwoStage(axis, 65.0), tongue, UP, 30.0)[0] for axis in (AXIS, AXIS[::-1])]
    assert np.allclose(*either_order) and (tongue.vertices @ either_order[0].T)[:, 2].max() > tongue.vertices[:, 2].max() + 3.0


@pytest.mark.parametrize("aside", [0.05, 0.2])
def test_an_axis_aside_is_caught_as_deep_as_geometry_says(slotted, aside):
    """A point turned by t about an axis d aside ends 2 d sin(t/2) from where the slot would have it, here straight into a wall or less."""
    tongue, cast = slotted
    found = check_rotation(tongue, cast, UP, TwoStage(AXIS + [0, aside, 0], 40.0))
    most = 2 * aside * np.sin(np.radians(20))
    assert found.status == "fail" and 0.7 * most < found.value < 1.02 * most + 0.001
    assert found.place is not None


def test_depth_inside_a_ball_is_that_of_its_radius(slotted):
    ball = Rays(Mesh.from_manifold(manifold3d.Manifold.sphere(5.0, 256)))
    r = np.array([0.5, 2.0, 4.9, 4.99, 5.01, 7.0])
    way = np.array([0.36, 0.48, 0.8])
    depth = depth_inside(ball, r[:, None] * way)
    true = np.maximum(5.0 - r, 0.0)
    # The nearest of 24 ways lies within 26 degrees of the best one: never less than the truth, at most a ninth more near the skin.
    assert np.all(depth >= true - 0.002) and np.all(depth <= 1.13 * true + 0.002)


def test_a_case_that_asks_for_it_gets_both_stages_in_place_of_the_straight_path(slotted):
    tongue, cast = slotted
    data = CheckInput(tongue, UP, "lower", prepared=cast.mesh, two_stage=TwoStage(AXIS, 65.0))
    assert [(c.id, c.status) for c in insertion_checks(data, data.landmarks)] == [
        ("insertion.rotation", "pass"), ("insertion.first_stage", "pass"),
    ]  # fmt: skip
    text = case_to_json(load_case(SAMPLES / "lower_class_i" / "case.json"))
    text.setdefault("path", {})["rotation"] = {"axis": [[-20, 5, 3], [20, 5, 3]], "degrees": 12}
    assert case_to_json(case_from_json(text))["path"]["rotation"]["degrees"] == 12
    text["path"]["rotation"]["axis"][1] = [-20, 5, 4]
    with pytest.raises(CaseError, match=r"path.rotation.axis"):
        case_from_json(text)


def test_the_moving_picture_turns_before_it_lifts(slotted):
    """Each posture is that of a general library's transform (manifold3d); the way is arc, then lift."""
    tongue, cast = slotted
    data = CheckInput(tongue, UP, "lower", prepared=cast.mesh, two_stage=TwoStage(AXIS, 65.0))
    arc = np.radians(65.0) * 9.0
    assert turn_mm(data) == pytest.approx(arc, rel=1e-3)
    moves = [move(data, w) for w in (0.0, 0.5 * arc, arc, arc + 4.0)]
    assert np.allclose(moves[0][0], np.eye(3)) and np.allclose(moves[0][1], 0.0)
    frames = insertion_frames(cast.mesh, tongue, moves, ["", "", "", ""], size=(240, 180))
    for (degrees, lift), (turn, shift) in zip(((0, 0), (32.5, 0), (65.0, 0), (65.0, 4.0)), moves, strict=True):
        by_library = tongue.to_manifold().rotate([degrees, 0, 0]).translate([0, 0, lift])  # the axis is the X axis
        there = Mesh.from_manifold(by_library)
        assert np.sort(tongue.vertices @ turn.T + shift, axis=0) == pytest.approx(np.sort(there.vertices, axis=0), abs=1e-6)
    # All frames differ: nothing stands still.
    assert all(np.abs(np.asarray(a, float) - np.asarray(b, float)).max() > 30 for a, b in zip(frames, frames[1:], strict=False))


def test_a_tip_bends_while_it_is_turned_out(slotted):
    """The tongue, taken for a tip, turns freely about its own axis; lifted straight it would have to bend by the slot's core."""
    tongue, cast = slotted
    tip = TipSpec("tip", 36, 0.25, centre=tongue.vertices.mean(axis=0), radius_mm=30.0)
    data = CheckInput(tongue, UP, "lower", prepared=cast.mesh, two_stage=TwoStage(AXIS, 65.0))
    turned = tip_travel(tongue, cast, UP, tip, [move(data, w) for w in np.linspace(0.0, turn_mm(data), 8)])
    lifted = tip_travel(tongue, cast, UP, tip, [(np.eye(3), w * UP) for w in np.linspace(0.0, 6.0, 8)])
    assert turned.max() < 0.02 and lifted.max() > 0.3
