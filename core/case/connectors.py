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
class LingualPlate:
    """Bar below and a thin apron above it, over the gingiva to the cingula and, scalloped, to the contact points.

    Where the sulcus has no room for a bar (under 8 mm), for splinting, or where front teeth may be lost. Its border follows the
    cingula at or over the height of contour, stays in the middle third or below, and steps back under the margin where crowns stand
    apart, so that no metal shows (standard texts, from memory; handbook, section 4). Rests at both ends keep it up.

    start, end : the last teeth covered on either side; thickness_mm : of the apron (24 gauge, 0.51 mm, and finishing)
    border_mm : of its lower border under the gingival margins; it ends at the floor of the mouth where the sulcus is shallower
    rise_mm : of its upper border over the lingual height of contour; space_mm : crowns further apart than this get a step-back
    """

    kind: ClassVar[str] = "lingual_plate"
    id: str
    start: int = fdi()
    end: int = fdi()
    thickness_mm: float = option(0.7, low=0.4, high=1.5)
    border_mm: float = option(7.5, low=4, high=12)
    height_mm: float = option(4.1, low=2.5, high=6)
    bar_thickness_mm: float = option(2.1, low=1.4, high=3.5)
    rise_mm: float = option(0.8, low=0, high=3)
    space_mm: float = option(0.4, low=0.1, high=3)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class SublingualBar:
    """The half pear laid flat over the floor of the mouth, bulk to the tongue: for a shallow sulcus with a lingual undercut.

    About 2.2 mm high and 4 mm wide (from memory; handbook, section 4). border_mm : of its lower border under the margins; it ends at
    the floor of the mouth where that is higher
    """

    kind: ClassVar[str] = "sublingual_bar"
    id: str
    start: int = fdi()
    end: int = fdi()
    border_mm: float = option(8.0, low=5, high=14)
    height_mm: float = option(2.2, low=1.6, high=4)
    width_mm: float = option(4.0, low=2.5, high=6)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class ContinuousBar:
    """A band 3 mm high and 1 mm thick on or above the cingula (McCracken, from memory), with rests of its own at both ends."""

    kind: ClassVar[str] = "continuous_bar"
    id: str
    start: int = fdi()
    end: int = fdi()
    height_mm: float = option(3.0, low=1.5, high=5)
    thickness_mm: float = option(1.0, low=0.6, high=2)


@dataclass(frozen=True)
class LabialBar:
    """Half-pear bar on the facial side, 3 mm or more under the margins: for tori, or teeth that lean far to the tongue. Longer than a
    lingual bar, so thicker (standard texts, from memory; handbook, section 4)."""

    kind: ClassVar[str] = "labial_bar"
    id: str
    start: int = fdi()
    end: int = fdi()
    margin_mm: float = option(4.0, low=3, high=8)
    height_mm: float = option(4.1, low=2.5, high=6)
    thickness_mm: float = option(2.3, low=1.6, high=3.5)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class PalatalStraps:
    """Anteroposterior palatal straps: each 8 mm wide or more, opening 15 mm or more, borders 6 mm from the margins.

    bead_mm : depth of the beading on the tissue side along free borders, 0.5 to 1 mm (handbook, section 4); 0 for none. It fades out
        towards 6 mm from the margins, is shallower over the midline and stops beside bases. The cast is scored for it.
    """

    kind: ClassVar[str] = "palatal_straps"
    id: str
    anterior_width_mm: float = option(8.0, low=5, high=16)
    posterior_width_mm: float = option(8.0, low=5, high=16)
    side_width_mm: float = option(7.0, low=4, high=14)
    thickness_mm: float = option(0.9, low=0.4, high=2)
    margin_mm: float = option(6.0, low=3, high=10)
    bead_mm: float = option(0.0, low=0, high=1)


@dataclass(frozen=True)
class PalatalPlate:
    """Metal right across the palate: a single strap as wide as the parts it joins, or a complete plate up to the front teeth.

    Strap 8 mm wide or more; uniform 22 gauge (0.64 mm) in three planes, thicker where wide and flat; complete plates for few
    remaining teeth (standard texts, from memory; handbook, section 4).
    complete : forward to behind the front teeth; margin_mm : its borders keep this from the gingival margins
    bead_mm : as of straps
    """

    kind: ClassVar[str] = "palatal_plate"
    id: str
    complete: bool = option(False)
    thickness_mm: float = option(0.8, low=0.4, high=2)
    margin_mm: float = option(6.0, low=3, high=10)
    bead_mm: float = option(0.0, low=0, high=1)


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


ConnectorPart = LingualBar | LingualPlate | SublingualBar | ContinuousBar | LabialBar | PalatalStraps | PalatalPlate | UShapedPlate
LOWER_CONNECTORS = LingualBar | LingualPlate | SublingualBar | ContinuousBar | LabialBar
