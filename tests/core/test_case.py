"""The case document: what is written is read again, errors name the field, files are written whole or not at all."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from claspwright.core.case import (
    Case,
    CastEntry,
    Chart,
    IBar,
    PathEntry,
    RetentiveArm,
    SoftTissueEntry,
    SulcusEntry,
    ToothEntry,
    case_from_json,
    case_to_json,
    load_case,
    open_questions,
    save_case,
)  # fmt: skip
from claspwright.core.case.document import RESTORATIONS, SOFT_TISSUE
from claspwright.core.errors import CaseError, WriteError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

# ISO 3950: quadrants 3 and 4 are the lower arch, positions 1 to 8
LOWER = tuple(10 * q + p for q in (3, 4) for p in range(1, 9))
coordinate = st.floats(-80, 80, allow_nan=False)
point = st.tuples(coordinate, coordinate, coordinate)
words = st.text(st.characters(exclude_categories=("Cs", "Cc", "Cn")), max_size=40)  # others no XML can hold: test_case_fuzz.py


def _tooth(fdi: int) -> st.SearchStrategy[ToothEntry]:
    return st.builds(
        ToothEntry,
        fdi=st.just(fdi), seeds=st.lists(point, max_size=3).map(tuple), to_extract=st.booleans(), mobility=st.none() | st.integers(0, 3),
        root_support=st.sampled_from(["", "good", "fair", "poor"]), crown_length_mm=st.none() | st.floats(0, 20),
        restoration=words, restoration_material=st.sampled_from(["", *RESTORATIONS]), notes=words,
    )  # fmt: skip


@st.composite
def cases(draw: st.DrawFn) -> Case:
    order = draw(st.permutations(LOWER))
    k = draw(st.integers(0, 16))
    some = st.lists(st.sampled_from(LOWER), unique=True, max_size=4).map(tuple)
    chart = Chart(
        teeth=tuple(draw(_tooth(n)) for n in order[:k]),
        missing=tuple(order[k:]),
        not_replaced=tuple(order[k:][:2]),
        sulcus_mm=draw(st.none() | st.floats(0, 25)),
        aesthetic=draw(some),
        sulcus=draw(st.lists(st.builds(SulcusEntry, fdi=st.sampled_from(LOWER), depth_mm=st.floats(0, 25)), max_size=3).map(tuple)),
        soft_tissue=draw(
            st.lists(st.builds(SoftTissueEntry, kind=st.sampled_from(SOFT_TISSUE), near=some, notes=words), max_size=3).map(tuple)
        ),
        notes=draw(words),
    )
    path = PathEntry(draw(st.floats(-30, 30)), draw(st.floats(-30, 30)))
    arms = tuple(RetentiveArm(f"arm {i}", tooth=n) for i, n in enumerate(draw(some)))
    return Case(CastEntry("cast.ply", "0" * 64, "lower"), chart, path, arms, title=draw(words), notes=draw(words))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cases())
def test_what_is_saved_is_loaded(tmp_path: Path, case: Case) -> None:
    file = tmp_path / "case.json"
    save_case(case, file)
    again = load_case(file)
    assert replace(again, folder="") == case
    assert json.loads(file.read_text(encoding="utf-8")) == json.loads(json.dumps(case_to_json(again)))
    assert again.chart.to_extract == tuple(t.fdi for t in case.chart.teeth if t.to_extract)


def _document(**chart: object) -> dict:
    cast = {"file": "cast.ply", "sha256": "", "arch": "lower"}
    return {"format": "claspwright-case", "version": 1, "cast": cast, "chart": chart}


@pytest.mark.parametrize(
    ("chart", "field"),
    [
        ({"teeth": [{"fdi": 99}]}, r"chart\.teeth\[0\]\.fdi"),
        ({"teeth": [{"fdi": 34, "mobility": 4}]}, r"chart\.teeth\[0\]\.mobility: 4 is outside 0 to 3"),
        ({"teeth": [{"fdi": 34, "to_extract": "yes"}]}, r"chart\.teeth\[0\]\.to_extract: true or false"),
        ({"teeth": [{"fdi": 34, "root_support": "weak"}]}, r"chart\.teeth\[0\]\.root_support"),
        ({"teeth": [{"fdi": 34, "restoration_material": "cheese"}]}, r"chart\.teeth\[0\]\.restoration_material"),
        ({"teeth": [{"fdi": 34, "crown_length_mm": -1}]}, r"chart\.teeth\[0\]\.crown_length_mm"),
        ({"teeth": [{"fdi": 14}]}, r"chart\.teeth: 14 is not a tooth of the lower arch"),
        ({"teeth": [{"fdi": 34}], "missing": [34]}, r"chart\.missing: 34"),
        ({"missing": [36, 36]}, r"chart\.missing: a tooth is listed twice"),
        ({"aesthetic": [13]}, r"chart\.aesthetic: 13"),
        ({"sulcus": [{"fdi": 16, "depth_mm": 5}]}, r"chart\.sulcus\[0\]\.fdi: 16"),
        ({"sulcus": [{"fdi": 36, "depth_mm": 90}]}, r"chart\.sulcus\[0\]\.depth_mm: 90"),
        ({"soft_tissue": [{"kind": "odd"}]}, r"chart\.soft_tissue\[0\]\.kind"),
        ({"soft_tissue": [{"kind": "torus", "near": [24]}]}, r"chart\.soft_tissue\[0\]\.near: 24"),
        ({"teeht": []}, r"chart\.teeht: no such field"),
        ({"sulcus_mm": float("nan")}, r"chart\.sulcus_mm: a finite number"),
    ],
)  # fmt: skip
def test_errors_name_the_field(chart: dict, field: str) -> None:
    with pytest.raises(CaseError, match=field):
        case_from_json(_document(**chart))


def test_an_old_chart_still_loads() -> None:
    """A chart as the first release wrote it: none of the later fields."""
    tooth = {"fdi": 34, "seeds": [[1, 2, 3]], "mobility": 1, "restoration": "crown"}
    case = case_from_json(_document(teeth=[tooth], missing=[36], sulcus_mm=8))
    assert case.chart.teeth[0].to_extract is False
    assert case.chart.aesthetic == ()
    assert "to_extract" not in json.dumps(case_to_json(case)), "fields that hold their default are left out"


@pytest.mark.parametrize("version", [0, 2, "1", None])
def test_unknown_versions_are_refused(version: object) -> None:
    with pytest.raises(CaseError, match="version"):
        case_from_json({**_document(), "version": version})
    with pytest.raises(CaseError, match="format"):
        case_from_json({**_document(), "format": "other"})


@pytest.mark.parametrize("name", ["../cast.ply", "/etc/passwd", "a\\b.ply", "", ".."])
def test_scan_stays_beside_the_case(name: str) -> None:
    document = _document()
    document["cast"]["file"] = name
    with pytest.raises(CaseError, match=r"cast\.file"):
        case_from_json(document)


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "case.json"
    case = case_from_json(_document(missing=[36]))
    save_case(case, file)
    before = file.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError, match="No space left"):
        save_case(replace(case, title="new"), file)
    assert file.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["case.json"], "no half-written file is left"


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "[" * 5000, "\xff"])
def test_broken_files_are_told(tmp_path: Path, text: str) -> None:
    file = tmp_path / "case.json"
    file.write_bytes(text.encode("latin-1"))
    with pytest.raises(CaseError, match="case"):
        load_case(file)


def test_what_only_the_dentist_knows_is_asked_for() -> None:
    """Each unanswered field once, with the teeth that it is asked of; an answer, "nothing there" among them, takes the question away."""
    teeth = (ToothEntry(33), ToothEntry(34, mobility=0, root_support="good"), ToothEntry(43, to_extract=True))
    case = Case(CastEntry("cast.ply", "", "lower"), Chart(teeth, missing=(35,)))
    asked = {q.field: q.teeth for q in open_questions(case)}
    assert asked == {
        "mobility": (33,), "root_support": (33,), "restoration_material": (33, 34), "sulcus_mm": (), "aesthetic": (), "soft_tissue": (),
    }  # fmt: skip
    assert all(q.words.endswith("?") for q in open_questions(case))
    bar = replace(case, components=(IBar("bar", 34),))
    assert {q.field: q.teeth for q in open_questions(bar)}["sulcus"] == (34,)
    answered = Chart(
        tuple(ToothEntry(n, mobility=1, root_support="fair", restoration_material="enamel") for n in (33, 34)), (35,), sulcus_mm=9.0,
        sulcus=(SulcusEntry(34, 6.0, "facial"),), nothing_found=("aesthetic", "soft_tissue"),
    )  # fmt: skip
    assert open_questions(replace(bar, chart=answered)) == ()
    assert "sulcus_mm" not in {q.field for q in open_questions(replace(case, cast=replace(case.cast, arch="upper")))}


def test_a_tooth_that_nobody_looked_at_is_not_called_weak() -> None:
    assert [ToothEntry(33, mobility=m).weak for m in (None, 0, 1, 2, 3)] == [False, False, False, True, True]
    assert ToothEntry(33, root_support="poor").weak
