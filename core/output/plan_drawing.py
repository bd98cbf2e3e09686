"""The arch from above, drawn from the measured crowns: what stands, what is replaced, and the planned parts as signs.

Viewer's right is +X of the cast frame. The signs are schematic; the framework itself is drawn in the report.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from ..case import IBar, LatticeBase, PalatalStraps, ReciprocalArm, RetentiveArm
from ..case.connectors import LOWER_CONNECTORS
from ..mesh import Floats
from ..planning import Design
from ..planning.support import nominal_positions
from ..teeth.numbering import order, side

SCALE = 7.0  # picture units a millimetre
_METAL, _INK, _FAINT, _LINE = "#2b3a55", "#333", "#777", "#7a1f3d"


class Sheet:
    """Coordinates of one drawing. outlines : (k, 2) mm by tooth; positions : middles of standing crowns, mm"""

    def __init__(self, design: Design, outlines: Mapping[int, Floats], positions: Mapping[int, Floats]) -> None:
        self.design = design
        self.outlines = {t: _rounded(line) for t, line in outlines.items()}
        self.middles = {t: np.asarray(p, dtype=float)[:2] for t, p in positions.items()}
        self.nominal = nominal_positions(design.arch)
        self.missing = self._missing()
        points = np.concatenate([*self.outlines.values(), *[np.atleast_2d(p) for p in self.missing.values()]])
        self.low, self.high = points.min(axis=0) - 9.0, points.max(axis=0) + [9.0, 7.0]
        self.size = (self.high - self.low) * SCALE

    def at(self, point: Floats) -> str:
        """Picture coordinates of a point, "x,y"."""
        return f"{(point[0] - self.low[0]) * SCALE:.1f},{(self.high[1] - point[1]) * SCALE:.1f}"

    def path(self, points: Floats, style: str) -> str:
        """An open polyline."""
        return f'<polyline points="{" ".join(self.at(p) for p in points)}" fill="none" stroke-linecap="round" {style}/>'

    def mesial(self, tooth: int) -> Floats:
        """(2,) unit vector toward the mesial side, along an average arch."""
        row = order(self.design.arch)
        k = row.index(tooth)
        step = self.nominal[row[min(k + 1, 15)]] - self.nominal[row[max(k - 1, 0)]]
        return np.asarray(step / np.linalg.norm(step) * (1.0 if side(tooth) < 0 else -1.0))

    def facial(self, tooth: int) -> Floats:
        """(2,) unit vector away from the tongue."""
        m = self.mesial(tooth)
        return np.array([m[1], -m[0]]) if side(tooth) > 0 else np.array([-m[1], m[0]])

    def rest_spot(self, tooth: int, where: str) -> Floats:
        """(2,) mm: inside the marginal ridge, or on the cingulum."""
        towards = -self.facial(tooth) if where not in ("mesial", "distal") else self.mesial(tooth) * (1.0 if where == "mesial" else -1.0)
        reach = float(((self.outlines[tooth] - self.middles[tooth]) @ towards).max())
        return np.asarray(self.middles[tooth] + towards * (0.62 if where else 0.5) * reach)

    def _missing(self) -> dict[int, Floats]:
        """Where missing teeth would stand: between the abutments, or on from the last one as on an average arch."""
        out: dict[int, Floats] = {}
        for space in self.design.classification.spaces:
            ends = [t for t in space.abutments if t in self.middles]
            if len(ends) == 2:
                plain = [self.nominal[t] for t in (ends[0], *space.teeth, ends[1])]
                steps = [float(np.linalg.norm(q - p)) for p, q in zip(plain, plain[1:], strict=False)]
                share = np.cumsum([0.0, *steps]) / sum(steps)
                a, b = self.middles[ends[0]], self.middles[ends[1]]
                out.update({t: a + s * (b - a) for t, s in zip(space.teeth, share[1:-1], strict=True)})
            elif ends:
                out.update({t: self.nominal[t] + self.middles[ends[0]] - self.nominal[ends[0]] for t in space.teeth})
        return out


def _rounded(line: Floats) -> Floats:
    """Outline without the dents that neighbours leave where they touch: its convex hull, corners cut twice."""
    try:
        line = line[ConvexHull(line).vertices]
    except QhullError:
        return line
    for _ in range(2):
        after = np.roll(line, -1, axis=0)
        line = np.stack([0.75 * line + 0.25 * after, 0.25 * line + 0.75 * after], axis=1).reshape(-1, 2)
    return line


def arch_svg(design: Design, outlines: Mapping[int, Floats], positions: Mapping[int, Floats]) -> str:
    """The drawing as one inline SVG. outlines : (k, 2) mm, by tooth; positions : (2,) or (3,) mm, by standing tooth."""
    sheet = Sheet(design, outlines, positions)
    width, height = sheet.size
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="arch drawing" '
        'style="display:block;margin:auto;max-width:34em;width:100%;font:15px sans-serif" stroke-linejoin="round">',
        *_connectors(sheet), *_bases(sheet), *_teeth(sheet), *_arms(sheet), *_rests(sheet), *_fulcrums(sheet), *_sides(sheet), "</svg>",
    ]  # fmt: skip
    return "".join(out)


def _teeth(sheet: Sheet) -> list[str]:
    out = []
    for tooth, line in sheet.outlines.items():
        out.append(f'<polygon points="{" ".join(sheet.at(p) for p in line)}" fill="#fbfaf6" stroke="{_INK}" stroke-width="1.5"/>')
        out.append(_word(sheet, sheet.middles[tooth] + 0.9 * sheet.facial(tooth), str(tooth), _INK))
    for tooth, middle in sheet.missing.items():
        x, y = sheet.at(middle).split(",")
        out.append(f'<circle cx="{x}" cy="{y}" r="{3.2 * SCALE:.0f}" fill="#fff" stroke="{_FAINT}" stroke-dasharray="5 4"/>')
        out.append(_word(sheet, middle, str(tooth), _FAINT))
    return out


def _bases(sheet: Sheet) -> list[str]:
    out = []
    for base in sheet.design.all(LatticeBase):
        points = [sheet.missing[t] for t in order(sheet.design.arch) if t in base.teeth and t in sheet.missing]
        if points:
            line = np.array(points if len(points) > 1 else [points[0] - [0.0, 0.01], points[0]])
            out.append(sheet.path(line, f'stroke="{_METAL}" stroke-opacity="0.18" stroke-width="{8.5 * SCALE:.0f}"'))
    return out


def _arms(sheet: Sheet) -> list[str]:
    out = []
    for arm in sheet.design.case.components:
        if isinstance(arm, IBar) and arm.tooth in sheet.outlines:
            out.append(_bar_clasp(sheet, arm))
        elif isinstance(arm, RetentiveArm | ReciprocalArm) and arm.tooth in sheet.outlines:
            heavy = isinstance(arm, RetentiveArm)
            style = f'stroke="{_METAL}" stroke-width="{5 if heavy else 2.5}"' + ("" if heavy else ' stroke-dasharray="1 5"')
            out.append(sheet.path(_around(sheet, arm.tooth, arm.origin, arm.face, arm.reach_deg), style))
    return out


def _around(sheet: Sheet, tooth: int, origin: str, face: str, reach_deg: float) -> Floats:
    """(k, 2) a line a little outside the crown, from one proximal side round over a face."""
    start = sheet.mesial(tooth) * (1.0 if origin == "mesial" else -1.0)
    over = sheet.facial(tooth) * (1.0 if face == "facial" else -1.0)
    angles = np.radians(np.linspace(8.0, 8.0 + reach_deg, 30))
    rays = np.cos(angles)[:, None] * start + np.sin(angles)[:, None] * over
    rel = sheet.outlines[tooth] - sheet.middles[tooth]
    bearing = np.arctan2(rel[:, 1], rel[:, 0])
    k = np.argsort(bearing)
    reach = np.interp(np.arctan2(rays[:, 1], rays[:, 0]), bearing[k], np.hypot(rel[k, 0], rel[k, 1]), period=2 * np.pi)
    return np.asarray(sheet.middles[tooth] + rays * (reach + 0.7)[:, None])


def _bar_clasp(sheet: Sheet, bar: IBar) -> str:
    facial, distal = sheet.facial(bar.tooth), -sheet.mesial(bar.tooth)
    edge = sheet.middles[bar.tooth] + facial * float(((sheet.outlines[bar.tooth] - sheet.middles[bar.tooth]) @ facial).max())
    points = np.array([edge + 0.3 * facial, edge + 3.0 * facial, edge + 3.6 * facial + 2.0 * distal, edge + 2.0 * facial + 7.0 * distal])
    return sheet.path(points, f'stroke="{_METAL}" stroke-width="5"')


def _rests(sheet: Sheet) -> list[str]:
    out = []
    for rest in sheet.design.rests:
        if rest.tooth in sheet.outlines:
            x, y = sheet.at(sheet.rest_spot(rest.tooth, getattr(rest, "side", ""))).split(",")
            out.append(f'<circle cx="{x}" cy="{y}" r="8" fill="{_METAL}" stroke="#fff" stroke-width="1.5"/>')
    return out


def _connectors(sheet: Sheet) -> list[str]:
    style = f'stroke="{_METAL}" stroke-opacity="0.35" '
    row = order(sheet.design.arch)
    places = {**sheet.middles, **sheet.missing}
    out = []
    for bar in (c for c in sheet.design.connectors if isinstance(c, LOWER_CONNECTORS)):
        low, high = sorted((row.index(bar.start), row.index(bar.end)))
        span = [t for t in row[max(low - 1, 0) : high + 2] if t in places]
        if len(span) > 2:
            away, width = {"lingual_plate": (6.0, 5.0), "labial_bar": (-7.5, 2.2), "continuous_bar": (4.5, 1.6)}.get(bar.kind, (7.5, 2.2))
            out.append(sheet.path(_inside(np.array([places[t] for t in span]), away), style + f'stroke-width="{width * SCALE:.0f}"'))
    for straps in sheet.design.all(PalatalStraps):
        out += _straps(sheet, straps, places, style)
    return out


def _inside(line: Floats, distance_mm: float = 7.5) -> Floats:
    """(k, 2) a calm curve on the tongue's side of the crowns' middles."""
    share = np.linspace(-1.0, 1.0, len(line))
    fine = np.linspace(-1.0, 1.0, 40)
    curve = np.stack([np.polyval(np.polyfit(share, line[:, a], min(4, len(line) - 1)), fine) for a in range(2)], axis=1)
    along = np.gradient(curve, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    return np.asarray(curve + distance_mm * normal)


def _straps(sheet: Sheet, straps: PalatalStraps, places: Mapping[int, Floats], style: str) -> list[str]:
    """Front and back strap as bands, from the foremost and the rearmost tooth that the bases reach."""
    design = sheet.design
    reached = [t for s in design.classification.spaces for t in (*s.teeth, *s.abutments) if t in places]
    halves = [[places[t] for t in reached if side(t) == sign] for sign in (-1, 1)]
    if not all(halves):
        return []
    out = []
    for front, width in ((True, straps.anterior_width_mm), (False, straps.posterior_width_mm)):
        y = np.mean([(max if front else min)(p[1] for p in half) for half in halves]) + (-0.3 if front else 0.3) * width
        reach = [max(abs(float(p[0])) for p in half) - 9.0 for half in halves]
        ends = np.array([[-reach[0], y], [reach[1], y]])
        out.append(sheet.path(ends, style.replace("0.35", "0.3") + f'stroke-width="{width * SCALE:.0f}" stroke-linejoin="round"'))
    return out


def _fulcrums(sheet: Sheet) -> list[str]:
    out = []
    for line in sheet.design.fulcrums:
        rests = {r.tooth: getattr(r, "side", "") for r in sheet.design.rests}
        ends = [sheet.rest_spot(t, rests[t]) for t in (line.first, line.second) if t in sheet.outlines]
        if len(ends) == 2:
            beyond = 0.12 * (ends[1] - ends[0])
            points = np.array([ends[0] - beyond, ends[1] + beyond])
            out.append(sheet.path(points, f'stroke="{_LINE}" stroke-width="2.5" stroke-dasharray="12 5 2 5"'))
    return out


def _sides(sheet: Sheet) -> list[str]:
    left, right = ("Left", "Right") if sheet.design.arch == "lower" else ("Right", "Left")
    width, height = sheet.size
    return [
        f'<text x="6" y="{height - 8:.0f}" fill="{_INK}">{left} of the patient</text>',
        f'<text x="{width - 6:.0f}" y="{height - 8:.0f}" text-anchor="end" fill="{_INK}">{right} of the patient</text>',
    ]


def _word(sheet: Sheet, place: Floats, text: str, colour: str) -> str:
    x, y = sheet.at(place).split(",")
    return f'<text x="{x}" y="{y}" text-anchor="middle" dominant-baseline="middle" fill="{colour}">{escape(text)}</text>'
