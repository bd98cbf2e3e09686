"""Beams, sections and retention against closed forms (check cases 1 to 7, 13 and 14 of the project's method notes) and quadrature.

Closed forms: Roark's Formulas, Timoshenko's Strength of Materials, Prager and Hodge's Theory of Perfectly Plastic Solids. They stand here,
not in the program: what the program uses is its own finite-element beam. Published tables: test_mechanics_published.py; solid elements of
a general finite-element library: test_mechanics_solid.py.
"""

from dataclasses import replace

import numpy as np
import pytest
from claspwright.core.mechanics import (
    MATERIALS,
    ClaspArm,
    Profile,
    Range,
    beam_of,
    bend,
    bend_frame,
    force_travel,
    gauge_mm,
    half_ellipse,
    half_round,
    mass,
    normal_forces,
    pull_per_normal_force,
    round_wire,
    sections,
    set_after,
    simple_arm,
)
from claspwright.core.mechanics.yielding import moment_curvature
from scipy.integrate import dblquad, quad

COCR = MATERIALS["cocr_cast"]
CLOSE = 0.005  # 0.5 %
ARC = 0.01  # curved arms within 1 % of the closed arc solution
UP = np.array([0.0, 0.0, 1.0])


def near(value: float, rel: float = CLOSE):
    return pytest.approx(value, rel=rel)


def tip_beam(length, width, thickness, taper=1.0, arc=0.0, shape="half_round", out_of_plane=False, e_gpa=220.0):
    """The arm loaded at the centroid of its tip, stiff in shear as the closed forms have it."""
    arm = simple_arm(length, width, thickness, COCR, taper=taper, arc_deg=arc, shape=shape)
    frame, at = beam_of(arm, modulus_mpa=e_gpa * 1000.0)
    frame = replace(frame, shear_share=np.inf, bend=None)
    direction = UP[None] if out_of_plane else arm.normals[-1:]
    return bend_frame(frame, at, at[-1:], direction, frame.nodes[-1:], UP, shape)


def test_case_1_half_round_by_formula_and_by_quadrature():
    s = half_round(1.0)
    assert s.inertia == near(0.109757) and s.inertia_edge == near(0.392699) and s.centroid == near(0.424413)
    assert s.inertia_edge / s.inertia == near(3.5779)
    for a, h in ((1.0, 1.0), (2.05, 2.06), (0.5, 0.35)):
        s = half_ellipse(2 * a, h)
        top = lambda x, a=a, h=h: h * np.sqrt(max(0.0, 1 - (x / a) ** 2))  # noqa: E731
        area = dblquad(lambda y, x: 1.0, -a, a, 0, top)[0]
        centroid = dblquad(lambda y, x: y, -a, a, 0, top)[0] / area
        inertia = dblquad(lambda y, x: (y - centroid) ** 2, -a, a, 0, top)[0]  # noqa: B023
        edge = dblquad(lambda y, x: x * x, -a, a, 0, top)[0]
        assert (s.area, s.centroid, s.inertia, s.inertia_edge) == pytest.approx((area, centroid, inertia, edge), rel=1e-4)


def test_half_pear_by_quadrature():
    """Outline of two quarter ellipses with the peak at 0.3 of the half width towards the bulk (as core/solids draws it)."""
    w, h = 4.115, 2.06
    s = sections("half_pear", w, h)
    peak, a = 0.3 * w / 2, w / 2

    def top(x):
        side = a - peak if x >= peak else a + peak
        return h * np.sqrt(max(0.0, 1 - ((x - peak) / side) ** 2))

    def over(f):
        parts = ((-a, peak), (peak, a))
        return sum(quad(lambda x: f(x, top(x)), p, q, limit=200)[0] for p, q in parts)

    area = over(lambda x, t: t)
    x0, y0 = over(lambda x, t: x * t) / area, over(lambda x, t: t * t / 2) / area
    assert s.area[0] == near(area) and s.centroid[0] == near(y0) and s.aside[0] == pytest.approx(x0, abs=1e-4)
    assert s.inertia[0] == near(over(lambda x, t: t**3 / 3) - area * y0**2)
    assert s.inertia_edge[0] == near(over(lambda x, t: x * x * t) - area * x0**2)
    assert s.product[0] == pytest.approx(over(lambda x, t: x * t * t / 2) - area * x0 * y0, rel=0.01)


@pytest.mark.parametrize(
    "e_gpa, r, taper, length, stiffness, undercut, base_stress, highest",
    [
        (220, 0.7, 0.5, 10, 8.6964, 0.25, 332.4, 394.0),
        (220, 0.7, 1.0, 10, 17.3927, 0.25, 664.8, 664.8),
        (220, 0.7, 2 / 3, 10, 11.5952, 0.25, 443.2, 443.2),
        (110, 0.7, 0.5, 10, 4.3482, 0.25, None, None),
        (220, 0.7, 0.5, 10, 8.6964, 0.50, None, 787.9),
        (220, 0.8, 0.5, 15, 4.3957, 0.50, None, 400.2),
    ],
)
def test_cases_2_to_4_tapered_arm(e_gpa, r, taper, length, stiffness, undercut, base_stress, highest):
    """K = 3 E I_base taper / L^3; with a 2:1 taper the peak is at mid-arm, not at the base."""
    beam = tip_beam(length, 2 * r, r, taper, e_gpa=e_gpa)
    assert beam.tip_stiffness == near(stiffness)
    stress = beam.tip_stress(undercut)
    if base_stress is not None:
        assert stress[0] == near(base_stress)
    if highest is not None:
        assert stress.max() == near(highest)
        at = beam.middle[stress.argmax()] / length
        assert at == pytest.approx(0.5 if taper == 0.5 else 0.0, abs=0.03) or taper == pytest.approx(2 / 3)  # 2/3: level near the base


@pytest.mark.parametrize("taper, factor", [(0.8, 1.25), (2 / 3, 1.5), (0.5, 2.0), (0.4, 2.5)])
def test_taper_factors_of_the_handbook(taper, factor):
    assert tip_beam(12, 1.4, 0.7).tip_stiffness / tip_beam(12, 1.4, 0.7, taper).tip_stiffness == near(factor)


@pytest.mark.parametrize("length, size, k, stress", [(15, (1.6, 0.8), 4.40, 200), (12, (1.6, 0.8), 8.59, 313), (8, (1.4, 0.7), 17.0, 616)])
def test_handbook_arms(length, size, k, stress):
    """Handbook 8.3, Co-Cr of 220 GPa, taper 0.5, 0.25 mm: rounded there to three figures."""
    beam = tip_beam(length, *size, 0.5)
    assert beam.tip_stiffness == near(k) and beam.tip_stress(0.25).max() == near(stress)


def test_case_5_quarter_arc_and_straight():
    length = 5 * np.pi / 2
    assert tip_beam(length, 1, 1, shape="round").tip_stiffness == near(66.87)
    assert tip_beam(length, 1, 1, arc=90, shape="round").tip_stiffness == near(110.0)
    assert tip_beam(length, 1, 1, arc=90, shape="round", out_of_plane=True).tip_stiffness == near(69.20)


@pytest.mark.parametrize("arc, factor", [(60, 1.247), (90, 1.645), (120, 2.423), (150, 3.92), (180, 6.58)])
def test_curved_arms_against_the_arc_solution(arc, factor):
    """d = F R^3 / EI (t/2 - sin 2t / 4) over a straight arm of the same length; tapered arcs by strain energy."""
    t, length = np.radians(arc), 12.0
    exact = (t**3 / 3) / (t / 2 - np.sin(2 * t) / 4)
    assert exact == near(factor)
    straight = tip_beam(length, 1.6, 0.8).tip_stiffness
    assert tip_beam(length, 1.6, 0.8, arc=arc).tip_stiffness / straight == near(exact, ARC)
    radius, inertia = length / t, half_round(0.8).inertia
    give = quad(lambda s: radius * (radius * np.sin(s)) ** 2 / (220e3 * inertia * (0.5 + 0.5 * s / t) ** 4), 0, t)[0]
    assert tip_beam(length, 1.6, 0.8, 0.5, arc).tip_stiffness == near(1 / give, ARC)


@pytest.mark.parametrize("arc", [60, 120, 180])
def test_arcs_out_of_their_plane(arc):
    """Bending and torsion together (Timoshenko): R^3 [ (t/2 - sin 2t / 4) / EI + (3t/2 - 2 sin t + sin 2t / 4) / GJ ]."""
    t, length = np.radians(arc), 12.0
    s, g = half_round(0.8), 220e3 / 2.6
    give = (length / t) ** 3 * (
        (t / 2 - np.sin(2 * t) / 4) / (220e3 * s.inertia_edge) + (1.5 * t - 2 * np.sin(t) + np.sin(2 * t) / 4) / (g * s.torsion)
    )
    assert tip_beam(length, 1.6, 0.8, arc=arc, out_of_plane=True).tip_stiffness == near(1 / give, ARC)


def test_shear_gives_what_timoshenko_says():
    arm = simple_arm(6.0, 2.0, 1.0, COCR, taper=1.0)
    frame, at = beam_of(arm)
    give = [
        bend_frame(replace(frame, shear_share=k), at, at[-1:], arm.normals[-1:], frame.nodes[-1:], UP).give[0, 0] for k in (np.inf, 0.86)
    ]
    g = COCR.modulus_mpa / (2 * (1 + COCR.poisson))
    assert give[1] - give[0] == near(6.0 / (0.86 * g * half_ellipse(2.0, 1.0).area))


def test_curved_beam_stress_is_winklers():
    """A rectangular ring under pure bending of its root: inner stress M (r_n - r_i) / (A e r_i), r_n = h / ln(r_o / r_i) (Timoshenko)."""
    radius, h, width = 3.0, 1.2, 2.0
    arm = simple_arm(radius * np.pi / 2, width, h, COCR, taper=1.0, arc_deg=90, shape="strip")
    frame, at = beam_of(arm)
    direction = arm.normals[0]  # at the tip, along the tangent: the root bends by F R and carries no axial force
    beam = bend_frame(frame, at, at[-1:], direction[None], frame.nodes[-1:], UP, "strip")
    inner, outer = radius - h / 2, radius + h / 2
    neutral = h / np.log(outer / inner)
    moment = radius
    exact = moment * (neutral - inner) / (width * h * (radius - neutral) * inner)
    root = float(beam.stress(np.ones((1, 1)), np.zeros((1, 1)))[0, 0])
    straight = 6 * moment / (width * h**2)
    assert exact / straight > 1.15
    assert root == near(exact, 0.03)


def test_exponents_of_length_and_diameter():
    """Force of Co-Cr rods goes with L^-3 and d^4 (BMC Oral Health 2024, 10.1186/s12903-024-05334-y)."""
    by_length = [tip_beam(x, 1, 1, shape="round").tip_stiffness for x in (1.0, 15.0)]
    by_size = [tip_beam(10, d, d, shape="round").tip_stiffness for d in (0.6, 1.6)]
    assert np.log(by_length[1] / by_length[0]) / np.log(15) == pytest.approx(-3, abs=0.02)
    assert np.log(by_size[1] / by_size[0]) / np.log(1.6 / 0.6) == pytest.approx(4, abs=0.02)


def test_wires():
    """AWG by ASTM B258; 18 over 20 gauge is 2.53 times as stiff; handbook 8.3 for an 18-gauge wire of 110 GPa at 0.5 mm."""
    assert (gauge_mm(18), gauge_mm(19), gauge_mm(20), gauge_mm(30)) == pytest.approx((1.024, 0.912, 0.812, 0.2546), abs=6e-4)
    assert round_wire(gauge_mm(18)).inertia / round_wire(gauge_mm(20)).inertia == near(2.528)
    for length, force, stress in ((8, 17.4, 1320), (10, 8.9, 845), (12, 5.1, 586), (15, 2.6, 375)):
        beam = tip_beam(length, gauge_mm(18), gauge_mm(18), shape="round", e_gpa=110)
        assert beam.tip_stiffness * 0.5 == near(force, 0.02) and beam.tip_stress(0.5).max() == near(stress)


def test_held_part_of_an_arm_does_not_bend():
    whole = simple_arm(14.0, 1.6, 0.8, COCR, taper=1.0)
    held = replace(whole, free_mm=4.0)
    short = simple_arm(10.0, 1.6, 0.8, COCR, taper=1.0)
    k = [bend(a, np.array([a.length_mm]), a.normals[-1:], UP).tip_stiffness for a in (held, short)]
    assert k[0] == near(k[1])
    with pytest.raises(ValueError, match="rigid part must end before the tip"):
        replace(whole, free_mm=14.0)


# Beyond the proof stress.


@pytest.mark.parametrize("shape, factor", [("strip", 1.5), ("round", 16 / (3 * np.pi)), ("half_round", 1.856)])
def test_plastic_moment_over_first_yield(shape, factor):
    """Rectangle 1.5 and circle 16/(3 pi): textbook. Half circle: plastic modulus 0.3540 r^3 over elastic 0.1907 r^3 (Roark)."""
    assert moment_curvature(shape)[1][-1] == near(factor)


def test_permanent_set_of_a_rectangular_cantilever():
    """Tip load P between P_y and 1.5 P_y: d = d_y (P_y/P)^2 [5 - (3 + P/P_y) sqrt(3 - 2 P/P_y)] (Prager and Hodge); the set is what
    is left when the elastic part P/K springs back."""
    proof, length = 600.0, 12.0
    beam = tip_beam(length, 1.6, 0.8, shape="strip")
    yield_travel = proof / beam.tip_stress(1.0).max()
    for load in (1.1, 1.25, 1.4):
        travel = yield_travel * (5 - (3 + load) * np.sqrt(3 - 2 * load)) / load**2
        assert set_after(beam, travel, proof) == pytest.approx(travel - yield_travel * load, rel=0.05, abs=0.001)
    assert set_after(beam, 0.98 * yield_travel, proof) == 0.0


# Retention.


@pytest.mark.parametrize(
    "mu, expected", [(0.2, (0.3901, 0.6082, 0.8788)), (0.1, (0.2813, 0.4815, 0.7189)), (0.45, (0.6803, 0.9734, 1.3880))]
)
def test_case_6_wedge(mu, expected):
    assert pull_per_normal_force(np.tan(np.radians([10.0, 20.0, 30.0])), mu) == pytest.approx(expected, rel=CLOSE)
    assert np.isinf(pull_per_normal_force(np.tan(np.radians(80.0)), 0.45))


def sphere_profile(radius: float, undercut: float, steps: int = 2000, contacts: int = 1) -> Profile:
    """A ball, touched where the undercut has a given depth."""
    drop = np.sqrt(2 * radius * undercut - undercut**2)
    travel = np.linspace(0.0, drop, steps)
    z = travel - drop
    r = np.sqrt(radius**2 - z**2)
    return Profile(travel, np.tile(r - r[0], (contacts, 1)), np.tile(-z / r, (contacts, 1)))


@pytest.mark.parametrize("mu, peak, angle", [(0.0, 0.2681, 10.56), (0.1, 0.4304, 8.92), (0.2, 0.6142, 7.67), (0.45, 1.1285, 5.91)])
def test_case_7_sphere(mu, peak, angle):
    radius, undercut = 5.0, 0.25
    curve = force_travel(sphere_profile(radius, undercut), np.array([[1 / 8.7]]), mu)
    assert curve.peak == near(peak)
    below = np.degrees(np.arcsin((1.5612 - curve.peak_travel) / radius))
    assert below == pytest.approx(angle, abs=0.1)


def test_contacts_share_the_load_and_never_pull():
    """Two contacts of a cantilever by hand: give of a uniform beam a^2 (3b - a) / 6EI; where one clears the other, it alone presses."""
    beam = simple_arm(12.0, 1.6, 0.8, COCR, taper=1.0)
    frame, at = beam_of(beam)
    frame = replace(frame, shear_share=np.inf)
    places = np.array([6.0, 12.0])
    points = np.stack([np.interp(places, at, frame.nodes[:, i]) for i in range(3)], axis=1)
    both = bend_frame(frame, at, places, np.repeat(beam.normals[:1], 2, axis=0), points, UP)
    ei = COCR.modulus_mpa * half_round(0.8).inertia
    by_hand = np.array([[6**3 / 3, 6**2 * (3 * 12 - 6) / 6], [6**2 * (3 * 12 - 6) / 6, 12**3 / 3]]) / ei
    assert both.give == pytest.approx(by_hand, rel=CLOSE)
    alone = both.give[0, 1] / both.give[1, 1]  # how far the middle moves when the tip alone is bent by 1 mm
    for middle in (0.5 * alone, 1.5 * alone):
        bulge = np.array([[middle], [1.0]])
        force = normal_forces(both.give, bulge)[0]
        assert (force >= 0).all()
        assert (both.give @ force >= bulge[:, 0] - 1e-6).all()
        assert (force[0] > 1e-6) == (middle > alone)


def test_profile_is_checked():
    with pytest.raises(ValueError, match="rise"):
        Profile(np.array([0.0, 0.0, 1.0]), np.zeros((1, 3)), np.zeros((1, 3)))


# Bars and plain things.


def test_case_13_lingual_bars_rank_as_measured():
    i = {size: half_ellipse(*size).inertia for size in ((4, 1.5), (3.75, 1.75), (4, 2))}
    assert i[4, 1.5] == near(0.7409) and i[3.75, 1.75] == near(1.1029) and i[4, 2] == near(1.7561)
    assert i[3.75, 1.75] / i[4, 1.5] == near(1.489)  # Ben-Ur 1989: 3.75 x 1.75 is the stiffer bar


def test_mass_and_range():
    grams = mass(1000.0, COCR)
    assert grams.low == pytest.approx(8.3) and grams.high == pytest.approx(8.4) and grams.unit == "g"
    with pytest.raises(ValueError, match="low <= likely"):
        Range(2, 1, 3, "N")


@pytest.mark.parametrize(
    "bad",
    [
        lambda: half_ellipse(0, 1), lambda: round_wire(-1), lambda: simple_arm(10, 2, 1, COCR, taper=0.0),
        lambda: simple_arm(0, 2, 1, COCR),
        lambda: ClaspArm(np.zeros((2, 3)), np.zeros((2, 3)), np.ones(2), np.ones(2), COCR), lambda: sections("square", 1, 1),
    ],
)  # fmt: skip
def test_nonsense_is_refused(bad):
    with pytest.raises(ValueError):
        bad()
