"""Rests, guide plates and minor connectors, as a prescription asks for them. How they are written: `components.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .fields import PROXIMAL, fdi, option


@dataclass(frozen=True)
class OcclusalRest:
    """Occlusal rest and its seat. Base 2.5 mm or more at the ridge; 1.0 to 1.5 mm deep (premolar enamel allows about 1.0).

    form : short, a rounded triangle in its fossa; long, a channel that runs past the middle of the crown, for leaning or weak molars
        (standard texts, from memory); embrasure, one of a pair on two neighbours, flared over the ridges so that arms pass beside it
    length_mm : of a long one at the least: it always runs past the middle of the crown
    """

    kind: ClassVar[str] = "occlusal_rest"
    id: str
    tooth: int = fdi()
    side: str = option("mesial", choices=PROXIMAL)
    width_mm: float = option(2.6, low=1.5, high=5)
    length_mm: float = option(2.6, low=1.5, high=8)
    depth_mm: float = option(1.2, low=0.6, high=2)
    form: str = option("short", choices=("short", "long", "embrasure"))


@dataclass(frozen=True)
class CingulumRest:
    """Rest on a cingulum ledge at the junction of gingival and middle third; 2.5 to 3 mm wide, 1.0 mm deep or more.

    form : chevron, an inverted V, width_mm wide; ball, a round seat for a ball of ball_mm, 1.5 to 2 mm (Stewart's, from memory)
    """

    kind: ClassVar[str] = "cingulum_rest"
    id: str
    tooth: int = fdi()
    width_mm: float = option(2.8, low=1.5, high=5)
    depth_mm: float = option(1.0, low=0.5, high=2)
    form: str = option("chevron", choices=("chevron", "ball"))
    ball_mm: float = option(1.8, low=1.2, high=3)


@dataclass(frozen=True)
class IncisalRest:
    """Rest in a notch of the incisal edge, where no cingulum holds one: 2.5 mm wide, 1.5 mm deep, 1.5 to 2 mm from the proximal angle.

    Sizes: McCracken's, from memory (handbook, section 3).
    """

    kind: ClassVar[str] = "incisal_rest"
    id: str
    tooth: int = fdi()
    side: str = option("distal", choices=PROXIMAL)
    width_mm: float = option(2.5, low=1.5, high=4)
    depth_mm: float = option(1.5, low=0.7, high=2.5)
    inset_mm: float = option(1.75, low=1, high=4)


@dataclass(frozen=True)
class GuidePlate:
    """Plate on a guide surface beside a gap: about 1 mm thick, from the guide plane down to the gingiva-tissue junction."""

    kind: ClassVar[str] = "guide_plate"
    id: str
    tooth: int = fdi()
    side: str = option("distal", choices=PROXIMAL)
    thickness_mm: float = option(1.0, low=0.5, high=2)
    plane_height_mm: float = option(2.5, low=1, high=5)
    width_deg: float = option(70.0, low=30, high=120)


@dataclass(frozen=True)
class MinorConnector:
    """From a rest through the lingual embrasure to the major connector, at a right angle, relieved over the free margin.

    relief_mm : there; as much metal is put on outside, so that it does not thin the strut (30 gauge, handbook sections 5 and 6)
    """

    kind: ClassVar[str] = "minor_connector"
    id: str
    tooth: int = fdi()
    side: str = option("mesial", choices=("mesial", "distal", "lingual"))
    width_mm: float = option(2.6, low=1.5, high=5)
    thickness_mm: float = option(1.5, low=0.8, high=3)
    relief_mm: float = option(0.25, low=0, high=1)


AnyRest = OcclusalRest | CingulumRest | IncisalRest
RestPart = AnyRest | GuidePlate | MinorConnector
