"""Damaged case files: a case or one line of CaseError, never anything else; and what a case holds comes out as it went in."""

import copy
import json
from pathlib import Path

import pytest
from claspwright.core.case import case_from_json, case_to_json, load_case, save_case
from claspwright.core.errors import CaseError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

SAMPLE = json.loads((Path(__file__).parents[2] / "sample_scenes" / "lower_class_i" / "case.json").read_text(encoding="utf-8"))
ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.just(10**400), st.just(-(10**30)), st.just(1e308),
    st.sampled_from(["../x", "\x00", "\ud800", "￿", "<script>", "a" * 5000, [], {}, [[]], {"kind": "x"}, [0] * 50, "NaN"]),
)  # fmt: skip


def places(value: object, way: tuple = ()) -> list[tuple]:
    """The way to every entry of a JSON document."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [p for key, inner in items for p in ((*way, key), *places(inner, (*way, key)))]


PLACES = places(SAMPLE)


def changed(document: dict, at: tuple, act: int, value: object) -> dict:
    holder = document
    for key in at[:-1]:
        try:
            holder = holder[key]
        except (KeyError, IndexError, TypeError):
            return document  # an earlier change took it away
    if not isinstance(holder, dict | list) or (isinstance(holder, dict) and at[-1] not in holder) or (
        isinstance(holder, list) and not (isinstance(at[-1], int) and at[-1] < len(holder))
    ):  # fmt: skip
        return document
    if act == 0:
        holder[at[-1]] = value
    elif act == 1:
        del holder[at[-1]]
    elif isinstance(holder, list):
        holder.append(copy.deepcopy(holder[at[-1]]))
    else:
        holder[str(value)[:20]] = value
    return document


def trial(document: dict, folder: Path) -> bool:
    """Whether it was taken for a case. What is taken can be written and read again, and means the same."""
    try:
        case = case_from_json(copy.deepcopy(document))
    except CaseError as error:
        assert str(error).startswith("case") and "\n" not in str(error) and len(str(error)) < 700
        return False
    save_case(case, folder / "case.json")
    assert case_to_json(load_case(folder / "case.json")) == case_to_json(case)
    return True


CHANGES = st.lists(st.tuples(st.sampled_from(PLACES), st.integers(0, 2), ODD), min_size=1, max_size=4)
QUIET = {"deadline": None, "derandomize": True, "suppress_health_check": [HealthCheck.function_scoped_fixture]}


@settings(max_examples=150, **QUIET)
@given(CHANGES)
def test_a_damaged_document_is_a_case_or_one_line(tmp_path, changes):
    document = copy.deepcopy(SAMPLE)
    for change in changes:
        document = changed(document, *change)
    trial(document, tmp_path)


@pytest.mark.nightly
@settings(max_examples=20_000, **{**QUIET, "derandomize": False})
@given(CHANGES)
def test_many_damaged_documents(tmp_path, changes):
    document = copy.deepcopy(SAMPLE)
    for change in changes:
        document = changed(document, *change)
    trial(document, tmp_path)


@settings(max_examples=100, **QUIET)
@given(st.floats(0, 1), st.binary(max_size=6), st.integers(0, 40))
def test_a_damaged_file_is_a_case_or_one_line(tmp_path, place, piece, cut):
    text = json.dumps(SAMPLE).encode()
    at = int(place * len(text))
    (tmp_path / "case.json").write_bytes(text[:at] + piece + text[at + cut :])
    try:
        load_case(tmp_path / "case.json")
    except CaseError as error:
        assert "\n" not in str(error)


FOUND = {
    "a number of 5000 digits": (json.dumps(SAMPLE).replace('"version": 1', '"version": ' + "1" * 5000), "not valid JSON"),
    "a length of 400 digits": (json.dumps({**SAMPLE, "manufacture": {"fillet_mm": 10**400}}), "fillet_mm: a finite number"),
    "half a character": (json.dumps({**SAMPLE, "title": "\ud800"}), "title: the text holds"),
    "a control character": (json.dumps({**SAMPLE, "title": "a\x01b"}), "title: the text holds"),
    "no character of XML": (json.dumps({**SAMPLE, "notes": "\ufffe"}), "notes: the text holds"),
}


@pytest.mark.parametrize("name", FOUND)
def test_crashes_found_stay_mended(tmp_path, name):
    text, words = FOUND[name]
    (tmp_path / "case.json").write_text(text)
    with pytest.raises(CaseError, match=words):
        load_case(tmp_path / "case.json")
