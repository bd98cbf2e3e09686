"""A whole design drafted from the chart and the measured crowns, with the reason for every part.

In the order of teaching: spaces and bases, support, direct retention, indirect retention, connector. A draft is a proposal: the
clinician changes or overrules any of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..case import (
    AnyRest,
    BeadPlate,
    Case,
    CingulumRest,
    Component,
    GuidePlate,
    LatticeBase,
    MinorConnector,
    OcclusalRest,
    ReciprocalArm,
    ToothEntry,
)
from ..errors import CaseError
from ..mesh import Floats
from ..teeth.numbering import is_anterior, is_molar, neighbours, position, side
from .abutment import Abutment
from .clasps import clasp_options
from .connector_choice import choose_connector, u_shape_because
from .design import Design, Retainer, tip_face
from .embrasure import FACES, embrasure_parts, embrasures
from .known import NOTHING, Known
from .option import BACK_ACTION, RING, Option, Setting
from .placing import clasp_parts, lattice_beside, seat_depth, slighter
from .support import levers
from .tissue import tissue_asks

LEAST_POINTS = 15.0  # a clasp with less against so much is shown, and left to the clinician
_AS_GOOD = 0.6  # own limit: a rest that is there already serves when its lever is so long against the longest


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
    known: Known
    parts: list[Component] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    options: dict[int, tuple[Option, ...]] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)
    plated: bool = False

    def add(self, part: Component, why: str) -> None:
        """Once: a second rest or strut at the same place of a tooth serves both that ask for it.

        A plate on the lingual faces carries rests and stands against arms itself; what a trial could not build is left out and said.
        """
        if self.plated and (isinstance(part, MinorConnector) or (isinstance(part, ReciprocalArm) and part.face == "lingual")):
            return
        if part.id in self.known.denied:
            words = f"{part.id} is left out: {self.known.denied[part.id]}"
            self.open += [words] if words not in self.open else []
            return
        place = part.kind, getattr(part, "tooth", part.id), getattr(part, "side", getattr(part, "face", ""))
        if all(place != (p.kind, getattr(p, "tooth", p.id), getattr(p, "side", getattr(p, "face", ""))) for p in self.parts):
            self.parts.append(part)
            self.reasons.append(Reason(part.id, why))

    def entry(self, tooth: int) -> ToothEntry:
        """What the chart says of a tooth."""
        return next((t for t in self.design.case.chart.teeth if t.fdi == tooth), ToothEntry(tooth))


def draft(
    case: Case, abutments: Mapping[int, Abutment], positions: Mapping[int, Floats] | None = None, known: Known = NOTHING
) -> Draft:  # fmt: skip
    """Draft the components of a charted case; those it holds already are replaced.

    abutments : measured crowns, by tooth; positions : middles of crowns, mm, else an average arch
    known : what trials have shown and what the scan does not
    Raises CaseError where the chart asks for no partial denture, saying why.
    """
    design = Design(replace(case, components=()), positions or {})
    if not design.classification.kennedy:
        raise CaseError(f"nothing to design: {design.classification.reason}; chart the missing teeth and which of them are replaced")
    sheet = _Sheet(design, abutments, known)
    _bases(sheet)
    sheet.plated = bool(u_shape_because(design, sheet.parts, known.palate))
    _abutments(sheet)
    _further_clasps(sheet)
    _indirect_retainers(sheet)
    for part, why in choose_connector(design, sheet.parts, known):
        sheet.add(part, why)
    sheet.open += tissue_asks(case.chart, design.arch)
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
        if _wants_clasp(design, tooth) and any(isinstance(p, AnyRest) and p.tooth == tooth for p in sheet.parts):
            _clasp(sheet, tooth, extension)


def _wants_clasp(design: Design, tooth: int) -> bool:
    """Front teeth are clasped only beside a free end."""
    return not is_anterior(tooth) or tooth in design.extension_abutments


def _rest(sheet: _Sheet, tooth: int, extension: bool) -> None:
    design = sheet.design
    if is_anterior(tooth):
        sheet.add(CingulumRest(f"rest {tooth}", tooth), "support on the cingulum, low on the root")
        if f"rest {tooth}" not in sheet.known.denied:
            _borne(sheet, tooth, "lingual")
        else:
            _instead(sheet, tooth)
        return
    depth = seat_depth(tooth)
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
        if name in sheet.known.denied:
            far = "mesial" if near == "distal" else "distal"
            seat = OcclusalRest(f"rest {tooth} {far}", tooth, far, depth_mm=depth)
            sheet.add(seat, "support away from the space, where next to it there can be none" + why_depth)
            _borne(sheet, tooth, far)
        elif not lattice_beside(design, tooth, tuple(sheet.parts)):
            words = "joins rest and metal base to the major connector"
            sheet.add(MinorConnector(f"minor connector {tooth} {near}", tooth, near), words)


def _instead(sheet: _Sheet, tooth: int) -> None:
    """A front tooth that cannot bear its rest hands it to the next front tooth, away from the space."""
    design = sheet.design
    mesial, distal = neighbours(tooth)
    other = mesial if "distal" in design.towards_space(tooth) else distal
    if other is None or other not in design.standing or not is_anterior(other) or f"rest {other}" in sheet.known.denied:
        return
    sheet.add(CingulumRest(f"rest {other}", other), f"support for the end of the base beside {tooth}, which cannot bear it")
    _borne(sheet, other, "lingual")


def _borne(sheet: _Sheet, tooth: int, where: str) -> None:
    """A minor connector, unless the rest lies beside a space, where the plate carries it."""
    if where not in sheet.design.towards_space(tooth) and f"rest {tooth} {where}" not in sheet.known.denied:
        words = (
            "joins the rest to the major connector through the embrasure" if where != "lingual" else "joins the rest to the major connector"
        )
        sheet.add(MinorConnector(f"minor connector {tooth}", tooth, where), words)


def _clasp(sheet: _Sheet, tooth: int, extension: bool) -> None:
    design, abutments = sheet.design, sheet.abutments
    near = design.towards_space(tooth)[0]
    base = lattice_beside(design, tooth, tuple(sheet.parts))
    beyond = neighbours(tooth)[0 if near == "distal" else 1]
    setting = Setting(
        near, extension, _facial_sulcus(design, tooth), bool(base),
        abutments.get(beyond or 0) if beyond in design.standing else None, tooth in design.case.chart.aesthetic,
        any(e.kind == "frenum" and tooth in e.near for e in design.case.chart.soft_tissue),
    )  # fmt: skip
    options = clasp_options(abutments[tooth], setting, sheet.entry(tooth))
    options = tuple(_tried(o, _forbidden(sheet, tooth, o)) for o in options)
    options = tuple(sorted(options, key=lambda o: (not o.possible, -o.points)))
    sheet.options[tooth] = options
    best = options[0]
    if not best.possible or best.points < LEAST_POINTS:
        why = "; ".join(dict.fromkeys(v for o in options if not o.possible for v in o.vetoes[:1]))
        rather = f"; a {best.kind} clasp could be made, but {'; '.join(best.speaks_against)}" if best.possible else ""
        sheet.open.append(f"tooth {tooth} bears a rest and no clasp: none fits well at this path ({why}{rather})")
        return
    for part, why in clasp_parts(design, tooth, options[0], abutments[tooth], base, near):
        sheet.add(slighter(part) if options[0].key(tooth) in sheet.known.slight else part, why)


def _forbidden(sheet: _Sheet, tooth: int, option: Option) -> str | None:
    """Why the draft cannot take an option that the tooth itself allows; None where it can."""
    if sheet.plated and (option.face == "lingual" or option.kind in (RING, BACK_ACTION)):
        return "the plate lies on the lingual face"
    why = sheet.known.barred.get(option.key(tooth))
    return None if why is None else f"tried on the cast: {why}"


def _tried(option: Option, why: str | None) -> Option:
    return option if why is None else replace(option, vetoes=(*option.vetoes, why))


def _facial_sulcus(design: Design, tooth: int) -> float | None:
    """Depth of the facial sulcus beside a tooth, mm: the nearest that is charted on its side, else the arch's least, else unknown."""
    chart = design.case.chart
    own = [e for e in chart.sulcus if e.side == "facial" and e.fdi // 10 == tooth // 10]
    return min(own, key=lambda e: abs(e.fdi - tooth)).depth_mm if own else chart.sulcus_mm


def _further_clasps(sheet: _Sheet) -> None:
    """Retention on a side without a space needs a clasp through an embrasure between standing teeth."""
    design = sheet.design
    clasped = [p.tooth for p in sheet.parts if isinstance(p, Retainer)]
    for half in (-1, 1):
        if any(side(t) == half for t in clasped) or not any(side(t) == half for t in design.standing):
            continue
        entries = {t.fdi: t for t in design.case.chart.teeth}
        faces = [tip_face(p) for p in sheet.parts if isinstance(p, Retainer)]
        like = "lingual" if faces.count("lingual") > faces.count("facial") else "facial"
        where = ("facial",) if sheet.plated else FACES
        found = embrasures(design, sheet.abutments, half, entries, like, sheet.known.barred, where)
        if not found and _canine(sheet, half):
            continue
        if not found:
            word = "right" if half * (1 if design.arch == "lower" else -1) > 0 else "left"
            sheet.open.append(f"{word} side: no embrasure of two sound back teeth has an undercut for a clasp; retention is one-sided")
            continue
        own = {t for t, o in found[0].options.items() if o.key(t) in sheet.known.slight}
        for part, why in embrasure_parts(found[0], sheet.abutments, sheet.known.barred):
            sheet.add(slighter(part) if getattr(part, "tooth", 0) in own else part, why)
        sheet.options.update({t: (_tried(o, _forbidden(sheet, t, o)),) for t, o in found[0].options.items()})


def _canine(sheet: _Sheet, half: int) -> bool:
    """A canine beside a bounded space is clasped where its side has nothing else to hold by; whether it could be."""
    for tooth in (t for t in sheet.design.abutments if position(t) == 3 and side(t) == half and t in sheet.abutments):
        if tooth not in sheet.options and any(isinstance(p, AnyRest) and p.tooth == tooth for p in sheet.parts):
            _clasp(sheet, tooth, False)
            return any(isinstance(p, Retainer) and p.tooth == tooth for p in sheet.parts)
    return False


def _indirect_retainers(sheet: _Sheet) -> None:
    design = Design(replace(sheet.design.case, components=tuple(sheet.parts)), sheet.design.measured)
    for line in design.fulcrums:
        reach = [v for v in levers(line, design.standing, design.positions) if f"rest {v.tooth}" not in sheet.known.denied]
        if not reach:
            sheet.open.append(f"no tooth in front of the line {line.first} to {line.second} can bear an indirect retainer")
            continue
        both = len(line.spaces) > 1
        for half in (-1, 1) if both else (0,):
            best = next((v for v in reach if half in (0, side(v.tooth))), None)
            near = [v for v in reach if half in (0, side(v.tooth)) and best is not None and v.distance_mm >= _AS_GOOD * best.distance_mm]
            if best is None or any(v.tooth in design.rested for v in near):
                continue
            words = f"indirect retainer, {best.distance_mm:.0f} mm in front of the fulcrum line {line.first} to {line.second}"
            if best.kind == "cingulum rest":
                sheet.add(CingulumRest(f"rest {best.tooth}", best.tooth), words)
                _borne(sheet, best.tooth, "lingual")
            else:
                sheet.add(OcclusalRest(f"rest {best.tooth}", best.tooth, "mesial", depth_mm=seat_depth(best.tooth)), words)
                _borne(sheet, best.tooth, "mesial")
