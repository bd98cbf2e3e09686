"""Which clasp fits an abutment: every kind with what speaks for and against it, ranked. The clinician decides.

Points are the project's own weights (common practice gives the order, no number); they only sort. What makes a clasp impossible on
the tooth is named in `vetoes`; what this release cannot yet build says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..case import ToothEntry
from ..charts import sector_of
from ..teeth.numbering import arch_of, is_anterior, is_molar
from .abutment import LESSER_MM, Abutment, ArmPlace

CIRCLET, REVERSE, I_BAR, RING, WIRE = "cast circumferential", "reverse circumferential", "I-bar", "ring with auxiliary rest", "wrought wire"
BUILDABLE = (CIRCLET, REVERSE, I_BAR)
_TIP_MARGIN_MM = 1.0
_BAR_SULCUS_MM = 5.0
_ROOM_MM = 2.3  # an arm 1.8 mm wide at its base and half a millimetre to the occlusal edge
_SHORT_MM = 10.0


@dataclass(frozen=True)
class Option:
    """kind; origin and face of the retentive arm; points, the higher the better; reasons in words; vetoes : why it cannot be"""

    kind: str
    origin: str
    face: str
    points: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    vetoes: tuple[str, ...] = ()

    @property
    def possible(self) -> bool:
        """Nothing forbids it on this tooth."""
        return not self.vetoes


@dataclass(frozen=True)
class Setting:
    """What the arch asks of an abutment: towards : proximal side of the space; extension : it bears a free end; sulcus_mm : None unknown

    lattice : the base beside it is a lattice, which a bar clasp can come from
    """

    towards: str
    extension: bool
    sulcus_mm: float | None
    lattice: bool = True


def clasp_options(abutment: Abutment, setting: Setting, entry: ToothEntry) -> tuple[Option, ...]:
    """All kinds, possible ones first, the best first among them."""
    away = "mesial" if setting.towards == "distal" else "distal"
    weak = entry.mobility >= 2 or entry.root_support == "poor"
    options = [_bar(abutment, setting, entry, weak)]
    for face in ("facial", "lingual"):
        options.append(_arm(CIRCLET, abutment, abutment.arms[setting.towards, face], setting, weak))
        options.append(_arm(REVERSE, abutment, abutment.arms[away, face], setting, weak))
    options += [_ring(abutment, setting, weak), _wire(abutment, abutment.arms[setting.towards, "facial"], setting, weak)]
    return tuple(sorted(options, key=lambda o: (not o.possible, -o.points)))


def _arm(kind: str, abutment: Abutment, place: ArmPlace, setting: Setting, weak: bool) -> Option:
    good, bad, veto = [], [], []
    points = 60.0 if kind == CIRCLET else 40.0
    if place.gauge_share < 0.3:
        veto.append(f"no 0.25 mm undercut where the tip would lie, {place.face} away from the {place.origin} side")
    else:
        good.append(f"0.25 mm is found {place.tip_to_margin_mm:.1f} mm above the margin at the tip")
        if place.tip_to_margin_mm < _TIP_MARGIN_MM:
            bad.append("the tip would lie close to the margin")
            points -= 15.0
    if place.room_mm < _ROOM_MM:
        bad.append(f"only {place.room_mm:.1f} mm of crown above the contour: {_ROOM_MM - place.room_mm:.1f} mm to recontour")
        points -= 12.0 * (_ROOM_MM - place.room_mm)
    if place.length_mm < _SHORT_MM:
        bad.append(f"the arm is short ({place.length_mm:.1f} mm): stiff, high stress")
        points -= 15.0
    elif place.length_mm >= 15.0:
        good.append(f"long arm ({place.length_mm:.0f} mm)")
        points += 5.0
    if setting.extension:
        bad.append("no stress release beside a free end" if kind == CIRCLET else "releases only while its rigid part keeps to the contour")
        points -= 35.0 if kind == CIRCLET else 10.0
    if weak:
        bad.append("stiff, on a weak tooth")
        points -= 30.0
    if is_anterior(abutment.tooth) and place.face == "facial":
        bad.append("shows")
        points -= 10.0
    if place.face == "lingual" and arch_of(abutment.tooth) == "upper":
        bad.append("lingual retention on an upper tooth is unusual")
        points -= 8.0
    if place.face == "lingual":
        points -= 10.0
    return Option(kind, place.origin, place.face, points, tuple(good), tuple(bad), tuple(veto))


def _bar(abutment: Abutment, setting: Setting, entry: ToothEntry, weak: bool) -> Option:
    good, bad, veto = [], [], []
    points = 45.0
    if not np.isfinite(abutment.bar_gauge_mm):
        veto.append(f"no {LESSER_MM:.2f} mm undercut on the facial face")
    else:
        if abutment.bar_depth_mm < 0.25:
            bad.append(f"only {abutment.bar_depth_mm:.2f} mm of undercut: bonded resin would make it deeper")
            points -= 10.0
        good.append(f"{abutment.bar_depth_mm:.2f} mm {_bar_words(abutment.bar_at_deg)}, {abutment.bar_gauge_mm:.1f} mm above the margin")
        if abutment.bar_gauge_mm < _TIP_MARGIN_MM:
            bad.append("the tip would lie close to the margin")
            points -= 15.0
    if not setting.lattice:
        veto.append("no lattice beside it for a bar to come from")
    if setting.sulcus_mm is not None and setting.sulcus_mm < _BAR_SULCUS_MM:
        veto.append(f"sulcus of {setting.sulcus_mm:g} mm; {_BAR_SULCUS_MM:g} are needed")
    elif setting.sulcus_mm is None:
        bad.append("sulcus depth is not charted")
        points -= 10.0
    if setting.extension:
        good.append("releases the tooth when the base sinks")
        points += 35.0
    if not is_molar(abutment.tooth) and abutment.crown_mm < 7.0:
        good.append("spares a short crown")
        points += 5.0
    if weak:
        bad.append("weak tooth")
        points -= 15.0
    return Option(I_BAR, "", "facial", points, tuple(good), tuple(bad), tuple(veto))


def _bar_words(at_deg: float) -> str:
    sector = sector_of(at_deg)
    return "mid-facially" if sector == "facial" else sector


def _ring(abutment: Abutment, setting: Setting, weak: bool) -> Option:
    """For a molar leaning into the space: its only good undercut lies next to the space, on the side it leans to."""
    side = "mesiolingual" if arch_of(abutment.tooth) == "lower" else "mesiofacial"
    found = abutment.sectors[side].undercut_mm
    rivals = max(abutment.sectors[s].undercut_mm for s in ("distofacial", "distolingual"))
    veto = [] if is_molar(abutment.tooth) else ["only for molars"]
    if found < 0.25:
        veto.append(f"no 0.25 mm undercut {side}")
    lone = rivals < 0.25
    good = [f"{found:.2f} mm of undercut {side}"] + (["the only undercut that serves"] if lone else [])
    return Option(
        RING, "mesial", "facial", 58.0 if lone else 20.0, tuple(good), ("long, needs an auxiliary rest and a strut",), tuple(veto)
    )


def _wire(abutment: Abutment, place: ArmPlace, setting: Setting, weak: bool) -> Option:
    deep = abutment.sectors["mesiofacial" if setting.towards == "distal" else "distofacial"].undercut_mm
    veto = [] if deep >= 0.5 else [f"no 0.50 mm undercut at the tip (deepest {deep:.2f})"]
    if place.length_mm < 7.0:
        veto.append(f"only {place.length_mm:.1f} mm long; 7 to 8 are needed")
    points = 40.0 + (20.0 if setting.extension else 0.0) + (25.0 if weak else 0.0)
    return Option(
        WIRE, setting.towards, "facial", points, ("yields in all directions",), ("bends in use", "another work step"), tuple(veto)
    )
