"""Drafts for charted arches against the textbook designs of the project's case set (McCracken and Stewart, from memory).

Crowns are given as measurements here, so that each reason can be turned on and off; one slow test measures made-up casts.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest
import trimesh
from claspwright.core.case import (
    BackActionArm,
    Case,
    CastEntry,
    Chart,
    CingulumRest,
    ExtendedArm,
    IBar,
    LatticeBase,
    LingualBar,
    MinorConnector,
    OcclusalRest,
    PalatalPlate,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    SoftTissueEntry,
    SulcusEntry,
    TBar,
    ToothEntry,
    UShapedPlate,
    WireArm,
    case_from_json,
    case_to_json,
)
from claspwright.core.charts import SECTORS
from claspwright.core.errors import CaseError
from claspwright.core.mesh import Mesh
from claspwright.core.planning import Abutment, Design, Known, Setting, clasp_options, critique, draft, palate_shown, tip_gauge_mm
from claspwright.core.planning.abutment import MOST_REACH_DEG, REACH_DEG, ArmPlace, Sector
from claspwright.core.planning.option import CIRCLET, Option
from claspwright.core.planning.placing import slighter
from claspwright.core.teeth import Teeth, Tooth

_CORNERS = {16: (-25.0, 0.0, 5.0), 17: (-25.0, -10.0, 5.0), 26: (25.0, 0.0, 5.0), 27: (25.0, -10.0, 5.0)}
ROWS = {
    "upper": (17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27),
    "lower": (37, 36, 35, 34, 33, 32, 31, 41, 42, 43, 44, 45, 46, 47),
}


def case(arch: str, missing: tuple[int, ...], sulcus: float | None = 9.0) -> Case:
    thirds = (18, 28) if arch == "upper" else (38, 48)
    teeth = tuple(ToothEntry(t) for t in ROWS[arch] if t not in missing)
    return Case(CastEntry("cast.ply", "0" * 64, arch), Chart(teeth, (*missing, *thirds), thirds, sulcus))


def crown(tooth: int, *, undercut: dict[str, float] | None = None, bar: float = 1.8, length: float = 16.0, room: float = 3.5) -> Abutment:
    """A crown with 0.4 mm of undercut everywhere unless told; an arm finds its gauge where the sector of its tip holds it."""
    depth = dict.fromkeys(SECTORS, 0.4) if undercut is None else {s: undercut.get(s, 0.0) for s in SECTORS}
    arms = {}
    for origin, far in (("mesial", "disto"), ("distal", "mesio")):
        for face in ("facial", "lingual"):
            held = depth[f"{far}{face}"] >= 0.25
            arms[origin, face] = ArmPlace(origin, face, 1.0 if held else 0.0, 1.6 if held else float("nan"), length, room)
    return Abutment(tooth, 8.0, {s: Sector(d, 1.5) for s, d in depth.items()}, arms, bar, {"facial": 0.4, "lingual": 0.5})


def drafted(given: Case, **crowns: Abutment) -> Design:
    abutments = {t.fdi: crowns.get(f"t{t.fdi}", crown(t.fdi)) for t in given.chart.teeth}
    return Design(draft(given, abutments).case)


def test_lower_class_one_gets_bar_clasps_mesial_rests_and_canine_rests() -> None:
    """Case A: lingual bar, mesial rest, plate and I-bar on 34 and 44, indirect retention in front of the line 34 to 44."""
    made = drafted(case("lower", (35, 36, 37, 45, 46, 47)))
    assert [(a.tooth, type(a)) for a in made.arms] == [(34, IBar), (44, IBar)]
    assert {(r.tooth, r.side) for r in made.all(OcclusalRest)} == {(34, "mesial"), (44, "mesial")}
    assert {r.tooth for r in made.all(CingulumRest)} == {33, 43}
    assert made.all(LingualBar) and {(f.first, f.second) for f in made.fulcrums} == {(34, 44)}
    assert critique(made) == ()


def test_canines_bear_bar_clasps_when_all_posterior_teeth_are_gone() -> None:
    """Case B: cingulum rests and I-bars on 33 and 43."""
    made = drafted(case("lower", (34, 35, 36, 37, 44, 45, 46, 47)))
    assert [(a.tooth, type(a)) for a in made.arms] == [(33, IBar), (43, IBar)]
    assert {r.tooth for r in made.rests} == {33, 43} and made.all(CingulumRest)


def test_class_two_modification_one() -> None:
    """Case C: release on 35, circumferential clasps on 44 and 47, fulcrum 35 to 47, an indirect retainer on the other side in front."""
    made = drafted(case("lower", (36, 37, 45, 46)))
    assert {(a.tooth, type(a)) for a in made.arms} == {(35, IBar), (44, RetentiveArm), (47, RetentiveArm)}
    assert {(f.first, f.second) for f in made.fulcrums} == {(35, 47)}
    assert made.rested and any(t in made.rested for t in (43, 44))
    assert not [f for f in critique(made) if f.severity == "error"]


def test_upper_class_three_modification_one() -> None:
    """Case D: four circumferential clasps from the spaces, straps."""
    made = drafted(case("upper", (15, 16, 25, 26)))
    assert {(a.tooth, a.origin) for a in made.all(RetentiveArm)} == {(14, "distal"), (17, "mesial"), (24, "distal"), (27, "mesial")}
    assert {a.tooth for a in made.all(ReciprocalArm)} == {14, 17, 24, 27} and made.all(PalatalStraps)
    assert {f.rule for f in critique(made)} <= {"clasp.length"}


def test_upper_class_one() -> None:
    """Case F: a plate (last abutments are first premolars), release on 14 and 24, canine rests."""
    made = drafted(case("upper", (15, 16, 17, 25, 26, 27)))
    assert [(a.tooth, type(a)) for a in made.arms] == [(14, IBar), (24, IBar)] and {r.tooth for r in made.all(CingulumRest)} == {13, 23}
    assert [p.complete for p in made.all(PalatalPlate)] == [True]


def test_one_space_takes_an_embrasure_clasp_on_the_other_side() -> None:
    """Case G: circumferential clasps on 45 and 47, an embrasure clasp on 35 and 36, one strut for its two rests."""
    made = drafted(case("lower", (46,)))
    assert {(a.tooth, a.origin) for a in made.all(RetentiveArm)} == {(45, "distal"), (47, "mesial"), (35, "distal"), (36, "mesial")}
    assert {(r.tooth, r.side) for r in made.all(OcclusalRest)} >= {(35, "distal"), (36, "mesial")}
    assert {f.rule for f in critique(made)} <= {"clasp.length"}


def test_an_anterior_space_is_held_by_embrasure_clasps_on_both_sides() -> None:
    """Case E: front teeth are not clasped; rests beside the space and behind, four clasps (McCracken and Stewart: IV, four)."""
    made = drafted(case("upper", (12, 11, 21, 22)))
    assert sorted(made.clasped) == [15, 16, 25, 26] and {13, 23} <= set(made.rested)
    assert made.all(PalatalPlate) and not [f for f in critique(made) if f.severity != "advice"]


def test_retention_of_the_embrasure_follows_the_face_of_the_other_side() -> None:
    lingual = {"mesiolingual": 0.4, "distolingual": 0.4}
    crowns = {f"t{t}": crown(t, undercut=lingual, bar=float("nan")) for t in (45, 47)}
    made = drafted(case("lower", (46,)), **crowns)
    assert {a.face for a in made.all(RetentiveArm)} == {"lingual"} and "clasp.balance" not in {f.rule for f in critique(made)}


def test_a_leaning_molar_is_drafted_with_ring_second_rest_and_lattice_for_its_strut() -> None:
    leaning = crown(47, undercut={"mesiolingual": 0.5, "lingual": 0.3}, bar=float("nan"))
    made = drafted(case("lower", (45, 46, 36, 37)), t47=leaning)
    (ring,) = made.all(RingArm)
    assert (ring.tooth, ring.face, ring.base) == (47, "facial", next(b.id for b in made.all(LatticeBase) if 46 in b.teeth))
    assert {r.side for r in made.on(47, OcclusalRest)} == {"mesial", "distal"}
    assert not [f for f in critique(made) if f.severity == "error"]


def test_a_weak_premolar_beside_a_free_end_is_drafted_with_wire_where_the_sulcus_forbids_a_bar() -> None:
    given = case("lower", (35, 36, 37, 45, 46, 47), sulcus=4.0)
    teeth = tuple(replace(t, root_support="poor") if t.fdi == 34 else t for t in given.chart.teeth)
    given = replace(given, chart=replace(given.chart, teeth=teeth))
    made = drafted(given, t34=crown(34, undercut=dict.fromkeys(SECTORS, 0.6), length=9.0))
    assert [a.tooth for a in made.all(WireArm)] == [34] and made.on(34, ReciprocalArm)
    assert "clasp.weak" not in {f.rule for f in critique(made)}


def test_a_tooth_without_undercut_hands_its_clasp_to_the_next_by_an_extended_arm() -> None:
    bare = crown(14, undercut={}, bar=float("nan"))
    options = clasp_options(bare, Setting("mesial", False, 4.0, beyond=crown(15)), ToothEntry(14))
    assert options[0].kind == "extended arm" and options[0].possible
    assert not clasp_options(bare, Setting("mesial", False, 4.0), ToothEntry(14))[0].possible
    short = clasp_options(crown(14, length=7.0), Setting("mesial", False, 4.0, beyond=crown(15)), ToothEntry(14))
    assert short[0].kind == "extended arm" and any("too short" in words for words in short[0].speaks_for)


@pytest.mark.parametrize("change, word", [({"frenum": True}, "frenum"), ({"shows": True}, "shows")])
def test_what_the_chart_says_of_the_place_is_weighed(change: dict[str, bool], word: str) -> None:
    plain, told = (clasp_options(crown(14), replace(Setting("distal", False, 9.0), **more), ToothEntry(14)) for more in ({}, change))
    assert not any(word in w for o in plain for w in o.speaks_against)
    assert any(word in w for o in told for w in o.speaks_against)


def _with(given: Case, **values: object) -> Case:
    return replace(given, chart=replace(given.chart, **values))  # type: ignore[arg-type]


def _tooth(given: Case, fdi: int, **values: object) -> Case:
    teeth = tuple(replace(t, **values) if t.fdi == fdi else t for t in given.chart.teeth)  # type: ignore[arg-type]
    return _with(given, teeth=teeth)


LOWER_I, UPPER_III = case("lower", (35, 36, 37, 45, 46, 47)), case("upper", (15, 25))
# What is charted, the case before and after, and words that must then stand in a reason, a clasp weighed, or what is left open.
CHARTED = {
    "lower torus": (LOWER_I, _with(LOWER_I, soft_tissue=(SoftTissueEntry("torus", (33,)),)), "a plate covers it with relief"),
    "upper torus": (UPPER_III, _with(UPPER_III, soft_tissue=(SoftTissueEntry("torus"),)), "a plate in front of it"),
    "shallow lingual sulcus": (LOWER_I, _with(LOWER_I, sulcus_mm=6.5), "no room for a bar"),
    "shallow facial sulcus": (LOWER_I, _with(LOWER_I, sulcus=(SulcusEntry(34, 4.0, "facial"),)), "sulcus of 4 mm; 5 are needed"),
    "frenum": (LOWER_I, _with(LOWER_I, soft_tissue=(SoftTissueEntry("frenum", (34,)),)), "a frenum is charted in its way"),
    "loose abutment": (UPPER_III, _tooth(UPPER_III, 14, mobility=2), "stiff, on a weak tooth"),
    "short crown": (UPPER_III, _tooth(UPPER_III, 14, crown_length_mm=3.5), "the crown is short (3.5 mm)"),
    "looks": (UPPER_III, _with(UPPER_III, aesthetic=(14,)), "the chart asks for looks there"),
    "flabby ridge": (LOWER_I, _with(LOWER_I, soft_tissue=(SoftTissueEntry("flabby ridge", (46,)),)), "record it without pressure"),
    "sore tissue": (LOWER_I, _with(LOWER_I, soft_tissue=(SoftTissueEntry("sore or inflamed tissue", (36,)),)), "let it heal"),
    "planned extraction": (UPPER_III, _tooth(UPPER_III, 24, to_extract=True), "support on the cingulum"),
}


@pytest.mark.parametrize("what", CHARTED)
def test_every_finding_of_the_chart_changes_the_plan_or_its_words(what: str) -> None:
    before, after, words = CHARTED[what]

    def told(given: Case) -> str:
        made = draft(given, {t.fdi: crown(t.fdi) for t in given.chart.teeth})
        weighed = [w for options in made.options.values() for o in options for w in (*o.speaks_for, *o.speaks_against, *o.vetoes)]
        return "; ".join((*(r.words for r in made.reasons), *weighed, *made.open))

    assert words in told(after) and words not in told(before)


def test_the_same_chart_gives_the_same_draft_with_a_reason_for_every_part() -> None:
    for given in (LOWER_I, UPPER_III):
        first, second = (draft(given, {t.fdi: crown(t.fdi) for t in given.chart.teeth}) for _ in range(2))
        assert first == second
        assert [r.part for r in first.reasons] == [c.id for c in first.case.components] and all(r.words for r in first.reasons)


def test_tissue_undercut_speaks_against_a_bar() -> None:
    """1 mm within 3 mm of the margin (UK clinical guide; handbook, section 2.4)."""
    setting = Setting("distal", True, 9.0)
    clear, hidden = (clasp_options(replace(crown(34), tissue_mm=t), setting, ToothEntry(34)) for t in (0.6, 1.6))
    points = [next(o.points for o in options if o.kind == "I-bar") for options in (clear, hidden)]
    assert points[0] > points[1]


def test_what_was_tried_in_vain_is_drafted_otherwise_and_the_reason_is_kept() -> None:
    given = case("upper", (15, 16, 25, 26))
    crowns = {t.fdi: crown(t.fdi) for t in given.chart.teeth}
    key = draft(given, crowns).options[24][0].key(24)
    again = draft(given, crowns, known=Known(barred={key: "its stress would be 770 MPa"}))
    assert again.options[24][0].key(24) != key
    assert any("770 MPa" in v for o in again.options[24] for v in o.vetoes)
    thinned = draft(given, crowns, known=Known(slight=[key]))
    arms = {a.tooth: a.base_thickness_mm for a in Design(thinned.case).all(RetentiveArm)}
    assert arms[24] < arms[14]


def test_without_a_scanned_palate_a_plate_on_the_teeth_carries_rests_and_stands_against_arms() -> None:
    """The U shape is for tori, or where no more of the palate can be used (handbook, section 4)."""
    given = case("upper", (15, 16, 25, 26))
    crowns = {t.fdi: crown(t.fdi) for t in given.chart.teeth}
    made = Design(draft(given, crowns, known=Known(palate=False)).case)
    (plate,) = made.connectors
    assert isinstance(plate, UShapedPlate) and (plate.start, plate.end) == (17, 27)
    assert not made.all(ReciprocalArm) and not made.all(MinorConnector)
    assert {a.tooth for a in made.all(RetentiveArm)} == {14, 17, 24, 27} and not [f for f in critique(made) if f.severity == "error"]
    lingual = {"mesiolingual": 0.4, "distolingual": 0.4}
    bare = draft(given, crowns | {14: crown(14, undercut=lingual, bar=float("nan"))}, known=Known(palate=False))
    assert 14 not in Design(bare.case).clasped and any("the plate lies on the lingual face" in words for words in bare.open)
    far = crown(16, undercut={"mesiofacial": 0.4, "mesiolingual": 0.4}, bar=float("nan"))  # an arm from behind, on a rest there
    short = case("upper", (15, 25))
    behind = Design(draft(short, {t.fdi: crown(t.fdi) for t in short.chart.teeth} | {16: far}, known=Known(palate=False)).case)
    assert [r.side for r in behind.on(16, OcclusalRest)] == ["mesial", "distal"] and behind.all(UShapedPlate)[0].start == 17
    stout = Design(draft(given, crowns, known=Known(palate=False, stouter=1)).case).all(UShapedPlate)
    assert stout[0].thickness_mm > plate.thickness_mm


def test_a_part_that_cannot_be_built_is_left_out_said_and_made_up_for() -> None:
    given = case("upper", (24, 16))
    crowns = {t.fdi: crown(t.fdi) for t in given.chart.teeth}
    plain = Design(draft(given, crowns).case)
    assert 23 in plain.rested and plain.on(17, OcclusalRest)[0].side == "mesial"
    known = Known(denied={"rest 23": "its lingual face was not scanned", "rest 17": "no seat"})
    told = draft(given, crowns, known=known)
    made = Design(told.case)
    assert 23 not in made.rested and 22 in made.rested and made.on(22, MinorConnector)
    assert [r.side for r in made.on(17, OcclusalRest)] == ["distal"] and made.on(17, MinorConnector)
    assert all(any(word in o for o in told.open) for word in ("its lingual face was not scanned", "no seat"))
    assert "rest.bounded" in {f.rule for f in critique(made)}  # and the rule still says what is missing


def test_a_canine_is_clasped_where_its_side_has_nothing_else_to_hold_by() -> None:
    """A long healthy canine may take a cast arm."""
    given = case("upper", (12, 16))
    bare = {t.fdi: crown(t.fdi, undercut={}, bar=float("nan")) for t in given.chart.teeth if t.fdi // 10 == 1}
    crowns = {t.fdi: crown(t.fdi) for t in given.chart.teeth} | bare | {13: crown(13)}
    made = Design(draft(given, crowns).case)
    assert {a.tooth for a in made.arms if a.tooth // 10 == 1} == {13}


def test_a_palate_is_shown_where_rays_from_above_meet_it() -> None:
    """A closed block, and the same with a hole through it: no cast, so what is shown is known."""
    teeth = [Tooth(t, np.zeros((3, 3)) + at, np.array(at), *np.eye(3), np.array([at]), np.arange(1)) for t, at in _CORNERS.items()]
    whole = trimesh.creation.box((60.0, 60.0, 10.0))
    open_ = whole.difference(trimesh.creation.box((30.0, 50.0, 20.0)), engine="manifold")
    for mesh, shown in ((whole, True), (open_, False)):
        faces = np.asarray(mesh.faces)
        row = Teeth("upper", np.zeros(len(mesh.vertices), dtype=np.int16), {t.fdi: t for t in teeth})
        assert palate_shown(Mesh(np.asarray(mesh.vertices), faces), row) is shown


@pytest.mark.parametrize("alloy, gauge", [("cobalt-chromium, laser-melted", 0.25), ("titanium", 0.5), ("PEEK", 0.5), ("unheard of", 0.25)])
def test_the_gauge_follows_the_material(alloy: str, gauge: float) -> None:
    """Undercut by material: handbook, section 2.1."""
    assert tip_gauge_mm(alloy) == gauge


def test_nothing_to_replace_is_said() -> None:
    """Cases H and K."""
    given = case("upper", (27,))
    given = replace(given, chart=replace(given.chart, not_replaced=(18, 28, 27)))
    with pytest.raises(CaseError, match="no missing tooth is to be replaced"):
        draft(given, {})


def test_a_shallow_sulcus_forbids_bar_clasps_and_asks_for_a_plate() -> None:
    given = case("lower", (35, 36, 37, 45, 46, 47), sulcus=4.0)
    made = draft(given, {t.fdi: crown(t.fdi) for t in given.chart.teeth})
    assert not Design(made.case).all(IBar) and Design(made.case).all(RetentiveArm)
    assert [c.kind for c in Design(made.case).connectors] == ["lingual_plate"]


def test_a_molar_leaning_into_the_space_wants_a_ring_clasp() -> None:
    """Its only undercut lies mesiolingually, next to the space (McCracken, from memory)."""
    leaning = crown(47, undercut={"mesiolingual": 0.5, "lingual": 0.3}, bar=float("nan"))
    options = clasp_options(leaning, Setting("mesial", False, 9.0), ToothEntry(47))
    assert options[0].kind == "ring with auxiliary rest" and options[0].possible
    assert any("only undercut" in words for words in options[0].speaks_for)


def test_a_weak_short_premolar_gets_wire_where_a_long_canine_gets_a_cast_arm() -> None:
    setting = Setting("distal", False, 4.0)  # the sulcus forbids bar clasps
    weak = clasp_options(crown(34, undercut=dict.fromkeys(SECTORS, 0.6), length=9.0), setting, ToothEntry(34, root_support="poor"))
    sound = clasp_options(crown(33, length=16.0), setting, ToothEntry(33, root_support="good"))
    assert weak[0].kind == "wrought wire"
    assert sound[0].kind == "cast circumferential"


def test_beside_a_free_end_the_releasing_clasp_comes_first() -> None:
    options = clasp_options(crown(34), Setting("distal", True, 9.0), ToothEntry(34))
    assert options[0].kind == "I-bar"
    stiff = next(o for o in options if o.kind == "cast circumferential")
    assert any("stress release" in words for words in stiff.speaks_against)


@pytest.mark.slow
def test_the_command_drafts_a_case_that_can_be_built(tmp_path: FilePath) -> None:
    """A made-up cast with its chart only: the drafted file loads again, and names the textbook parts."""
    from claspwright.core.case import load_case, save_case
    from claspwright.core.cast import write_mesh
    from claspwright.core.cli import main
    from claspwright.core.phantom import SAMPLES, make_phantom

    made = make_phantom(replace(SAMPLES["lower_class_i"], triangles=60_000))
    write_mesh(tmp_path / "cast.ply", made.mesh)
    digest = hashlib.sha256((tmp_path / "cast.ply").read_bytes()).hexdigest()
    seeds = {fdi: tuple(float(v) for v in p) for fdi, p in made.seeds.items()}
    teeth = tuple(ToothEntry(fdi, seeds=(p,)) for fdi, p in seeds.items())  # type: ignore[arg-type]
    identity = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
    given = Case(CastEntry("cast.ply", digest, "lower", identity), Chart(teeth, (35, 36, 37, 38, 45, 46, 47, 48), (38, 48), 9.0))
    save_case(given, tmp_path / "case.json")
    assert main(["plan", str(tmp_path / "case.json"), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    again = load_case(tmp_path / "out" / "case.json")
    assert {c.kind for c in again.components} >= {"i_bar", "occlusal_rest", "cingulum_rest", "lingual_bar", "lattice_base", "guide_plate"}
    plan = json.loads((tmp_path / "out" / "plan.json").read_text())
    assert plan["class"] == "Kennedy class I" and plan["fulcrum_lines"][0]["teeth"] == [34, 44]
    page = (tmp_path / "out" / "plan.html").read_text()
    assert "Kennedy class I" in page and "<svg" in page and "http://" not in page.replace("http://www.w3.org", "")


@pytest.mark.parametrize("kind", [RetentiveArm, IBar, TBar, RingArm, BackActionArm, ExtendedArm])
def test_a_strained_clasp_of_every_kind_has_a_slighter_size(kind):
    """Thinner bends with less stress (stress of a given bend grows with thickness, textbook); the size is one the case file takes."""
    part = kind("arm", 44, **({"onto": 43} if kind is ExtendedArm else {}))
    thin = slighter(part)
    assert thin.base_thickness_mm < part.base_thickness_mm and thin.base_width_mm < part.base_width_mm
    text = case_to_json(replace(case("lower", (45, 46, 47)), components=(thin,)))
    assert case_from_json(text).components == (thin,)
    wire = WireArm("wire", 44)
    assert slighter(wire) == wire


def test_an_arm_whose_range_holds_the_least_length_is_offered_and_said_to_be_at_the_limit() -> None:
    """Least 10 mm (own limit), a draft's length good to half a millimetre (own limit): 9.98 mm is offered in words, 9.4 mm is refused."""
    setting = Setting("distal", extension=False, sulcus_mm=9.0)

    def circlet(length: float) -> Option:
        place = replace(crown(45).arms["distal", "facial"], length_mm=length * REACH_DEG / MOST_REACH_DEG)
        found = clasp_options(replace(crown(45), arms={**crown(45).arms, ("distal", "facial"): place}), setting, ToothEntry(45))
        return next(o for o in found if (o.kind, o.origin, o.face) == (CIRCLET, "distal", "facial"))

    near, under, over = circlet(9.98), circlet(9.4), circlet(10.4)
    assert near.possible and any("at the limit: 9.5 to 10.5 mm" in w for w in near.speaks_against)
    assert not under.possible and any("8.9 to 9.9 mm" in v for v in under.vetoes)
    assert over.possible and not any("at the limit" in w for w in over.speaks_against) and near.points < over.points
