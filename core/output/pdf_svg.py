"""The report's own drawings (SVG as arch_plan and plots write it, no more) on a page of PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable

REGULAR, BOLD = "Report", "Report-Bold"
_INHERITED = ("fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "font-weight", "text-anchor", "fill-opacity",
              "dominant-baseline")  # fmt: skip
_NUMBER = re.compile(r"[A-Za-z]|-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")
Style = dict[str, str]


def _style_rules(root: ElementTree.Element) -> list[tuple[str, Style]]:
    """Selector's last word (".key", "text") and its declarations, in order."""
    found = []
    for sheet in root.iter("style"):
        for names, inside in re.findall(r"([^{}]+)\{([^{}]*)\}", sheet.text or ""):
            found += [(name.split()[-1], _declared(inside)) for name in names.split(",")]
    return found


def _declared(text: str) -> Style:
    pairs = (item.split(":", 1) for item in text.split(";") if ":" in item)
    out = {k.strip(): v.strip() for k, v in pairs}
    if "font" in out:
        out["font-size"] = out["font"].split()[0]
    return out


def _points(text: str) -> list[tuple[list[tuple[float, float]], bool]]:
    """The straight runs of a path: corners and whether closed. Raises ValueError for a curve, which no drawing here has."""
    words, runs, x, y, command, k = _NUMBER.findall(text), [], 0.0, 0.0, "", 0
    run: list[tuple[float, float]] = []
    closed = False
    while k < len(words):
        if words[k].isalpha():
            command = words[k]
            k += 1
            if command in "Zz":
                runs.append((run, True))
                x, y = run[0]
                run, closed = [], True
                continue
        low = command.lower()
        if low not in "mlhv":
            raise ValueError(f"pdf: a drawing uses {command}, which is not drawn here")
        dx, dy = (x, y) if command.islower() else (0.0, 0.0)
        if low == "h":
            x, k = dx + float(words[k]), k + 1
        elif low == "v":
            y, k = dy + float(words[k]), k + 1
        else:
            x, y, k = dx + float(words[k]), dy + float(words[k + 1]), k + 2
        if low == "m":
            if len(run) > 1:
                runs.append((run, False))
            run, closed, command = [(x, y)], False, "l" if command == "m" else "L"
        else:
            run = [*(run or []), (x, y)]
    if len(run) > 1 and not closed:
        runs.append((run, False))
    return runs


class Drawing(Flowable):
    """An SVG drawing as wide as its own millimetres or as the place for it."""

    def __init__(self, source: str, width: float) -> None:
        super().__init__()
        self._root = ElementTree.fromstring(re.sub(r'\sxmlns="[^"]*"', "", source))
        _, _, w, h = (float(v) for v in self._root.attrib["viewBox"].split())
        own = re.search(r"width:([\d.]+)mm", self._root.attrib.get("style", ""))
        wide = min(width, float(own[1]) * 72 / 25.4) if own else width
        self._scale = wide / w
        self.width, self.height = wide, h * self._scale
        self._rules = _style_rules(self._root)

    def wrap(self, *_: float) -> tuple[float, float]:
        """Its size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Called by the page."""
        self.canv.saveState()
        self.canv.translate(0, self.height)
        self.canv.scale(self._scale, -self._scale)
        for child in self._root:
            self._one(child, {})
        self.canv.restoreState()

    def _styled(self, element: ElementTree.Element, above: Mapping[str, str]) -> Style:
        style = {k: v for k, v in above.items() if k in _INHERITED}
        style |= {k: v for k, v in element.attrib.items() if k in _INHERITED}
        for name, rule in self._rules:
            if name in (element.tag, "." + element.attrib.get("class", "")):
                style |= rule
        return style | _declared(element.attrib.get("style", ""))

    def _one(self, element: ElementTree.Element, above: Mapping[str, str]) -> None:
        style = self._styled(element, above)
        numbers = {k: float(v) for k, v in element.attrib.items() if re.fullmatch(r"-?[\d.]+", v)}
        if element.tag == "g":
            for child in element:
                self._one(child, style)
        elif element.tag == "path":
            self._shape(_points(element.attrib["d"]), style)
        elif element.tag == "line":
            self._shape([([(numbers["x1"], numbers["y1"]), (numbers["x2"], numbers["y2"])], False)], style)
        elif element.tag == "rect":
            x, y, w, h = (numbers.get(k, 0.0) for k in ("x", "y", "width", "height"))
            self._shape([([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], True)], style)
        elif element.tag == "circle":
            self._pens(style)
            filled = style.get("fill", "#000") != "none"
            self.canv.circle(numbers["cx"], numbers["cy"], numbers["r"], stroke=int("stroke" in style), fill=int(filled))
            self.canv.setFillAlpha(1)
        elif element.tag == "text":
            self._text(element, numbers, style)

    def _pens(self, style: Style) -> None:
        fill, stroke = style.get("fill", "#000"), style.get("stroke", "none")
        if fill.startswith("#"):
            self.canv.setFillColor(_colour(fill))
        self.canv.setFillAlpha(float(style.get("fill-opacity", 1)))
        if stroke.startswith("#"):
            self.canv.setStrokeColor(_colour(stroke))
        self.canv.setLineWidth(float(style.get("stroke-width", "1").removesuffix("px")))
        dashes = [float(v) for v in re.split(r"[ ,]+", style.get("stroke-dasharray", "")) if v]
        self.canv.setDash(dashes or [])

    def _shape(self, runs: list[tuple[list[tuple[float, float]], bool]], style: Style) -> None:
        self._pens(style)
        shape: Any = self.canv.beginPath()
        for corners, closed in runs:
            shape.moveTo(*corners[0])
            for corner in corners[1:]:
                shape.lineTo(*corner)
            if closed:
                shape.close()
        fill = style.get("fill", "#000")
        if fill.startswith("url"):
            self._hatched(shape, runs, crossed="net" in fill)
            self._pens(style)
        self.canv.drawPath(shape, stroke=int(style.get("stroke", "none") != "none"), fill=int(fill.startswith("#")), fillMode=0)
        self.canv.setFillAlpha(1)

    def _hatched(self, shape: Any, runs: list[tuple[list[tuple[float, float]], bool]], *, crossed: bool) -> None:
        """Slanting lines, or a net of them, inside a shape."""
        every = [corner for corners, _ in runs for corner in corners]
        (x0, y0), (x1, y1) = (map(f, zip(*every, strict=True)) for f in (min, max))
        step = 1.06 if crossed else 0.012 * max(x1 - x0, y1 - y0) + 1.0
        self.canv.saveState()
        self.canv.clipPath(shape, stroke=0, fill=0, fillMode=0)
        self.canv.setFillColor(HexColor("#ffffff"))
        self.canv.rect(x0, y0, x1 - x0, y1 - y0, stroke=0, fill=1)
        self.canv.setStrokeColor(HexColor("#111111"))
        self.canv.setLineWidth(0.22 if crossed else 0.4)
        tall, k = y1 - y0, 0
        while x0 - tall + k * step < x1:
            x = x0 - tall + k * step
            self.canv.line(x, y0, x + tall, y1)
            if crossed:
                self.canv.line(x, y1, x + tall, y0)
            k += 1
        self.canv.restoreState()

    def _text(self, element: ElementTree.Element, numbers: Mapping[str, float], style: Style) -> None:
        words = "".join(element.itertext())
        size = float(style.get("font-size", "10").removesuffix("px"))
        face = BOLD if style.get("font-weight", "400") in ("600", "700", "bold") else REGULAR
        wide = self.canv.stringWidth(words, face, size)
        x = numbers["x"] - {"middle": 0.5, "end": 1.0}.get(style.get("text-anchor", "start"), 0.0) * wide
        y = numbers["y"] + (0.36 * size if style.get("dominant-baseline") == "central" else 0.0)
        self.canv.saveState()
        self.canv.translate(x, y)
        self.canv.scale(1, -1)
        self.canv.setFont(face, size)
        if style.get("stroke", "none").startswith("#"):  # a halo, so that words stand off the lines under them
            self.canv.setStrokeColor(_colour(style["stroke"]))
            self.canv.setLineWidth(float(style.get("stroke-width", "1").removesuffix("px")))
            self.canv.setDash([])
            self._run(words, face, size, 1)
        self.canv.setFillColor(_colour(style.get("fill", "#000")))
        self._run(words, face, size, 0)
        self.canv.restoreState()

    def _run(self, words: str, face: str, size: float, mode: int) -> None:
        run = self.canv.beginText(0, 0)
        run.setFont(face, size)
        run.setTextRenderMode(mode)
        run.textOut(words)
        run.setTextRenderMode(0)
        self.canv.drawText(run)


def _colour(text: str) -> HexColor:
    digits = text.removeprefix("#")
    return HexColor("#" + ("".join(2 * c for c in digits) if len(digits) == 3 else digits))
