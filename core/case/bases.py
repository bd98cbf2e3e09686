"""Retention of the bases, as a prescription asks for them. How they are written: `components.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .fields import option


@dataclass(frozen=True)
class LatticeBase:
    """Open base retention over one gap, lifted off the ridge so that resin goes round it, framed by two long struts on its slopes.

    form : lattice, cross struts between tooth positions, the strongest hold; mesh, a sheet with round holes, flatter and stiffer, which
        leaves more room to set teeth but holds less where its holes are small (handbook, section 5)
    teeth : missing teeth of the gap, any order
    stop : a tissue stop near the free end of an extension base
    cross_mm : width of the cross struts, or of the webs between the holes; hole_mm : 1.5 to 2 or more (Stewart's, from memory)
    """

    kind: ClassVar[str] = "lattice_base"
    id: str
    teeth: tuple[int, ...] = ()
    relief_mm: float = option(1.0, low=0.3, high=2)
    strut_mm: float = option(1.7, low=1, high=2.5)
    cross_mm: float = option(1.3, low=0.8, high=2)
    stop: bool = option(False)
    form: str = option("lattice", choices=("lattice", "mesh"))
    hole_mm: float = option(2.0, low=1, high=4)


@dataclass(frozen=True)
class BeadPlate:
    """Metal base of a short bounded gap: a plate on the ridge with beads and a post that hold the resin or the tooth.

    form : beads, or small posts with heads (nail heads) of the same size in their place, which hold taller resin

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
    form: str = option("beads", choices=("beads", "posts"))


BasePart = LatticeBase | BeadPlate
