"""Changes of a case document: each gives a valid document or one line that says why not, and leaves the first one as it was."""

import pytest
from claspwright.core.case import KINDS, Case, CastEntry, Chart, LatticeBase, OcclusalRest, ToothEntry, case_to_json, edit
from claspwright.core.errors import CaseError

CASE = Case(
    CastEntry("cast.ply", "0" * 64, "lower"),
    Chart((ToothEntry(33, ((1.0, 2.0, 3.0),)), ToothEntry(34, ((4.0, 5.0, 6.0),), mobility=1)), (35, 36, 37, 38), (38,)),
    components=(LatticeBase("base 3", teeth=(35, 36, 37)), OcclusalRest("rest 34", 34)),
)


def test_numbers_of_an_arch_are_those_of_the_numbering():
    """The case's room may not ask the higher room of teeth, so the two lists are compared here (ISO 3950)."""
    from claspwright.core.teeth import numbering

    assert [edit.arch_numbers(a) for a in ("upper", "lower")] == [numbering.order(a) for a in ("upper", "lower")]


def test_marking_again_adds_and_keeps_what_is_known():
    again = edit.mark_tooth(CASE, 34, (7.0004, 8.0, 9.0))
    tooth = next(t for t in again.chart.teeth if t.fdi == 34)
    assert tooth.seeds == ((4.0, 5.0, 6.0), (7.0, 8.0, 9.0)) and tooth.mobility == 1
    assert len(CASE.chart.teeth[1].seeds) == 1, "the first document is as it was"


def test_a_marked_tooth_is_no_longer_missing():
    made = edit.mark_tooth(CASE, 38, (0, 0, 0))
    assert 38 not in made.chart.missing and 38 not in made.chart.not_replaced
    assert [t.fdi for t in made.chart.teeth] == [33, 34, 38]


@pytest.mark.parametrize("state", edit.STATES)
def test_charting_takes_the_mark_away(state: str):
    chart = edit.chart_tooth(CASE, 33, state).chart
    assert [t.fdi for t in chart.teeth] == [34]
    assert (33 in chart.missing, 33 in chart.not_replaced) == (state != "uncharted", state == "not replaced")


def test_the_rest_is_missing_and_thirds_are_not_replaced():
    chart = edit.chart_rest_missing(CASE).chart
    assert set(chart.missing) == {31, 32, 35, 36, 37, 38, *range(41, 49)}
    assert chart.not_replaced == (38, 48)


def test_components_follow_their_tooth():
    made = edit.renumber_tooth(CASE, 34, 35)
    assert [t.fdi for t in made.chart.teeth] == [33, 35] and 35 not in made.chart.missing
    assert made.components[1] == OcclusalRest("rest 34", 35)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_added_with_its_usual_measures(kind: str):
    made = edit.new_component(CASE, kind, 34)
    grown = edit.put_component(CASE, made)
    assert grown.components[-1] == made and edit.checked(grown) == grown
    assert edit.new_component(grown, kind, 34).id != made.id
    assert case_to_json(edit.drop_component(grown, made.id)) == case_to_json(CASE)


def test_what_is_refused():
    for act, words in (
        (lambda: edit.mark_tooth(CASE, 14, (0, 0, 0)), "does not stand in the lower arch"),
        (lambda: edit.mark_tooth(CASE, 34, (0, 0, float("nan"))), "finite"),
        (lambda: edit.chart_tooth(CASE, 34, "lost"), "not 'lost'"),
        (lambda: edit.renumber_tooth(CASE, 34, 33), "marked already"),
        (lambda: edit.renumber_tooth(CASE, 31, 32), "is not marked"),
        (lambda: edit.new_component(CASE, "wing", 34), "no kind of component"),
        (lambda: edit.drop_component(CASE, "nobody"), "no component"),
        (lambda: edit.tilted(CASE, 31, 0), "outside -30 to 30"),
        (lambda: edit.chart_rest_missing(edit.chart_tooth(edit.chart_tooth(CASE, 33, "missing"), 34, "missing")), "no tooth is marked"),
    ):
        with pytest.raises(CaseError, match=words) as caught:
            act()
        assert "\n" not in str(caught.value)
