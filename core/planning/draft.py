"""A whole design drafted from the chart and the measured crowns, with the reason for every part.

In the order of teaching: spaces and bases, support, direct retention, indirect retention, connector. A draft is a proposal: the
clinician changes or overrules any of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..case import (
    BeadPlate,
    Case,
    CingulumRest,
    Component,
    GuidePlate,
    IBar,
    LatticeBase,
    LingualBar,
    LingualPlate,
    MinorConnector,
    OcclusalRest,
    PalatalPlate,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
    ToothEntry,
)
from ..errors import CaseError
from ..mesh import Floats
from ..teeth.numbering import is_anterior, is_molar, order, position, side
from .abutment import Abutment
from .clasps import BUILDABLE, I_BAR, REVERSE, Option, Setting, clasp_options
from .design import Design
from .support import levers


@dataclass(frozen=True)
class Reason:
    """Why a part is there, or why something that was wanted is not."""

    part: str
    words: str


@dataclass(frozen=True)
class Draft:
    """case : with the drafted components; reasons : in the order of the parts; options : clasps weighed, by tooth

    open : what the draft could not settle, in words
    """

    case: Case
    reasons: tuple[Reason, ...]
    options: Mapping[int, tuple[Option, ...]]
    open: tuple[str, ...] = ()


@dataclass
class _Sheet:
    """The draft while it is being written."""

    design: Design
    abutments: Mapping[int, Abutment]
    parts: list[Component] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    options: dict[int, tuple[Option, ...]] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)

    def add(self, part: Component, why: str) -> None:
        if all(p.id != part.id for p in self.parts):
            self.parts.append(part)
            self.reasons.append(Reason(part.id, why))

    def has(self, tooth: int, kind: type) -> bool:
        return any(isinstance(p, kind) and getattr(p, "tooth", None) == tooth for p in self.parts)


def draft(case: Case, abutments: Mapping[int, Abutment], positions: Mapping[int, Floats] | None = None) -> Draft:
    """Draft the components of a charted case; those it holds already are replaced.

    abutments : measured crowns, by tooth; positions : middles of crowns, mm, else an average arch
    Raises CaseError where the chart asks for no partial denture, saying why.
    """
    design = Design(replace(case, components=()), positions or {})
    if not design.classification.kennedy:
        raise CaseError(f"nothing to design: {design.classification.reason}; chart the missing teeth and which of them are replaced")
    sheet = _Sheet(design, abutments)
    _bases(sheet)
    _abutments(sheet)
    _further_clasps(sheet)
    _indirect_retainers(sheet)
    _connector(sheet)
    made = replace(case, components=tuple(sheet.parts))
    return Draft(made, tuple(sheet.reasons), dict(sheet.options), tuple(sheet.open))


def _bases(sheet: _Sheet) -> None:
    for k, space in enumerate(sheet.design.classification.spaces, 1):
        teeth = tuple(sorted(space.teeth))
        if len(teeth) == 1 and not space.extension:
            words = "one tooth's gap has no room for a lattice: a metal base with beads and a post"
            sheet.add(BeadPlate(f"base {k}", teeth), words)
            continue
        words = "lattice: the strongest hold for the resin" + ("; a tissue stop carries its free end" if space.extension else "")
        sheet.add(LatticeBase(f"base {k}", teeth, stop=space.extension), words)


def _abutments(sheet: _Sheet) -> None:
    design = sheet.design
    for tooth in design.abutments:
        if tooth not in sheet.abutments:
            sheet.open.append(f"tooth {tooth} is charted but was not found on the scan; mark it by a click")
            continue
        extension = tooth in design.extension_abutments
        for towards in design.towards_space(tooth):
            height = 2.0 if extension else 3.0
            sheet.add(
                GuidePlate(f"guide plate {tooth} {towards}", tooth, towards, plane_height_mm=height),
                f"guides along the surface beside the space; {'low, so that it frees itself when the base sinks' if extension else 'tall'}",
            )
        _rest(sheet, tooth, extension)
        if _wants_clasp(design, tooth):
            _clasp(sheet, tooth, extension)


def _wants_clasp(design: Design, tooth: int) -> bool:
    """Front teeth are clasped only beside a free end."""
    return not is_anterior(tooth) or tooth in design.extension_abutments


def _rest(sheet: _Sheet, tooth: int, extension: bool) -> None:
    design = sheet.design
    if is_anterior(tooth):
        sheet.add(CingulumRest(f"rest {tooth}", tooth), "support on the cingulum, low on the root")
        _borne(sheet, tooth, "lingual")
        return
    depth = 1.3 if is_molar(tooth) else 1.0
    why_depth = "" if is_molar(tooth) else "; 1.0 mm deep spares the premolar's enamel"
    towards = design.towards_space(tooth)
    if extension:
        away = "mesial"
        sheet.add(
            OcclusalRest(f"rest {tooth}", tooth, away, depth_mm=depth), "mesial rest: the tip is released when the base sinks" + why_depth
        )
        _borne(sheet, tooth, away)
        return
    for near in towards:
        name = f"rest {tooth}" if len(towards) == 1 else f"rest {tooth} {near}"
        sheet.add(OcclusalRest(name, tooth, near, depth_mm=depth), "support next to the space" + why_depth)


def _borne(sheet: _Sheet, tooth: int, where: str) -> None:
    """A minor connector, unless the rest lies beside a space, where the plate carries it."""
    if where not in sheet.design.towards_space(tooth):
        words = (
            "joins the rest to the major connector through the embrasure" if where != "lingual" else "joins the rest to the major connector"
        )
        sheet.add(MinorConnector(f"minor connector {tooth}", tooth, where), words)


def _clasp(sheet: _Sheet, tooth: int, extension: bool, towards: str | None = None) -> None:
    design = sheet.design
    near = towards or design.towards_space(tooth)[0]
    entry = next((t for t in design.case.chart.teeth if t.fdi == tooth), ToothEntry(tooth))
    lattice = any(isinstance(p, LatticeBase) and _beside(design, tooth, p) for p in sheet.parts)
    options = clasp_options(sheet.abutments[tooth], Setting(near, extension, design.case.chart.sulcus_mm, lattice), entry)
    sheet.options[tooth] = options
    chosen = next((o for o in options if o.possible and o.kind in BUILDABLE), None)
    best = options[0]
    if best.possible and best.kind not in BUILDABLE:
        sheet.open.append(
            f"tooth {tooth}: a {best.kind} clasp would suit best ({'; '.join(best.speaks_for)}); this release cannot build it"
        )
    if chosen is None:
        sheet.open.append(f"tooth {tooth}: no clasp fits at this path ({'; '.join(v for o in options[:3] for v in o.vetoes)})")
        return
    _place(sheet, tooth, chosen)


def _place(sheet: _Sheet, tooth: int, option: Option) -> None:
    words = "; ".join(option.speaks_for) + (". Against it: " + "; ".join(option.speaks_against) if option.speaks_against else "")
    if option.kind == I_BAR:
        base = next((p.id for p in sheet.parts if isinstance(p, LatticeBase) and _beside(sheet.design, tooth, p)), "")
        place = sheet.abutments[tooth]
        sheet.add(IBar(f"I-bar {tooth}", tooth, base, gauge_mm=place.bar_depth_mm, at_deg=place.bar_at_deg), words)
        if tooth not in sheet.design.extension_abutments:
            near = sheet.design.towards_space(tooth)[0]
            sheet.add(ReciprocalArm(f"reciprocal arm {tooth}", tooth, near), "stands against the bar, at or above the contour")
        return
    slender = {} if is_molar(tooth) else {"base_width_mm": 1.5, "base_thickness_mm": 0.9}
    sheet.add(
        RetentiveArm(f"retentive arm {tooth}", tooth, option.origin, option.face, reach_deg=126.0, **slender), f"{option.kind}: {words}"
    )
    other = "lingual" if option.face == "facial" else "facial"
    sheet.add(
        ReciprocalArm(f"reciprocal arm {tooth}", tooth, option.origin, other), "stands against the retentive arm, at or above the contour"
    )
    if option.kind == REVERSE:
        _borne(sheet, tooth, option.origin)


def _beside(design: Design, tooth: int, base: LatticeBase) -> bool:
    return any(tooth in s.abutments and set(s.teeth) & set(base.teeth) for s in design.classification.spaces)


def _further_clasps(sheet: _Sheet) -> None:
    """Retention on a side without a space needs a clasp through an embrasure between standing teeth."""
    design = sheet.design
    clasped = [p.tooth for p in sheet.parts if isinstance(p, RetentiveArm | IBar)]
    for half in (-1, 1):
        if any(side(t) == half for t in clasped):
            continue
        row = [t for t in order(design.arch) if side(t) == half and t in design.standing and position(t) in (5, 6, 7)]
        if len(row) >= 2:
            sheet.open.append(
                f"an embrasure clasp between {min(row)} and {sorted(row)[1]} would balance the retention; this release cannot build it"
            )


def _indirect_retainers(sheet: _Sheet) -> None:
    design = Design(replace(sheet.design.case, components=tuple(sheet.parts)), sheet.design.measured)
    for line in design.fulcrums:
        reach = levers(line, design.standing, design.positions)
        if not reach:
            sheet.open.append(f"no tooth in front of the line {line.first} to {line.second} can bear an indirect retainer")
            continue
        both = len(line.spaces) > 1
        for half in (-1, 1) if both else (0,):
            best = next((v for v in reach if half in (0, side(v.tooth))), None)
            if best is None or best.tooth in design.rested:
                continue
            words = f"indirect retainer, {best.distance_mm:.0f} mm in front of the fulcrum line {line.first} to {line.second}"
            if best.kind == "cingulum rest":
                sheet.add(CingulumRest(f"rest {best.tooth}", best.tooth), words)
                _borne(sheet, best.tooth, "lingual")
            else:
                sheet.add(OcclusalRest(f"rest {best.tooth}", best.tooth, "mesial", depth_mm=1.0), words)
                _borne(sheet, best.tooth, "mesial")


def _bar_end(sheet: _Sheet, half: int) -> int:
    """Where the bar ends on one side: at the tooth in front of the rearmost space, else at the rearmost tooth with a part on it."""
    design = sheet.design
    row = order(design.arch)
    fronts = [min((t for t in s.abutments if side(t) == half), key=position, default=0) for s in design.classification.spaces]
    fronts = [
        t for t in fronts if t and any(side(m) == half and position(m) > position(t) for s in design.classification.spaces for m in s.teeth)
    ]
    carried = [t for p in sheet.parts if (t := getattr(p, "tooth", 0)) and side(t) == half]
    standing = [t for t in design.standing if side(t) == half]
    found = fronts or carried or standing or list(design.standing)
    return max(found, key=lambda t: half * row.index(t))


def _palate(sheet: _Sheet) -> None:
    """A complete plate where few teeth are left, one strap where the spaces are short, else two straps."""
    spaces = sheet.design.classification.spaces
    free = [s for s in spaces if s.extension]
    if any(s.crosses_midline for s in spaces):
        words = "a plate from the front base to the last rests: front teeth that are replaced tip their base, and the palate steadies it"
        sheet.add(PalatalPlate("palatal plate", complete=True), words)
        return
    lattices = {side(p.teeth[0]) for p in sheet.parts if isinstance(p, LatticeBase)}
    if len(free) == 2 and all(position(t) <= 4 for s in free for t in s.abutments):
        words = "a complete plate: few teeth are left, and the palate bears with the ridges"
        sheet.add(PalatalPlate("palatal plate", complete=True), words)
    elif lattices == {-1, 1} and not free or len(free) == 2:
        sheet.add(PalatalStraps("palatal straps"), "two straps: rigid, and most of the palate stays free")
    else:
        sheet.add(PalatalPlate("palatal strap"), "one strap as wide as the parts it joins: simple and rigid")


def _connector(sheet: _Sheet) -> None:
    design = sheet.design
    if design.arch == "upper":
        _palate(sheet)
        return
    ends = [_bar_end(sheet, half) for half in (-1, 1)]
    depth = design.case.chart.sulcus_mm
    if depth is not None and depth < 8.0:
        words = f"with a sulcus of {depth:g} mm there is no room for a bar, which needs 8 (7 at the least): a plate up to the cingula"
        sheet.add(LingualPlate("lingual plate", ends[0], ends[-1]), words)
        return
    sheet.add(
        LingualBar("lingual bar", ends[0], ends[-1]), "the simplest lower connector" + ("" if depth is None else f"; sulcus {depth:g} mm")
    )
