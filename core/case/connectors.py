"""Major connectors, as a prescription asks for them. How they are written: `components.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .fields import fdi, option


@dataclass(frozen=True)
class LingualBar:
    """Half-pear bar, bulk below, 4 mm or more from the lingual margins, relieved, never beaded."""

    kind: ClassVar[str] = "lingual_bar"
    id: str
    start: int = fdi()
    end: int = fdi()
    margin_mm: float = option(4.0, low=2.5, high=8)
    height_mm: float = option(4.1, low=2.5, high=6)
    thickness_mm: float = option(2.1, low=1.4, high=3.5)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class PalatalStraps:
    """Anteroposterior palatal straps: each 8 mm wide or more, opening 15 mm or more, borders 6 mm from the margins."""

    kind: ClassVar[str] = "palatal_straps"
    id: str
    anterior_width_mm: float = option(8.0, low=5, high=16)
    posterior_width_mm: float = option(8.0, low=5, high=16)
    side_width_mm: float = option(7.0, low=4, high=14)
    thickness_mm: float = option(0.9, low=0.4, high=2)
    margin_mm: float = option(6.0, low=3, high=10)


@dataclass(frozen=True)
class PalatalPlate:
    """Metal right across the palate: a single strap as wide as the parts it joins, or a complete plate up to the front teeth.

    Strap 8 mm wide or more; uniform 22 gauge (0.64 mm) in three planes, thicker where wide and flat; complete plates for few
    remaining teeth (standard texts, from memory; handbook, section 4).
    complete : forward to behind the front teeth; margin_mm : its borders keep this from the gingival margins
    """

    kind: ClassVar[str] = "palatal_plate"
    id: str
    complete: bool = option(False)
    thickness_mm: float = option(0.8, low=0.4, high=2)
    margin_mm: float = option(6.0, low=3, high=10)


@dataclass(frozen=True)
class UShapedPlate:
    """U-shaped palatal connector that lies on the lingual faces of the teeth and the tissue beside them.

    Borders of an upper connector keep 6 mm from the gingival margins or lie on the teeth (handbook, section 4): this one does the
    second. The least rigid form; for tori, or where no more of the palate can be used.

    start, end : the last teeth covered on either side; width_mm : from the gingival margins along the tissue
    rise_mm : of its upper border over the lingual height of contour; relief_mm : over the free gingiva
    """

    kind: ClassVar[str] = "u_shaped_plate"
    id: str
    start: int = fdi()
    end: int = fdi()
    width_mm: float = option(8.0, low=3, high=16)
    thickness_mm: float = option(1.2, low=0.6, high=2.5)
    rise_mm: float = option(0.8, low=0, high=3)
    relief_mm: float = option(0.25, low=0, high=1)


ConnectorPart = LingualBar | PalatalStraps | PalatalPlate | UShapedPlate
