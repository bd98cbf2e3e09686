"""The report's section on mechanics: every figure with its range, what it assumes and where its limits come from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from ..mechanics.advice import Advice, in_range, wanted_pull
from ..mechanics.case import CaseMechanics
from ..mechanics.clasps import ClaspResult
from ..mechanics.levers import Lift
from ..mechanics.materials import BAR_FATIGUE_MPA, CYCLES_PER_YEAR, FATIGUE, MATERIALS
from ..mechanics.ranges import Range
from ..mechanics.retention import FRICTION, WANTED_SOURCE
from ..mesh import Floats
from .drawing import inline_image
from .plots import arm_stress_plot, balance_plot, force_travel_plot, round_up
from .tables import table


@dataclass(frozen=True, eq=False)
class MechanicsSheet:
    """What the section shows. margins : gingival margin (k, 3) of each tooth, mm; arch : "upper" or "lower".

    pictures : PNG bytes by clasp, of its arm with its stress as colour
    """

    found: CaseMechanics
    arch: str
    margins: Mapping[int, Floats] = field(default_factory=dict)
    pictures: Mapping[str, bytes] = field(default_factory=dict)


def mechanics_html(sheet: MechanicsSheet) -> str:
    """The inside of the section; empty when there is nothing to tell."""
    found = sheet.found
    parts = [
        "<p>Estimates with a wide band, for comparing designs and for finding what to look at; no promise of what a mouth will feel. "
        "Published bench tests of like clasps differ among each other by a factor of ten.</p>"
    ]
    if found.clasps:
        parts += [_clasps(found.clasps), _plots(sheet), _lives(found.clasps)]
    parts += [_advice(found), _levers(found), _connector(found), _material(found)]
    return "\n".join(p for p in parts if p)


def _band(value: Range, digits: str = ".1f") -> str:
    """likely, with the range below it."""
    return f"<b>{value.likely:{digits}}</b><small>{value.low:{digits}} to {value.high:{digits}}</small>"


def _clasps(clasps: Sequence[ClaspResult]) -> str:
    rows = []
    for c in clasps:
        used = c.stress.likely / c.allowable_mpa
        hold = "–" if c.reciprocation is None else f"{c.reciprocation.held_mm:.1f} of {c.reciprocation.flexing_mm:.1f}"
        rows.append((
            f"{c.tooth}<small>{escape(c.id)}</small>",
            f"{c.length_mm:.1f}<small>{c.bending_mm:.1f} free</small>",
            f"{c.planned_mm:.2f}<small>{c.reached_mm:.2f} reached</small>",
            _band(c.stiffness, ".0f"), _band(c.force), _band(c.peak),
            _band(c.stress, ".0f") + f"<small>{used:.0%} of {c.allowable_mpa:.0f}</small>",
            _band(c.set_mm, ".3f"),
            _band(c.allowable, ".2f") + f"<small>yields at {c.yields.low:.2f} to {c.yields.high:.2f}</small>", hold,
        ))  # fmt: skip
    heads = (
        "Tooth", "Length, mm", "Undercut, mm", "Stiffness, N/mm", "Force on tooth, N", "Pull to lift, N", "Stress, MPa", "Set, mm",
        "Allowable undercut, mm", "Rigid part bears, mm",
    )  # fmt: skip
    first = clasps[0]
    notes = (
        f"Bold: likely; below: range. Assumed: {escape(first.peak.assumption)}. Stress: bending and torsion with friction, higher "
        "on the inside of bends; notches and casting faults come on top; allowable: 0.6 of the likely proof stress, for "
        "cobalt-chromium at most 414 MPa (proportional limit behind the older tables of "
        "clasp flexibility). "
        f"Set: {escape(first.set_mm.assumption)}. The pull follows the tooth's own profile above each contact, measured on the scan; "
        f"friction {FRICTION.low:g} to {FRICTION.high:g} ({escape(FRICTION.assumption)}). Wanted: {escape(WANTED_SOURCE)}. "
        "Rigid part: travel over which the reciprocal arm or plate still touches, of the travel over which the tip is bent."
    )
    return table(heads, rows, "mech") + f'<p class="fine">{notes}</p>'


def _plots(sheet: MechanicsSheet) -> str:
    found = sheet.found
    top = round_up(max(float(c.pull.max()) for c in found.clasps))
    out = ['<h3>Pull over travel</h3><div class="figures">']
    for c in found.clasps:
        share = wanted_pull(sum(o.side == c.side for o in found.clasps))
        out.append(f"<figure>{force_travel_plot(c, share, top)}</figure>")
    out.append(
        '</div><p class="fine">Thick: likely; grey with dotted edges: the band of friction, alloy and making; hatched: the pull wanted of '
        "each clasp, its share of 3 to 7.5 N a side.</p>"
    )
    out.append('<h3>Stress on each arm</h3><div class="figures">')
    for c in found.clasps:
        if c.id in sheet.pictures:
            words = f"{c.id}: its metal on the tooth, coloured by stress"
            out.append(f'<figure class="half"><img alt="{escape(words)}" src="{inline_image(sheet.pictures[c.id])}"></figure>')
        out.append(f"<figure>{arm_stress_plot(c)}</figure>")
    out.append(
        '</div><p class="fine">At the moment of greatest stress while the arm is lifted. Pictures: the built metal, each cross-section in '
        "the colour of its greatest likely stress; beyond the allowable stress the colour turns from blue to brown; grey metal is not part "
        "of the beam. Plots: thick: likely; grey with dotted edges: band of friction, alloy and making.</p>"
    )
    out.append(f"<h3>Balance over the arch</h3><figure>{balance_plot(found, sheet.margins, sheet.arch)}</figure>")
    out.append(
        '<p class="fine">Seen from the occlusal side. Circles: likely peak pull of each clasp, by area. Below: sum of the peaks of each '
        "side; grey: range, thick: likely, framed: 3 to 7.5 N. Apart from the clasps, friction of the guide planes may hold: "
        f"right {found.hold[0]}, left {found.hold[1]} ({escape(found.hold[0].assumption)}).</p>"
    )
    return "\n".join(out)


def _lives(clasps: Sequence[ClaspResult]) -> str:
    by_words: dict[str, list[str]] = {}
    for c in clasps:
        by_words.setdefault(c.life.words, []).append(str(c.tooth))
    lines = "".join(f"<li>{', '.join(teeth)}: {escape(told)}</li>" for told, teeth in by_words.items())
    own = {c.material.name for c in clasps}
    rows = []
    for f in sorted(FATIGUE, key=lambda f: (f.material not in own, f.material, f.deflection_mm, -f.cycles)):
        name = escape(MATERIALS[f.material].label)
        angle = "–" if f.build_angle_deg is None else f"{f.build_angle_deg:g}°"
        rows.append((f"<b>{name}</b>" if f.material in own else name, angle, f"{f.deflection_mm:g}", f"{f.cycles:,.0f}", escape(f.until),
                     escape(f.source)))  # fmt: skip
    heads = ("Material", "Build angle", "Bent by, mm", "Bends", "Until", "Source")
    bars = ", ".join(f"{mpa:.0f} MPa at {angle:g}°" for angle, mpa in BAR_FATIGUE_MPA.items())
    notes = (
        "Bold: metals of this case. –: cast, no build angle. Means of single studies on arms of other sizes: an order, not a forecast. "
        f"Four insertions a day make about {CYCLES_PER_YEAR:.0f} bends a year (Alvarez et al. 2017)."
    )
    if "cocr_laser" in own:
        notes += f" Smooth bars of laser-melted Co-Cr-Mo bore 10 million loads of {bars} (Materials 2019;12:4039), in the opposite order."
    table_html = table(heads, rows, "mech lives") + f'<p class="fine">{notes}</p>'
    return f"<h3>Life of the arms</h3><p>Clasps in published bending tests:</p><ul>{lines}</ul>{table_html}"


def _advice(found: CaseMechanics) -> str:
    if not found.clasps:
        return ""
    wanting = [c for c in found.clasps if not in_range(c, sum(o.side == c.side for o in found.clasps))]
    if not wanting:
        return "<h3>Advice</h3><p>Every arm's likely pull and stress are in range.</p>"
    lines = "".join(f"<li><b>{escape(c.id)}</b>: {_advised([a for a in found.advice if a.component == c.id])}</li>" for c in wanting)
    head = "<h3>Advice</h3><p>Estimates of the changed arm; build again to confirm. The decision is the clinician's.</p>"
    return f"{head}<ul>{lines}</ul>"


def _advised(mine: Sequence[Advice]) -> str:
    good = [a for a in mine if a.good and a.changes]
    if good:
        lead = "this brings" if len(good) == 1 else "any one of these brings"
        return f"{lead} pull and stress into range: " + "; or ".join(escape(a.words) for a in good)
    nearer = "".join(f"nearest: {escape(a.words)}. " for a in mine if a.changes) or "none comes nearer than the arm as it is. "
    instead = "; ".join(escape(a.words) for a in mine if not a.changes) or "a longer arm or a bar clasp would be more flexible"
    return f"no change of undercut, measures or metal brings both into range; {nearer}Instead: {instead}"


def _hold(lift: Lift | None) -> str:
    return "–" if lift is None else _band(lift.holds_n, ".2f") + f"<small>at {lift.lever_mm:.0f} mm</small>"


def _levers(found: CaseMechanics) -> str:
    if not found.lifts and not found.sinkings:
        return ""
    rows = []
    for base, without, with_it in found.lifts:
        motion = next((s for s in found.sinkings if s.base == base), None)
        tips = "" if motion is None else "<br>".join(f"{escape(t.id)} {t.word} ({t.away_mm.likely:+.2f} mm)" for t in motion.tips)
        angle = "–" if motion is None else _band(motion.angle_deg)
        rows.append((escape(base), _hold(without), _hold(with_it), angle, tips))
    heads = ("Base", "Lift at which clasps let go, N", "With indirect retainer, N", "Turns when it sinks, degrees", "Each tip then")
    first = found.sinkings[0].angle_deg.assumption if found.sinkings else ""
    notes = "Rigid denture, turning about the most posterior rests; sticky food pulls with 1.7 to 12 N a tooth. "
    if any(with_it is None for _, _, with_it in found.lifts):
        notes += "–: no rest lies far enough beyond the line to act as an indirect retainer. "
    notes += f"Sinking: {escape(first)}."
    return "<h3>Levers of extension bases</h3>" + table(heads, rows, "mech") + f'<p class="fine">{notes}</p>'


def _connector(found: CaseMechanics) -> str:
    part = found.connector
    if part is None:
        return ""
    own = part.stiffness.ranges(found.material)
    rows = [("<b>as designed</b>", *(_band(r, ".0f") for r in own), "1")]
    for label, other in part.references:
        ratio = f"{other.lift / part.stiffness.lift:.2f}"
        rows.append((escape(label), f"{other.spread:.0f}", f"{other.lift:.0f}", f"{other.twist:.0f}", ratio))
    heads = ("Section, on the same line", "Spread, N/mm", "Shift up, N/mm", "Turn, N mm a degree", "Shift, relative")
    notes = (
        f"{escape(part.id)}, one side against the other: {escape(own[0].assumption)}, measured on the built solid; "
        "the other sections by the likely modulus. No limit of stiffness is agreed on; sections for comparison from tests (Ben-Ur "
        f"et al. 1989, 1999; Green and Hondrum 2003). Greatest stress {part.stress} (allowable {part.allowable_mpa:.0f}); the loaded side "
        f"sinks {part.sag_mm} farther than the other. Assumed: {escape(part.stress.assumption)}."
    )
    return "<h3>Major connector</h3>" + table(heads, rows, "mech") + f'<p class="fine">{notes}</p>'


def _material(found: CaseMechanics) -> str:
    m = found.material
    kind = "not a metal" if not m.metal else f"type {m.iso_22674_type('likely')}<small>{m.iso_22674_type()} by lowest figures</small>"
    rows = [(
        escape(m.label), _band(m.modulus, ".3g"), _band(m.proof, ".0f"), _band(m.elongation, ".3g"), _band(m.density, ".3g"), kind,
        escape(m.source),
    )]  # fmt: skip
    heads = ("Material", "Modulus, GPa", "0.2 % proof stress, MPa", "Elongation, %", "Density, g/cm³", "ISO 22674", "Source")
    return "<h3>Figures of the material</h3>" + table(heads, rows, "mech")
