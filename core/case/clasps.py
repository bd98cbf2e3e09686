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


ClaspPart = RetentiveArm | ReciprocalArm | IBar
