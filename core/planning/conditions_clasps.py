"""Conditions about clasps for a purpose: ring, back-action, extended arm, wire, embrasure clasp. Each yields (parts concerned, detail)."""

from __future__ import annotations

from ..case import BackActionArm, ExtendedArm, LatticeBase, OcclusalRest, RetentiveArm, RingArm, TBar, WireArm
from ..teeth.numbering import is_molar, neighbours
from .conditions_support import Found
from .design import Design, tip_face


def ring_on_small_tooth(design: Design) -> Found:
    """A ring clasp on a premolar or a front tooth."""
    for arm in design.all(RingArm):
        if not is_molar(arm.tooth):
            yield (arm.id,), f"tooth {arm.tooth}"


def long_arm_without_second_rest(design: Design) -> Found:
    """A ring needs a rest on both sides of its tooth; a back-action arm carries one on the far side."""
    for ring in design.all(RingArm):
        sides = {r.side for r in design.on(ring.tooth, OcclusalRest)}
        lacking = sorted({"mesial", "distal"} - sides)
        if lacking:
            yield (ring.id,), f"tooth {ring.tooth}: no rest on its {' and '.join(lacking)} side"
    for arm in design.all(BackActionArm):
        far = "distal" if arm.origin == "mesial" else "mesial"
        if not any(r.side == far for r in design.on(arm.tooth, OcclusalRest)):
            yield (arm.id,), f"tooth {arm.tooth}: no rest on its {far} side"


def ring_strut_near_margin(design: Design) -> Found:
    """3 mm or more."""
    for arm in design.all(RingArm):
        if arm.strut_margin_mm < 3.0:
            yield (arm.id,), f"{arm.strut_margin_mm:g} mm"


def nothing_holds_strut_or_wire(design: Design) -> Found:
    """A ring's strut, a T-bar and a wire come from a lattice on their side of the mouth."""
    for arm in (a for a in design.arms if isinstance(a, RingArm | TBar | WireArm)):
        bases = [b for b in design.all(LatticeBase) if b.teeth and b.teeth[0] // 10 == arm.tooth // 10]
        if not bases:
            yield (arm.id,), f"no lattice on the side of {arm.tooth}"


def back_action_chosen(design: Design) -> Found:
    """Its rest is carried by a springy arm."""
    for arm in design.all(BackActionArm):
        yield (arm.id,), f"tooth {arm.tooth}"


def extended_arm_over_gap(design: Design) -> Found:
    """The two teeth must stand side by side."""
    for arm in design.all(ExtendedArm):
        if arm.onto not in neighbours(arm.tooth) or arm.onto not in design.standing:
            yield (arm.id,), f"{arm.onto} does not stand beside {arm.tooth}"


def wire_too_deep(design: Design) -> Found:
    """0.50 mm is usual, 0.75 with a long arm; deeper, another clasp is added instead."""
    for arm in design.all(WireArm):
        if arm.gauge_mm > 0.5 + 1e-9:
            yield (arm.id,), f"{arm.gauge_mm:g} mm on {arm.tooth}"


def tip_under_plate(design: Design) -> Found:
    """A U-shaped plate covers the lingual faces, and their undercuts with them."""
    for arm in design.arms:
        if design.plated(arm.tooth) and tip_face(arm) == "lingual":
            yield (arm.id,), f"tooth {arm.tooth}"


def embrasure_without_rest(design: Design) -> Found:
    """An arm that comes past a standing neighbour needs a rest beside it, or it wedges the two teeth apart."""
    for arm in design.all(RetentiveArm):
        beside = dict(zip(("mesial", "distal"), neighbours(arm.tooth), strict=True))[arm.origin]
        if beside in design.standing and not any(r.side == arm.origin for r in design.on(arm.tooth, OcclusalRest)):
            yield (arm.id,), f"tooth {arm.tooth}: no rest on its {arm.origin} side, where {beside} stands"


def embrasure_one_rest(design: Design) -> Found:
    """Two arms through one embrasure rest on both teeth, lest they part."""
    for arm in design.all(RetentiveArm):
        beside = dict(zip(("mesial", "distal"), neighbours(arm.tooth), strict=True))[arm.origin]
        if beside in design.standing and beside is not None:
            its = "mesial" if neighbours(beside)[0] == arm.tooth else "distal"
            partner = any(a.origin == its for a in design.on(beside, RetentiveArm))
            if partner and not any(r.side == its for r in design.on(beside, OcclusalRest)):
                yield (arm.id,), f"no rest on the {its} side of {beside}"
