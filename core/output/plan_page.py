"""The plan on one page: class, arch drawing, parts with reasons, what the rules say, places for a signature."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..cautions import CAUTIONS
from ..mesh import Floats
from ..planning import Design, Draft, Finding
from ..teeth.numbering import order, side
from .report import asset
from .wording import describe

_SCALE = 7.0  # picture units a millimetre
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
        f'<figure class="wide">{arch_svg(page)}<figcaption>{_caption(page)}</figcaption></figure>',
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
        f"<tr><td>{_SEVERITY[f.severity]}</td><td>{escape(f.words)}<br><small>{escape(f.detail)}</small></td>"
        f"<td>{escape(', '.join(f.parts))}</td><td><small>{escape(f.source)}</small></td></tr>"
        for f in findings
    )
    return f"<table><tr><th></th><th>Rule</th><th>Parts</th><th>Source</th></tr>{rows}</table>"


def _caption(page: PlanPage) -> str:
    words = "Occlusal view. Full outlines: standing crowns at their height of contour; dashed: teeth to be replaced"
    lines = [f"{line.first}–{line.second} ({line.why})" for line in page.design.fulcrums]
    return words + (f"; dash-dotted: fulcrum line {', '.join(lines)}." if lines else "; no fulcrum line: borne by teeth at both ends.")


def missing_positions(page: PlanPage) -> dict[int, Floats]:
    """Where missing teeth would stand, (2,) mm: between the abutments, or on from the last one as on an average arch."""
    nominal = page.design.positions
    here = {t: np.asarray(p, dtype=float)[:2] for t, p in page.positions.items()}
    out: dict[int, Floats] = {}
    for space in page.design.classification.spaces:
        ends = [t for t in space.abutments if t in here]
        if len(ends) == 2:
            a, b = here[ends[0]], here[ends[1]]
            plain = [np.asarray(nominal[t], dtype=float)[:2] for t in (ends[0], *space.teeth, ends[1])]
            share = np.concatenate([[0.0], np.cumsum([np.linalg.norm(q - p) for p, q in zip(plain, plain[1:], strict=False)])])
            for tooth, s in zip(space.teeth, share[1:-1] / share[-1], strict=True):
                out[tooth] = a + s * (b - a)
        elif ends:
            shift = here[ends[0]] - _average(page, ends[0])
            out.update({t: _average(page, t) + shift for t in space.teeth})
    return out


def _average(page: PlanPage, tooth: int) -> Floats:
    from ..planning.support import nominal_positions

    return nominal_positions(page.design.arch)[tooth]


def arch_svg(page: PlanPage) -> str:
    """The arch from above, from the measured crowns: viewer's right is +X."""
    gone = missing_positions(page)
    points = np.concatenate([*page.outlines.values(), *[np.atleast_2d(p) for p in gone.values()]])
    low, high = points.min(axis=0) - 8.0, points.max(axis=0) + 8.0
    size = (high - low) * _SCALE

    def at(p: Floats) -> str:
        return f"{(p[0] - low[0]) * _SCALE:.1f},{(high[1] - p[1]) * _SCALE:.1f}"

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" role="img" aria-label="arch drawing" '
        'style="max-width:32em;width:100%;font:14px sans-serif" stroke-linejoin="round">'
    ]
    for tooth, line in page.outlines.items():
        middle = np.asarray(page.positions[tooth], dtype=float)[:2]
        clasped = tooth in page.design.clasped
        out.append(f'<polygon points="{" ".join(at(p) for p in line)}" fill="{"#dfe7ee" if clasped else "#f7f5f0"}" stroke="#333"/>')
        out.append(_word(at(middle), str(tooth)))
    for tooth, middle in gone.items():
        x, y = at(middle).split(",")
        out.append(f'<circle cx="{x}" cy="{y}" r="{3.4 * _SCALE:.0f}" fill="none" stroke="#777" stroke-dasharray="5 4"/>')
        out.append(_word(at(middle), str(tooth), "#777"))
    for rest in page.design.rests:
        if rest.tooth in page.positions:
            out.append(_rest_mark(page, rest.tooth, getattr(rest, "side", ""), at))
    for fulcrum in page.design.fulcrums:
        a, b = (at(np.asarray(page.positions[t], dtype=float)[:2]) for t in (fulcrum.first, fulcrum.second))
        out.append(f'<polyline points="{a} {b}" fill="none" stroke="#7a1f3d" stroke-width="2" stroke-dasharray="12 4 3 4"/>')
    row = order(page.design.arch)
    left, right = ("Left", "Right") if page.design.arch == "lower" else ("Right", "Left")
    assert side(row[0]) < 0
    out.append(f'<text x="6" y="{size[1] - 8:.0f}" fill="#333">{left} of the patient</text>')
    out.append(f'<text x="{size[0] - 6:.0f}" y="{size[1] - 8:.0f}" text-anchor="end" fill="#333">{right} of the patient</text></svg>')
    return "".join(out)


def _rest_mark(page: PlanPage, tooth: int, where: str, at: Callable[[Floats], str]) -> str:
    """A dot inside the marginal ridge, or on the cingulum."""
    middle = np.asarray(page.positions[tooth], dtype=float)[:2]
    towards = _mesial(page, tooth) * (-1.0 if where == "distal" else 1.0)
    reach = float(((page.outlines[tooth] - middle) @ towards).max())
    # A cingulum lies on the lingual side; where the case names no side the dot is drawn a little behind the middle.
    spot = middle + towards * 0.6 * reach if where else middle + np.array([0.0, -1.8])
    x, y = at(spot).split(",")
    return f'<circle cx="{x}" cy="{y}" r="8" fill="#2b3a55" stroke="#fff" stroke-width="1.5"><title>rest {tooth}</title></circle>'


def _mesial(page: PlanPage, tooth: int) -> Floats:
    """(2,) unit vector toward the tooth's mesial side, along the average arch."""
    row = order(page.design.arch)
    k = row.index(tooth)
    before, after = row[max(k - 1, 0)], row[min(k + 1, 15)]
    step = _average(page, after) - _average(page, before)
    return step / np.linalg.norm(step) * (1.0 if side(tooth) < 0 else -1.0)


def _word(place: str, text: str, colour: str = "#222") -> str:
    x, y = place.split(",")
    return f'<text x="{x}" y="{y}" text-anchor="middle" dominant-baseline="middle" fill="{colour}">{escape(text)}</text>'
