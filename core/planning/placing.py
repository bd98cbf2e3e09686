"""From a chosen option to the parts that make the clasp: the arm, what stands against it, the rests and struts that it needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ..case import (
    BackActionArm,
    Component,
    ExtendedArm,
    IBar,
    LatticeBase,
    MinorConnector,
    OcclusalRest,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    TBar,
    WireArm,
)
from ..teeth.numbering import is_molar, neighbours
from .abutment import REACH_DEG, Abutment
from .design import Design
from .option import BACK_ACTION, CIRCLET, EXTENDED, I_BAR, REVERSE, RING, T_BAR, WIRE, Option

Placed = tuple[Component, str]
AGAINST = "stands against the retentive arm, at or above the contour"
# Half-round arms of premolars and front teeth are slighter than those of molars (pattern practice; handbook, section 2.2).
SLIGHT_ARM = (1.5, 0.9)


def lattice_beside(design: Design, tooth: int, bases: tuple[Component, ...]) -> str:
    """Id of the lattice over a space beside the tooth, "" where there is none."""
    spaces = [s for s in design.classification.spaces if tooth in s.abutments]
    return next((b.id for b in bases if isinstance(b, LatticeBase) and any(set(s.teeth) & set(b.teeth) for s in spaces)), "")


def seat_depth(tooth: int) -> float:
    """Depth of an occlusal rest's seat, mm: less on a premolar, to spare its enamel."""
    return 1.3 if is_molar(tooth) else 1.0


def clasp_parts(design: Design, tooth: int, option: Option, place: Abutment, base: str, towards: str) -> Iterator[Placed]:
    """The parts of a clasp, the arm first, each with its reason. design : of the chart; base : id of the lattice beside the tooth

    towards : proximal side of the space
    """
    why = f"{option.kind}: " + "; ".join(option.speaks_for)
    if option.speaks_against:
        why += ". Against it: " + "; ".join(option.speaks_against)
    extension = tooth in design.extension_abutments
    if option.kind in (I_BAR, T_BAR):
        yield _bar(tooth, option, place, base), why
        if not extension:
            yield ReciprocalArm(f"reciprocal arm {tooth}", tooth, towards), "stands against the bar, at or above the contour"
    elif option.kind == WIRE:
        yield WireArm(f"wire {tooth}", tooth, base, towards), why
        yield ReciprocalArm(f"reciprocal arm {tooth}", tooth, towards), AGAINST
    elif option.kind == RING:
        yield RingArm(f"ring arm {tooth}", tooth, option.origin, option.face, base, gauge_mm=place.gauge_mm), why
        yield from _rests(tooth, ("mesial", "distal"), "carries the ring round the far side; without it the arm would be far too springy")
    elif option.kind == BACK_ACTION:
        yield BackActionArm(f"back-action arm {tooth}", tooth, option.origin, option.face, place.gauge_mm), why
        yield from _rests(tooth, (option.origin,), "the arm starts here")
        yield MinorConnector(f"minor connector {tooth} {option.origin}", tooth, option.origin), "the arm starts at it"
    elif option.kind == EXTENDED:
        mesial, distal = neighbours(tooth)
        onto = (distal if towards == "mesial" else mesial) or 0
        yield ExtendedArm(f"extended arm {tooth}", tooth, onto, option.face, place.gauge_mm), why
        yield ReciprocalArm(f"reciprocal arm {tooth}", tooth, towards, other_face(option.face)), AGAINST
    else:
        yield from _arm(tooth, option, place, why)


def _bar(tooth: int, option: Option, place: Abutment, base: str) -> Component:
    if option.kind == I_BAR:
        return IBar(f"I-bar {tooth}", tooth, base, gauge_mm=place.bar_depth_mm, at_deg=place.bar_at_deg)
    return TBar(f"T-bar {tooth}", tooth, base, option.origin, True, place.gauge_mm)


def _arm(tooth: int, option: Option, place: Abutment, why: str) -> Iterator[Placed]:
    assert option.kind in (CIRCLET, REVERSE)
    yield cast_arm(tooth, option.origin, option.face, place.gauge_mm, option.reach_deg), why
    yield ReciprocalArm(f"reciprocal arm {tooth}", tooth, option.origin, other_face(option.face)), AGAINST
    if option.kind == REVERSE:
        yield from _rests(tooth, (option.origin,), "the arm comes through the embrasure from it")
        yield MinorConnector(f"minor connector {tooth} {option.origin}", tooth, option.origin), "joins arm and rest to the major connector"


def cast_arm(tooth: int, origin: str, face: str, gauge_mm: float, reach_deg: float = REACH_DEG) -> RetentiveArm:
    """A cast arm, slighter on a tooth that is no molar."""
    name = f"retentive arm {tooth}"
    if is_molar(tooth):
        return RetentiveArm(name, tooth, origin, face, gauge_mm, reach_deg=reach_deg)
    return RetentiveArm(name, tooth, origin, face, gauge_mm, *SLIGHT_ARM, reach_deg=reach_deg)


def slighter(part: Component) -> Component:
    """A cast arm or bar clasp at the lower end of the usual sizes, which bends more easily; any other part as it is."""
    if isinstance(part, RetentiveArm):
        width, thickness = (1.6, 0.8) if is_molar(part.tooth) else (1.3, 0.7)
    elif isinstance(part, IBar | TBar):
        width, thickness = 1.8, 1.2
    elif isinstance(part, RingArm | BackActionArm | ExtendedArm):
        width, thickness = 1.6, 0.9
    else:
        return part
    return replace(part, base_width_mm=width, base_thickness_mm=thickness)


def _rests(tooth: int, sides: tuple[str, ...], why: str) -> Iterator[Placed]:
    for side in sides:
        yield OcclusalRest(f"rest {tooth} {side}", tooth, side, depth_mm=seat_depth(tooth)), why


def other_face(face: str) -> str:
    """Facial for lingual and the reverse."""
    return "lingual" if face == "facial" else "facial"
