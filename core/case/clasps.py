"""Clasp arms, as a prescription asks for them. How they are written: `components.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .fields import FACES, PROXIMAL, fdi, option


@dataclass(frozen=True)
class RetentiveArm:
    """Cast retentive arm of a circumferential clasp; half-round, tapering to about half, its last third below the contour.

    `origin` is the proximal side it leaves from; the tip's gingival border lies at `gauge_mm` of undercut.
    """

    kind: ClassVar[str] = "retentive_arm"
    id: str
    tooth: int = fdi()
    origin: str = option("distal", choices=PROXIMAL)
    face: str = option("facial", choices=FACES)
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    base_width_mm: float = option(1.8, low=1, high=3)
    base_thickness_mm: float = option(1.0, low=0.5, high=2)
    taper: float = option(0.55, low=0.3, high=1)
    reach_deg: float = option(118.0, low=60, high=170)


@dataclass(frozen=True)
class ReciprocalArm:
    """Rigid arm at or above the height of contour, opposite a retentive arm; thicker, hardly tapered."""

    kind: ClassVar[str] = "reciprocal_arm"
    id: str
    tooth: int = fdi()
    origin: str = option("distal", choices=PROXIMAL)
    face: str = option("lingual", choices=FACES)
    width_mm: float = option(1.9, low=1, high=3)
    thickness_mm: float = option(1.2, low=0.5, high=2)
    taper: float = option(0.8, low=0.5, high=1)
    reach_deg: float = option(118.0, low=60, high=170)


@dataclass(frozen=True)
class IBar:
    """Bar clasp that comes from the base over the margin: tip strip about 2 mm high, its lower edge at the gauge.

    margin_mm : distance of the horizontal part from the gingival margin (3 mm; error under 2.5)
    """

    kind: ClassVar[str] = "i_bar"
    id: str
    tooth: int = fdi()
    base: str = option("")
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    margin_mm: float = option(3.2, low=2, high=6)
    at_deg: float = option(80.0, low=30, high=150)
    tip_width_mm: float = option(1.4, low=0.8, high=3)
    base_width_mm: float = option(2.2, low=1, high=4)
    base_thickness_mm: float = option(1.5, low=0.7, high=2.5)
    tip_thickness_mm: float = option(0.85, low=0.5, high=2)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class RingArm:
    """Arm that goes nearly round a tipped molar to the undercut beside the space it leans into, borne by a second rest and a strut.

    From a rest on `origin` over `face` and the far proximal side, where it joins the auxiliary rest, to a tip on the other face. A rigid
    strut comes to it from the base on `face`; without strut and second rest the arm would be far too springy (standard texts, from memory).

    base : id of the base that the strut comes from, "" for the one beside the tooth; strut_margin_mm : of the strut from the gingival
    margin (3 mm or more, handbook section 2.3); strut_at_deg : where on the face it meets the arm, from the mesial side round
    """

    kind: ClassVar[str] = "ring_arm"
    id: str
    tooth: int = fdi()
    origin: str = option("mesial", choices=PROXIMAL)
    face: str = option("facial", choices=FACES)
    base: str = option("")
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    base_width_mm: float = option(1.8, low=1, high=3)
    base_thickness_mm: float = option(1.1, low=0.5, high=2)
    taper: float = option(0.55, low=0.3, high=1)
    reach_deg: float = option(302.0, low=220, high=330)
    strut_margin_mm: float = option(3.2, low=1, high=6)
    strut_at_deg: float = option(105.0, low=40, high=150)
    strut_width_mm: float = option(2.2, low=1, high=4)
    strut_thickness_mm: float = option(1.5, low=0.7, high=2.5)


@dataclass(frozen=True)
class BackActionArm:
    """Arm that starts at a lingual minor connector, passes round the far proximal side and ends in a facial undercut.

    Its occlusal rest is borne by the arm alone, part-way: rarely a good choice (handbook, section 2.3).

    origin : proximal side of the minor connector; face : the one it passes first, the tip lies on the other
    """

    kind: ClassVar[str] = "back_action_arm"
    id: str
    tooth: int = fdi()
    origin: str = option("mesial", choices=PROXIMAL)
    face: str = option("lingual", choices=FACES)
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    base_width_mm: float = option(1.7, low=1, high=3)
    base_thickness_mm: float = option(1.0, low=0.5, high=2)
    taper: float = option(0.55, low=0.3, high=1)
    reach_deg: float = option(255.0, low=200, high=310)


@dataclass(frozen=True)
class ExtendedArm:
    """One arm over two teeth: rigid on the tooth beside the space, its tip in an undercut of the tooth behind or before it.

    tooth : beside the space, whose undercut does not serve; onto : the next tooth, which holds the tip
    """

    kind: ClassVar[str] = "extended_arm"
    id: str
    tooth: int = fdi()
    onto: int = fdi()
    face: str = option("facial", choices=FACES)
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    base_width_mm: float = option(1.8, low=1, high=3)
    base_thickness_mm: float = option(1.1, low=0.5, high=2)
    taper: float = option(0.55, low=0.3, high=1)
    reach_deg: float = option(85.0, low=50, high=130)


@dataclass(frozen=True)
class TBar:
    """Bar clasp whose head lies along the crown: a finger into the undercut beside the space, and for a full T one the other way.

    towards : side of the space, to which the retentive finger points; modified : half T, without the finger that does not hold
    at_deg : where the upright crosses the margin; head_deg : length of the retentive finger round the crown
    """

    kind: ClassVar[str] = "t_bar"
    id: str
    tooth: int = fdi()
    base: str = option("")
    towards: str = option("distal", choices=PROXIMAL)
    modified: bool = option(False)
    gauge_mm: float = option(0.25, low=0.1, high=0.75)
    margin_mm: float = option(3.2, low=2, high=6)
    at_deg: float = option(88.0, low=30, high=150)
    head_deg: float = option(38.0, low=20, high=70)
    head_width_mm: float = option(1.4, low=0.8, high=3)
    head_thickness_mm: float = option(0.8, low=0.5, high=2)
    base_width_mm: float = option(2.2, low=1, high=4)
    base_thickness_mm: float = option(1.5, low=0.7, high=2.5)
    relief_mm: float = option(0.25, low=0, high=1)


@dataclass(frozen=True)
class WireArm:
    """Retentive arm of round wrought wire, of one diameter from end to end, held in the base: the combination clasp with a cast reciprocal.

    Diameters of 18, 19 and 20 gauge are 1.024, 0.912 and 0.812 mm (American wire gauge formula); tip at 0.50 mm, 7 to 8 mm of free wire or
    more (handbook, section 2). origin : side of the base that it comes from; material : what the wire is drawn from
    """

    kind: ClassVar[str] = "wrought_arm"
    id: str
    tooth: int = fdi()
    base: str = option("")
    origin: str = option("distal", choices=PROXIMAL)
    face: str = option("facial", choices=FACES)
    gauge_mm: float = option(0.5, low=0.1, high=0.75)
    wire_gauge: int = option(18, choices=(18, 19, 20))
    material: str = option("")
    reach_deg: float = option(126.0, low=70, high=170)


ClaspPart = RetentiveArm | ReciprocalArm | IBar | RingArm | BackActionArm | ExtendedArm | TBar | WireArm
