"""The report as PDF, made from the report's own HTML: every heading, row, picture and drawing of the page, laid out on A4.

It is not a browser: columns and breaks differ from a printed page, the words and figures do not. Letters beyond Latin, Greek and Cyrillic
are shown as a box, and a line at the end says so.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser
from pathlib import Path as FilePath
from typing import Any

from PIL import Image as Pixels
from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, KeepTogether, LongTable, Paragraph, SimpleDocTemplate, Spacer, Table

from .pdf_svg import BOLD, REGULAR, Drawing

INK, SOFT, RULE = HexColor("#14171c"), HexColor("#565d68"), HexColor("#b9bfc8")
WIDTH = A4[0] - 30 * mm
VOID = {"meta", "img", "br", "link", "input"}
MISSING = "□"
JPEG_QUALITY = 92
rl_config.useA85 = 0  # bytes as they are instead of as letters: smaller and quicker, and no mail system of today needs letters
# Widths of columns in millimetres by the table's class, as in the style sheet; others share the page evenly.
COLUMNS = {"parts": (19, 38, 77, 46), "checks": (27, 109, 22, 22), "preparations": (16, 62, 24, 26, 52)}


@dataclass
class Node:
    """An element of the page. children : elements and text in order."""

    tag: str
    attrs: dict[str, str]
    children: list[Node | str] = field(default_factory=list)

    @property
    def kinds(self) -> set[str]:
        """Its classes."""
        return set(self.attrs.get("class", "").split())

    def all(self, *tags: str) -> Iterator[Node]:
        """Elements below it with these tags, in order."""
        for child in self.children:
            if isinstance(child, Node):
                if child.tag in tags:
                    yield child
                yield from child.all(*tags)


class _Tree(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("root", {})
        self._open = [self.root]
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {k: v or "" for k, v in attrs})
        self._open[-1].children.append(node)
        if tag not in VOID:
            self._open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open[-1].children.append(Node(tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        self._open.pop()

    def handle_data(self, data: str) -> None:
        self._open[-1].children.append(data)


class _Numbered(Canvas):
    """Pages that know how many there are."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self.setFont(REGULAR, 8)
            self.setFillColor(SOFT)
            self.drawRightString(A4[0] - 15 * mm, 8 * mm, f"{number} / {len(self._pages)}")
            super().showPage()
        super().save()


def _fonts() -> set[int]:
    """Register the two faces; the code points that they have."""
    folder = FilePath(__file__).parent
    for name, file in ((REGULAR, "DejaVuSansCondensed.ttf"), (BOLD, "DejaVuSansCondensed-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return set(pdfmetrics.getFont(REGULAR).face.charToGlyph)


def _style(size: float, *, bold: bool = False, soft: bool = False, **more: Any) -> ParagraphStyle:
    face = BOLD if bold else REGULAR
    colour = SOFT if soft else INK
    options = {"leading": 1.28 * size, "splitLongWords": True, **more}
    return ParagraphStyle(f"{size}{bold}{soft}", fontName=face, fontSize=size, textColor=colour, **options)


CELL_PAD = 6.0  # points beside the words of a cell
WIDEST = 0.4  # of a table, for one column
TEXT = {
    "h1": _style(19, bold=True, spaceAfter=5), "h2": _style(12.5, bold=True, spaceBefore=14, spaceAfter=4, keepWithNext=1),
    "h3": _style(10, bold=True, spaceBefore=8, spaceAfter=3, keepWithNext=1), "p": _style(9.5, spaceBefore=2, spaceAfter=3),
    "li": _style(9, leftIndent=9, bulletIndent=0, spaceAfter=1.5), "td": _style(8.2), "th": _style(7.6, bold=True, soft=True),
    "figcaption": _style(7.8, soft=True, spaceAfter=4), "fine": _style(7.8, soft=True, spaceAfter=3),
}  # fmt: skip


def report_pdf(html: str) -> bytes:
    """PDF of a page that `report_html` made."""
    known = _fonts()
    lost = {c for c in html if ord(c) > 126 and ord(c) not in known and not c.isspace()}
    for letter in lost:
        html = html.replace(letter, MISSING)
    tree = _Tree(html).root
    title = next(("".join(c for c in n.children if isinstance(c, str)) for n in tree.all("title")), "Report")
    story = _blocks(next(tree.all("main")), WIDTH)
    if lost:
        words = f"{len(lost)} letters that this file's typeface lacks are shown as {MISSING}; the HTML report has them."
        story.append(Paragraph(words, TEXT["fine"]))
    out = io.BytesIO()
    page = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=14 * mm, bottomMargin=16 * mm, title=title,
        creator="Claspwright", author="", subject="Design of a removable partial denture framework",
    )  # fmt: skip
    page.build(story, canvasmaker=_Numbered)
    return out.getvalue()


def _inline(node: Node | str) -> str:
    """The library's own small markup from the page's."""
    if isinstance(node, str):
        return escape(node, quote=False)
    inside = "".join(map(_inline, node.children))
    if node.tag in ("b", "strong"):
        return f"<b>{inside}</b>"
    if node.tag == "small":
        return f'<br/><font size="6.8" color="#565d68">{inside}</font>'
    if node.tag == "span" and "reason" in node.kinds:
        return f"<br/>{inside}"
    return "<br/>" if node.tag == "br" else inside


def _words(node: Node, style: str) -> Paragraph:
    text = "".join(map(_inline, node.children)).strip()
    return Paragraph(text.replace("\n", "<br/>") if "notes" in node.kinds else text, TEXT[style])


def _blocks(node: Node, width: float) -> list[Flowable]:
    """Flowables of an element's children."""
    out: list[Flowable] = []
    for child in node.children:
        if isinstance(child, Node):
            out += _block(child, width)
    return out


def _block(node: Node, width: float) -> list[Flowable]:
    kinds = node.kinds
    if node.tag in ("h1", "h2", "h3"):
        return [_words(node, node.tag)]
    if node.tag == "p" and "verdict" in kinds:
        return [Spacer(1, 6), _boxed([_words(node, "p")], width, thick="fail" in kinds or "warn" in kinds)]
    if node.tag in ("p", "figcaption"):
        return [_words(node, "fine" if kinds & {"fine", "kind"} else node.tag)]
    if node.tag == "ul":
        return [Paragraph("".join(map(_inline, li.children)), TEXT["li"], bulletText="•") for li in node.all("li")]
    if node.tag == "dl":
        return [_pairs(node, width)]
    if node.tag == "table":
        return [_table(node, width)]
    if node.tag == "svg":
        return [Drawing(_source(node), width)]
    if node.tag == "img":
        return [_image(node, width)]
    if "moving" in kinds:
        return []  # paper stands still: the strip beside it shows the same
    if node.tag == "figure":
        inside = _blocks(node, width)
        return inside if len(inside) == 1 else [KeepTogether(inside)]  # one alone stays with the heading before it
    if "signatures" in kinds:
        return [_signatures(node, width)]
    if kinds & {"cautions"}:
        return [Spacer(1, 5), _boxed(_blocks(node, width - 16), width)]
    if kinds & {"figures"}:
        return _side_by_side(node, width)
    if kinds & {"approval", "path", "materials", "drawing"}:
        return [KeepTogether(_blocks(node, width))]
    return _blocks(node, width)


def _side_by_side(node: Node, width: float) -> list[Flowable]:
    """Pictures or drawings in two columns; wide ones over both."""
    out: list[Flowable] = []
    row: list[list[Flowable]] = []

    def lay() -> None:
        if row:
            cells = [*row, *([[Spacer(1, 1)]] * (2 - len(row)))]
            out.append(Table([cells], colWidths=[width / 2] * 2, style=[*_BARE, ("RIGHTPADDING", (0, 0), (0, 0), 6)]))
            row.clear()

    for child in node.children:
        if not isinstance(child, Node):
            continue
        if "wide" in child.kinds:
            lay()
            out += _block(child, width)
            continue
        row.append(_blocks(child, width / 2 - 6) if child.tag in ("figure", "div") else _block(child, width / 2 - 6))
        if len(row) == 2:
            lay()
    lay()
    return out


_BARE = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
         ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]  # fmt: skip


def _boxed(inside: Sequence[Flowable], width: float, *, thick: bool = False) -> Table:
    lines = [("BOX", (0, 0), (-1, -1), 1.2, INK), ("LEFTPADDING", (0, 0), (-1, -1), 8), ("BOTTOMPADDING", (0, 0), (-1, -1), 5)]
    if thick:
        lines.append(("LINEBEFORE", (0, 0), (0, -1), 6, INK))
    return Table([[list(inside)]], colWidths=[width], style=lines)


def _pairs(node: Node, width: float) -> Table:
    cells = []
    for pair in (n for n in node.children if isinstance(n, Node)):
        term, value = ("".join(map(_inline, next(pair.all(tag)).children)) for tag in ("dt", "dd"))
        cells.append(Paragraph(f'<font size="7.5" color="#565d68">{term}</font><br/><b>{value}</b>', TEXT["td"]))
    # Long values (hashes, reasons) want the whole width, short ones go four to a row.
    across = 1 if any(len(c.getPlainText()) > 60 for c in cells) else min(4, max(len(cells), 1))
    rows = [cells[k : k + across] for k in range(0, len(cells), across)] or [[""]]
    rows[-1] = [*rows[-1], *([""] * (across - len(rows[-1])))]
    return Table(rows, colWidths=[width / across] * across, style=_BARE)


def _table(node: Node, width: float) -> LongTable:
    rows = [[_words(cell, cell.tag) for cell in row.all("th", "td")] for row in node.all("tr")]
    count = max(map(len, rows))
    given = next((COLUMNS[k] for k in node.kinds if k in COLUMNS and len(COLUMNS[k]) == count), None)
    widths = [w * width / sum(given) for w in given] if given else _widths(rows, count, width)
    rows = [[*row, *([""] * (count - len(row)))] for row in rows]
    lines: list[Any] = [*_BARE, ("RIGHTPADDING", (0, 0), (-1, -1), 5)]
    lines += [("LINEBELOW", (0, 0), (-1, 0), 1, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE)]
    return LongTable(rows, colWidths=widths, repeatRows=1 if next(node.all("thead"), None) else 0, style=lines, spaceAfter=4)


def _widths(rows: Sequence[Sequence[Paragraph]], count: int, width: float) -> list[float]:
    """Columns as wide as their longest word at the least; what is left goes to those with the longest lines."""
    least, whole = [0.0] * count, [0.0] * count
    for row in rows:
        for k, cell in enumerate(row):
            line = sum(pdfmetrics.stringWidth(f.text, f.fontName, f.fontSize) for f in cell.frags)
            least[k] = max(least[k], cell.minWidth() + CELL_PAD)
            whole[k] = max(whole[k], min(line + CELL_PAD, WIDEST * width), least[k])
    spare, wanted = width - sum(least), sum(whole) - sum(least)
    if spare <= 0 or wanted <= 0:
        return [w * width / sum(whole) for w in whole]
    return [a + (b - a) * spare / wanted for a, b in zip(least, whole, strict=True)]


def _picture_bytes(source: str) -> io.BytesIO:
    """A picture as the page takes it in whole: JPEG, a tenth of the bytes and of the time of the same pixels packed loss-free."""
    data = io.BytesIO(base64.b64decode(source.partition(",")[2]))
    out = io.BytesIO()
    Pixels.open(data).convert("RGB").save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    out.seek(0)
    return out


def _image(node: Node, width: float) -> Image:
    picture = Image(_picture_bytes(node.attrs["src"]))
    picture.drawWidth, picture.drawHeight = width, width * picture.imageHeight / picture.imageWidth
    return picture


def _signatures(node: Node, width: float) -> Table:
    boxes = [n for n in node.children if isinstance(n, Node)]
    heads = [Paragraph("".join(map(_inline, next(b.all("b")).children)), TEXT["td"]) for b in boxes]
    lines = [[Paragraph("".join(map(_inline, s.children)), TEXT["fine"]) for s in b.all("span")] for b in boxes]
    rows = [heads, *map(list, zip(*lines, strict=True))]
    step = [("LINEABOVE", (k, 0), (k, 0), 1.2, INK) for k in range(len(boxes))]
    rules = [("LINEBELOW", (k, 1), (k, -1), 0.6, SOFT) for k in range(len(boxes))]
    return Table(rows, colWidths=[width / len(boxes)] * len(boxes), rowHeights=[18] + [11 * mm] * (len(rows) - 1), style=[*step, *rules])


def _source(node: Node) -> str:
    """An element as XML again. HTML's parser writes names small; XML wants viewBox as it was."""
    names = {"viewbox": "viewBox"}
    attrs = "".join(f' {names.get(k, k)}="{escape(v)}"' for k, v in node.attrs.items())
    inside = "".join(escape(c, quote=False) if isinstance(c, str) else _source(c) for c in node.children)
    return f"<{node.tag}{attrs}>{inside}</{node.tag}>"
