"""Conditions about support: rests, guide plates, bases. Each yields (parts concerned, detail)."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import BeadPlate, CingulumRest, GuidePlate, IncisalRest, LatticeBase, OcclusalRest
from ..components.rests import partner_side
from ..teeth.numbering import is_anterior, is_molar, position
from .design import Design
from .support import levers

Found = Iterator[tuple[tuple[str, ...], str]]


def part_on_absent_tooth(design: Design) -> Found:
    """A part named for a tooth that does not stand."""
    for c in design.case.components:
        tooth = getattr(c, "tooth", None)
        if tooth is not None and tooth not in design.standing:
            yield (c.id,), f"tooth {tooth} does not stand"


def space_without_base(design: Design) -> Found:
    """A space to be restored that no base carries."""
    for space in design.classification.spaces:
        left = [t for t in space.teeth if not design.base_over((t,))]
        if left:
            yield (), f"no base carries {_list(left)}"


def base_under_standing_tooth(design: Design) -> Found:
    """A base that lists a tooth which is not to be replaced."""
    for base in design.bases:
        wrong = [t for t in base.teeth if t not in design.replaced]
        if wrong:
            yield (base.id,), f"{_list(wrong)} stands or is not to be replaced"


def bounded_abutment_without_rest(design: Design) -> Found:
    """A tooth beside a tooth-borne space with no rest."""
    for space in design.classification.spaces:
        if space.support == "tooth":
            for tooth in space.abutments:
                if tooth not in design.rested:
                    yield (), f"tooth {tooth} beside the space of {_list(space.teeth)} bears no rest"


def bounded_rest_away_from_space(design: Design) -> Found:
    """Tooth-borne: the occlusal rest belongs next to the space."""
    for space in design.classification.spaces:
        for tooth in space.abutments if space.support == "tooth" else ():
            rests = design.on(tooth, OcclusalRest)
            if rests and tooth not in design.extension_abutments and not any(r.side in design.towards_space(tooth) for r in rests):
                yield tuple(r.id for r in rests), f"tooth {tooth}: the rest lies away from the space it supports"


def extension_abutment_without_rest(design: Design) -> Found:
    """A tooth beside a free end with no rest."""
    for tooth in design.extension_abutments:
        if tooth not in design.rested:
            yield (), f"tooth {tooth} beside the free end bears no rest"


def extension_rest_next_to_base(design: Design) -> Found:
    """A distal rest with a stiff clasp turns the abutment about itself when the base sinks."""
    for tooth in design.extension_abutments:
        rests = design.on(tooth, OcclusalRest)
        beside = [r for r in rests if r.side in design.towards_space(tooth)]
        if beside and len(beside) == len(rests):
            yield tuple(r.id for r in beside), f"tooth {tooth}: the only rest lies next to the free end"


def rest_carried_by_nothing(design: Design) -> Found:
    """A rest that no minor connector or guide plate joins to the frame."""
    for rest in design.rests:
        if rest.tooth in design.standing and not design.borne(rest.tooth):
            yield (rest.id,), f"nothing joins the rest on {rest.tooth} to the connector"


def rest_narrow(design: Design) -> Found:
    """Under 2.5 mm at the ridge."""
    for rest in design.all(OcclusalRest):
        if rest.width_mm < 2.5:
            yield (rest.id,), f"{rest.width_mm:g} mm wide"


def rest_thin(design: Design) -> Found:
    """Under 1 mm of metal over the ridge breaks."""
    for rest in design.all(OcclusalRest):
        if rest.depth_mm < 1.0:
            yield (rest.id,), f"{rest.depth_mm:g} mm deep"


def rest_deep_in_premolar(design: Design) -> Found:
    """Premolar enamel allows about 1.0 mm; 1.5 mm opens dentine in more than half."""
    for rest in design.all(OcclusalRest):
        if not is_molar(rest.tooth) and rest.depth_mm > 1.2:
            yield (rest.id,), f"{rest.depth_mm:g} mm deep on {rest.tooth}"


def cingulum_ledge_shallow(design: Design) -> Found:
    """Under 0.7 mm the ledge does not hold."""
    for rest in design.all(CingulumRest):
        if rest.form == "chevron" and rest.depth_mm < 0.7:
            yield (rest.id,), f"{rest.depth_mm:g} mm deep"


def rest_kind_does_not_fit(design: Design) -> Found:
    """Occlusal rests on anterior teeth, cingulum rests on posterior ones."""
    for rest in design.all(OcclusalRest):
        if is_anterior(rest.tooth):
            yield (rest.id,), f"{rest.tooth} has no occlusal surface"
    for seat in design.all(CingulumRest):
        if position(seat.tooth) > 3:
            yield (seat.id,), f"{seat.tooth} has no cingulum"
    for notch in design.all(IncisalRest):
        if position(notch.tooth) > 3:
            yield (notch.id,), f"{notch.tooth} has no incisal edge"


def embrasure_rest_alone(design: Design) -> Found:
    """One rest in an embrasure drives the two teeth apart."""
    pairs = [r for r in design.all(OcclusalRest) if r.form == "embrasure"]
    for rest in pairs:
        if not any((r.tooth, r.side) == partner_side(rest.tooth, rest.side) for r in pairs):
            yield (rest.id,), f"{rest.side} of {rest.tooth}"


def incisal_rest_shows(design: Design) -> Found:
    """Metal on the edge, far from the middle of the root."""
    for rest in design.all(IncisalRest):
        yield (rest.id,), f"on {rest.tooth}"


def weak_tooth_bears_rest(design: Design) -> Found:
    """A loose tooth, or one with poor root support, as an abutment."""
    for entry in design.case.chart.teeth:
        if entry.weak and entry.fdi in design.rested:
            parts = tuple(c.id for c in design.rests if c.tooth == entry.fdi)
            yield parts, f"tooth {entry.fdi}: {entry.support_words}"


def guide_surface_unused(design: Design) -> Found:
    """A surface beside a space with no plate."""
    for tooth in design.abutments:
        plates = {p.side for p in design.on(tooth, GuidePlate)}
        for towards in design.towards_space(tooth):
            if towards not in plates:
                yield (), f"no plate on the {towards} surface of {tooth}"


def guide_plate_away_from_space(design: Design) -> Found:
    """A plate where no space is."""
    for plate in design.all(GuidePlate):
        if plate.tooth in design.standing and plate.side not in design.towards_space(plate.tooth):
            yield (plate.id,), f"no space lies {plate.side} of {plate.tooth}"


def guide_plane_low(design: Design) -> Found:
    """Tooth-borne: under 2 mm guides nothing."""
    for plate in design.all(GuidePlate):
        if plate.plane_height_mm < 2.0 and plate.tooth not in design.extension_abutments:
            yield (plate.id,), f"{plate.plane_height_mm:g} mm high"


def guide_plane_high_on_extension(design: Design) -> Found:
    """Free end: a tall plane binds when the base sinks."""
    for plate in design.all(GuidePlate):
        if plate.plane_height_mm > 3.0 and plate.tooth in design.extension_abutments:
            yield (plate.id,), f"{plate.plane_height_mm:g} mm high beside a free end"


def guide_planes_few(design: Design) -> Found:
    """Fewer than two planes leave the path to chance."""
    plates = design.all(GuidePlate)
    if len({(p.tooth, p.side) for p in plates}) < 2 and len(design.abutments) >= 2:
        yield tuple(p.id for p in plates), f"{len(plates)} guide plane" + ("s" if len(plates) != 1 else "")


def indirect_retainer_missing(design: Design) -> Found:
    """Free end, or long anterior space: nothing stands against lifting."""
    for line in design.fulcrums:
        reach = levers(line, design.standing, design.positions)
        if reach and not any(v.tooth in design.rested for v in reach):
            best = reach[0]
            yield (), f"no rest beyond the line {line.first} to {line.second}; {best.tooth} lies {best.distance_mm:.0f} mm beyond it"


def metal_base_over_free_end(design: Design) -> Found:
    """A metal base cannot be relined when the ridge resorbs."""
    for base in design.all(BeadPlate):
        if any(s.extension and set(s.teeth) & set(base.teeth) for s in design.classification.spaces):
            yield (base.id,), "over a free end"


def extension_without_stop(design: Design) -> Found:
    """An extension lattice that no tissue stop holds off the cast while resin is packed."""
    for base in design.all(LatticeBase):
        if not base.stop and any(s.extension and set(s.teeth) & set(base.teeth) for s in design.classification.spaces):
            yield (base.id,), "no tissue stop"


def base_relief_thin(design: Design) -> Found:
    """Resin needs room under the lattice."""
    for base in design.all(LatticeBase):
        if base.relief_mm < 0.5:
            yield (base.id,), f"{base.relief_mm:g} mm"


def base_holes_small(design: Design) -> Found:
    """Resin does not go through small holes."""
    for base in design.all(LatticeBase):
        if base.form == "mesh" and base.hole_mm < 1.5:
            yield (base.id,), f"{base.hole_mm:g} mm"


def clasp_without_rest(design: Design) -> Found:
    """Without a rest the arms slide down the tooth."""
    for arm in design.arms:
        if arm.tooth not in design.rested:
            yield (arm.id,), f"tooth {arm.tooth} bears no rest"


def _list(teeth: tuple[int, ...] | list[int]) -> str:
    return ", ".join(str(t) for t in teeth)
