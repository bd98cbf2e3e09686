"""Clasps that come over the gingival margin from a lattice: the I-bar, and the half T whose finger finds an undercut beside the space."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..case import ToothEntry
from ..charts import sector_of
from ..teeth.numbering import is_anterior, is_molar
from .abutment import LESSER_MM, Abutment
from .option import I_BAR, T_BAR, TIP_MARGIN_MM, Option, Setting

SULCUS_MM = 5.0  # 3 to the margin and 2 of bar (handbook, section 2.4)
TISSUE_MM = 1.0  # of undercut within 3 mm of the margin that a bar may cross (handbook, section 2.4)


def bar_options(abutment: Abutment, setting: Setting, entry: ToothEntry) -> Iterator[Option]:
    """The I-bar and the half T."""
    yield _i_bar(abutment, setting, entry)
    yield _half_t(abutment, setting, entry)


def _i_bar(abutment: Abutment, setting: Setting, entry: ToothEntry) -> Option:
    good, bad, veto = [], [], []
    points = 45.0
    if not np.isfinite(abutment.bar_gauge_mm):
        veto.append(f"no {LESSER_MM:.2f} mm undercut on the facial face")
    else:
        if abutment.bar_depth_mm < abutment.gauge_mm:
            bad.append(f"only {abutment.bar_depth_mm:.2f} mm of undercut: bonded resin would make it deeper")
            points -= 10.0
        good.append(f"{abutment.bar_depth_mm:.2f} mm {_bar_words(abutment.bar_at_deg)}, {abutment.bar_gauge_mm:.1f} mm above the margin")
        if abutment.bar_gauge_mm < TIP_MARGIN_MM:
            bad.append("the tip would lie close to the margin")
            points -= 15.0
    less, words, barred = _way(abutment, setting)
    points -= less
    if setting.extension:
        good.append("releases the tooth when the base sinks")
        points += 35.0
    more, told = _crown(abutment, setting, entry)
    return Option(I_BAR, "", "facial", points + more, (*good, *told[0]), (*bad, *words, *told[1]), (*veto, *barred))


def _half_t(abutment: Abutment, setting: Setting, entry: ToothEntry) -> Option:
    """Its finger lies beside the space; without a further tip on the other side it still lets go when a base behind it sinks."""
    side = "distofacial" if setting.towards == "distal" else "mesiofacial"
    found = abutment.sectors[side]
    veto = [] if found.undercut_mm >= abutment.gauge_mm else [f"no {abutment.gauge_mm:.2f} mm undercut {side}"]
    good = [f"{found.undercut_mm:.2f} mm of undercut {side}, beside the space"]
    bad = ["its head lies along the crown: more metal than a bar"]
    points = 30.0 + (30.0 if setting.extension else 0.0)
    if setting.extension:
        good.append("releases the tooth when the base sinks" if setting.towards == "distal" else "beside the free end")
    less, words, barred = _way(abutment, setting)
    more, told = _crown(abutment, setting, entry)
    return Option(T_BAR, setting.towards, "facial", points - less + more, (*good, *told[0]), (*bad, *words, *told[1]), (*veto, *barred))


def _way(abutment: Abutment, setting: Setting) -> tuple[float, list[str], list[str]]:
    """What the way over the margin says: points lost, words against, vetoes."""
    less, bad, veto = 0.0, [], []
    if not setting.lattice:
        veto.append("no lattice beside it for a bar to come from")
    if setting.sulcus_mm is not None and setting.sulcus_mm < SULCUS_MM:
        veto.append(f"sulcus of {setting.sulcus_mm:g} mm; {SULCUS_MM:g} are needed")
    elif setting.sulcus_mm is None:
        bad.append("sulcus depth is not charted")
        less += 10.0
    if setting.frenum:
        bad.append("a frenum is charted in its way")
        less += 20.0
    if abutment.tissue_mm > TISSUE_MM:
        bad.append(f"the tissue under its way lies {abutment.tissue_mm:.1f} mm in undercut; {TISSUE_MM:g} is the most that is taught")
        less += 25.0
    return less, bad, veto


def _crown(abutment: Abutment, setting: Setting, entry: ToothEntry) -> tuple[float, tuple[list[str], list[str]]]:
    """What the crown and its looks say: points won, words for and against."""
    more, good, bad = 0.0, [], []
    crown = abutment.crown_mm if entry.crown_length_mm is None else entry.crown_length_mm
    if not is_molar(abutment.tooth) and crown < 7.0:
        good.append("spares a short crown")
        more += 5.0
    if setting.shows or is_anterior(abutment.tooth):
        good.append("shows less than an arm")
        more += 5.0 if setting.shows else 0.0
    if entry.weak:
        bad.append("weak tooth")
        more -= 15.0
    return more, (good, bad)


def _bar_words(at_deg: float) -> str:
    sector = sector_of(at_deg)
    return "mid-facially" if sector == "facial" else sector
