"""Signs of the planned parts in the arch drawing: connectors, bases, plates and struts, arms of every kind."""

from __future__ import annotations

import numpy as np

from ..case import (
    BackActionArm,
    BeadPlate,
    Component,
    ExtendedArm,
    GuidePlate,
    IBar,
    MinorConnector,
    PalatalPlate,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    TBar,
    UShapedPlate,
    WireArm,
)
from ..case.connectors import LOWER_CONNECTORS
from ..mesh import Floats
from ..teeth.numbering import neighbours, order, position, side
from .plan_sheet import METAL, SCALE, Sheet

# Line styles: what flexes is full and heavy, what only stands against it is dotted, wire is thin.
_FLEXES = f'stroke="{METAL}" stroke-width="5"'
_RIGID = f'stroke="{METAL}" stroke-width="2.5" stroke-dasharray="1 5"'
_WIRE = f'stroke="{METAL}" stroke-width="2.2"'
_STRUT = f'stroke="{METAL}" stroke-width="3.5" stroke-opacity="0.7"'
_PALATE_MM = 9.5  # a palatal border keeps so far from the middles of the crowns


def bases(sheet: Sheet) -> list[str]:
    """A band over the missing teeth of each base; a metal base is darker than a lattice."""
    out = []
    for base in sheet.design.bases:
        points = [sheet.missing[t] for t in order(sheet.design.arch) if t in base.teeth and t in sheet.missing]
        if points:
            shade = 0.34 if isinstance(base, BeadPlate) else 0.18
            line = np.array(points if len(points) > 1 else [points[0] - [0.0, 0.01], points[0]])
            out.append(sheet.path(line, f'stroke="{METAL}" stroke-opacity="{shade}" stroke-width="{8.5 * SCALE:.0f}"'))
    return out


def struts(sheet: Sheet) -> list[str]:
    """Guide plates as bars across the proximal side, minor connectors as strips towards the tongue."""
    out = []
    for part in sheet.design.case.components:
        tooth = getattr(part, "tooth", 0)
        if tooth not in sheet.outlines:
            continue
        if isinstance(part, GuidePlate):
            way = sheet.towards(tooth, part.side)
            middle = sheet.middles[tooth] + way * (sheet.edge(tooth, way) + 0.4)
            across = np.array([-way[1], way[0]]) * 1.9
            out.append(sheet.path(np.array([middle - across, middle + across]), f'stroke="{METAL}" stroke-width="4.5"'))
        elif isinstance(part, MinorConnector):
            rest = sheet.rest_spot(tooth, "" if part.side == "lingual" else part.side)
            inward = -sheet.facial(tooth)
            end = sheet.middles[tooth] + inward * (sheet.edge(tooth, inward) + 4.0)
            if part.side != "lingual":
                end = end + (rest - sheet.middles[tooth]) @ sheet.side_of(tooth, part.side) * sheet.side_of(tooth, part.side)
            out.append(sheet.path(np.array([rest, end]), f'stroke="{METAL}" stroke-opacity="0.45" stroke-width="{2.0 * SCALE:.0f}"'))
    return out


def arms(sheet: Sheet) -> list[str]:
    """Every arm and bar clasp."""
    out: list[str] = []
    for part in sheet.design.case.components:
        if getattr(part, "tooth", 0) in sheet.outlines:
            out += _arm(sheet, part)
    return out


def _arm(sheet: Sheet, part: Component) -> list[str]:
    match part:
        case IBar() | TBar():
            return _bar_clasp(sheet, part)
        case RetentiveArm():
            return _tipped(sheet, _around(sheet, part.tooth, part.origin, part.face, part.reach_deg), _FLEXES)
        case ReciprocalArm():
            return [sheet.path(_around(sheet, part.tooth, part.origin, part.face, part.reach_deg), _RIGID)]
        case WireArm():
            return _tipped(sheet, _around(sheet, part.tooth, part.origin, part.face, part.reach_deg), _WIRE)
        case RingArm() | BackActionArm():
            line = _around(sheet, part.tooth, part.origin, part.face, part.reach_deg)
            half = int(len(line) * 180.0 / part.reach_deg)
            out = [sheet.path(line[: half + 1], f'stroke="{METAL}" stroke-width="3"'), *_tipped(sheet, line[half:], _FLEXES)]
            return out + ([_ring_strut(sheet, part)] if isinstance(part, RingArm) else [])
        case ExtendedArm():
            return _extended(sheet, part)
    return []


def _tipped(sheet: Sheet, line: Floats, style: str) -> list[str]:
    """A line with a mark where the tip lies in its undercut."""
    x, y = sheet.at(line[-1]).split(",")
    return [sheet.path(line, style), f'<circle cx="{x}" cy="{y}" r="4.5" fill="#fff" stroke="{METAL}" stroke-width="2"/>']


def _around(sheet: Sheet, tooth: int, origin: str, face: str, reach_deg: float) -> Floats:
    """(k, 2) a line a little outside the crown, from one proximal side round over a face."""
    start, over = sheet.side_of(tooth, origin), sheet.side_of(tooth, face)
    angles = np.radians(np.linspace(8.0, 8.0 + reach_deg, 30))
    rays = np.cos(angles)[:, None] * start + np.sin(angles)[:, None] * over
    rel = sheet.outlines[tooth] - sheet.middles[tooth]
    bearing = np.arctan2(rel[:, 1], rel[:, 0])
    k = np.argsort(bearing)
    reach = np.interp(np.arctan2(rays[:, 1], rays[:, 0]), bearing[k], np.hypot(rel[k, 0], rel[k, 1]), period=2 * np.pi)
    return np.asarray(sheet.middles[tooth] + rays * (reach + 0.7)[:, None])


def _bar_clasp(sheet: Sheet, bar: IBar | TBar) -> list[str]:
    """From the base over the margin to the face; a T has a head along the crown."""
    tooth, facial = bar.tooth, sheet.facial(bar.tooth)
    near = sheet.design.towards_space(tooth) or ("distal",)
    back = sheet.side_of(tooth, near[0])
    edge = sheet.middles[tooth] + facial * sheet.edge(tooth, facial)
    points = np.array([edge + 3.6 * facial + 2.0 * back, edge + 2.0 * facial + 7.0 * back])
    points = np.vstack([edge + 0.5 * facial, edge + 3.0 * facial, points])
    if isinstance(bar, IBar):
        return _tipped(sheet, points[::-1], _FLEXES)
    finger = sheet.side_of(tooth, bar.towards)
    head = np.array([edge + 0.6 * facial - (0.3 if bar.modified else 2.2) * finger, edge + 0.4 * facial + 2.4 * finger])
    return [sheet.path(points, _FLEXES), *_tipped(sheet, head, _FLEXES)]


def _ring_strut(sheet: Sheet, ring: RingArm) -> str:
    """From the base beside the tooth to the middle of the rigid half."""
    out, near = sheet.side_of(ring.tooth, ring.face), sheet.side_of(ring.tooth, ring.origin)
    edge = sheet.middles[ring.tooth] + out * (sheet.edge(ring.tooth, out) + 0.7)
    return sheet.path(np.array([edge, edge + 2.6 * out + 1.0 * near, edge + 2.2 * out + 7.0 * near]), _STRUT)


def _extended(sheet: Sheet, part: ExtendedArm) -> list[str]:
    """Over the first tooth rigid, on the second to its tip."""
    if part.onto not in sheet.outlines:
        return []
    near = "mesial" if neighbours(part.tooth)[1] == part.onto else "distal"
    entry = "mesial" if neighbours(part.onto)[0] == part.tooth else "distal"
    first = _around(sheet, part.tooth, near, part.face, 160.0)
    second = _around(sheet, part.onto, entry, part.face, part.reach_deg + 20.0)[6:]
    return [sheet.path(np.vstack([first, second[:1]]), f'stroke="{METAL}" stroke-width="3"'), *_tipped(sheet, second, _FLEXES)]


def connectors(sheet: Sheet) -> list[str]:
    """Major connectors as shaded bands."""
    style = f'stroke="{METAL}" stroke-opacity="0.35" '
    row, places = order(sheet.design.arch), sheet.places
    out = []
    for part in sheet.design.connectors:
        if isinstance(part, LOWER_CONNECTORS | UShapedPlate):
            low, high = sorted((row.index(part.start), row.index(part.end)))
            span = [t for t in row[max(low - 1, 0) : high + 2] if t in places]
            if len(span) > 2:
                away, width = {
                    "lingual_plate": (6.0, 5.0), "labial_bar": (-7.5, 2.2), "continuous_bar": (4.5, 1.6), "u_shaped_plate": (9.0, 8.0),
                }.get(part.kind, (7.5, 2.2))  # fmt: skip
                out.append(sheet.path(_inside(np.array([places[t] for t in span]), away), style + f'stroke-width="{width * SCALE:.0f}"'))
        elif isinstance(part, PalatalStraps):
            out += _straps(sheet, part, style)
        elif isinstance(part, PalatalPlate):
            out += _plate(sheet, part)
    return out


def _inside(line: Floats, distance_mm: float) -> Floats:
    """(k, 2) a calm curve on the tongue's side of the crowns' middles."""
    share = np.linspace(-1.0, 1.0, len(line))
    fine = np.linspace(-1.0, 1.0, 40)
    curve = np.stack([np.polyval(np.polyfit(share, line[:, a], min(4, len(line) - 1)), fine) for a in range(2)], axis=1)
    along = np.gradient(curve, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    return np.asarray(curve + distance_mm * normal)


def _reached(sheet: Sheet) -> dict[int, list[int]]:
    """Teeth of each side (-1, +1) that a connector over the palate reaches: spaces, their abutments, teeth with a minor connector."""
    design = sheet.design
    teeth = [t for s in design.classification.spaces for t in (*s.teeth, *s.abutments)]
    teeth += [p.tooth for p in design.all(MinorConnector)]
    return {half: sorted({t for t in teeth if t in sheet.places and side(t) == half}, key=position) for half in (-1, 1)}


def _straps(sheet: Sheet, straps: PalatalStraps, style: str) -> list[str]:
    """Front and back strap as bands, from the foremost and the rearmost tooth that they reach."""
    halves = [[sheet.places[t] for t in teeth] for teeth in _reached(sheet).values()]
    if not all(halves):
        return []
    out = []
    for front, width in ((True, straps.anterior_width_mm), (False, straps.posterior_width_mm)):
        y = np.mean([(max if front else min)(p[1] for p in half) for half in halves]) + (-0.3 if front else 0.3) * width
        reach = [max(abs(float(p[0])) for p in half) - 9.0 for half in halves]
        ends = np.array([[-reach[0], y], [reach[1], y]])
        out.append(sheet.path(ends, style.replace("0.35", "0.3") + f'stroke-width="{width * SCALE:.0f}" stroke-linejoin="round"'))
    return out


def _plate(sheet: Sheet, plate: PalatalPlate) -> list[str]:
    """One sheet from side to side, as far forward and back as what it joins; a complete one from behind the incisors."""
    sides = []
    for half, teeth in _reached(sheet).items():
        if not teeth:
            return []
        first, last = (1 if plate.complete else position(teeth[0])), position(teeth[-1])
        span = [t for t in order("upper") if side(t) == half and first <= position(t) <= last and t in sheet.places]
        sides.append([sheet.places[t] - _PALATE_MM * sheet.facial(t) for t in sorted(span, key=position)])
    corners = np.array([*sides[0][::-1], *sides[1]])
    points = " ".join(sheet.at(p) for p in corners)
    return [f'<polygon points="{points}" fill="{METAL}" fill-opacity="0.3" stroke="{METAL}" stroke-opacity="0.3" stroke-width="10"/>']
