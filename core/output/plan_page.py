"""The plan on one page: class, arch drawing, parts with reasons, what the rules say, places for a signature."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from ..cautions import CAUTIONS
from ..mesh import Floats
from ..planning import Design, Draft, Finding
from .plan_drawing import arch_svg
from .report import asset
from .wording import describe

_SEVERITY = {"error": "Must be settled", "warning": "Look at it", "advice": "Advice"}


@dataclass(frozen=True, eq=False)
class PlanPage:
    """What the page shows. outlines : (k, 2) mm, by tooth; positions : (2,) or (3,) mm, by standing tooth"""

    draft: Draft
    design: Design
    findings: Sequence[Finding]
    outlines: Mapping[int, Floats]
    positions: Mapping[int, Floats]
    version: str = ""


def plan_html(page: PlanPage) -> str:
    """One HTML file without any reference to the outside; all text of the case is escaped."""
    case = page.design.case
    title = f"{case.patient_code} – {case.title}" if case.title else case.patient_code or "Plan"
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p><strong>{escape(page.design.classification.name)}</strong>, {case.cast.arch} arch. "
        "A draft for the clinician to change and to approve.</p>",
        f'<figure class="wide">{arch_svg(page.design, page.outlines, page.positions)}<figcaption>{_caption(page)}</figcaption></figure>',
        "<h2>Parts and reasons</h2>", _parts(page), _open(page.draft.open),
        "<h2>What the rules say</h2>", _findings(page.findings),
        "<h2>Cautions</h2><ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>",
        '<table class="signatures"><tr><td>Dentist, date</td><td></td></tr><tr><td>Laboratory, date</td><td></td></tr></table>',
        f"<p><small>Claspwright {escape(page.version)}</small></p>",
    ]  # fmt: skip
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n"
        f"<title>{escape(title)}</title>\n<style>\n{asset('report.css')}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(body)
        + "\n</main>\n</body>\n</html>\n"
    )


def _parts(page: PlanPage) -> str:
    why = {r.part: r.words for r in page.draft.reasons}
    rows = []
    for component in page.design.case.components:
        row = describe(component)
        cells = (row.tooth, row.part, row.words, why.get(component.id, ""))
        rows.append("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>")
    return "<table><tr><th>Tooth</th><th>Part</th><th>Where and how</th><th>Why</th></tr>" + "".join(rows) + "</table>"


def _open(words: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(w)}</li>" for w in words)
    return f"<h2>Not settled</h2><ul>{items}</ul>" if items else ""


def _findings(findings: Sequence[Finding]) -> str:
    if not findings:
        return "<p>No rule of critique finds anything.</p>"
    rows = "".join(
        f'<tr><td style="white-space:nowrap">{_SEVERITY[f.severity]}</td>'
        f"<td>{escape(f.words)}<br><small>{escape(f.detail)}</small></td>"
        f"<td>{escape(', '.join(f.parts))}</td><td><small>{escape(f.source)}</small></td></tr>"
        for f in findings
    )
    return f"<table><tr><th></th><th>Rule</th><th>Parts</th><th>Source</th></tr>{rows}</table>"


def _caption(page: PlanPage) -> str:
    words = (
        "Occlusal view. Full outlines: standing crowns at their height of contour; dashed: teeth to be replaced; dots: rests; "
        "full line: retentive arm; dotted line: reciprocal arm; shaded: bases and connector"
    )
    lines = [f"{line.first}–{line.second} ({line.why})" for line in page.design.fulcrums]
    return words + (f"; dash-dotted: fulcrum line {', '.join(lines)}." if lines else "; no fulcrum line: borne by teeth at both ends.")
