"""The arch from above, drawn from the measured crowns: what stands, what is replaced, and the planned parts as signs.

The signs are schematic; the framework itself is drawn in the report.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import numpy as np

from ..mesh import Floats
from ..planning import Design
from .plan_parts import arms, bases, connectors, struts
from .plan_sheet import FAINT, INK, LINE, METAL, SCALE, Sheet


def arch_svg(
    design: Design, outlines: Mapping[int, Floats], positions: Mapping[int, Floats], taken_out: Mapping[int, Floats] | None = None
) -> str:
    """The drawing as one inline SVG. outlines : (k, 2) mm, by tooth; positions : (2,) or (3,) mm, by standing tooth

    taken_out : (k, 2) mm, outlines of the teeth to be taken out, which are crossed out
    """
    sheet = Sheet(design, outlines, positions, taken_out or {})
    width, height = sheet.size
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="arch drawing" '
        'style="display:block;margin:auto;max-width:34em;width:100%;font:15px sans-serif" stroke-linejoin="round">',
        *connectors(sheet), *bases(sheet), *_teeth(sheet), *_taken_out(sheet), *struts(sheet), *arms(sheet),
        *_rests(sheet), *_fulcrums(sheet), *_sides(sheet), "</svg>",
    ]  # fmt: skip
    return "".join(out)


def _teeth(sheet: Sheet) -> list[str]:
    out = []
    for tooth, line in sheet.outlines.items():
        out.append(f'<polygon points="{" ".join(sheet.at(p) for p in line)}" fill="#fbfaf6" stroke="{INK}" stroke-width="1.5"/>')
        out.append(_word(sheet, sheet.middles[tooth] + 0.9 * sheet.facial(tooth), str(tooth), INK))
    for tooth, middle in sheet.missing.items():
        if tooth in sheet.taken_out:
            continue
        x, y = sheet.at(middle).split(",")
        out.append(f'<circle cx="{x}" cy="{y}" r="{3.2 * SCALE:.0f}" fill="#fff" stroke="{FAINT}" stroke-dasharray="5 4"/>')
        out.append(_word(sheet, middle, str(tooth), FAINT))
    return out


def _taken_out(sheet: Sheet) -> list[str]:
    """Outline and number, crossed out."""
    out = []
    for tooth, line in sheet.taken_out.items():
        middle, half = line.mean(axis=0), 0.5 * np.ptp(line, axis=0)
        out.append(f'<polygon points="{" ".join(sheet.at(p) for p in line)}" fill="#fff" stroke="{FAINT}" stroke-dasharray="5 4"/>')
        out.append(_word(sheet, middle, str(tooth), FAINT))
        for sign in (1.0, -1.0):
            ends = np.array([middle - half * [1.0, sign], middle + half * [1.0, sign]])
            out.append(sheet.path(ends, f'stroke="{INK}" stroke-width="2.5"'))
    return out


def _rests(sheet: Sheet) -> list[str]:
    out = []
    for rest in sheet.design.rests:
        if rest.tooth in sheet.outlines:
            x, y = sheet.at(sheet.rest_spot(rest.tooth, getattr(rest, "side", ""))).split(",")
            out.append(f'<circle cx="{x}" cy="{y}" r="8" fill="{METAL}" stroke="#fff" stroke-width="1.5"/>')
    return out


def _fulcrums(sheet: Sheet) -> list[str]:
    out = []
    for line in sheet.design.fulcrums:
        rests = {r.tooth: getattr(r, "side", "") for r in sheet.design.rests}
        ends = [sheet.rest_spot(t, rests[t]) for t in (line.first, line.second) if t in sheet.outlines]
        if len(ends) == 2:
            beyond = 0.12 * (ends[1] - ends[0])
            points = np.array([ends[0] - beyond, ends[1] + beyond])
            out.append(sheet.path(points, f'stroke="{LINE}" stroke-width="2.5" stroke-dasharray="12 5 2 5"'))
    return out


def _sides(sheet: Sheet) -> list[str]:
    left, right = ("Left", "Right") if sheet.design.arch == "lower" else ("Right", "Left")
    width, height = sheet.size
    return [
        f'<text x="6" y="{height - 8:.0f}" fill="{INK}">{left} of the patient</text>',
        f'<text x="{width - 6:.0f}" y="{height - 8:.0f}" text-anchor="end" fill="{INK}">{right} of the patient</text>',
    ]


def _word(sheet: Sheet, place: Floats, text: str, colour: str) -> str:
    x, y = sheet.at(place).split(",")
    return f'<text x="{x}" y="{y}" text-anchor="middle" dominant-baseline="middle" fill="{colour}">{escape(text)}</text>'
