"""Levers, connectors, advice, checks and the report's section, on made-up cases with known answers."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from claspwright.core.case import case_from_json, case_to_json
from claspwright.core.checks import check_mechanics, worst
from claspwright.core.errors import CaseError
from claspwright.core.mechanics import (
    MATERIALS,
    BaseInput,
    CaseInput,
    ConnectorInput,
    Profile,
    Range,
    Run,
    analyse,
    analyse_clasp,
    axis_through,
    base_lift,
    base_sinking,
    frictional_hold,
    lift_on_clasp,
    simple_arm,
    swept,
)
from claspwright.core.mechanics.advice import advise, wanted_pull
from claspwright.core.mechanics.connector import analyse_connector, frame_of, side_stiffness, with_section
from claspwright.core.mechanics.record import record
from claspwright.core.mechanics.retention import force_travel, reciprocation
from claspwright.core.mechanics.sections import gauge_mm
from claspwright.core.output import MechanicsSheet, ReportData, report_html
from claspwright.core.pipeline.advice import apply_advice
from claspwright.core.pipeline.mechanics import framework_material

from .mechanics_inputs import UP, ball_clasp, ball_profile, usual

FORWARD = np.array([0.0, 1.0, 0.0])
COCR = MATERIALS["cocr_laser"]


# Levers.


def test_case_14_lever():
    assert lift_on_clasp(10, 20, 3) == pytest.approx(66.67, rel=0.005)
    assert lift_on_clasp(10, 20, 3, 25) == pytest.approx(16.07, rel=0.005)


def test_lift_in_space_is_the_plane_lever():
    """The same lever about lines across the mouth: rests at y = 0, indirect retainers at y = 25, tip at -3, load at -20."""
    rests = axis_through(np.array([20.0, 0, 0]), np.array([-20.0, 0, 0]))
    indirect = axis_through(np.array([15.0, 25, 3]), np.array([-15.0, 25, 3]))
    load, tip = np.array([20.0, -20, -4]), np.array([[22.0, -3, -2]])
    pull = [Range(66.667, 66.667, 66.667, "N")]
    without, with_it = (base_lift("base", load, tip, pull, axis, UP) for axis in (rests, indirect))
    assert without.holds_n.likely == pytest.approx(10.0, rel=0.005) and without.per_newton == pytest.approx(6.667, rel=0.005)
    assert with_it.per_newton == pytest.approx(1.607, rel=0.005)
    assert base_lift("base", load, np.array([[22.0, 5, 0]]), pull, rests, UP) is None  # a tip in front of the line holds nothing
    two = base_lift("base", load, np.repeat(tip, 2, axis=0), pull * 2, rests, UP)
    assert two.holds_n.likely == pytest.approx(20.0, rel=0.005)


def test_a_mesial_rest_releases_the_tip_and_a_distal_rest_makes_it_press():
    """The reason of the RPI clasp: the base sinks behind; a tip behind the rest sinks into the undercut, one before it is lifted."""
    end = np.array([20.0, -30, 0])
    normal = np.array([1.0, 0, -0.25]) / np.hypot(1, 0.25)  # facial wall below the contour
    for rest, word in ((3.0, "releases"), (-6.0, "presses")):
        axis = axis_through(np.array([16.0, rest, 0]), np.array([-16.0, rest, 0]))
        found = base_sinking("base", end, axis, UP, [("tip", np.array([20.0, 0.0, 0.0]), normal)])
        assert found.tips[0].word == word
        assert found.angle_deg.likely == pytest.approx(np.degrees(0.95 / (30 + rest)), rel=0.01)  # 1.0 less 0.05 mm of sinking


def test_frictional_hold_is_friction_times_sideways_press():
    hold = frictional_hold(2)
    assert hold.likely == pytest.approx(2 * 0.2 * 3.5) and hold.low < hold.likely < hold.high and "Rues" in hold.assumption


def test_reciprocation_of_a_parallel_wall_and_of_a_round_one():
    profile = ball_profile(4.5, 0.25)
    lift = force_travel(profile, np.array([[0.1]]), 0.2)
    held = reciprocation(lift, profile.travel, np.zeros_like(profile.travel))
    assert held.share == 1.0 and held.gap_mm == 0.0
    lost = reciprocation(lift, profile.travel, 0.4 * profile.travel)
    assert lost.held_mm == pytest.approx(0.05 / 0.4, abs=0.01) and lost.share < 0.15


# The connector.


def straight_bar(shape: str = "half_round", width: float = 4.0, thickness: float = 2.0, length: float = 40.0) -> Run:
    x = np.linspace(-length / 2, length / 2, 81)
    points = np.stack([x, 0 * x, 0 * x], axis=1)
    return swept(points, np.tile([0.0, -1.0, 0.0], (81, 1)), np.full(81, width), np.full(81, thickness), shape)


def bar_input(run: Run, bounded: bool = False) -> ConnectorInput:
    """A rest beside each end of the bar, a base behind it; where the base is bounded, a rest behind the base too."""
    right, left = run.nodes[-1], run.nodes[0]
    rests = [right + [3, 3, 6], left + [-3, 3, 6], *((right + [3, -30, 6], left + [-3, -30, 6]) if bounded else ())]
    bases = (right + np.array([3.0, -15, 2]), left + np.array([-3.0, -15, 2]))
    borne = (0.0, 0.0) if bounded else (1.0, 1.0)
    return ConnectorInput("bar", "bar", run, UP, (right, left), np.array(rests), np.arange(len(rests)) % 2, bases, borne)


def test_a_straight_connector_against_the_closed_forms():
    """Axial EA / L, shift 3 E I_edge / L^3, turn G J / L."""
    frame = replace(frame_of(straight_bar(), COCR), shear_share=np.inf)
    stiff = side_stiffness(frame, (np.array([20.0, 0, 0]), np.array([-20.0, 0, 0])), UP)
    e, s = COCR.modulus_mpa, frame.sections
    assert stiff.spread == pytest.approx(e * s.area[0] / 40, rel=0.005)
    assert stiff.lift == pytest.approx(3 * e * s.inertia_edge[0] / 40**3, rel=0.005)
    assert stiff.twist == pytest.approx(np.radians(1) * e / 2.6 * s.torsion[0] / 40, rel=0.005)


def curved_bar(shape: str, width: float, thickness: float) -> Run:
    """Behind the lower front teeth: a half circle of 16 mm, flat side to the tissue, standing upright."""
    t = np.linspace(0, np.pi, 121)
    points = np.stack([16 * np.cos(t), 16 * np.sin(t), 0 * t], axis=1)
    return swept(points, -points / 16, np.full(121, width), np.full(121, thickness), shape)


def test_lingual_bars_rank_as_ben_ur_measured():
    """Ben-Ur et al. 1989: a full pear of 4 by 4 is stiffest, then the half-ellipse of 3.75 by 1.75, then 4 by 1.5."""
    ends = (np.array([16.0, 0, 0]), np.array([-16.0, 0, 0]))
    stiff = [
        side_stiffness(frame_of(curved_bar(*section), COCR), ends, UP)
        for section in (("round", 4.0, 4.0), ("half_round", 3.75, 1.75), ("half_round", 4.0, 1.5))
    ]
    for name in ("spread", "lift", "twist"):
        values = [getattr(s, name) for s in stiff]
        assert values == sorted(values, reverse=True)


def test_palatal_rings_rank_as_measured():
    """Ben-Ur 1999: antero-posterior straps stiffer than a U; Green and Hondrum 2003: doubling a U's thickness helps most."""
    t = np.linspace(-np.pi, np.pi, 121)[:-1]
    points = np.stack([18 * np.cos(t), 16 * np.sin(t), 6 * np.cos(t) ** 2], axis=1)
    ring = swept(points, np.tile(UP, (120, 1)), np.full(120, 8.0), np.full(120, 0.9), "strip", True)
    sides = (np.array([18.0, 0, 6]), np.array([-18.0, 0, 6]))
    data = ConnectorInput("straps", "ring", ring, UP, sides, np.array([[17.0, 9, 6], [-17.0, 9, 6]]), np.array([0, 1]), sides, (0.0, 0.0))
    found = analyse_connector(data, COCR, FORWARD)
    others = dict(found.references)
    u_shape, doubled = others["the same without its back strap (U-shape)"], others["U-shape of double thickness"]
    assert found.stiffness.lift > 1.5 * u_shape.lift and found.stiffness.spread > 1.5 * u_shape.spread
    assert doubled.lift > 3 * u_shape.lift
    assert found.stress.low <= found.stress.likely <= found.stress.high < COCR.proof.low


def test_soft_mucosa_puts_more_on_a_bar():
    """An extension base that sinks loads the bar; a base between teeth stands on its rests; a thicker bar is stressed less."""
    extension = analyse_connector(bar_input(curved_bar("half_pear", 4.1, 2.1)), COCR, FORWARD)
    bounded = analyse_connector(bar_input(curved_bar("half_pear", 4.1, 2.1), True), COCR, FORWARD)
    assert extension.stress.likely > 1.5 * bounded.stress.likely and extension.sag_mm.likely > bounded.sag_mm.likely
    assert "Manderson" in extension.stress.assumption
    thick = analyse_connector(bar_input(with_section(curved_bar("half_pear", 4.1, 2.1), "half_pear", 5.0, 2.6)), COCR, FORWARD)
    assert thick.stress.likely < extension.stress.likely


# Advice.


def short_arm():
    """9 mm, 1.8 by 1.0: far too stiff for 0.25 mm."""
    return ball_clasp(simple_arm(9.0, 1.8, 1.0, COCR, arc_deg=120))


def test_advice_brings_an_arm_into_range_when_it_is_followed():
    data = ball_clasp(simple_arm(13.0, 1.8, 1.0, COCR, arc_deg=110), 0.25, 3.8)
    result = analyse_clasp(data)
    assert result.stress.likely > result.allowable_mpa
    low, high = wanted_pull(2)
    found = [a for a in advise(data, result, 2) if a.good and a.changes]
    assert found
    for advice in found:
        changes = dict(advice.changes)
        arm, undercut = data.arm, changes.get("gauge_mm", 0.25)
        if "base_thickness_mm" in changes:
            arm = replace(arm, thickness=arm.thickness * changes["base_thickness_mm"] / 1.0)
        if "base_width_mm" in changes:
            arm = replace(arm, width=arm.width * changes["base_width_mm"] / 1.8)
        if "taper" in changes:
            arm = simple_arm(13.0, 1.8, 1.0, COCR, taper=changes["taper"], arc_deg=110)
        if "alloy" in changes:
            arm = replace(arm, material=next(m for m in MATERIALS.values() if m.label == changes["alloy"]))
        followed = analyse_clasp(ball_clasp(arm, undercut, 3.8))
        assert low * 0.9 <= followed.peak.likely <= high * 1.1, advice.words
        assert followed.stress.likely <= 1.05 * followed.allowable_mpa, advice.words


def wire_of(gauge, material="wire_ptaupd"):
    """11 mm of free wire round a premolar."""
    d = gauge_mm(gauge)
    return simple_arm(11.0, d, d, MATERIALS[material], taper=1.0, shape="round", arc_deg=90)


def test_a_wire_is_advised_another_gauge_or_metal_and_it_serves():
    """What is advised for a wire are a wire's own choices; followed, pull and stress are in range."""
    data = ball_clasp(wire_of(19), 0.5, 3.6, kind="wrought")
    result = analyse_clasp(data)
    low, high = wanted_pull(2)
    assert not (low <= result.peak.likely <= high and result.stress.likely <= result.allowable_mpa)
    found = [a for a in advise(data, result, 2) if a.good]
    assert found and all(set(dict(a.changes)) <= {"gauge_mm", "wire_gauge", "material"} for a in found)
    for advice in found:
        changes = dict(advice.changes)
        beam = wire_of(changes.get("wire_gauge", 19), changes.get("material", "wire_ptaupd"))
        followed = analyse_clasp(ball_clasp(beam, changes.get("gauge_mm", 0.5), 3.6, kind="wrought"))
        assert low * 0.9 <= followed.peak.likely <= high * 1.1, advice.words
        assert followed.stress.likely <= 1.05 * followed.allowable_mpa, advice.words
        assert beam.material.label in advice.words or "material" not in changes


def test_nothing_is_advised_that_is_worse_than_the_arm_as_it_is():
    """A wire of the thickest gauge in its range of stress that holds too little alone: less undercut would only hold less."""
    data = ball_clasp(wire_of(18), 0.25, 3.6, kind="wrought")
    result = analyse_clasp(data)
    assert result.peak.likely < wanted_pull(1)[0] and result.stress.likely < result.allowable_mpa
    assert all(a.good or a.peak_n > result.peak.likely for a in advise(data, result, 1))


def test_an_arm_in_range_needs_no_advice():
    data = ball_clasp(usual(15.0, 2.0, 1.0, "cocr_laser"), 0.25, 3.2)
    result = analyse_clasp(data)
    low, high = wanted_pull(3)
    assert low <= result.peak.likely <= high and result.stress.likely < result.allowable_mpa
    assert advise(data, result, 3) == ()


CASE = {
    "format": "claspwright-case", "version": 1, "cast": {"file": "c.ply", "sha256": "", "arch": "lower"},
    "components": [{"kind": "retentive_arm", "id": "arm 36", "tooth": 36}],
}  # fmt: skip


def test_advice_is_applied_with_one_press():
    case = case_from_json(CASE)
    data = short_arm()
    for advice in advise(data, analyse_clasp(data), 2):
        if advice.changes:
            changed = apply_advice(case, advice)
            for field, value in advice.changes:
                assert getattr(changed.manufacture if field == "alloy" else changed.components[0], field) == value
            assert framework_material(changed)[1] == ()
        else:
            with pytest.raises(CaseError, match="another kind of clasp"):
                apply_advice(case, advice)
    with pytest.raises(CaseError, match="no component"):
        apply_advice(case_from_json({**CASE, "components": []}), replace(advice, changes=(("gauge_mm", 0.2),)))


# Materials of a case.


def test_a_case_brings_its_own_material():
    entry = {
        "name": "alloy X", "source": "maker's data sheet", "modulus_gpa": [190, 200, 210], "proof_mpa": [550, 580, 610],
        "elongation_pct": [4, 6, 8], "density_g_cm3": [8.2, 8.3, 8.4],
    }  # fmt: skip
    case = case_from_json({**CASE, "materials": [entry], "manufacture": {"alloy": "Alloy X"}})
    found, remarks = framework_material(case)
    assert found.modulus.likely == 200 and found.proof.low == 550 and found.iso_22674_type() == 5 and remarks == ()
    assert case_from_json(case_to_json(case)) == case
    wrong = {**entry, "modulus_gpa": [210, 200, 190]}
    with pytest.raises(CaseError, match=r"case\.materials\[0\]"):
        framework_material(case_from_json({**CASE, "materials": [wrong], "manufacture": {"alloy": "Alloy X"}}))
    with pytest.raises(CaseError, match="modulus_gpa"):
        case_from_json({**CASE, "materials": [{**entry, "modulus_gpa": [-1, 200, 210]}]})


def test_an_unknown_alloy_is_said_and_known_ones_are_found():
    unknown = framework_material(case_from_json({**CASE, "manufacture": {"alloy": "unobtainium"}}))
    assert unknown[0].name == "cocr_laser" and "unobtainium" in unknown[1][0]
    for words, name in (("cobalt-chromium, laser-melted", "cocr_laser"), ("PEEK", "peek"), ("titanium alloy Ti-6Al-4V", "ti64")):
        assert framework_material(case_from_json({**CASE, "manufacture": {"alloy": words}}))[0].name == name


# A whole case.


def whole(**changes) -> CaseInput:
    clasps = []
    for side, name, x in (("right", "arm 46", 20.0), ("left", "arm 36", -20.0)):
        clasp = ball_clasp(usual(material="cocr_laser"), name=name, side=side)
        place = np.array([[x, -4.0, 0.0]])
        clasps.append(replace(clasp, places=place, arm=replace(clasp.arm, points=clasp.arm.points - clasp.arm.points[-1] + place[0])))
    sides = (("right", 20.0), ("left", -20.0))
    bases = tuple(BaseInput(f"base {s}", s, np.array([x, -20.0, 0]), np.array([x, -30.0, 0]), True) for s, x in sides)
    line = (np.array([17.0, 0, 0]), np.array([-17.0, 0, 0]))
    data = CaseInput(
        UP, FORWARD, COCR, tuple(clasps), bases, line, (44, 34), (np.array([10.0, 9, 0]), np.array([-10.0, 9, 0])), (43, 33), (1, 1),
        bar_input(curved_bar("half_pear", 4.1, 2.1)),
    )  # fmt: skip
    return replace(data, **changes)


def test_both_sides_are_summed_and_even():
    found = analyse(whole())
    assert found.balance.right.likely == pytest.approx(found.clasps[0].peak.likely)
    assert found.balance.share == pytest.approx(0.5)
    one = analyse(whole(clasps=whole().clasps[:1]))
    assert one.balance.left.likely == 0 and one.balance.share == 1.0
    ids = {c.id: c for c in check_mechanics(one)}
    assert ids["retention.balance"].status == "warn" and ids["retention.left"].status == "warn"


def test_indirect_retainers_help_in_the_checks():
    with_it = {c.id: c for c in check_mechanics(analyse(whole()))}
    without = {c.id: c for c in check_mechanics(analyse(whole(indirect=(), indirect_teeth=())))}
    assert with_it["lever.lift.base-right"].value > 2 * without["lever.lift.base-right"].value
    assert "43 and 33" in with_it["lever.lift.base-right"].words and "no rest lies far enough" in without["lever.lift.base-right"].words


def test_checks_flag_short_stiff_arms_and_pass_good_ones():
    """Handbook 8.3: 8 mm, 1.4 by 0.7 at 0.5 mm is far beyond yield; 15 mm, 1.6 by 0.8 at 0.25 mm is at 200 MPa."""
    bad = ball_clasp(simple_arm(8, 1.4, 0.7, MATERIALS["cocr_cast"]), 0.5)
    good = ball_clasp(simple_arm(15, 1.6, 0.8, MATERIALS["cocr_cast"]), 0.25)
    found = {}
    for name, clasp in (("bad", bad), ("good", good)):
        result = analyse(CaseInput(UP, FORWARD, MATERIALS["cocr_cast"], (replace(clasp, id=name),)))
        found.update({c.id: c for c in check_mechanics(result)})
    assert found["arm.stress.bad"].status == "fail" and found["arm.length.bad"].status == "fail"
    assert "set after the first lift" in found["arm.stress.bad"].words
    assert found["arm.stress.good"].status == "pass" and found["arm.length.good"].status == "pass"
    assert found["arm.stress.good"].value == pytest.approx(200, rel=0.15)  # with friction and the twist of a force on the flat side
    assert found["reciprocation.good"].status == "warn" and found["material.type"].status == "pass"
    for check in found.values():
        assert check.source and (check.status == "skip" or check.words)


def test_a_resin_framework_is_said_to_be_no_metal():
    checks = check_mechanics(analyse(CaseInput(UP, FORWARD, MATERIALS["peek"])))
    assert [c.id for c in checks] == ["material.type"] and worst(checks) == "warn" and "no metal" in checks[0].words


def test_no_number_stands_bare_in_the_report():
    found = analyse(whole())
    rng = np.linspace(0, 2 * np.pi, 24)
    margins = {t: np.stack([x + 4 * np.cos(rng), 4 * np.sin(rng), 0 * rng], axis=1) for t, x in ((34, -16.0), (44, 16.0))}
    page = report_html(ReportData("t", "CODE", "lower", mechanics=MechanicsSheet(found, "lower", margins)))
    for c in found.clasps:
        for value in (c.peak, c.force):
            assert re.search(rf"<b>{value.likely:.1f}</b><small>{value.low:.1f} to {value.high:.1f}</small>", page)
    assert page.count("<svg") == 2 * len(found.clasps) + 1
    for word in ("Frank and Nicholls", "Wills and Manderson", "Ben-Ur", "Kajima", "friction 0.1", "line the bases turn about", "s right: "):
        assert word in page, word
    assert not re.search(r"\b(nan|inf)\b", page)
    json.dumps(record(found), allow_nan=False)


def test_text_of_a_case_is_escaped_in_the_plots():
    data = whole()
    evil = replace(data.clasps[0], id="<script>x</script>")
    page = report_html(ReportData("t", "CODE", "lower", mechanics=MechanicsSheet(analyse(replace(data, clasps=(evil,))), "lower")))
    assert "<script>" not in page


def test_profiles_that_never_bulge_hold_nothing():
    flat = Profile(np.linspace(0, 1, 5), -np.ones((1, 5)), np.zeros((1, 5)))
    result = analyse_clasp(replace(ball_clasp(usual()), profile=flat))
    assert result.peak.high == 0 and result.stress.high == 0 and result.set_mm.high == 0
