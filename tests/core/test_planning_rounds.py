"""Path and design settled together, what a design costs before it is built, mouth preparation as a list, overrules of rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from claspwright.core.case import (
    Case,
    CastEntry,
    Chart,
    GuidePlate,
    IBar,
    OcclusalRest,
    Overrule,
    PalatalPlate,
    PathWeights,
    ReciprocalArm,
    RetentiveArm,
    ToothEntry,
)
from claspwright.core.charts import CrownChart
from claspwright.core.components import planes
from claspwright.core.mechanics import MATERIALS, mass
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import Build
from claspwright.core.pipeline.preparing import LEAST_PLANE_MM, spare_enamel
from claspwright.core.pipeline.tips import entries
from claspwright.core.planning import Design, critique, estimate, mouth_preparation, settle
from claspwright.core.planning.estimate import SPREAD
from claspwright.core.planning.mouth import CONTOUR, GUIDE, SEAT, TO_THE_EDGE_MM, lowered_contour
from claspwright.core.planning.rounds import STILL_DEG, between_deg, changes
from claspwright.core.preparation import PLANE_MOST_MM, Cut, prepare
from claspwright.core.survey import Path, survey
from claspwright.core.teeth import Tooth

from .path_casts import direction, planted_cast

COBALT = MATERIALS["cocr_laser"]


@pytest.mark.slow
@pytest.mark.parametrize("lateral, anteroposterior", [(3.0, -5.0)])
def test_design_and_path_come_to_rest_on_a_hidden_path(lateral: float, anteroposterior: float) -> None:
    """All guide surfaces and undercuts of the cast are planted round one direction; the turns end there whatever the case began with."""
    axis = direction(lateral, anteroposterior)
    mesh, teeth = planted_cast(dict.fromkeys((34, 37, 44, 47), axis))
    weights = PathWeights(tilt=0.0)
    chart = Chart(tuple(ToothEntry(t) for t in teeth.teeth), teeth.missing, tuple(t for t in teeth.missing if t % 10 not in (5, 6)), 9.0)
    case = Case(CastEntry("cast.ply", "0" * 64, "lower"), chart)
    case = replace(case, path=replace(case.path, weights=weights))
    found = settle(case, mesh, teeth)
    assert found.settled
    assert found.rounds[0].path == Path() and found.rounds[-1].moved_deg <= STILL_DEG
    assert between_deg(found.chosen.path, Path.from_vector(axis)) < 0.5
    assert found.chosen.draft.case.path.lateral_deg == found.chosen.path.lateral_deg
    # What the others are named for is true of them, and the path of no tilt is among them.
    assert found.others[0].path == Path()
    assert len({p.name for p in found.others}) == len(found.others)
    assert all(p.scored.total >= found.chosen.scored.total - 1e-6 for p in found.others)


def test_changes_between_drafts_in_words() -> None:
    a, b = OcclusalRest("rest", 36), GuidePlate("plate", 36)
    assert changes((), (a, b)) == ()
    assert changes((a, b), (a, b)) == ()
    assert changes((a,), (replace(a, side="distal"), b)) == ("plate added", "rest changed")
    assert changes((a, b), (a,)) == ("plate left out",)


@pytest.mark.slow
def test_the_estimate_holds_against_the_build(quick_lower: Build) -> None:
    """Mass and stiffness told from the plan alone, against the framework that was built."""
    positions = {fdi: tooth.centre for fdi, tooth in quick_lower.teeth.teeth.items()}
    told = estimate(Design(quick_lower.case, positions), quick_lower.mechanics.material)
    assert told is not None
    true = mass(quick_lower.framework.volume, quick_lower.mechanics.material)
    assert told.mass.low <= true.likely <= told.mass.high
    assert quick_lower.mechanics.connector is not None
    assert told.stiffness.low <= quick_lower.mechanics.connector.stiffness.lift <= told.stiffness.high


@pytest.mark.slow
def test_what_a_trial_foretells_of_tips_is_what_the_build_finds(quick_lower: Build) -> None:
    """Parts alone against the cut framework: the depth that each tip enters, within the last step of the check's own search."""
    b = quick_lower
    checks = {c.id: c.value for c in b.checks}
    told = entries(b.assembly.built, b.prepared.mesh, b.survey.path.vector)
    assert {e.part for e in told} == {t.component for built in b.assembly.built.values() for t in built.tips}
    for entry in told:
        assert entry.tip_mm == pytest.approx(checks[f"insertion.tip.{'-'.join(entry.part.split())}"], abs=0.015)
        assert entry.fault == "" and entry.beside_mm <= 0.02
        assert "is planned" in replace(entry, tip_mm=entry.planned_mm + 0.04).fault and "catch" in replace(entry, beside_mm=0.05).fault


def test_a_strap_covers_its_length_by_its_width() -> None:
    """Crowns on two straight rows 40 mm apart: a strap 6 mm from margins 4 mm inside them is 20 mm long, as wide as its space (8 mm)."""
    where = {t: np.array([(-20.0 if t < 20 else 20.0), -8.0 * (t % 10)]) for t in (14, 15, 16, 24, 25, 26)}
    chart = Chart(tuple(ToothEntry(t) for t in (14, 16, 24, 26)), (15, 25), (), 9.0)
    case = Case(CastEntry("cast.ply", "0" * 64, "upper"), chart, components=(PalatalPlate("strap"),))
    told = estimate(Design(case, where), COBALT)
    assert told is not None
    assert told.covered_mm2.likely == pytest.approx(20.0 * 16.0)  # from the middle of 14 to that of 16
    assert told.covered_mm2.low == pytest.approx((1 - SPREAD) * 320.0)
    assert estimate(Design(replace(case, components=())), COBALT) is None


R = 5.0


@pytest.fixture(scope="module")
def ball() -> CrownChart:
    """A sphere for a crown: its margin at z = -4, its height of contour the equator."""
    sphere = trimesh.creation.icosphere(subdivisions=6, radius=R)
    mesh = Mesh(np.asarray(sphere.vertices), np.asarray(sphere.faces))
    angle, r = np.radians(np.arange(0, 360, 3)), np.sqrt(R**2 - 16.0)
    margin = np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(len(angle), -4.0)])
    faces = np.flatnonzero(mesh.triangles[:, :, 2].max(axis=1) > -4.0)
    axes = np.array([0.0, 1, 0]), np.array([-1.0, 0, 0])
    tooth = Tooth(36, margin, np.zeros(3), np.array([0.0, 0, 1]), *axes, np.array([[0, 0, R]]), faces)
    return CrownChart(mesh, tooth, survey(mesh, Path()))


@pytest.mark.parametrize("width", [5.3, 5.6, 6.0])
def test_a_lowered_contour_takes_the_undercut_of_its_new_height(ball: CrownChart, width: float) -> None:
    """On a sphere an arm as wide as told ends h under the equator; lowering the contour there takes R - sqrt(R2 - h2)."""
    task = lowered_contour(ReciprocalArm("arm", 36, width_mm=width, taper=1.0), ball)
    h = width + TO_THE_EDGE_MM - R
    assert task is not None and task.step == CONTOUR
    assert task.deepest_mm == pytest.approx(R - np.sqrt(R**2 - h**2), abs=0.01)
    assert ("more than" in task.warning) == (task.deepest_mm > 0.5)


def test_an_arm_with_room_asks_for_nothing_and_one_without_says_so(ball: CrownChart) -> None:
    assert lowered_contour(RetentiveArm("arm", 36), ball) is None
    task = lowered_contour(ReciprocalArm("arm", 36, width_mm=9.0, taper=1.0), ball)
    assert task is not None and "too short" in task.warning


def test_tasks_stand_in_the_order_of_treatment(ball: CrownChart) -> None:
    cuts = [Cut("occlusal rest seat, 2.6 x 2.6 mm, 1.2 mm deep", 36, 1.3, 8.0), Cut("distal guide plane, 2 mm high", 44, 0.2, 1.0, 1.4)]
    tasks = mouth_preparation(cuts, [ReciprocalArm("arm", 36, width_mm=5.5), ReciprocalArm("again", 36, width_mm=6.0)], {36: ball})
    assert [t.step for t in tasks] == [GUIDE, CONTOUR, SEAT]
    assert tasks[0].where == "distal" and tasks[0].enamel_mm == 1.4
    # Two arms ask for the same sector: one cut, the deeper, serves both.
    assert tasks[1].deepest_mm == max(t.deepest_mm for t in mouth_preparation([], [ReciprocalArm("b", 36, width_mm=6.0)], {36: ball}))


@pytest.mark.slow
def test_planes_are_lowered_until_the_cut_is_shallow(quick_lower: Build) -> None:
    """On the sample with its planes asked 5 mm high; judged by the preparation itself."""
    b = quick_lower
    tall = tuple(replace(c, plane_height_mm=5.0) if isinstance(c, GuidePlate) else c for c in b.case.components)
    path = Path(0.0, 8.0)  # leans the cast, so that one side's planes cost
    spared, why = spare_enamel(replace(b.case, components=tall), b.cast.mesh, b.teeth, path)
    assert why, "nothing was lowered; the test shows nothing"
    for spec in planes(spared.components, b.teeth.teeth, path.vector):
        (cut,) = prepare(b.cast.mesh, b.teeth, path, (), (spec,)).cuts
        assert cut.deepest_mm <= PLANE_MOST_MM or spec.height_mm < LEAST_PLANE_MM + 0.5


def test_a_rule_is_overruled_with_its_reason_and_still_shown() -> None:
    chart = Chart(tuple(ToothEntry(t) for t in (33, 34, 43, 44)), (35, 36, 37, 45, 46, 47), (), 9.0)
    case = Case(CastEntry("cast.ply", "0" * 64, "lower"), chart, components=(IBar("bar", 34),))
    before = critique(Design(case))
    rule = next(f.rule for f in before if f.severity == "error")
    after = critique(Design(replace(case, overrules=(Overrule(f"plan.{rule}", "the patient's own wish", "the dentist"),))))
    assert [f.rule for f in after] == [f.rule for f in before]
    assert {f.overruled for f in after if f.rule == rule} == {"the patient's own wish (the dentist)"}
    assert not any(f.overruled for f in after if f.rule != rule)
