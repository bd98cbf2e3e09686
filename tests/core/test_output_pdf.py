"""The report as PDF, read back by pypdf: the words of the page, its pictures, A4, and nothing else."""

import io
import re

import pytest
from claspwright.core.checks.result import Check
from claspwright.core.output import ComponentRow, Picture, PreparationRow, ReportData, report_html
from claspwright.core.output.pdf import report_pdf
from claspwright.core.output.pdf_svg import _points
from PIL import Image

pypdf = pytest.importorskip("pypdf")


def png(red: int) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (400, 300), (red, 10, 10)).save(buffer, "PNG")
    return buffer.getvalue()


def page(title: str, checks: int = 60) -> str:
    statuses = ("pass", "warn", "fail", "skip")
    found = [
        Check(f"a.{i}", statuses[i % 4], 1.0, 2.0, "mm", "near 44", "a book", f"Finding{i} of many.")  # type: ignore[arg-type]
        for i in range(checks)
    ]
    return report_html(
        ReportData(
            title, "CODE-1", "lower", checks=found, components=[ComponentRow("44", "I-bar", "distal", "0.25")], notes="Line one\nLine two",
            preparations=[PreparationRow("44", "seat", 0.75, 3.5, "care")], pictures=[Picture("Occlusal", png(red)) for red in (200, 90)],
            hashes={"scan": "ab" * 32}, tripod=[(1.0, 2.0, 3.0)], mass_g=(5.0, 6.0),
        )
    )  # fmt: skip


def words(data: bytes) -> tuple[str, "pypdf.PdfReader"]:
    reader = pypdf.PdfReader(io.BytesIO(data))
    return re.sub(r"\s+", "", "".join(p.extract_text() for p in reader.pages)), reader


def test_every_word_of_the_page_is_in_the_pdf():
    html = page("Case <b>Ž, ж & ≥</b> ²")
    text, reader = words(report_pdf(html))
    body = re.sub(r"<style>.*?</style>", "", html[html.index("<main>") :], flags=re.S)
    from html import unescape

    wanted = {w for w in re.split(r"\s+", unescape(re.sub(r"<[^>]+>", " ", body))) if w}
    assert len(wanted) > 200 and {w for w in wanted if w not in text} == set()
    assert sum(len(p.images) for p in reader.pages) == 2
    assert all(tuple(map(float, p.mediabox))[2:] == pytest.approx((595.3, 841.9), abs=0.5) for p in reader.pages)
    for k, sheet in enumerate(reader.pages, 1):
        assert f"{k} / {len(reader.pages)}" in sheet.extract_text()
    assert reader.metadata.title.startswith("CODE-1") and not reader.metadata.author


def test_markup_in_names_stays_words():
    text, _ = words(report_pdf(page("<script>alert(1)</script> <font size=90>x</font> &amp;", 2)))
    assert "<script>alert(1)</script><fontsize=90>x</font>&amp;" in text


def test_letters_without_a_glyph_are_told_of():
    text, _ = words(report_pdf(page("漢字", 1)))
    assert "□□" in text and "2lettersthat" in text
    assert "lettersthat" not in words(report_pdf(page("Ωж", 1)))[0]


def test_paths_of_drawings_are_followed():
    assert _points("M1 2h3v-1l-1 .5Z") == [([(1, 2), (4, 2), (4, 1), (3, 1.5)], True)]
    assert _points("M0 0L1 1M2 2L3 3") == [([(0, 0), (1, 1)], False), ([(2, 2), (3, 3)], False)]
    with pytest.raises(ValueError, match="uses C"):
        _points("M0 0C1 1 2 2 3 3")
