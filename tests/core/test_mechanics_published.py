"""Published bench and finite-element figures against the program's bands. Where a study disagrees by its method, the test says so by name.

Two finite element studies give the whole size of their arms (Naik 1997, Chen 2024) and are held to it. No bench study found does; where a
size is missing the test takes pattern practice (base 2.0 by 1.0 mm, 15 mm, taper one half, from memory) and says so. Studies: Int J
Prosthodont 2006;19:371 (two-armed cast clasps drawn off a steel ball, n = 20 a cell); Tannous et al., Dent Mater 2012;28:273 (clasps on
premolar crowns); Materials 2021;14:408, table 2 (finite elements); Mutschler et al., Materials 2020;13:5339; Vallittu and Kokkonen,
J Prosthet Dent 1995;74:412; Kajima et al., J Mech Behav Biomed Mater; ISO 22674; Naik et al., J Prosthodont 1997;6:43; Chen et al., BMC
Oral Health 2024;24 (10.1186/s12903-024-05334-y); Geramy, J Indian Prosthodont Soc 2007;7:118.
"""

import numpy as np
import pytest
from claspwright.core.mechanics import FATIGUE, MATERIALS, ClaspArm, analyse_clasp, simple_arm

from .mechanics_inputs import ball_clasp, usual

BENCH = {"cocr_cast": ((2.34, 0.23), (4.65, 0.35), (7.56, 0.50)), "cpti": ((1.24, 0.13), (2.34, 0.23), (3.70, 0.27))}
UNDERCUT = np.array([0.25, 0.50, 0.75])


def test_case_11_bench_law():
    """The bench is linear in the undercut within 8 %; titanium over cobalt-chromium is the ratio of the moduli."""
    for forces in BENCH.values():
        mean = np.array([f for f, _ in forces])
        slope = (UNDERCUT @ mean) / (UNDERCUT @ UNDERCUT)
        assert np.abs(slope * UNDERCUT / mean - 1).max() < 0.08
    ours = [analyse_clasp(ball_clasp(usual(material=m))).peak.likely for m in ("cpti", "cocr_cast")]
    assert 0.45 < ours[0] / ours[1] < 0.55
    measured = [t / c for (t, _), (c, _) in zip(BENCH["cpti"], BENCH["cocr_cast"], strict=True)]
    assert np.abs(np.array(measured) / (ours[0] / ours[1]) - 1).max() < 0.12


@pytest.mark.parametrize("material", BENCH)
@pytest.mark.parametrize("cell", [0, 1, 2])
def test_twin_clasp_on_a_steel_ball_lies_in_the_band(material, cell):
    """Two arms, one on each half of the ball. Neither arm nor ball is sized in the paper: molar arm of pattern practice, ball of 4.5 mm."""
    one = analyse_clasp(ball_clasp(usual(material=material), UNDERCUT[cell])).peak
    measured, spread = BENCH[material][cell]
    assert 2 * one.low < measured - spread and measured + spread < 2 * one.high
    assert 0.6 < 2 * one.likely / measured < 1.7  # the likely value is no wild guess either
    # The pull of the bench grows with the undercut, ours a little faster: the ball's wall leans more where the undercut is deeper.


def test_cobalt_chromium_on_a_premolar_crown_lies_in_the_band():
    """Tannous 2012: 1.0 mm thick, 11.3 to 16.3 N over 0.25 and 0.50 mm. Not given: length 11, width 2 mm, curve 130 degrees (usual)."""
    arm = simple_arm(11.0, 2.0, 1.0, MATERIALS["cocr_cast"], taper=0.7, arc_deg=130)
    shallow, deep = (analyse_clasp(ball_clasp(arm, u, 3.75)).peak for u in (0.25, 0.50))
    assert shallow.low < 11.3 < shallow.high and deep.low < 16.3 < deep.high


def test_resin_clasps_follow_the_thickness_but_disagree_in_size():
    """Tannous 2012: resin arms 1.5 over 1.0 mm thick hold 2.9 to 4.1 times as much: thickness cubed is 3.4. In size the study disagrees:
    1.2 to 3.1 N for 1.0 mm, a fifth of its own Co-Cr, where moduli differ 59 times; resin clasps there grip with both arms and
    along their whole length, and so does the FE table of Materials 2021 (force 7 times for moduli 153 times). Our tip-loaded arm says less.
    """
    peaks = {t: analyse_clasp(ball_clasp(simple_arm(11.0, 2.4, t, MATERIALS["peek"], arc_deg=130), 0.25, 3.75)).peak for t in (1.0, 1.5)}
    assert 2.9 < peaks[1.5].likely / peaks[1.0].likely < 4.1
    assert peaks[1.0].high < 1.2  # the disagreement, named above


def test_case_12_finite_element_table():
    """Materials 2021;14:408: order of six materials and linearity agree; 21.78 N at 0.25 mm lies where short stiff arms do.

    It disagrees in that force there is not in proportion to the modulus (contact and support give in that model; they do not in ours).
    """
    table = {"polyamide": 3.13, "acetal": 4.53, "peek": 6.45, "gold_iv": 14.50, "cpti": 17.81, "cocr_cast": 21.78}
    arms = {n: simple_arm(9.0, 1.8, 1.0, MATERIALS[n], arc_deg=120) for n in table}
    ours = {n: analyse_clasp(ball_clasp(a)).force for n, a in arms.items()}
    assert sorted(ours, key=lambda n: ours[n].likely) == sorted(table, key=table.get)
    assert ours["cocr_cast"].low < 21.78 < ours["cocr_cast"].high
    assert ours["polyamide"].high < table["polyamide"]  # the disagreement
    cocr = np.array([21.78, 43.57, 65.37])
    assert np.abs(cocr / UNDERCUT / (cocr[0] / 0.25) - 1).max() < 0.001
    forces = np.array([analyse_clasp(ball_clasp(arms["cocr_cast"], u)).force.likely for u in UNDERCUT])
    assert np.abs(forces / UNDERCUT / (forces[0] / 0.25) - 1).max() < 0.001


def test_molar_clasps_laser_melted_and_cast_lie_in_the_band():
    """Mutschler 2020, one clasp on a zirconia molar, undercut not given in the abstract: 4.86 N cast, 5.69 N laser-melted at first."""
    for material, measured in (("cocr_cast", 4.86), ("cocr_laser", 5.69)):
        bands = [analyse_clasp(ball_clasp(usual(13.0, material=material), u, 5.0)).peak for u in (0.25, 0.50)]
        assert min(b.low for b in bands) < measured < max(b.high for b in bands)


METAL, RESIN = (10.0, 2.0, 1.0, 0.5), (10.0, 3.0, 2.0, 0.8)  # length, width, thickness, taper; resin arms are made half as large again
STUDIES = [  # study, material, N measured, undercut (both gauges where the abstract gives none), arm; none gives the arm's whole size
    ("Alvarez et al., Open J Dent Oral Med 2017, third molars", "cocr_cast", 13.63, (0.25, 0.50), METAL),
    ("Alvarez et al., Open J Dent Oral Med 2017, third molars", "peek", 8.04, (0.25, 0.50), RESIN),
    ("J Mech Behav Biomed Mater 2024;154:106539", "cocr_cast", 11.88, (0.25, 0.50), METAL),
    ("J Mech Behav Biomed Mater 2024;154:106539, whole arm in the undercut", "peek", 7.99, (0.50,), RESIN),
    ("J Adv Prosthodont 2022, lowest and highest of three groups", "peek", 4.389, (0.25, 0.50), RESIN),
    ("J Adv Prosthodont 2022, lowest and highest of three groups", "peek", 5.161, (0.25, 0.50), RESIN),
    ("bench at 0.5 mm (handbook, S91)", "cocr_cast", 18.69, (0.50,), METAL),
    ("bench at 0.5 mm (handbook, S91)", "acetal", 4.53, (0.50,), RESIN),
    ("J Clin Diagn Res 2016, finite elements, 0.01 in, two clasps", "cocr_cast", 2.0 / 2, (0.25,), (15.0, 2.0, 1.0, 0.5)),
    ("J Clin Diagn Res 2016, finite elements, 0.01 in, two clasps", "acetal", 0.02 / 2, (0.25,), (15.0, 2.0, 1.0, 0.5)),
]  # fmt: skip


@pytest.mark.parametrize("study, material, measured, undercuts, arm", STUDIES)
def test_other_published_forces_lie_in_the_band(study, material, measured, undercuts, arm):
    """Sizes are pattern practice (from memory), so this is plausibility: no more can be had from what was printed."""
    length, width, thickness, taper = arm
    beam = simple_arm(length, width, thickness, MATERIALS[material], taper=taper, arc_deg=100)
    peaks = [analyse_clasp(ball_clasp(beam, u)).peak for u in undercuts]
    assert min(p.low for p in peaks) < measured < max(p.high for p in peaks), study


def test_studies_that_measure_far_more_are_out_of_the_band():
    """Heliyon 2023 (PMC10559545): Co-Cr 47.5 N at first, 13.9 N at last. No arm of pattern practice in 0.25 mm reaches the first figure: a
    fit with preload, worn off in the test. What is left at last lies in the band of a short, stiff arm."""
    arm = simple_arm(9.0, 2.0, 1.1, MATERIALS["cocr_cast"], taper=0.7, arc_deg=120)
    peak = analyse_clasp(ball_clasp(arm, 0.25, 3.75)).peak
    assert peak.high < 47.5 and peak.low < 13.9 < peak.high


def naik_bar(shape: str, base: float, tip: float, anchor: float) -> ClaspArm:
    """I-bar of Naik 1997: 31 mm, `anchor` of it straight, a quarter turn of 5 mm radius, the rest straight; held 1 mm from the tip."""
    s = np.arange(0.0, 30.0 + 1e-9, 0.25)
    turn = np.clip((s - 31.0 * anchor) / 5.0, 0.0, np.pi / 2)
    before, after = np.minimum(s, 31.0 * anchor), np.maximum(s - 31.0 * anchor - 5.0 * np.pi / 2, 0.0)
    points = np.stack([before + 5.0 * np.sin(turn), 5.0 * (1.0 - np.cos(turn)) + after, 0.0 * s], axis=1)
    normals = np.stack([np.sin(turn), -np.cos(turn), 0.0 * s], axis=1)
    width = base + (tip - base) * s / 31.0
    return ClaspArm(points, normals, width, width if shape == "round" else width / 2, MATERIALS["cocr_cast"], shape)


@pytest.mark.parametrize(
    ("shape", "base", "tip", "stress", "force"), [("round", 1.0, 1.0, 100.9, 2.13), ("half_round", 2.4, 1.4, 154.3, 6.31)]
)
def test_i_bars_of_given_size_are_stressed_and_push_as_published(shape, base, tip, stress, force):
    """Naik 1997, solid elements, gives every size: half-round 2.4 to 1.4 mm and round 1.0 mm bars.

    The greatest of their ranges belong to the stiffest metal and the longest anchor (half the length). The abstract gives the stress at
    0.254 mm and leaves open where the forces stand: 2.13 N on 11.65 mm of lever would stress a 1 mm wire to 253 MPa, so they are
    those at their greatest deflection, 0.762 mm. The least forces are not held: metals are not named there. The round bar disagrees in
    force: its 2.13 N lie 4 % under our band, its stress within; the modulus there is not given, ours for cobalt-chromium begins at 200 GPa.
    """
    arm = naik_bar(shape, base, tip, 0.5)
    small, large = (analyse_clasp(ball_clasp(arm, u, kind="bar")) for u in (0.254, 0.762))
    assert small.stress.low < stress < small.stress.high and 0.85 < small.stress.likely / stress < 1.15
    if shape == "round":
        assert 0.95 < force / large.force.low < 1.0  # the disagreement, named above
    else:
        assert large.force.low < force < large.force.high
    assert 0.8 < large.force.likely / force < 1.2


def test_force_of_a_rod_follows_its_length_and_diameter_as_published():
    """Chen 2024: rods 0.6 to 1.6 mm thick, up to 15 mm long: force goes with the fourth power of diameter over the third of length."""

    def force(length: float, diameter: float) -> float:
        arm = simple_arm(length, diameter, diameter, MATERIALS["cocr_cast"], taper=1.0, shape="round")
        return analyse_clasp(ball_clasp(arm)).force.likely

    lengths, diameters = np.array([6.0, 9.0, 12.0, 15.0]), np.array([0.6, 0.8, 1.0, 1.3, 1.6])
    by_length = np.polyfit(np.log(lengths), np.log([force(x, 1.0) for x in lengths]), 1)[0]
    by_diameter = np.polyfit(np.log(diameters), np.log([force(12.0, d) for d in diameters]), 1)[0]
    assert by_length == pytest.approx(-3.0, abs=0.05) and by_diameter == pytest.approx(4.0, abs=0.05)


def test_an_arm_of_the_same_length_pushes_more_the_more_it_is_curved():
    """Geramy 2007, finite elements: three arms of one length, more force the greater the angle they cover."""
    forces = [analyse_clasp(ball_clasp(usual(arc=a))).force.likely for a in (60.0, 100.0, 140.0)]
    assert forces[0] < forces[1] < forces[2]


def test_i_bar_with_the_published_taper_and_bend_is_stressed_least():
    """Sato et al., J Oral Rehabil 2001;28:413: among bars of the same stiffness the thinner and wider ones are stressed less."""
    thick, thin = (simple_arm(16.0, w, t, MATERIALS["cocr_cast"]) for w, t in ((1.6, 1.1), (1.6 * (1.1 / 0.8) ** 3, 0.8)))
    a, b = analyse_clasp(ball_clasp(thick, kind="bar")), analyse_clasp(ball_clasp(thin, kind="bar"))
    assert a.stiffness.likely == pytest.approx(b.stiffness.likely, rel=0.02)
    assert b.stress.likely < 0.8 * a.stress.likely


def test_life_is_what_was_published_and_nothing_more():
    laser = {f.build_angle_deg: f.cycles for f in FATIGUE if f.material == "cocr_laser"}
    cast = next(f.cycles for f in FATIGUE if f.material == "cocr_cast" and f.deflection_mm == 0.5)
    assert laser[90.0] > cast > laser[45.0] > laser[0.0]
    life = analyse_clasp(ball_clasp(usual(material="cocr_laser"))).life
    assert (life.cycles.low, life.cycles.high) == (28_484, 205_418) and "build angle" in life.words
    assert analyse_clasp(ball_clasp(usual(material="cpti"))).life.cycles.likely == 4500
    assert analyse_clasp(ball_clasp(usual(material="peek"))).life.cycles is None


def test_iso_22674_types():
    """Proof stress 80, 180, 270, 360, 500 MPa for types 1 to 5; type 5 also 150 GPa (ISO 22674)."""
    names = ("cocr_laser", "cocr_cast", "cpti", "ti64", "gold_iv")
    assert [MATERIALS[n].iso_22674_type("likely") for n in names] == [5, 5, 4, 4, 4]
    assert [MATERIALS[n].iso_22674_type() for n in names] == [5, 5, 3, 4, 0]  # gold: 340 MPa is short of type 4, 4 % of type 3
    assert any("modulus" in words for words in MATERIALS["ti64"].short_of(5))
    assert MATERIALS["cocr_cast"].short_of(5) == () and not MATERIALS["peek"].metal
    for m in MATERIALS.values():
        assert m.source and 0.2 < m.poisson < 0.5 and m.density.low > 0.9
