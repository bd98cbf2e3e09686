"""Where an arm bears on its tooth, what holds the tooth against it, and how much work an analysis is."""

import numpy as np
import pytest
from claspwright.core.mechanics import MATERIALS, analyse_clasp, arm, frame, gauge_mm, simple_arm
from claspwright.core.mechanics.clasps import ClaspInput
from claspwright.core.mechanics.retention import Profile
from claspwright.core.pipeline.clasp_lines import touching, yielding_room
from claspwright.core.solids.fields import Shape

from .mechanics_inputs import UP, ball_clasp, usual

COCR = MATERIALS["cocr_laser"]


class Wall:
    """A tooth along an arm: 0.05 mm of undercut beside the rigid part (a bump of the scan), 0.25 mm at the tip."""

    def locate(self, points):
        return points[:, 1], 0.0 * points[:, 1]

    def depth(self, phi, z):
        return np.select([(phi > 2.4) & (phi < 3.6), phi > 9.0], [0.05, 0.25 * (phi - 9.0) / 3.0], 0.0)

    def contour(self, phi):
        return np.full(len(phi), 1.0)

    def radius(self, phi, z):
        return np.full(len(phi), 5.0)


OPEN = Shape(lambda p: 8.0 - p[:, 1], np.array([[-9.0, 7.0, -9.0], [9.0, 20.0, 9.0]]))  # the master cast is open beyond 8 mm


def shoulder_arm():
    whole = simple_arm(12.0, 1.8, 1.0, COCR)
    return type(whole)(whole.points, whole.normals, whole.width, whole.thickness, COCR, "half_round", 1.8)


def clasp_at(beam, at) -> ClaspInput:
    depth = Wall().depth(beam.points[at, 1], 0.0)
    travel = np.linspace(0.0, 1.0, 21)
    bulge = np.outer(depth, 2 * travel - travel**2)
    return ClaspInput(
        "a", 16, "circumferential", "right", beam, 0.25, UP, beam.station[at], beam.points[at], beam.normals[at],
        Profile(travel, bulge, np.full(bulge.shape, 0.1)), np.zeros(0), np.zeros(0),
    )  # fmt: skip


def test_an_undercut_that_is_blocked_out_beside_the_clamp_bends_nothing():
    """The cause of thousands of megapascals "0.0 mm from the rigid part" on real scans: a contact 0.6 mm from the clamp, in an undercut
    that wax fills on the master cast. A cantilever bent by 0.05 mm at 0.6 mm is stressed by 3 E c u / L^2, some 30 000 MPa."""
    beam = shoulder_arm()
    everywhere = touching(Wall(), beam.points, -np.inf, beam, ())
    left_open = touching(Wall(), beam.points, -np.inf, beam, (OPEN,))
    assert beam.station[everywhere].min() < 3.6 and beam.station[left_open].min() > 8.0
    wrong, right = (analyse_clasp(clasp_at(beam, at)) for at in (everywhere, left_open))
    assert wrong.stress.likely > 3000 and wrong.stress_at_mm < 1.0
    assert right.stress.likely < 900 and right.stress_at_mm > 1.0


def test_a_tooth_is_held_by_one_place_opposite_or_by_two_that_enclose_the_push():
    """Plane statics: a push is balanced by pressing forces only if it lies in the cone that their directions span."""
    near, far = np.zeros(3), np.array([0.0, 0.2, 0.4])
    assert yielding_room(np.array([5.0]), far[None]) == pytest.approx(far)
    assert np.isinf(yielding_room(np.array([40.0]), near[None])).all()
    assert yielding_room(np.array([-60.0, 70.0]), np.stack([near, far])) == pytest.approx(far)
    assert np.isinf(yielding_room(np.array([-95.0, 95.0]), np.stack([near, near]))).all()
    assert np.isinf(yielding_room(np.array([30.0, 70.0]), np.stack([near, near]))).all()


@pytest.mark.parametrize("gauge", [18, 19, 20])
@pytest.mark.parametrize("wire", ["wire_ptaupd", "wire_stainless", "wire_cocrni"])
def test_wrought_wires_of_every_gauge_and_material(gauge, wire):
    """3 E I / L^3 of a straight uniform wire with I = pi d^4 / 64 (textbook)."""
    d = gauge_mm(gauge)
    beam = simple_arm(12.0, d, d, MATERIALS[wire], taper=1.0, shape="round")
    found = analyse_clasp(ball_clasp(beam, 0.5, kind="wrought"))
    exact = 3 * MATERIALS[wire].modulus_mpa * np.pi * d**4 / 64 / 12.0**3
    assert found.stiffness.likely == pytest.approx(exact, rel=0.02)  # a touch on the surface twists nothing, shear gives 1 %
    assert found.stress.low < found.stress.likely < found.stress.high and "wire" in found.peak.assumption


def test_an_arm_costs_three_small_systems(monkeypatch):
    """Work, not time: three beams (low, likely, high) of 43 nodes each, one factorisation for all contacts of each."""
    sizes = []
    real = frame.solve
    count = lambda f, fixed, loads, *more: sizes.append((len(f.nodes), len(loads))) or real(f, fixed, loads, *more)  # noqa: E731
    monkeypatch.setattr(arm, "solve", count)
    beam = shoulder_arm()
    at = touching(Wall(), beam.points, -np.inf, beam, (OPEN,))
    analyse_clasp(clasp_at(beam, at))
    assert len(sizes) == 3 and max(n for n, _ in sizes) <= 43 and max(c for _, c in sizes) <= 12
    from claspwright.core.mechanics.advice import advise

    sizes.clear()
    data = ball_clasp(usual(11.0, material="cocr_laser"))
    advise(data, analyse_clasp(data), 2)
    assert len(sizes) <= 3 + 30 and max(n for n, _ in sizes[3:]) <= 19
