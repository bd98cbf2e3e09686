"""Which major connector joins the parts of a draft, and where it ends: by sulcus, tori, and the number and place of the spaces."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from ..case import Component, LatticeBase, LingualBar, LingualPlate, MinorConnector, OcclusalRest, PalatalPlate, PalatalStraps, UShapedPlate
from ..teeth.numbering import arch_of, neighbours, order, position, side
from .design import Design
from .known import NOTHING, Known
from .placing import Placed

STOUTER_MM = 0.3  # own step; a U-shape of twice the thickness was the best of the remedies tried (handbook, section 4)
BAR_SULCUS_MM = 8.0  # 7 at the least (handbook, section 4)


def choose_connector(design: Design, parts: Sequence[Component], known: Known = NOTHING) -> Iterator[Placed]:
    """The major connector with the reason for it. design : of the chart; parts : drafted so far; known : of the scan and of trials."""
    if why := u_shape_because(design, parts, known.palate):
        ends = [_end(design, parts, half, reach=True) for half in (-1, 1)]
        plate = UShapedPlate("U-shaped plate", *ends)
        if known.stouter:
            plate = replace(plate, thickness_mm=plate.thickness_mm + STOUTER_MM * known.stouter)
            why += f"; {plate.thickness_mm:.1f} mm thick, or a load on one side would strain it too far"
        yield plate, why
        return
    if design.arch == "upper":
        yield _palate(design, parts)
        return
    first, last = (_end(design, parts, half) for half in (-1, 1))
    depth = design.case.chart.sulcus_mm
    if _torus(design):
        words = "a torus is charted: a plate covers it with relief, where a bar would lie on it; if large, weigh surgery or a labial bar"
        yield LingualPlate("lingual plate", first, last), words
        return
    if depth is not None and depth < BAR_SULCUS_MM:
        words = f"with a sulcus of {depth:g} mm there is no room for a bar, which needs 8 (7 at the least): a plate up to the cingula"
        yield LingualPlate("lingual plate", first, last), words
        return
    words = "the simplest lower connector" + ("; the sulcus is not charted" if depth is None else f"; sulcus {depth:g} mm")
    yield LingualBar("lingual bar", first, last), words


def _torus(design: Design) -> bool:
    entries = [e for e in design.case.chart.soft_tissue if e.kind == "torus"]
    return any(not e.near or any(arch_of(t) == design.arch for t in e.near) for e in entries)


def u_shape_because(design: Design, parts: Sequence[Component], palate: bool) -> str:
    """Why an upper takes a U-shaped plate, "" where it does not. parts : the bases at least."""
    if design.arch != "upper":
        return ""
    if not palate:
        return (
            "the scan shows no palate between the back teeth: a U-shaped plate on what was scanned, the least rigid form; "
            "scan the palate for a strap or a plate"
        )
    return "a torus is charted: a plate in front of it, less rigid than a strap across" if _torus(design) and _strap(design, parts) else ""


def _strap(design: Design, parts: Sequence[Component]) -> bool:
    """Whether one strap across joins everything: bases that are short, or on one side."""
    spaces = design.classification.spaces
    free = [s for s in spaces if s.extension]
    lattices = {side(p.teeth[0]) for p in parts if isinstance(p, LatticeBase)}
    return not any(s.crosses_midline for s in spaces) and len(free) < 2 and not (lattices == {-1, 1} and not free)


def _end(design: Design, parts: Sequence[Component], half: int, *, reach: bool = False) -> int:
    """Where a lower connector ends on one side: at the tooth in front of the rearmost space, or at a strut behind it.

    reach : it goes on to the last tooth that bears a part of the framework, because it carries that itself
    """
    row = order(design.arch)
    fronts = [min((t for t in s.abutments if side(t) == half), key=position, default=0) for s in design.classification.spaces]
    fronts = [
        t for t in fronts if t and any(side(m) == half and position(m) > position(t) for s in design.classification.spaces for m in s.teeth)
    ]
    struts = [p.tooth for p in parts if isinstance(p, MinorConnector) and side(p.tooth) == half]
    carried = [t for p in parts if (t := getattr(p, "tooth", 0)) and side(t) == half]
    standing = [t for t in design.standing if side(t) == half]
    # A plate ends short of its last tooth's far edge: a rest there is reached from the tooth behind.
    behind = [neighbours(p.tooth)[1] for p in parts if isinstance(p, OcclusalRest) and p.side == "distal" and side(p.tooth) == half]
    carried += [t for t in behind if reach and t is not None and t in standing]
    found = [*fronts, *struts, *(carried if reach else [])] or carried or standing or list(design.standing)
    return max(found, key=lambda t: half * row.index(t))


def _palate(design: Design, parts: Sequence[Component]) -> Placed:
    """A complete plate where few teeth are left, one strap where the spaces are short, else two straps."""
    spaces = design.classification.spaces
    free = [s for s in spaces if s.extension]
    torus = _torus(design)
    if any(s.crosses_midline for s in spaces):
        words = "a plate from the front base to the last rests: front teeth that are replaced tip their base, and the palate steadies it"
        return PalatalPlate("palatal plate", complete=True), words + _over_torus(torus)
    if len(free) == 2 and all(position(t) <= 4 for s in free for t in s.abutments):
        words = "a complete plate: few teeth are left, and the palate bears with the ridges"
        return PalatalPlate("palatal plate", complete=True), words + _over_torus(torus)
    if not _strap(design, parts):
        return PalatalStraps("palatal straps"), "two straps: rigid, and most of the palate stays free" + (
            ", the torus in their opening" if torus else ""
        )
    return PalatalPlate("palatal strap"), "one strap as wide as the parts it joins: simple and rigid"


def _over_torus(torus: bool) -> str:
    return ". A torus is charted: relieve it, or have it taken off" if torus else ""
