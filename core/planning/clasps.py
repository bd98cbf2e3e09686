"""Which clasp fits an abutment: every kind with what speaks for and against it, ranked. The clinician decides.

Points are the project's own weights (common practice gives the order, no number); they only sort. What makes a clasp impossible on
the tooth is named in `vetoes`. What the clasps are for and when they are avoided: handbook, section 2.3.
"""

from __future__ import annotations

from ..case import ToothEntry
from ..teeth.numbering import arch_of, is_anterior, is_molar
from .abutment import ARM_ROOM_MM, MOST_REACH_DEG, REACH_DEG, Abutment, ArmPlace, length_limit
from .clasps_bars import bar_options
from .clasps_long import back_action, extended, ring, wire
from .option import CIRCLET, REVERSE, SHORT_CROWN_MM, TIP_MARGIN_MM, Option, Setting

_SHORT_MM = 13.0
PAST_NEIGHBOUR_DEG = (106.0, 116.0)  # usual and most: such an arm begins 20 degrees later, and guide planes are 70 degrees wide
_ENAMEL_MM = 0.5  # what stripping takes of a surface (handbook, section 1)


def clasp_options(abutment: Abutment, setting: Setting, entry: ToothEntry) -> tuple[Option, ...]:
    """All kinds, possible ones first, the best first among them."""
    weak = entry.weak
    options = list(bar_options(abutment, setting, entry))
    for face in ("facial", "lingual"):
        options.append(_arm(CIRCLET, abutment, abutment.arms[setting.towards, face], setting, entry))
        options.append(_arm(REVERSE, abutment, abutment.arms[setting.away, face], setting, entry))
        options.append(extended(abutment, face, setting, weak))
    options += [ring(abutment, setting, weak), wire(abutment, setting, entry), back_action(abutment, setting, weak)]
    return tuple(sorted(options, key=lambda o: (not o.possible, -o.points)))


def _arm(kind: str, abutment: Abutment, place: ArmPlace, setting: Setting, entry: ToothEntry) -> Option:
    good, bad, veto = [], [], []
    points = 60.0 if kind == CIRCLET else 40.0
    weak = entry.weak
    if place.gauge_share < 0.3:
        veto.append(f"no {abutment.gauge_mm:.2f} mm undercut where the tip would lie, {place.face} away from the {place.origin} side")
    else:
        good.append(f"{abutment.gauge_mm:.2f} mm is found {place.tip_to_margin_mm:.1f} mm above the margin at the tip")
        if place.tip_to_margin_mm < TIP_MARGIN_MM:
            bad.append("the tip would lie close to the margin")
            points -= 15.0
    if kind == REVERSE and is_anterior(abutment.tooth):
        veto.append("an arm from the other side comes over an occlusal rest, which a front tooth cannot bear")
    less, words = _crown_says(abutment, place, entry)
    points -= less
    bad += words
    # From the other side the tip must stop short of the guide plane beside the space, which takes the undercut there away.
    reach = place.reach_for(REACH_DEG, MOST_REACH_DEG) if kind == CIRCLET else place.reach_for(*PAST_NEIGHBOUR_DEG)
    length = place.length_at(reach)
    cannot, at_limit = length_limit(length)
    if cannot:
        veto.append(cannot)
    elif at_limit:
        bad.append(at_limit)
        points -= 15.0
    elif length < _SHORT_MM:
        bad.append(f"the arm is short ({length:.1f} mm): stiff, high stress")
        points -= 5.0
    elif length >= 15.0:
        good.append(f"long arm ({length:.0f} mm)")
        points += 5.0
    if setting.extension:
        bad.append("no stress release beside a free end" if kind == CIRCLET else "releases only while its rigid part keeps to the contour")
        points -= 35.0 if kind == CIRCLET else 10.0
    if weak:
        bad.append("stiff, on a weak tooth")
        points -= 30.0
    elif is_molar(abutment.tooth) or entry.root_support == "good":
        good.append("strong root support")
    less, words = _face_says(abutment, place, setting)
    return Option(kind, place.origin, place.face, points - less, tuple(good), (*bad, *words), tuple(veto), reach)


def _crown_says(abutment: Abutment, place: ArmPlace, entry: ToothEntry) -> tuple[float, list[str]]:
    """Points lost to a crown that is short, high in contour or restored, with the words."""
    less, words = 0.0, []
    if place.room_mm < ARM_ROOM_MM:
        cut = f", {place.enamel_mm:.2f} mm of enamel" if place.enamel_mm > 0 else ""
        words.append(f"only {place.room_mm:.1f} mm of crown above the contour: {ARM_ROOM_MM - place.room_mm:.1f} mm to recontour{cut}")
        less += 12.0 * (ARM_ROOM_MM - place.room_mm)
        if place.enamel_mm > _ENAMEL_MM:
            words.append(f"that is more than {_ENAMEL_MM:g} mm of enamel: weigh another clasp or a crown")
            less += 15.0
        if entry.restoration_material in ("ceramic", "metal-ceramic"):
            words.append("its crown is ceramic: recontouring it roughens or opens it")
            less += 10.0
    crown = abutment.crown_mm if entry.crown_length_mm is None else entry.crown_length_mm
    if crown < SHORT_CROWN_MM:
        words.append(f"the crown is short ({crown:.1f} mm)")
        less += 10.0
    return less, words


def _face_says(abutment: Abutment, place: ArmPlace, setting: Setting) -> tuple[float, list[str]]:
    """Points lost to looks and to an unusual face, with the words."""
    less, words = 0.0, []
    if place.face == "facial" and (setting.shows or is_anterior(abutment.tooth)):
        words.append("shows" + (", and the chart asks for looks there" if setting.shows else ""))
        less += 20.0 if setting.shows else 10.0
    if place.face == "lingual":
        if arch_of(abutment.tooth) == "upper":
            words.append("lingual retention on an upper tooth is unusual")
            less += 8.0
        less += 10.0
    return less, words
