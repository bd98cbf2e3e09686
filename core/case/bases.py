"""Retention of the bases, as a prescription asks for them. How they are written: `components.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .fields import option


@dataclass(frozen=True)
class LatticeBase:
    """Base retention over one gap: two long struts on the slopes of the ridge, cross struts between tooth positions.

    teeth : missing teeth of the gap, any order
    stop : a tissue stop near the free end of an extension base
    """

    kind: ClassVar[str] = "lattice_base"
    id: str
    teeth: tuple[int, ...] = ()
    relief_mm: float = option(1.0, low=0.3, high=2)
    strut_mm: float = option(1.7, low=1, high=2.5)
    cross_mm: float = option(1.3, low=0.8, high=2)
    stop: bool = option(False)


@dataclass(frozen=True)
class BeadPlate:
    """Metal base of a short bounded gap: a plate on the ridge with beads and a post that hold the resin or the tooth.

    It fills the whole gap from guide plate to guide plate, where a lattice has no room for an opening (standard texts, from memory:
    metal base and nail-head or bead retention for short spans). Beads 0.5 to 1 mm (handbook, section 5).

    teeth : missing teeth of the gap; relief_mm : 32 gauge, so that the metal does not rub on the free gingiva beside the abutments
    post_mm : height of the post in the middle over the plate; 0 for none, where the bite is close
    """

    kind: ClassVar[str] = "bead_plate"
    id: str
    teeth: tuple[int, ...] = ()
    thickness_mm: float = option(1.0, low=0.5, high=2)
    relief_mm: float = option(0.2, low=0, high=1)
    bead_mm: float = option(1.0, low=0.5, high=1.6)
    post_mm: float = option(2.0, low=0, high=5)


BasePart = LatticeBase | BeadPlate
