"""Conditions about retention, reciprocation, connectors and path. Each yields (parts concerned, detail)."""

from __future__ import annotations

from ..case import IBar, LingualBar, PalatalPlate, PalatalStraps, ReciprocalArm, RetentiveArm, TBar, UShapedPlate, WireArm
from ..case.connectors import LOWER_CONNECTORS
from ..teeth.numbering import is_molar, position, side
from .conditions_support import Found
from .design import Design, tip_face


def _outer(design: Design) -> list[RetentiveArm | WireArm]:
    """Arms over one face, from a shoulder or from the base."""
    return [a for a in design.arms if isinstance(a, RetentiveArm | WireArm)]


def _bars(design: Design) -> list[IBar | TBar]:
    return [a for a in design.arms if isinstance(a, IBar | TBar)]


def arm_without_reciprocation(design: Design) -> Found:
    """A flexing arm pushes the tooth unless something rigid stands against it."""
    for arm in design.arms:
        if arm.tooth in design.standing and not design.braced(arm.tooth):
            yield (arm.id,), f"tooth {arm.tooth}: nothing rigid stands against it"


def arms_on_one_face(design: Design) -> Found:
    """Retentive and reciprocal arm on the same face of a tooth."""
    for arm in _outer(design):
        same = [r.id for r in design.on(arm.tooth, ReciprocalArm) if r.face == arm.face]
        if same:
            yield (arm.id, *same), f"both on the {arm.face} face of {arm.tooth}"


def encirclement_short(design: Design) -> Found:
    """Arms and rest together must hold more than half of the tooth. A rest's corner bridges about 40 degrees between two arms."""
    for arm in _outer(design):
        for other in design.on(arm.tooth, ReciprocalArm):
            if arm.reach_deg + other.reach_deg + 40.0 < 200.0:
                yield (arm.id, other.id), f"about {arm.reach_deg + other.reach_deg + 40.0:.0f} degrees of {arm.tooth}"


def clasps_few(design: Design) -> Found:
    """Class I 2, II 3, III 4 (2 for one short space), IV 4."""
    made = design.classification
    short = len(made.spaces) == 1 and len(made.spaces[0].teeth) <= 3
    wanted = {"I": 2, "II": 3, "III": 2 if short else 4, "IV": 2 if short else 4}.get(made.kennedy, 0)
    if len(design.clasped) < min(wanted, len(design.standing)):
        yield (), f"{len(design.clasped)} clasped teeth; {wanted} are usual for class {made.kennedy}"


def clasps_on_one_side(design: Design) -> Found:
    """All retention on one side."""
    sides = {side(t) for t in design.clasped}
    if len(design.clasped) >= 2 and len(sides) == 1 and {side(t) for t in design.standing} == {-1, 1}:
        yield tuple(c.id for c in design.arms), "all clasps on one side"


def retention_of_unlike_faces(design: Design) -> Found:
    """Facial retention on one side wants facial retention on the other."""
    faces: dict[int, set[str]] = {-1: set(), 1: set()}
    for arm in design.arms:
        faces[side(arm.tooth)].add(tip_face(arm))
    if faces[-1] and faces[1] and not faces[-1] & faces[1]:
        yield (), "retention is facial on one side and lingual on the other"


def gauge_deep_for_cast_alloy(design: Design) -> Found:
    """Cast or printed cobalt-chromium: 0.25 mm; a long molar arm bears 0.35, a bar 0.50 in some schools."""
    if "cobalt" not in design.case.manufacture.alloy:
        return
    for arm in design.arms:
        if isinstance(arm, WireArm):
            continue  # its own metal bends: wire.length asks of it
        limit = 0.5 if isinstance(arm, IBar | TBar) else 0.35 if is_molar(arm.tooth) else 0.3
        if arm.gauge_mm > limit + 1e-9:
            yield (arm.id,), f"{arm.gauge_mm:g} mm on {arm.tooth}, {limit:g} at most"


def gauge_too_shallow(design: Design) -> Found:
    """A depth that scan noise and finishing eat up."""
    for arm in design.arms:
        if arm.gauge_mm < 0.15:
            yield (arm.id,), f"{arm.gauge_mm:g} mm"


def stiff_arm_beside_free_end(design: Design) -> Found:
    """A cast arm from the space side reaches in front of the fulcrum and levers the abutment when the base sinks."""
    for arm in design.all(RetentiveArm):
        if arm.tooth in design.extension_abutments and arm.origin in design.towards_space(arm.tooth):
            yield (arm.id,), f"tooth {arm.tooth}"


def clasp_on_weak_tooth(design: Design) -> Found:
    """A cast clasp on a loose tooth or one with poor root support."""
    for entry in design.case.chart.teeth:
        if entry.weak and entry.fdi in design.clasped:
            parts = tuple(c.id for c in design.arms if c.tooth == entry.fdi and not isinstance(c, WireArm))
            if not parts:
                continue
            yield parts, f"tooth {entry.fdi}: {entry.support_words}"


def clasp_shows(design: Design) -> Found:
    """Facial metal on an incisor or canine."""
    for arm in design.arms:
        if tip_face(arm) == "facial" and position(arm.tooth) <= 3:
            yield (arm.id,), f"tooth {arm.tooth}"


def short_tooth_cast_arm(design: Design) -> Found:
    """Premolars and canines seldom give a cast cobalt-chromium arm its 15 mm."""
    for arm in design.all(RetentiveArm):
        if not is_molar(arm.tooth):
            yield (arm.id,), f"tooth {arm.tooth}"


def bar_clasp_sulcus(design: Design) -> Found:
    """A bar clasp needs 3 mm to the margin and 2 mm of bar. The chart holds the shallowest sulcus."""
    depth = design.case.chart.sulcus_mm
    bars = _bars(design)
    if bars and depth is not None and depth < 5.0:
        yield tuple(b.id for b in bars), f"charted sulcus {depth:g} mm"


def bar_clasp_near_margin(design: Design) -> Found:
    """3 mm; 2.5 at the least."""
    for bar in _bars(design):
        if bar.margin_mm < 3.0:
            yield (bar.id,), f"{bar.margin_mm:g} mm"


def lingual_bar_sulcus(design: Design) -> Found:
    """4 mm of bar and 3 to 4 mm to the margin."""
    depth = design.case.chart.sulcus_mm
    for bar in design.all(LingualBar):
        if depth is not None and depth < 8.0:
            yield (bar.id,), f"charted sulcus {depth:g} mm"


def lingual_bar_near_margin(design: Design) -> Found:
    """4 mm; 3 at the least."""
    for bar in design.all(LingualBar):
        if bar.margin_mm < 4.0:
            yield (bar.id,), f"{bar.margin_mm:g} mm"


def lingual_bar_slender(design: Design) -> Found:
    """4 to 5 mm high and 1.6 to 2 mm thick keep it from bending."""
    for bar in design.all(LingualBar):
        if bar.height_mm < 4.0 or bar.thickness_mm < 1.6:
            yield (bar.id,), f"{bar.height_mm:g} by {bar.thickness_mm:g} mm"


def lingual_bar_unrelieved(design: Design) -> Found:
    """Lower connectors never touch the tissue; more over extension bases."""
    least = 0.25 if any(s.extension for s in design.classification.spaces) else 0.2
    for bar in design.all(LingualBar):
        if bar.relief_mm < least:
            yield (bar.id,), f"{bar.relief_mm:g} mm, {least:g} wanted"


def straps_narrow(design: Design) -> Found:
    """8 mm each; an anterior strap of 6 is accepted by some."""
    for straps in design.all(PalatalStraps):
        if straps.posterior_width_mm < 8.0 or straps.anterior_width_mm < 6.0:
            yield (straps.id,), f"{straps.anterior_width_mm:g} in front, {straps.posterior_width_mm:g} behind"


def palate_near_margin(design: Design) -> Found:
    """6 mm; 5 at the least."""
    for part in design.connectors:
        if isinstance(part, PalatalStraps | PalatalPlate) and part.margin_mm < 6.0:
            yield (part.id,), f"{part.margin_mm:g} mm"


def palate_thin(design: Design) -> Found:
    """0.65 mm is the thinnest tested maxillary frame."""
    for part in design.connectors:
        if isinstance(part, PalatalStraps | PalatalPlate | UShapedPlate) and part.thickness_mm < 0.65:
            yield (part.id,), f"{part.thickness_mm:g} mm"


def u_shape(design: Design) -> Found:
    """The least rigid upper connector: bends sideways under load on one base."""
    for part in design.all(UShapedPlate):
        yield (part.id,), f"from {part.start} to {part.end}"


def single_strap_with_long_free_ends(design: Design) -> Found:
    """Behind a canine or first premolar on both sides a strap alone sinks: the whole palate should bear."""
    ends = [s for s in design.classification.spaces if s.extension]
    if design.arch == "upper" and len(ends) == 2 and all(position(t) <= 4 for s in ends for t in s.abutments):
        for part in design.connectors:
            if not (isinstance(part, PalatalPlate) and part.complete):
                yield (part.id,), f"last abutments {', '.join(str(t) for s in ends for t in s.abutments)}"


def connector_missing(design: Design) -> Found:
    """Bases on both sides and nothing between them."""
    if design.replaced and design.case.components and not design.connectors:
        yield (), "no major connector"


def connector_of_other_arch(design: Design) -> Found:
    """A bar in an upper, straps in a lower."""
    for part in design.connectors:
        if isinstance(part, LOWER_CONNECTORS) != (design.arch == "lower"):
            yield (part.id,), f"on the {design.arch} arch"


def connectors_many(design: Design) -> Found:
    """One major connector a framework."""
    parts = design.connectors
    if len(parts) > 1:
        yield tuple(p.id for p in parts), f"{len(parts)} of them"


def tilt_large(design: Design) -> Found:
    """Usual teaching stays within 10 degrees of the occlusal plane's normal."""
    path = design.case.path
    tilt = (path.anteroposterior_deg**2 + path.lateral_deg**2) ** 0.5
    if tilt > 10.0:
        yield (), f"{tilt:.0f} degrees"
