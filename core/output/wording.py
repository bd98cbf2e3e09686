"""Components of a case in a technician's words: what it is, on which tooth, and its measures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

from ..case import (
    BackActionArm,
    BeadPlate,
    CingulumRest,
    ContinuousBar,
    ExtendedArm,
    GuidePlate,
    IBar,
    IncisalRest,
    LabialBar,
    LatticeBase,
    LingualBar,
    LingualPlate,
    MinorConnector,
    OcclusalRest,
    PalatalPlate,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    SublingualBar,
    TBar,
    UShapedPlate,
    WireArm,
)

_WIRE_MM = {18: 1.024, 19: 0.912, 20: 0.812}  # American wire gauge formula
_INCH_CUSTOM = {0.25: "0.010 in", 0.5: "0.020 in", 0.75: "0.030 in"}


@dataclass(frozen=True)
class ComponentRow:
    """A line of the report's table of parts. tooth: FDI number or numbers; part: its name; words: where and how; measures: in mm."""

    tooth: str
    part: str
    words: str
    measures: str = ""


_ONE = {"bodies": "body", "edges": "edge", "pairs": "pair"}


def measured(value: float, unit: str) -> str:
    """A number with its unit as it is read: a share of the whole in per cent, one of a thing in the singular.

    What is under a thousandth is told so: no figure with a power of ten stands on a report.
    """
    if unit == "share":
        value, unit = 100.0 * value, "%"
    if 0.0 < value < 0.001:
        return f"under 0.001 {unit}".strip()
    digits = f"{value:.0f}" if float(value).is_integer() and abs(value) < 1e9 else f"{value:.3g}" if abs(value) < 100 else f"{value:.1f}"
    return f"{digits} {_ONE.get(unit, unit) if digits == '1' else unit}".strip()


def gauge_words(depth_mm: float) -> str:
    """A gauge in mm, with the trade's inch name where it has one."""
    inch = _INCH_CUSTOM.get(round(depth_mm, 3))
    return f"{depth_mm:.2f} mm ({inch})" if inch else f"{depth_mm:.2f} mm"


def tilt_parts(anteroposterior_deg: float, lateral_deg: float, arch: str | None) -> tuple[str, str]:
    """The two tilts of the cast on the surveying table in words: front to back, and side to side; "none" below 0.05 degrees.

    Schools use "anterior tilt" in opposite ways, so the lowered edge is named instead (handbook section 1, tilt words).
    """
    plus, minus = {"lower": ("patient's right", "patient's left"), "upper": ("patient's left", "patient's right")}.get(
        arch or "", ("+X", "-X")
    )
    ends = (("front", "back"), (f"{plus} side", f"{minus} side"))
    words = []
    for degrees, (lowered, other) in zip((anteroposterior_deg, lateral_deg), ends, strict=True):
        words.append("none" if abs(degrees) < 0.05 else f"{lowered if degrees > 0 else other} lowered {abs(degrees):.1f}°")
    return words[0], words[1]


def tilt_words(anteroposterior_deg: float, lateral_deg: float, arch: str | None) -> str:
    """The path of placement in one phrase."""
    named = [w for w in tilt_parts(anteroposterior_deg, lateral_deg, arch) if w != "none"]
    return "cast tilted: " + ", ".join(named) if named else "at right angles to the occlusal plane (no tilt)"


def component_rows(components: Sequence[Any]) -> tuple[ComponentRow, ...]:
    """Table rows in order of tooth, the connectors that cross the arch last."""
    rows = [(_order(c), i, describe(c)) for i, c in enumerate(components)]
    return tuple(row for _, _, row in sorted(rows, key=lambda r: r[:2]))


def describe(component: Any) -> ComponentRow:
    """One component in words. A kind without words of its own is listed by its fields, so that nothing is ever left out."""
    words = _WORDS.get(type(component))
    if words is not None:
        return words(component)
    named = [(f.name, getattr(component, f.name)) for f in fields(component) if f.name not in ("id", "tooth", "teeth")]
    text = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in named)
    teeth = getattr(component, "teeth", ()) or (getattr(component, "tooth", "whole arch"),)
    return ComponentRow(", ".join(str(t) for t in teeth), str(component.kind).replace("_", " ").capitalize(), text)


def _order(component: Any) -> tuple[int, int]:
    tooth = getattr(component, "tooth", None)
    teeth = getattr(component, "teeth", None)
    if tooth is None and teeth:
        return 1, int(min(teeth))
    return (0, int(tooth)) if tooth is not None else (2, 0)


def _occlusal_rest(c: OcclusalRest) -> ComponentRow:
    measures = f"seat {c.width_mm:.1f} × {c.length_mm:.1f}, {c.depth_mm:.1f} deep"
    part, words = {
        "short": ("Occlusal rest", f"{c.side} fossa"),
        "long": ("Long occlusal rest", f"from the {c.side} ridge past the middle of the crown"),
        "embrasure": ("Embrasure rest", f"{c.side} fossa, flared over the ridge; one of a pair"),
    }[c.form]
    return ComponentRow(str(c.tooth), part, words, measures)


def _cingulum_rest(c: CingulumRest) -> ComponentRow:
    if c.form == "ball":
        return ComponentRow(str(c.tooth), "Ball rest", "round seat on the cingulum", f"ball of {c.ball_mm:.1f}, {c.depth_mm:.1f} deep")
    return ComponentRow(str(c.tooth), "Cingulum rest", "ledge on the lingual side", f"seat {c.width_mm:.1f} wide, {c.depth_mm:.1f} deep")


def _incisal_rest(c: IncisalRest) -> ComponentRow:
    words = f"notch in the incisal edge, {c.inset_mm:.1f} from the {c.side} angle"
    return ComponentRow(str(c.tooth), "Incisal rest", words, f"seat {c.width_mm:.1f} wide, {c.depth_mm:.1f} deep")


def _guide_plate(c: GuidePlate) -> ComponentRow:
    return ComponentRow(
        str(c.tooth), "Guide plate", f"{c.side} side, on a guide plane", f"{c.thickness_mm:.1f} thick, plane {c.plane_height_mm:.1f} high"
    )


def _retentive_arm(c: RetentiveArm) -> ComponentRow:
    words = f"cast, half-round, on the {c.face} side, from the {c.origin} side; tip in {gauge_words(c.gauge_mm)} of undercut"
    return ComponentRow(str(c.tooth), "Retentive clasp arm", words, _tapered(c.base_width_mm, c.base_thickness_mm, c.taper))


def _reciprocal_arm(c: ReciprocalArm) -> ComponentRow:
    words = f"rigid, on the {c.face} side, from the {c.origin} side, at or above the height of contour"
    return ComponentRow(str(c.tooth), "Reciprocal clasp arm", words, _tapered(c.width_mm, c.thickness_mm, c.taper))


def _tapered(width: float, thickness: float, taper: float) -> str:
    return f"{width:.1f} × {thickness:.1f} tapering to {width * taper:.1f} × {thickness * taper:.1f}"


def _i_bar(c: IBar) -> ComponentRow:
    words = f"from the base across the gingival margin; tip in {gauge_words(c.gauge_mm)} of undercut"
    approach = f"approach arm {c.margin_mm:.1f} from the margin, relief {c.relief_mm:.2f}"
    base, tip = f"{c.base_width_mm:.1f} × {c.base_thickness_mm:.1f}", f"{c.tip_width_mm:.1f} × {c.tip_thickness_mm:.1f}"
    measures = f"{base} tapering to {tip}; {approach}"
    return ComponentRow(str(c.tooth), "I-bar", words, measures)


def _ring_arm(c: RingArm) -> ComponentRow:
    words = f"from the {c.origin} rest over the {c.face} face and round the tooth; tip in {gauge_words(c.gauge_mm)} of undercut"
    strut = f"strut {c.strut_width_mm:.1f} × {c.strut_thickness_mm:.1f}, {c.strut_margin_mm:.1f} from the margin"
    return ComponentRow(str(c.tooth), "Ring clasp", words, f"{_tapered(c.base_width_mm, c.base_thickness_mm, c.taper)}; {strut}")


def _back_action_arm(c: BackActionArm) -> ComponentRow:
    words = f"from the {c.origin} minor connector over the {c.face} face round the far side; tip in {gauge_words(c.gauge_mm)} of undercut"
    return ComponentRow(str(c.tooth), "Back-action clasp arm", words, _tapered(c.base_width_mm, c.base_thickness_mm, c.taper))


def _extended_arm(c: ExtendedArm) -> ComponentRow:
    words = f"{c.face}, rigid on {c.tooth}, flexible on {c.onto}; tip in {gauge_words(c.gauge_mm)} of undercut"
    return ComponentRow(f"{c.tooth}, {c.onto}", "Extended clasp arm", words, _tapered(c.base_width_mm, c.base_thickness_mm, c.taper))


def _t_bar(c: TBar) -> ComponentRow:
    words = f"from the base across the gingival margin; finger towards the {c.towards} side in {gauge_words(c.gauge_mm)} of undercut"
    measures = f"{c.base_width_mm:.1f} × {c.base_thickness_mm:.1f}, head {c.head_width_mm:.1f} × {c.head_thickness_mm:.1f}"
    approach = f"approach arm {c.margin_mm:.1f} from the margin, relief {c.relief_mm:.2f}"
    return ComponentRow(str(c.tooth), "Modified T-bar" if c.modified else "T-bar", words, f"{measures}; {approach}")


def _wire_arm(c: WireArm) -> ComponentRow:
    wire = f"round wire, {c.wire_gauge} gauge ({_WIRE_MM[c.wire_gauge]:.2f} mm)"
    words = f"{wire}, on the {c.face} side from the {c.origin} side, held in the base; tip in {gauge_words(c.gauge_mm)} of undercut"
    return ComponentRow(str(c.tooth), "Wrought-wire arm", words, "one diameter from end to end")


def _minor_connector(c: MinorConnector) -> ComponentRow:
    words = f"{c.side} side, from the rest to the major connector"
    relief = f", relief {c.relief_mm:.2f} over the gingival margin" if c.relief_mm > 0 else ""
    return ComponentRow(str(c.tooth), "Minor connector", words, f"{c.width_mm:.1f} wide, {c.thickness_mm:.1f} thick{relief}")


def _lingual_bar(c: LingualBar) -> ComponentRow:
    words = f"half-pear section, upper border {c.margin_mm:.1f} mm below the gingival margins"
    return ComponentRow(
        f"{c.start} to {c.end}", "Lingual bar", words, f"{c.height_mm:.1f} high, {c.thickness_mm:.1f} thick, relief {c.relief_mm:.2f}"
    )


def _lingual_plate(c: LingualPlate) -> ComponentRow:
    words = f"half-pear bar up to the cingula and contacts, scalloped; stepped back where crowns stand over {c.space_mm:.1f} mm apart"
    bar = f"bar {c.height_mm:.1f} high, {c.bar_thickness_mm:.1f} thick, its lower border {c.border_mm:.1f} under the margins"
    measures = f"{c.thickness_mm:.1f} thick, {c.rise_mm:.1f} over the contour; {bar}; relief {c.relief_mm:.2f}"
    return ComponentRow(f"{c.start} to {c.end}", "Lingual plate", words, measures)


def _sublingual_bar(c: SublingualBar) -> ComponentRow:
    words = f"half pear laid flat over the floor of the mouth, lower border {c.border_mm:.1f} mm under the margins or at the floor"
    measures = f"{c.height_mm:.1f} high, {c.width_mm:.1f} wide, relief {c.relief_mm:.2f}"
    return ComponentRow(f"{c.start} to {c.end}", "Sublingual bar", words, measures)


def _continuous_bar(c: ContinuousBar) -> ComponentRow:
    words = "band on the cingula, at or above the height of contour"
    return ComponentRow(f"{c.start} to {c.end}", "Continuous bar", words, f"{c.height_mm:.1f} high, {c.thickness_mm:.1f} thick")


def _labial_bar(c: LabialBar) -> ComponentRow:
    words = f"half-pear section on the facial side, upper border {c.margin_mm:.1f} mm below the gingival margins"
    return ComponentRow(
        f"{c.start} to {c.end}", "Labial bar", words, f"{c.height_mm:.1f} high, {c.thickness_mm:.1f} thick, relief {c.relief_mm:.2f}"
    )


def _palatal_straps(c: PalatalStraps) -> ComponentRow:
    words = f"front and back strap joined at the sides, borders {c.margin_mm:.1f} mm from the gingival margins"
    wide = f"front {c.anterior_width_mm:.1f}, back {c.posterior_width_mm:.1f}, sides {c.side_width_mm:.1f} wide"
    measures = f"{wide}; {c.thickness_mm:.1f} thick{_beading(c)}"
    return ComponentRow("whole arch", "Anteroposterior palatal straps", words, measures)


def _palatal_plate(c: PalatalPlate) -> ComponentRow:
    part = "Complete palatal plate" if c.complete else "Palatal strap"
    measures = f"{c.thickness_mm:.1f} thick{_beading(c)}"
    return ComponentRow("whole arch", part, f"borders {c.margin_mm:.1f} mm from the gingival margins", measures)


def _beading(c: PalatalStraps | PalatalPlate) -> str:
    return f"; beading {c.bead_mm:.1f} deep, scored into the cast" if c.bead_mm > 0 else ""


def _lattice_base(c: LatticeBase) -> ComponentRow:
    mesh = c.form == "mesh"
    what = "mesh with round holes" if mesh else "open lattice"
    words = f"{what} over the ridge, with finish lines" + (" and a tissue stop at the free end" if c.stop else "")
    between = f"holes {c.hole_mm:.1f}, webs {c.cross_mm:.1f}" if mesh else f"cross struts {c.cross_mm:.1f}"
    measures = f"long struts {c.strut_mm:.1f}, {between}, relief {c.relief_mm:.1f}"
    return ComponentRow(", ".join(str(t) for t in sorted(c.teeth)), "Mesh base" if mesh else "Lattice base", words, measures)


def _bead_plate(c: BeadPlate) -> ComponentRow:
    beads = c.form == "beads"
    hold = "beads" if beads else "small posts"
    words = f"metal base on the ridge from guide plate to guide plate, with {hold}" + (" and a post" if c.post_mm else "")
    post = f", post {c.post_mm:.1f} high" if c.post_mm else ""
    measures = f"{c.thickness_mm:.1f} thick, relief {c.relief_mm:.2f}, {hold} {c.bead_mm:.1f}{post}"
    return ComponentRow(", ".join(str(t) for t in sorted(c.teeth)), "Bead plate" if beads else "Metal base with posts", words, measures)


def _u_shaped_plate(c: UShapedPlate) -> ComponentRow:
    words = "on the lingual faces of the teeth and the tissue beside them, relieved over the free gingiva"
    rise = f"its upper border {c.rise_mm:.1f} over the height of contour"
    measures = f"to {c.width_mm:.1f} from the margins, {rise}, {c.thickness_mm:.1f} thick, relief {c.relief_mm:.2f}"
    return ComponentRow(f"{c.start} to {c.end}", "U-shaped palatal connector", words, measures)


_WORDS: dict[type, Callable[[Any], ComponentRow]] = {
    OcclusalRest: _occlusal_rest, CingulumRest: _cingulum_rest, IncisalRest: _incisal_rest, GuidePlate: _guide_plate,
    RetentiveArm: _retentive_arm, ReciprocalArm: _reciprocal_arm, IBar: _i_bar,
    MinorConnector: _minor_connector, LingualBar: _lingual_bar, LingualPlate: _lingual_plate,
    SublingualBar: _sublingual_bar, ContinuousBar: _continuous_bar, LabialBar: _labial_bar,
    PalatalStraps: _palatal_straps, PalatalPlate: _palatal_plate, UShapedPlate: _u_shaped_plate, LatticeBase: _lattice_base,
    BeadPlate: _bead_plate,
    RingArm: _ring_arm, BackActionArm: _back_action_arm, ExtendedArm: _extended_arm, TBar: _t_bar, WireArm: _wire_arm,
}
