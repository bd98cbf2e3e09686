"""The report page: everything that went in comes out, escaped, and nothing is fetched from outside."""

import base64
import dataclasses
import io
from html.parser import HTMLParser

import pytest
from claspwright.core.case.components import KINDS
from claspwright.core.checks.result import Check
from claspwright.core.output import ComponentRow, Picture, PreparationRow, ReportData, component_rows, report_html, tilt_words
from claspwright.core.output.report import CAUTIONS, STATUS_WORDS
from claspwright.core.output.wording import describe, gauge_words, measured
from PIL import Image

EVIL = "<script>alert(1)</script><img src=http://x.invalid/a.png onerror=alert(2)> \"quoted\" 'single' & more"


class Page(HTMLParser):
    """Tags with attributes, and the words a reader sees."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br", "link", "input"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def png(size=(40, 30), colour=(200, 10, 10)) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", size, colour).save(buffer, "PNG")
    return buffer.getvalue()


def check(status, **more) -> Check:
    fields = {"id": f"a.{status}", "value": 1.25, "limit": 2.5, "unit": "mm", "where": "near 44", "source": "a book"}
    return Check(status=status, **(fields | {"words": f"It {status}."} | more))


def full(text: str) -> ReportData:
    return ReportData(
        title=text, patient_code=text, arch="lower", date=text, chart=[(text, text)], to_ask=[text], path_words=text,
        anteroposterior_deg=3.0, lateral_deg=-2.0, tripod=[(1.0, 2.0, 3.0)], components=[ComponentRow(text, text, text, text)],
        preparations=[PreparationRow(text, text, 0.75, 3.5, text)],
        checks=[check("fail", id=text, unit=text, where=text, source=text, words=text)], materials=[(text, text)], mass_g=(5.0, 6.0),
        mass_basis=text, pictures=[Picture(text, png())], cast_changes=[text], cast_questions=[text], notes=text, stages=[(text, 1.5)],
        versions={text: text}, hashes={text: text},
    )


def test_text_of_the_case_is_never_markup():
    plain, evil = Page(report_html(full("harmless"))), Page(report_html(full(EVIL)))
    assert [t for t, _ in plain.tags] == [t for t, _ in evil.tags]
    assert not any(t == "script" for t, _ in evil.tags)
    assert not any(name.startswith("on") for _, attrs in evil.tags for name in attrs)
    assert evil.text.count(EVIL) >= 20 and plain.text.count("harmless") == evil.text.count(EVIL)
    assert not evil.open


def test_nothing_is_fetched_from_outside():
    html = report_html(full("x"))
    page = Page(html)
    for _, attrs in page.tags:
        for name in ("src", "href", "action", "data"):
            assert (attrs.get(name) or "data:").startswith("data:")
    assert "url(" not in html and "@import" not in html
    policy = next(a["content"] for t, a in page.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy")
    assert policy and "default-src 'none'" in policy


def test_pictures_come_through_whole():
    page = Page(report_html(full("x")))
    source = next(a["src"] for t, a in page.tags if t == "img")
    assert source
    with Image.open(io.BytesIO(base64.b64decode(source.partition(",")[2]))) as image:
        assert image.size == (40, 30)
        assert max(abs(a - b) for a, b in zip(image.convert("RGB").getpixel((20, 15)), (200, 10, 10), strict=True)) < 6


def test_every_check_is_listed_with_its_status_in_words_gravest_first():
    statuses = ("pass", "skip", "fail", "warn", "pass")
    text = Page(report_html(ReportData("t", "c", "lower", checks=[check(s, words=f"Finding {i}.") for i, s in enumerate(statuses)]))).text
    table = text[text.index("source of the limit") :]
    spots = [table.index(f"Finding {i}.") for i in range(5)]
    assert spots[2] < spots[3] < spots[1] < spots[0] < spots[4]
    for status, words in STATUS_WORDS.items():
        assert table.count(words) == statuses.count(status)
    assert table.count("1.25 mm") == table.count("2.5 mm") == 5


@pytest.mark.parametrize(
    "statuses,expected",
    [
        (("pass", "fail", "fail"), "Do not make this framework as it is: 2 checks failed."),
        (("fail",), "1 check failed."),
        (("pass", "warn"), "No check failed. Some points need a look"),
        (("pass", "skip"), "No check failed. Some points need a look"),
        (("pass", "pass"), "All checks passed."),
        ((), "No check has been made"),
    ],
)
def test_the_verdict_is_no_better_than_the_worst_check(statuses, expected):
    assert expected in Page(report_html(ReportData("t", "c", "upper", checks=[check(s) for s in statuses]))).text


def test_cautions_and_signature_places_are_always_there():
    for data in (ReportData("", "", "upper"), full("x")):
        text = Page(report_html(data)).text
        assert all(c in text for c in CAUTIONS)
        assert text.count("Signature") == 3 and "Prescribed by" in text and "Made by" in text
    for word in ("certified", "clinician", "scan", "scale", "estimates", "ISO 22674", "allergy", "personal data", "miss faults"):
        assert any(word in c for c in CAUTIONS)  # the handbook's list of notices


def test_what_is_to_be_asked_stands_once_under_one_heading():
    page = report_html(ReportData(title="a", patient_code="b", arch="lower", to_ask=["How mobile is 34?", "Which teeth show?"]))
    assert page.count("To be asked of the dentist") == 1
    assert "<li>How mobile is 34?</li><li>Which teeth show?</li>" in page
    assert "To be asked" not in report_html(ReportData(title="a", patient_code="b", arch="lower"))


def test_numbers_that_are_not_there_are_not_made_up():
    skipped = check("skip", value=None, limit=None)
    text = Page(report_html(ReportData("t", "c", "lower", checks=[skipped]))).text
    assert "It skip. a.skip · near 44 · a book – –" in text
    assert "No tripod marks are recorded." in text and "Mass" not in text


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_of_component_is_described_with_all_its_measures(kind):
    cls = KINDS[kind]
    given = {"id": "x"}
    for f in dataclasses.fields(cls):
        if f.name in ("tooth", "start"):
            given[f.name] = 34
        elif f.name == "onto":
            given[f.name] = 35
        elif f.name == "end":
            given[f.name] = 44
        elif f.name == "teeth":
            given[f.name] = (36, 35)
    component = cls(**given)
    # An odd value for each length in turn has to show up in the row, of the forms that a part has in those that it belongs to.
    forms = next((f.metadata["choices"] for f in dataclasses.fields(cls) if f.name == "form"), ())
    shapes = [dataclasses.replace(component, form=form) for form in forms] or [component]
    for f in dataclasses.fields(cls):
        if f.name.endswith("_mm"):
            rows = [describe(dataclasses.replace(shape, **{f.name: 7.3})) for shape in shapes]
            assert any("7.3" in row.words + row.measures for row in rows), f.name
    row = describe(component)
    assert row.part and row.words and "_" not in row.part + row.words
    for f in dataclasses.fields(cls):
        if f.name in ("side", "face", "origin"):
            assert getattr(component, f.name) in row.words
    assert "34" in row.tooth or "35, 36" in row.tooth or row.tooth == "whole arch"


def test_a_kind_without_words_of_its_own_is_still_listed_in_full():
    @dataclasses.dataclass(frozen=True)
    class NewThing:
        id: str
        tooth: int
        height_mm: float
        kind = "new_thing"

    row = describe(NewThing("a", 23, 4.25))
    assert (row.tooth, row.part) == ("23", "New thing") and "4.25" in row.words


def test_rows_go_tooth_by_tooth_then_bases_then_connectors():
    base, bar = KINDS["lattice_base"]("l", teeth=(36, 35)), KINDS["lingual_bar"]("b", 34, 44)
    made = [base, bar, KINDS["i_bar"]("i", 44), KINDS["guide_plate"]("g", 34)]
    assert [r.tooth for r in component_rows(made)] == ["34", "44", "35, 36", "34 to 44"]


def test_tilt_names_the_lowered_edge():
    # Path: anterior edge lowered is positive, X side lowered is positive; +X is the patient's right on a lower cast (design: frames).
    assert tilt_words(0, 0, "lower") == "at right angles to the occlusal plane (no tilt)"
    assert "front lowered 3.0°" in tilt_words(3, 0, "lower") and "back lowered 3.0°" in tilt_words(-3, 0, "lower")
    assert "patient's right side lowered 2.0°" in tilt_words(0, 2, "lower")
    assert "patient's left side lowered 2.0°" in tilt_words(0, 2, "upper")
    assert "patient's right side lowered 2.0°" in tilt_words(0, -2, "upper")
    assert "+X side" in tilt_words(0, 2, None)


def test_gauges_carry_the_inch_name_of_the_trade():
    assert gauge_words(0.25) == "0.25 mm (0.010 in)"
    assert gauge_words(0.4) == "0.40 mm"


def test_measures_are_read_as_people_write_them() -> None:
    """Shares in per cent, whole numbers without a point, one thing in the singular (common practice)."""
    said = [measured(*m) for m in ((0.00935, "share"), (1.0, "share"), (3.884, "mm"), (1.0, "bodies"), (0, "pairs"), (458.72, "MPa"))]
    assert said == ["0.935 %", "100 %", "3.88 mm", "1 body", "0 pairs", "458.7 MPa"]


def test_no_power_of_ten_stands_in_a_measure():
    assert measured(2.58e-05, "mm") == "under 0.001 mm" and measured(0.000283, "mm³") == "under 0.001 mm³"
    assert measured(0.0, "mm") == "0 mm" and measured(0.002, "mm") == "0.002 mm" and measured(8.9e-05, "share") == "0.0089 %"
