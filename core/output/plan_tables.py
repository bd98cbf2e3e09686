"""The tables of a plan's page: pairs of path and design with their costs, and mouth preparation with its pictures."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from PIL import Image

from ..mechanics.ranges import Range
from ..planning import Estimate, Finding, Round, Task
from ..planning.path_search import Scored
from ..planning.path_search_score import values
from ..survey import Path
from .preparation_picture import FULL_MM
from .wording import tilt_words

TITLES = {
    "guide plane": "1. Guide planes",
    "height of contour": "2. Heights of contour to lower",
    "rest seat": "3. Rest seats",
}


@dataclass(frozen=True, eq=False)
class OfferRow:
    """A pair of path and design. scored : terms of its path, None where none was searched; differs : parts that the plan has not"""

    name: str
    path: Path
    scored: Scored | None
    cost: Estimate | None
    findings: Sequence[Finding]
    differs: Sequence[str] = ()


def path_section(path: Path, arch: str, rounds: Sequence[Round], remarks: Sequence[str]) -> str:
    """The path of the plan in words, and how path and design came to agree."""
    words = f"<p>{escape(tilt_words(path.anteroposterior_deg, path.lateral_deg, arch))}; {path.tilt_deg:.1f}° in all.</p>"
    if rounds:
        turns = []
        for k, turn in enumerate(rounds, 1):
            did = f"; the design changed: {', '.join(turn.changed)}" if turn.changed else ("; the design stayed" if k > 1 else "")
            turns.append(f"turn {k} moved the path by {turn.moved_deg:.1f}°{did}")
        words += f"<p><small>Drafted and searched in turn until neither changed: {escape('; '.join(turns))}.</small></p>"
    return words + "".join(f"<p><small>{escape(r)}</small></p>" for r in remarks)


def offers_table(rows: Sequence[OfferRow], arch: str) -> str:
    """What each pair costs. The first is the plan."""
    if len(rows) < 2:
        return ""
    head = (
        "", "Path", "Enamel for guide planes, mm", "Undercut missing at the tips, mm", "Right against left, mm", "Open triangles, mm²",
        "Tissue covered, mm²", "Metal, g", "Stiffness, N/mm", "Rules", "Design",
    )  # fmt: skip
    body = "".join("<tr>" + "".join(f"<td>{c}</td>" for c in _offer(r, arch)) + "</tr>" for r in rows)
    return (
        "<h2>Pairs of path and design</h2><table>"
        + "<tr>" + "".join(f"<th>{h}</th>" for h in head) + f"</tr>{body}</table>"
        + "<p><small>Enamel: mean over the guide surfaces (most on one). Tissue, metal and stiffness (one side shifted against the other): "
        "estimated before building, within about a third.</small></p>"
    )  # fmt: skip


def _offer(row: OfferRow, arch: str) -> list[str]:
    words = tilt_words(row.path.anteroposterior_deg, row.path.lateral_deg, arch).removeprefix("cast tilted: ")
    cells = [f"<strong>{escape(row.name)}</strong>", escape(words)]
    if row.scored is None:
        cells += ["–"] * 4
    else:
        terms = {k: float(v[0]) for k, v in values(row.scored.terms).items()}
        most = float(row.scored.terms.counted[0].max()) if row.scored.terms.counted.shape[1] else 0.0
        cells += [
            f"{terms['guide_planes']:.2f} ({most:.2f})", f"{terms['retention']:.2f}", f"{terms['balance']:.2f}", f"{terms['looks']:.1f}",
        ]  # fmt: skip
    cells += ["–"] * 3 if row.cost is None else [_span(row.cost.covered_mm2), _span(row.cost.mass), _span(row.cost.stiffness)]
    grave = [f for f in row.findings if f.severity != "advice" and not f.overruled]
    cells.append(f"{len(grave)} to look at" if grave else "none")
    cells.append(escape("; ".join(row.differs)) if row.differs else "as the plan")
    return cells


def _span(value: Range) -> str:
    return f"{value.low:.0f}–{value.high:.0f}" if value.high >= 10 else f"{value.low:.1f}–{value.high:.1f}"


def preparation_section(tasks: Sequence[Task], pictures: Mapping[int, Image.Image]) -> str:
    """The list in the order of treatment, then the pictures on the teeth."""
    if not tasks:
        return "<h2>Mouth preparation</h2><p>None: the surfaces serve as they are.</p>"
    rows = []
    for step, title in TITLES.items():
        own = [t for t in tasks if t.step == step]
        if own:
            rows.append(f'<tr><th colspan="5">{title}</th></tr>')
        for t in own:
            enamel = "–" if t.enamel_mm is None else f"{t.enamel_mm:.2f}"
            cells = (str(t.tooth), escape(t.where), escape(t.words), f"{t.deepest_mm:.2f}", enamel)
            warning = f"<br><strong>{escape(t.warning)}</strong>" if t.warning else ""
            rows.append("<tr>" + "".join(f"<td>{c}{warning if k == 2 else ''}</td>" for k, c in enumerate(cells)) + "</tr>")
    rows.append('<tr><th colspan="5">4. Polish, new impression or scan, survey again before anything is made</th></tr>')
    figures = "".join(
        f'<figure><img src="{_data(image)}" alt="tooth {tooth}, enamel to take off"><figcaption>{tooth}: '
        f"{escape('; '.join(t.words + f', {t.deepest_mm:.2f} mm' for t in tasks if t.tooth == tooth))}</figcaption></figure>"
        for tooth, image in pictures.items()
    )
    return (
        "<h2>Mouth preparation, in this order</h2>"
        "<table><tr><th>Tooth</th><th>Where</th><th>What</th><th>Deepest cut, mm</th><th>Enamel usual there, mm</th></tr>"
        + "".join(rows)
        + "</table><p><small>Enamel figures are means of groups; what is there shows only in the mouth. "
        "Nothing is cut within 1 mm of the margin. "
        f"Pictures: the cast as it is, yellow to dark red where enamel goes (dark red: {FULL_MM:g} mm or more); the line is the height of "
        f'contour.</small></p><div class="pictures">{figures}</div>'
    )


def _data(image: Image.Image) -> str:
    buffer = io.BytesIO()
    image.quantize(128).save(buffer, "PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
