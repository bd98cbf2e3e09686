"""Clasps for a purpose: the ring for a leaning molar, wrought wire for a weak tooth, the extended arm, the back-action arm."""

from __future__ import annotations

from ..case import ToothEntry
from ..teeth.numbering import arch_of, is_molar
from .abutment import LEAST_ARM_MM, MOST_REACH_DEG, REACH_DEG, Abutment
from .option import BACK_ACTION, EXTENDED, RING, TIP_MARGIN_MM, WIRE, Option, Setting

WIRE_MM, WIRE_GAUGE_MM = 7.0, 0.5  # free wire and undercut (handbook, sections 2.1 and 2.2)
STRUT_SULCUS_MM = 5.0  # 3 to the margin and the strut's own width (handbook, section 2.3)
_TWO_ARMS_SHARE = 0.3


def ring(abutment: Abutment, setting: Setting, weak: bool) -> Option:
    """For a molar that leans into the space: its only good undercut lies beside the space, on the side it leans to.

    Cast arms come from the space and end far from it; this one goes round the far side and comes back to it.
    """
    lower = arch_of(abutment.tooth) == "lower"
    side, face = ("mesiolingual", "facial") if lower else ("mesiofacial", "lingual")
    found = abutment.sectors[side]
    rivals = max(abutment.sectors[s].undercut_mm for s in ("distofacial", "distolingual"))
    veto = [] if is_molar(abutment.tooth) else ["only for molars"]
    if setting.towards != "mesial":
        veto.append("only beside a space in front of it")
    if found.undercut_mm < abutment.gauge_mm:
        veto.append(f"no {abutment.gauge_mm:.2f} mm undercut {side}")
    if not setting.lattice:
        veto.append("no lattice beside it for its strut to come from")
    if setting.sulcus_mm is not None and setting.sulcus_mm < STRUT_SULCUS_MM:
        veto.append(f"sulcus of {setting.sulcus_mm:g} mm; its strut needs {STRUT_SULCUS_MM:g}")
    lone = rivals < abutment.gauge_mm
    good = [f"{found.undercut_mm:.2f} mm of undercut {side}"]
    if lone:
        good.append("the only undercut that serves: the tooth leans into the space")
        low = abutment.contour_share[face]
        if low < 0.5:
            good.append(f"its rigid half lies {face}, where the contour is low ({low:.0%} of the crown)")
    bad = ["long, needs an auxiliary rest and a strut", "covers much of the tooth"]
    points = 58.0 if lone else 20.0
    if weak:
        bad.append("stiff, on a weak tooth")
        points -= 20.0
    return Option(RING, "mesial", face, points, tuple(good), tuple(bad), tuple(veto))


def wire(abutment: Abutment, setting: Setting, entry: ToothEntry) -> Option:
    """The combination clasp: a wire that yields in all directions, with a cast arm against it."""
    weak = entry.weak
    place = abutment.arms[setting.towards, "facial"]
    sector = "mesiofacial" if setting.towards == "distal" else "distofacial"
    deep = abutment.sectors[sector].undercut_mm
    veto = [] if deep >= WIRE_GAUGE_MM else [f"no {WIRE_GAUGE_MM:.2f} mm undercut at the tip (deepest {deep:.2f})"]
    if place.length_mm < WIRE_MM:
        veto.append(f"only {place.length_mm:.1f} mm long; 7 to 8 are needed")
    if not setting.lattice:
        veto.append("no lattice beside it for the resin to hold the wire")
    good = [f"{deep:.2f} mm of undercut {sector}", "yields in all directions"]
    if setting.extension:
        good.append("lets the tooth go when the base sinks")
    if weak:
        good.append("spares a weak tooth")
    if not is_molar(abutment.tooth):
        good.append("a short tooth gives a cast arm too little length")
    points = 38.0 + (20.0 if setting.extension else 0.0) + (25.0 if weak else 0.0) + (0.0 if is_molar(abutment.tooth) else 4.0)
    return Option(
        WIRE, setting.towards, "facial", points, tuple(good), ("bends in use", "another work step: bent and held in the base"), tuple(veto)
    )


def extended(abutment: Abutment, face: str, setting: Setting, weak: bool) -> Option:
    """One arm over two teeth, where the tooth beside the space has no undercut and the next one has."""
    place, beyond = abutment.arms[setting.towards, face], setting.beyond
    veto = []
    if beyond is None:
        veto.append("no tooth stands next to it on the other side")
    else:
        far = beyond.arms[setting.towards, face]
        if far.gauge_share < _TWO_ARMS_SHARE:
            veto.append(f"no {beyond.gauge_mm:.2f} mm undercut {face} on {beyond.tooth} either")
        if beyond.tooth % 10 <= 2 or (beyond.tooth % 10 == 3 and face == "facial"):
            veto.append("not onto a front tooth")
        if far.tip_to_margin_mm < TIP_MARGIN_MM:
            veto.append(f"on {beyond.tooth} the tip would lie at the margin")
    good = [f"the undercut of {beyond.tooth} serves"] if beyond is not None else []
    bare = place.gauge_share < _TWO_ARMS_SHARE
    short = place.length_at(place.reach_for(REACH_DEG, MOST_REACH_DEG)) < LEAST_ARM_MM
    lone = bare or short
    if lone:
        good.append("the tooth itself has none where a tip would lie" if bare else "on the tooth alone a cast arm would be too short")
    bad = ["long and rigid over two teeth", "splints them"]
    points = 32.0 if lone else 5.0
    if setting.extension:
        bad.append("no stress release beside a free end")
        points -= 30.0
    if weak:
        good.append("splints a weak tooth to its neighbour")
    if face == "lingual":
        points -= 10.0
    return Option(EXTENDED, setting.towards, face, points, tuple(good), tuple(bad), tuple(veto))


def back_action(abutment: Abutment, setting: Setting, weak: bool) -> Option:
    """Starts at a minor connector away from the space, passes the space's side and ends in a facial undercut: rarely a good choice."""
    side = "mesiofacial" if setting.away == "mesial" else "distofacial"
    found = abutment.sectors[side].undercut_mm
    veto = [] if found >= abutment.gauge_mm else [f"no {abutment.gauge_mm:.2f} mm undercut {side}"]
    if abutment.tooth % 10 <= 3:
        veto.append("only for premolars and molars")
    bad = ["its rest next to the space is borne by the arm alone", "long: it bends and gathers food"]
    bad += ["stiff, on a weak tooth"] if weak else []
    points = 12.0 - (20.0 if weak else 0.0) - (10.0 if setting.extension else 0.0)
    return Option(BACK_ACTION, setting.away, "lingual", points, (f"{found:.2f} mm of undercut {side}",), tuple(bad), tuple(veto))
