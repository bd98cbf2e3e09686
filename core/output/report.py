"""The report of a case: one HTML file with everything inside it, which prints cleanly to A4.

Nothing here decides anything: rows, checks and pictures come in, a page goes out. All text of the case is escaped.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

from ..cautions import CAUTIONS
from .arch_plan import ArchPlan, arch_plan_svg
from .drawing import inline_image
from .insertion_picture import InsertionSheet, tip_rows, travel_plot
from .mechanics_section import MechanicsSheet, mechanics_html
from .tables import table
from .wording import ComponentRow, measured, tilt_parts

if TYPE_CHECKING:
    from ..checks import Check

STATUS_WORDS = {"fail": "Fail", "warn": "Look at it", "pass": "Pass", "skip": "Not checked"}
_ORDER = ("fail", "warn", "skip", "pass")
_SIGN = {"fail": "✕", "warn": "!", "pass": "✓", "skip": "–"}


@dataclass(frozen=True)
class PreparationRow:
    """Mouth preparation on one tooth: what, the deepest cut in mm, the enamel volume in mm3 or None, and words."""

    tooth: str
    what: str
    deepest_mm: float
    volume_mm3: float | None = None
    words: str = ""


@dataclass(frozen=True)
class Picture:
    """A picture with its caption. data: PNG bytes; wide: over the whole width of the page."""

    caption: str
    data: bytes
    wide: bool = False


@dataclass(frozen=True)
class ReportData:
    """All that a report says. Empty fields leave their section out, or say that nothing was given where silence would mislead.

    title, patient_code : as in the case file; a code, never a name
    arch : "upper" or "lower"
    date : ISO date and time as text
    path_words : why this path, in words; anteroposterior_deg, lateral_deg : its tilts; tripod : marks (x, y, z) mm in the cast frame
    chart : label and text, such as missing teeth; to_ask : what the chart leaves open, as questions to the dentist
    mass_g : (low, high) g, a range; basis says how it was reached
    stages : name and seconds; versions, hashes : name and text
    """

    title: str
    patient_code: str
    arch: str
    date: str = ""
    chart: Sequence[tuple[str, str]] = ()
    to_ask: Sequence[str] = ()
    path_words: str = ""
    anteroposterior_deg: float = 0.0
    lateral_deg: float = 0.0
    tripod: Sequence[tuple[float, float, float]] = ()
    components: Sequence[ComponentRow] = ()
    preparations: Sequence[PreparationRow] = ()
    checks: Sequence[Check] = ()
    mechanics: MechanicsSheet | None = None
    insertion: InsertionSheet | None = None
    plan: ArchPlan | None = None
    materials: Sequence[tuple[str, str]] = ()
    mass_g: tuple[float, float] | None = None
    mass_basis: str = ""
    pictures: Sequence[Picture] = ()
    cast_changes: Sequence[str] = ()
    cast_questions: Sequence[str] = ()
    notes: str = ""
    stages: Sequence[tuple[str, float]] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    hashes: Mapping[str, str] = field(default_factory=dict)


def asset(name: str) -> str:
    """A text file that lies beside this module (style sheet, script)."""
    return FilePath(__file__).with_name(name).read_text(encoding="utf-8")


def report_html(data: ReportData) -> str:
    """The whole report as one HTML document without any reference to the outside."""
    sections = [
        _head(data), _cautions(), _summary(data), _plan(data), _components(data), _to_ask(data), _path(data), _preparation(data),
        _materials(data),
        _pictures(data), _insertion(data), _checks(data), _mechanics(data), _cast(data), _signatures(), _record(data),
    ]
    title = f"{data.patient_code} – {data.title}" if data.title else data.patient_code
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n"
        f"<title>{escape(title)}</title>\n<style>\n{asset('report.css')}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(s for s in sections if s)
        + "\n</main>\n</body>\n</html>\n"
    )


def _section(heading: str, body: str, name: str) -> str:
    return f'<section class="{name}"><h2>{escape(heading)}</h2>\n{body}\n</section>'


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return "<dl>" + "".join(f"<div><dt>{escape(k)}</dt><dd>{escape(v)}</dd></div>" for k, v in pairs) + "</dl>"


def _head(data: ReportData) -> str:
    facts = [("Patient code", data.patient_code or "none given"), ("Arch", data.arch), *data.chart]
    kind = "Removable partial denture · metal framework · design report" + (f" · {data.date}" if data.date else "")
    return f'<header><p class="kind">{escape(kind)}</p><h1>{escape(data.title or "Untitled case")}</h1>{_pairs(facts)}</header>'


def _cautions() -> str:
    return _section("Cautions", "<ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>", "cautions")


def _summary(data: ReportData) -> str:
    if not data.checks:
        return '<p class="verdict warn">No check has been made on this design.</p>'
    count = {s: sum(c.status == s for c in data.checks) for s in _ORDER}
    stops = sum(c.stops for c in data.checks)
    if stops:
        verdict = ("fail", f"Do not make this framework as it is: {_number(stops, 'check')} failed.")
    elif count["fail"]:
        verdict = ("warn", f"{_number(count['fail'], 'failed check')} accepted with a reason. Read them before manufacture.")
    elif count["warn"] or count["skip"]:
        verdict = ("warn", "No check failed. Some points need a look before manufacture.")
    else:
        verdict = ("pass", "All checks passed.")
    tally = ", ".join(f"{count[s]} {STATUS_WORDS[s].lower()}" for s in ("pass", "warn", "fail", "skip") if count[s])
    kind, words = verdict
    return f'<p class="verdict {kind}"><strong>{_SIGN[kind]} {escape(words)}</strong> <span>Checks: {escape(tally)}.</span></p>'


def _number(n: int, word: str) -> str:
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def _plan(data: ReportData) -> str:
    if data.plan is None:
        return ""
    words = "Seen along the path of placement, from the geometry as built."
    return _section("Arch drawing", f'<div class="plan">{arch_plan_svg(data.plan)}</div><p class="fine">{words}</p>', "drawing")


def _to_ask(data: ReportData) -> str:
    if not data.to_ask:
        return ""
    items = "".join(f"<li>{escape(q)}</li>" for q in data.to_ask)
    why = "The scan does not show it, and the chart does not say it."
    return _section("To be asked of the dentist", f"<p>{why}</p><ul>{items}</ul>", "asked")


def _pictures(data: ReportData) -> str:
    if not data.pictures:
        return ""
    figures = "".join(
        f'<figure class="{"wide" if p.wide else "half"}"><img alt="{escape(p.caption)}" src="{inline_image(p.data)}">'
        f"<figcaption>{escape(p.caption)}</figcaption></figure>"
        for p in data.pictures
    )
    return _section("Pictures", f'<div class="figures">{figures}</div>', "pictures")


def _insertion(data: ReportData) -> str:
    sheet = data.insertion
    if sheet is None:
        return ""
    moving = base64.b64encode(sheet.moving).decode("ascii")
    body = f"<p>{escape(sheet.verdict)}</p>" if sheet.verdict else ""
    body += (
        f'<figure class="moving"><img alt="The framework going on and off along the path" src="data:image/webp;base64,{moving}">'
        "<figcaption>The framework going on and off along the path (moves on a screen)</figcaption></figure>"
        f'<figure class="wide"><img alt="{escape(sheet.strip_words)}" src="{inline_image(sheet.strip)}">'
        f"<figcaption>{escape(sheet.strip_words)}</figcaption></figure>"
    )
    return _section("Insertion", body + travel_plot(sheet) + tip_rows(sheet), "insertion")


def _components(data: ReportData) -> str:
    rows = [(escape(r.tooth), f"<b>{escape(r.part)}</b>", escape(r.words), escape(r.measures)) for r in data.components]
    body = table(("Tooth", "Part", "Where and how", "Measures, mm"), rows, "parts") if rows else "<p>No component is listed.</p>"
    return _section("Components", body, "components")


def _path(data: ReportData) -> str:
    front, side = tilt_parts(data.anteroposterior_deg, data.lateral_deg, data.arch)
    facts = [
        ("Front to back", f"{front} ({data.anteroposterior_deg:+.1f}°)"),
        ("Side to side", f"{side} ({data.lateral_deg:+.1f}°)"),
    ]
    if data.path_words:
        facts.insert(0, ("In words", data.path_words))
    body = _pairs(facts)
    if data.tripod:
        rows = [(str(i + 1), *(f"{c:.2f}" for c in point)) for i, point in enumerate(data.tripod)]
        body += "<p>Tripod marks, in one plane square to the path, mm in the cast frame (Z occlusal, Y anterior):</p>"
        body += table(("Mark", "X", "Y", "Z"), rows, "numbers")
    else:
        body += "<p>No tripod marks are recorded.</p>"
    return _section("Path of placement", body, "path")


def _preparation(data: ReportData) -> str:
    if not data.preparations:
        return _section("Mouth preparation", "<p>None planned.</p>", "preparation")
    rows = [
        (
            escape(r.tooth), escape(r.what), f"{r.deepest_mm:.2f}", "–" if r.volume_mm3 is None else f"{r.volume_mm3:.1f}", escape(r.words),
        )
        for r in data.preparations
    ]
    body = table(("Tooth", "What", "Deepest, mm", "Volume, mm³", "Note"), rows, "preparations")
    body += "<p>Amounts are those taken from the cast. Measure again in the mouth; local enamel may be thinner.</p>"
    return _section("Mouth preparation", body, "preparation")


def _checks(data: ReportData) -> str:
    if not data.checks:
        return ""
    ordered = sorted(data.checks, key=lambda c: _ORDER.index(c.status))
    rows = [
        (
            f'<span class="status">{_SIGN[c.status]} {STATUS_WORDS[c.status]}</span>',
            f"{_units(c.words or c.id)}{_reason(c)}<small>{' · '.join(escape(w) for w in (c.id, c.where, c.source) if w)}</small>",
            _measure(c.value, c.unit), _measure(c.limit, c.unit),
        )
        for c in ordered
    ]
    heads = ("Result", "What was found; its name, place and the source of the limit", "Value", "Limit")
    return _section("Checks", table(heads, rows, "checks", [c.status for c in ordered]), "checks")


def _reason(check: Check) -> str:
    return f'<span class="reason">Accepted all the same: {escape(check.overruled)}</span>' if check.overruled else ""


def _mechanics(data: ReportData) -> str:
    return "" if data.mechanics is None else _section("Mechanics", mechanics_html(data.mechanics), "mechanics")


def _measure(value: float | None, unit: str) -> str:
    return "–" if value is None else _units(measured(value, unit))


def _units(words: str) -> str:
    """Escaped, with mm2 and mm3 written as a reader expects them."""
    return re.sub(r"\bmm([23])\b", lambda m: f"mm{'²' if m[1] == '2' else '³'}", escape(words))


def _materials(data: ReportData) -> str:
    pairs = list(data.materials)
    if data.mass_g is not None:
        low, high = data.mass_g
        pairs.append(("Mass of the framework", f"{low:.1f} to {high:.1f} g" + (f" ({data.mass_basis})" if data.mass_basis else "")))
    return _section("Material", _pairs(pairs), "materials") if pairs else ""


def _cast(data: ReportData) -> str:
    body = ""
    if data.cast_questions:
        body += "<p><b>To be confirmed</b></p><ul>" + "".join(f"<li>{escape(q)}</li>" for q in data.cast_questions) + "</ul>"
    if data.cast_changes:
        body += "<p>Changed on reading the scan:</p><ul>" + "".join(f"<li>{escape(c)}</li>" for c in data.cast_changes) + "</ul>"
    if data.notes:
        body += f'<p>Notes of the case:</p><p class="notes">{escape(data.notes)}</p>'
    return _section("Cast and notes", body, "cast") if body else ""


def _signatures() -> str:
    places = ("Prescribed by (clinician)", "Design approved by (clinician)", "Made by (technician)")
    boxes = "".join(
        f"<div><b>{p}</b><span>Name</span><span>Date</span><span>Signature</span></div>" for p in places
    )
    return _section("Approval", f'<div class="signatures">{boxes}</div>', "approval")


def _record(data: ReportData) -> str:
    body = ""
    if data.stages:
        total = sum(seconds for _, seconds in data.stages)
        rows = [(escape(name), f"{seconds:.2f}") for name, seconds in data.stages] + [("<b>Together</b>", f"<b>{total:.2f}</b>")]
        body += table(("Stage", "Time, s"), rows, "numbers")
    pairs = [*data.versions.items(), *data.hashes.items()]
    if pairs:
        body += f'<div class="hashes">{_pairs(pairs)}</div>'
    return _section("Record", body, "record") if body else ""
