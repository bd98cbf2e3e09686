"""What a prescription can ask for: one frozen dataclass a kind of component.

A component is stored in survey terms (tooth, side, gauge, distance from the margin), never as coordinates, so that it can
be built again on another path or another scan. Lengths in mm, angles in degrees. Defaults and their sources: the handbook's
sections 2 to 6, named beside each (standard texts from memory where no other source is given).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..errors import CaseError
from .fields import option, parse, unparse

PROXIMAL = ("mesial", "distal")
FACES = ("facial", "lingual")


def _fdi() -> Any:
    return option(low=11, high=48)


@dataclass(frozen=True)
class OcclusalRest:
    """Occlusal rest and its seat. Base 2.5 mm or more at the ridge; 1.0 to 1.5 mm deep (premolar enamel allows about 1.0)."""

    kind: ClassVar[str] = "occlusal_rest"
    id: str
    tooth: int = _fdi()
    side: str = option("mesial", choices=PROXIMAL)
    width_mm: float = option(2.6, low=1.5, high=5)
    length_mm: float = option(2.6, low=1.5, high=6)
    depth_mm: float = option(1.2, low=0.6, high=2)


@dataclass(frozen=True)
class CingulumRest:
    """Rest on a cingulum ledge at the junction of gingival and middle third; 2.5 to 3 mm wide, 1.0 mm deep or more."""

    kind: ClassVar[str] = "cingulum_rest"
    id: str
    tooth: int = _fdi()
    width_mm: float = option(2.8, low=1.5, high=5)
    depth_mm: float = option(1.0, low=0.5, high=2)


@dataclass(frozen=True)
class GuidePlate:
    """Plate on a guide surface beside a gap: about 1 mm thick, from the guide plane down to the gingiva-tissue junction."""

    kind: ClassVar[str] = "guide_plate"
    id: str
    tooth: int = _fdi()
    side: str = option("distal", choices=PROXIMAL)
    thickness_mm: float = option(1.0, low=0.5, high=2)
    plane_height_mm: float = option(2.5, low=1, high=5)
    width_deg: float = option(70.0, low=30, high=120)


@dataclass(frozen=True)
class RetentiveArm:
    """Cast retentive arm of a circumferential clasp; half-round, tapering to about half, its last third below the contour.

    `origin` is the proximal side it leaves from; the tip's gingival border lies at `gauge_mm` of undercut.
    """

    kind: ClassVar[str] = "retentive_arm"
    id: str
    tooth: int = _fdi()
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
    tooth: int = _fdi()
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
    tooth: int = _fdi()
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
class MinorConnector:
    """From a rest through the lingual embrasure to the major connector, at a right angle, relieved over the free margin."""

    kind: ClassVar[str] = "minor_connector"
    id: str
    tooth: int = _fdi()
    side: str = option("mesial", choices=("mesial", "distal", "lingual"))
    width_mm: float = option(2.6, low=1.5, high=5)
    thickness_mm: float = option(1.5, low=0.8, high=3)


@dataclass(frozen=True)
class LingualBar:
    """Half-pear bar, bulk below, 4 mm or more from the lingual margins, relieved, never beaded."""

    kind: ClassVar[str] = "lingual_bar"
    id: str
    start: int = _fdi()
    end: int = _fdi()
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
    start: int = _fdi()
    end: int = _fdi()
    width_mm: float = option(8.0, low=3, high=16)
    thickness_mm: float = option(1.2, low=0.6, high=2.5)
    rise_mm: float = option(0.8, low=0, high=3)
    relief_mm: float = option(0.25, low=0, high=1)


Component = (
    OcclusalRest
    | CingulumRest
    | GuidePlate
    | RetentiveArm
    | ReciprocalArm
    | IBar
    | MinorConnector
    | LingualBar
    | PalatalStraps
    | PalatalPlate
    | LatticeBase
    | BeadPlate
    | UShapedPlate
)
KINDS: dict[str, type] = {c.kind: c for c in Component.__args__}


def parse_component(data: Any, where: str) -> Component:
    """A component from its JSON object; `kind` chooses the class. Raises CaseError naming the field."""
    if not isinstance(data, dict):
        raise CaseError(f"{where}: an object is needed")
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise CaseError(f"{where}.kind: {str(kind)[:40]!r} is not one of {', '.join(sorted(KINDS))}")
    return parse(KINDS[kind], {k: v for k, v in data.items() if k != "kind"}, where)


def unparse_component(component: Component) -> dict[str, Any]:
    """The JSON object of a component."""
    return {"kind": component.kind, **unparse(component)}
