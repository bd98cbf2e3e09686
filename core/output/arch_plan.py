"""The arch drawing of the prescription: an SVG at twice life size, made from the real geometry and readable without colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

import manifold3d
import numpy as np

from ..mesh import Floats, Ints, Mesh
from .simplify import simplify

SCALE = 2.0
MOST_FACES = 40_000
EDGE_MM = 5.0
# Kind of part: its fill. Grey steps, hatches and black differ in print and for every eye.
FILLS = {
    "major connector": "#c9ccd1",
    "minor connectors": "#8f949c",
    "bases": "url(#net)",
    "plates": "url(#lines)",
    "clasp arms": "#4a4e56",
    "rests": "#111",
}
LEGEND_WIDTH = 46.0


@dataclass(frozen=True, eq=False)
class ArchPlan:
    """What is drawn, all in the cast frame, mm.

    axes : (2, 3) unit vectors to the right and forward, square to the path
    margins : gingival margin (k, 3) of each tooth; contours : height of contour, (k, 3) each, closed or open
    metal : the framework; groups, group_of : names of its parts and the part of each vertex
    tips : place (3,) and words of each retentive tip; tripod : marks; missing : FDI number and place (3,) of teeth that a base carries
    taken_out : gingival margin (k, 3) of each tooth to be taken out
    """

    arch: str
    axes: Floats
    margins: Mapping[int, Floats]
    contours: Sequence[tuple[Floats, bool]]
    metal: Mesh
    groups: Sequence[str]
    group_of: Ints
    tips: Sequence[tuple[Floats, str]] = ()
    tripod: Sequence[Floats] = ()
    missing: Sequence[tuple[int, Floats]] = field(default_factory=tuple)
    taken_out: Mapping[int, Floats] = field(default_factory=dict)


def arch_plan_svg(plan: ArchPlan) -> str:
    """The drawing as one <svg> element, seen along the path with the front of the arch up."""
    outlines = np.concatenate([*plan.margins.values(), *plan.taken_out.values(), plan.metal.vertices]) @ plan.axes.T
    low, high = outlines.min(axis=0) - EDGE_MM, outlines.max(axis=0) + EDGE_MM
    width, height = (high - low) * SCALE
    page = _Page(plan.axes, low, high)
    body = [page.path([m], True, 'fill="#fff" stroke="#666" stroke-width=".35"') for m in plan.margins.values()]
    body += [page.crossed(str(fdi), margin) for fdi, margin in plan.taken_out.items()]
    for name, loops in _silhouettes(plan).items():
        body.append(page.flat_path(loops, f'fill="{FILLS.get(name, "#c9ccd1")}" fill-rule="evenodd" stroke="#111" stroke-width=".4"'))
    for points, closed in plan.contours:
        body.append(page.path([points], closed, 'fill="none" stroke="#8a2a10" stroke-width=".45" stroke-dasharray="1.6 .9"'))
    body += [page.number(str(fdi), margin.mean(axis=0)) for fdi, margin in plan.margins.items()]
    body += [page.number(f"({fdi})", at, "#555") for fdi, at in plan.missing]
    body += [page.tip(at, words) for at, words in plan.tips]
    body += [page.tripod(k, at) for k, at in enumerate(plan.tripod, 1)]
    right, left = ("R", "L") if plan.arch == "lower" else ("L", "R")  # +X is the patient's right on a lower cast, the left on an upper one
    body.append(f'<text x="{width - 3:.1f}" y="{height / 2:.1f}" class="side">{right}</text>')
    body.append(f'<text x="3" y="{height / 2:.1f}" class="side">{left}</text>')
    return (
        f'<svg class="arch" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width + LEGEND_WIDTH:.1f} {height:.1f}" '
        f'style="width:{width + LEGEND_WIDTH:.1f}mm;max-width:100%;height:auto" role="img" aria-label="Arch drawing seen along the path">\n'
        f"{_DEFS}\n" + "\n".join(body) + "\n" + _legend(plan, width, height) + "\n</svg>"
    )


_DEFS = (
    '<defs><pattern id="net" width="1.5" height="1.5" patternUnits="userSpaceOnUse"><rect width="1.5" height="1.5" fill="#fff"/>'
    '<path d="M0 0L1.5 1.5M1.5 0L0 1.5" stroke="#111" stroke-width=".22"/></pattern>'
    '<pattern id="lines" width="1.1" height="1.1" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="1.1" height="1.1" fill="#fff"/><path d="M.3 0V1.1" stroke="#111" stroke-width=".45"/></pattern></defs>'
    # Rules of a style sheet inside a drawing reach the whole page, so each names the drawing.
    "<style>.arch text{font:3.4px sans-serif;text-anchor:middle;dominant-baseline:central;paint-order:stroke;stroke:#fff;"
    "stroke-width:1.3px;fill:#111}.arch .side{font-weight:700;font-size:5px}.arch .key{text-anchor:start;font-size:3px;stroke:none}</style>"
)


class _Page:
    """From the cast frame to the drawing: mm on paper, y down."""

    def __init__(self, axes: Floats, low: Floats, high: Floats) -> None:
        self.axes, self.low, self.high = axes, low, high

    def flat(self, points: Floats) -> Floats:
        plan = np.atleast_2d(points) @ self.axes.T
        return np.column_stack([plan[:, 0] - self.low[0], self.high[1] - plan[:, 1]]) * SCALE

    def path(self, loops: Sequence[Floats], closed: bool, style: str) -> str:
        return _path([self.flat(loop) for loop in loops], closed, style)

    def flat_path(self, loops: Sequence[Floats], style: str) -> str:
        """Loops (k, 2) already in the plane of the drawing."""
        return _path([np.column_stack([p[:, 0] - self.low[0], self.high[1] - p[:, 1]]) * SCALE for p in loops], True, style)

    def number(self, words: str, at: Floats, colour: str = "#111") -> str:
        x, y = self.flat(at)[0]
        return f'<text x="{x:.2f}" y="{y:.2f}" fill="{colour}">{escape(words)}</text>'

    def crossed(self, words: str, margin: Floats) -> str:
        """A tooth to be taken out: its outline dashed, its number, a cross over both."""
        points = self.flat(margin)
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        outline = _path([points], True, 'fill="#fff" stroke="#666" stroke-width=".35" stroke-dasharray="1 .8"')
        cross = f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}M{x1:.2f} {y0:.2f}L{x0:.2f} {y1:.2f}" stroke="#111" stroke-width=".7"/>'
        return outline + self.number(words, margin.mean(axis=0), "#555") + cross

    def tip(self, at: Floats, words: str) -> str:
        """A triangle that points at the tip, away from the middle of the arch, and its gauge beside it."""
        x, y = self.flat(at)[0]
        middle = self.flat(np.zeros(3))[0] * [1, 0] + [0, (self.high[1] - self.low[1]) * SCALE * 0.6]
        away = np.array([x, y]) - middle
        away /= max(float(np.linalg.norm(away)), 1e-9)
        side = np.array([-away[1], away[0]])
        a, b = np.array([x, y]) + away * 3.4 + 1.3 * side, np.array([x, y]) + away * 3.4 - 1.3 * side
        tx, ty = np.array([x, y]) + away * 6.2
        return (
            f'<path d="M{x:.2f} {y:.2f}L{a[0]:.2f} {a[1]:.2f}L{b[0]:.2f} {b[1]:.2f}Z" fill="#111" stroke="#fff" stroke-width=".3"/>'
            f'<text x="{tx:.2f}" y="{ty:.2f}" style="font-size:2.8px">{escape(words)}</text>'
        )

    def tripod(self, number: int, at: Floats) -> str:
        x, y = self.flat(at)[0]
        return (
            f'<g stroke="#111" stroke-width=".4" fill="none"><circle cx="{x:.2f}" cy="{y:.2f}" r="1.7"/>'
            f'<path d="M{x - 2.6:.2f} {y:.2f}h5.2M{x:.2f} {y - 2.6:.2f}v5.2"/></g><text x="{x + 3.6:.2f}" y="{y:.2f}">{number}</text>'
        )


def _path(loops: Sequence[Floats], closed: bool, style: str) -> str:
    ends = "Z" if closed else ""
    moves = "".join("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in loop) + ends for loop in loops if len(loop) > 1)
    return f'<path d="{moves}" {style}/>'


def _silhouettes(plan: ArchPlan) -> dict[str, list[Floats]]:
    """Outlines (k, 2) of each kind of part in the plane of the drawing; small parts last, so that they lie on top."""
    small = simplify(plan.metal, MOST_FACES)
    kept = small.origin >= 0
    label = np.zeros(len(small.mesh.vertices), dtype=np.int64)
    label[small.origin[kept]] = plan.group_of[kept]
    face_label = label[small.mesh.faces].max(axis=1)
    flat = small.mesh.vertices @ plan.axes.T
    corners = flat[small.mesh.faces]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    upward = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] > 1e-6
    found = {}
    for name in [n for n in FILLS if n in plan.groups]:
        mine = upward & (face_label == list(plan.groups).index(name))
        if not mine.any():
            continue
        section = manifold3d.CrossSection(list(corners[mine]), manifold3d.FillRule.NonZero)
        # Fine gaps between simplified faces are closed, and specks dropped.
        section = section.offset(0.12, manifold3d.JoinType.Round).offset(-0.12, manifold3d.JoinType.Round).simplify(0.04)
        found[name] = [loop for loop in map(np.asarray, section.to_polygons()) if _area(loop) > 0.05]
    return found


def _area(loop: Floats) -> float:
    """mm2 inside a closed polygon (k, 2)."""
    after = np.roll(loop, -1, axis=0)
    return 0.5 * abs(float(np.sum(loop[:, 0] * after[:, 1] - loop[:, 1] * after[:, 0])))


def _legend(plan: ArchPlan, left: float, height: float) -> str:
    rows = [n for n in FILLS if n in plan.groups and (plan.group_of == list(plan.groups).index(n)).any()]
    x, y, lines = left + 2.0, 4.0, []
    for name in rows:
        lines.append(f'<rect x="{x:.1f}" y="{y:.1f}" width="6" height="3.6" fill="{FILLS[name]}" stroke="#111" stroke-width=".3"/>')
        lines.append(f'<text x="{x + 8:.1f}" y="{y + 1.9:.1f}" class="key">{escape(name)}</text>')
        y += 6.0
    lines.append(f'<path d="M{x:.1f} {y + 1.8:.1f}h6" stroke="#8a2a10" stroke-width=".45" stroke-dasharray="1.6 .9"/>')
    lines.append(f'<text x="{x + 8:.1f}" y="{y + 1.9:.1f}" class="key">height of contour</text>')
    y += 6.0
    if plan.tips:
        lines.append(f'<path d="M{x + 1:.1f} {y + 1.8:.1f}l3 -1v2z" fill="#111"/>')
        lines.append(f'<text x="{x + 8:.1f}" y="{y + 1.9:.1f}" class="key">tip, undercut in mm</text>')
        y += 6.0
    if len(plan.tripod):
        lines.append(f'<g stroke="#111" stroke-width=".35" fill="none"><circle cx="{x + 3:.1f}" cy="{y + 1.8:.1f}" r="1.5"/>')
        lines.append(f'<path d="M{x + 0.6:.1f} {y + 1.8:.1f}h4.8M{x + 3:.1f} {y - 0.6:.1f}v4.8"/></g>')
        lines.append(f'<text x="{x + 8:.1f}" y="{y + 1.9:.1f}" class="key">tripod mark</text>')
        y += 6.0
    if plan.missing:
        lines.append(f'<text x="{x:.1f}" y="{y + 1.9:.1f}" class="key">(35) tooth on a base</text>'.replace("35", str(plan.missing[0][0])))
        y += 6.0
    if plan.taken_out:
        lines.append(f'<path d="M{x + 1:.1f} {y:.1f}l4 3.6m0 -3.6l-4 3.6" stroke="#111" stroke-width=".6"/>')
        lines.append(f'<text x="{x + 8:.1f}" y="{y + 1.9:.1f}" class="key">to be taken out</text>')
        y += 6.0
    bar = height - 8.0
    lines.append(f'<path d="M{x:.1f} {bar - 1:.1f}v2m0 -1h{10 * SCALE:.1f}m0 -1v2" stroke="#111" stroke-width=".4" fill="none"/>')
    lines.append(f'<text x="{x:.1f}" y="{bar + 4:.1f}" class="key">10 mm (drawn 2 : 1)</text>')
    return "\n".join(lines)
