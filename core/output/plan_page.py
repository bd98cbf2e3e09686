"""The plan on one page: class, arch drawing, parts with reasons, what the rules say, places for a signature."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from PIL import Image

from ..case import Question, open_questions
from ..cautions import CAUTIONS
from ..mesh import Floats
from ..planning import Design, Draft, Finding, Round, Task
from ..survey import Path
from .plan_drawing import arch_svg
from .plan_summary import in_short
from .plan_tables import OfferRow, offers_table, path_section, preparation_section
from .report import asset
from .wording import describe

_SIGN = '<table class="signatures"><tr><td>Dentist, date</td><td></td></tr><tr><td>Laboratory, date</td><td></td></tr></table>'
_SEVERITY = {"error": "Must be settled", "warning": "Look at it", "advice": "Advice"}


@dataclass(frozen=True, eq=False)
class PlanPage:
    """What the page shows. outlines : (k, 2) mm, by tooth; positions : (2,) or (3,) mm, by standing tooth

    taken_out : (k, 2) mm, outlines of teeth to be taken out
    foretold : what a build of it will find at fault; offers : pairs, the plan first; pictures : of the preparation, by tooth
    """

    draft: Draft
    design: Design
    findings: Sequence[Finding]
    outlines: Mapping[int, Floats]
    positions: Mapping[int, Floats]
    path: Path = Path()
    rounds: Sequence[Round] = ()
    offers: Sequence[OfferRow] = ()
    tasks: Sequence[Task] = ()
    pictures: Mapping[int, Image.Image] = field(default_factory=dict)
    remarks: Sequence[str] = ()
    foretold: Sequence[str] = ()
    version: str = ""
    taken_out: Mapping[int, Floats] = field(default_factory=dict)


def plan_html(page: PlanPage) -> str:
    """One HTML file without any reference to the outside; all text of the case is escaped."""
    case = page.design.case
    title = f"{case.patient_code} – {case.title}" if case.title else case.patient_code or "Plan"
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p><strong>{escape(page.design.classification.name)}</strong>, {case.cast.arch} arch. "
        "A draft for the clinician to change and to approve.</p>",
        f'<figure class="wide">{_drawing(page)}<figcaption>{_caption(page)}</figcaption></figure>',
        in_short(page.design, page.path, page.draft.open, page.foretold), _SIGN,
        '<h2 style="break-before:page">Path of placement</h2>', path_section(page.path, case.cast.arch, page.rounds, page.remarks),
        "<h2>Parts and reasons</h2>", _parts(page), _open(page.draft.open),
        _to_ask(open_questions(case)), _foretold(page.foretold),
        "<h2>What the rules say</h2>", _findings(page.findings),
        preparation_section(page.tasks, page.pictures),
        offers_table(page.offers, case.cast.arch),
        "<h2>Cautions</h2><ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>",
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


def _drawing(page: PlanPage) -> str:
    return arch_svg(page.design, page.outlines, page.positions, page.taken_out)


def _parts(page: PlanPage) -> str:
    why = {r.part: r.words for r in page.draft.reasons}
    rows = []
    for component in page.design.case.components:
        row = describe(component)
        cells = (row.tooth, row.part, row.words, why.get(component.id, ""))
        rows.append("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>")
    widths = "".join(f'<col style="width:{w}%">' for w in (10, 16, 28, 46))
    head = "<tr><th>Tooth</th><th>Part</th><th>Where and how</th><th>Why</th></tr>"
    return f"<table><colgroup>{widths}</colgroup>{head}{''.join(rows)}</table>"


def _open(words: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(w)}</li>" for w in words)
    return f"<h2>Not settled</h2><ul>{items}</ul>" if items else ""


def _to_ask(questions: Iterable[Question]) -> str:
    items = "".join(f"<li>{escape(str(q))}</li>" for q in questions)
    head = "<h2>To be asked of the dentist</h2><p>The scan does not show it, and the chart does not say it.</p>"
    return f"{head}<ul>{items}</ul>" if items else ""


def _foretold(words: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(w)}</li>" for w in words)
    return f"<h2>What a build of it will find at fault</h2><ul>{items}</ul>" if items else ""


def _findings(findings: Sequence[Finding]) -> str:
    if not findings:
        return "<p>No rule of critique finds anything.</p>"
    rows = "".join(
        f'<tr><td style="white-space:nowrap">{_SEVERITY[f.severity]}</td>'
        f"<td>{escape(f.words)}<br><small>{escape(f.detail)}</small>{_accepted(f)}</td>"
        f"<td>{escape(', '.join(f.parts))}</td><td><small>{escape(f.source)}</small></td></tr>"
        for f in findings
    )
    return f"<table><tr><th></th><th>Rule</th><th>Parts</th><th>Source</th></tr>{rows}</table>"


def _accepted(finding: Finding) -> str:
    return f"<br><strong>Overruled:</strong> {escape(finding.overruled)}" if finding.overruled else ""


def _caption(page: PlanPage) -> str:
    words = (
        "Occlusal view. Full outlines: standing crowns at their height of contour; dashed: teeth to be replaced; "
        f"{'crossed out: teeth to be taken out; ' if page.taken_out else ''}dots: rests; "
        "heavy line: arm that flexes, its tip an open circle; thin line: wire; dotted line: reciprocal arm; short bars: guide plates; "
        "shaded: bases, connector and struts"
    )
    lines = [f"{line.first}–{line.second} ({line.why})" for line in page.design.fulcrums]
    return words + (f"; dash-dotted: fulcrum line {', '.join(lines)}." if lines else "; no fulcrum line: borne by teeth at both ends.")
