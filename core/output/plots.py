"""Plots of the mechanics as inline SVG: drawn with lines, hatching and words, so that they read in black and white and in print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

import numpy as np

from ..mechanics.case import CaseMechanics
from ..mechanics.clasps import ClaspResult
from ..mechanics.retention import WANTED_PER_SIDE_N
from ..mesh import Floats, Ints

INK, SOFT, LINE, BAND = "#14171c", "#565d68", "#b9bfc8", "#dfe3e7"
# Stress as a share of the allowable: pale to dark, so that the order shows without colour; what passes the limit changes hue as well.
STEPS = (0.25, 0.5, 0.75, 1.0, 1.5)
FILLS = ("#eef3ee", "#cfe2d6", "#9fc4cc", "#6f9cbf", "#8f3f22", "#3d1119")
FONT = 'font-family="inherit" '


def svg(width: float, height: float, body: Sequence[str], title: str) -> str:
    """A drawing of width x height units that fills its place; `title` is read out instead of it."""
    return (
        f'<svg class="plot" role="img" viewBox="0 0 {width:g} {height:g}" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{escape(title)}</title>{''.join(body)}</svg>"
    )


def words(
    x: float, y: float, text: str, *, size: float = 9, anchor: str = "start", colour: str = INK, bold: bool = False, halo: bool = False
) -> str:
    """Text with its baseline at (x, y). halo : a white rim, where lines run under it"""
    weight = ' font-weight="600"' if bold else ""
    weight += ' stroke="#ffffff" stroke-width="2.4" stroke-linejoin="round" paint-order="stroke"' if halo else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" {FONT}font-size="{size:g}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(text)}</text>'


def path(points: Floats, *, stroke: str = INK, width: float = 1.0, fill: str = "none", dash: str = "", closed: bool = False) -> str:
    """A polyline or polygon through (k, 2) points."""
    steps = " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="M{steps}{"Z" if closed else ""}" fill="{fill}" stroke="{stroke}" stroke-width="{width:g}"{dashed}/>'


def round_up(value: float) -> float:
    """The next 1, 2 or 5 times a power of ten, as the end of an axis."""
    if value <= 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(step * power for step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if step * power >= value * 0.999))


def ticks(end: float) -> list[float]:
    """Round values from 0 to `end`, four to seven of them."""
    power = float(10.0 ** np.floor(np.log10(end)))
    step = next(s * power for s in (0.1, 0.2, 0.5, 1.0, 2.0) if end / (s * power) <= 6.001)
    return [round(k * step, 12) for k in range(int(end / step + 1e-6) + 1)]


class Axes:
    """A rectangle with x and y scales from 0; drawn into `body`."""

    def __init__(self, box: tuple[float, float, float, float], x_end: float, y_end: float) -> None:
        self.left, self.top, self.right, self.bottom = box
        self.x_end, self.y_end = x_end, y_end
        self.body: list[str] = []

    def at(self, x: Floats | float, y: Floats | float) -> Floats:
        """(k, 2) places on the drawing; values beyond the scales are cut off."""
        a = self.left + np.clip(np.asarray(x, dtype=float) / self.x_end, 0, 1) * (self.right - self.left)
        b = self.bottom - np.clip(np.asarray(y, dtype=float) / self.y_end, 0, 1) * (self.bottom - self.top)
        return np.stack(np.broadcast_arrays(np.atleast_1d(a), np.atleast_1d(b)), axis=1)

    def frame(self, x_name: str, y_name: str) -> None:
        """Axis lines, ticks and names."""
        self.body.append(path(np.array([[self.left, self.top], [self.left, self.bottom], [self.right, self.bottom]]), width=0.8))
        for x in ticks(self.x_end):
            px = self.at(x, 0)[0, 0]
            self.body.append(path(np.array([[px, self.bottom], [px, self.bottom + 3]]), width=0.8))
            self.body.append(words(px, self.bottom + 12, f"{x:g}", size=8, anchor="middle"))
        for y in ticks(self.y_end):
            py = self.at(0, y)[0, 1]
            self.body.append(path(np.array([[self.left - 3, py], [self.left, py]]), width=0.8))
            self.body.append(words(self.left - 5, py + 3, f"{y:g}", size=8, anchor="end"))
        self.body.append(words(self.right, self.bottom + 24, x_name, size=8, anchor="end", colour=SOFT))
        self.body.append(words(self.left - 22, self.top - 6, y_name, size=8, colour=SOFT))


def force_travel_plot(clasp: ClaspResult, wanted: tuple[float, float], top_n: float | None = None) -> str:
    """Pull over travel of one clasp: the band, the likely line, and the pull that is wanted of a clasp."""
    axes = Axes((34, 34, 312, 168), round_up(float(clasp.travel[-1])), top_n or round_up(float(clasp.pull.max())))
    low, high = axes.at(0, wanted[0])[0, 1], axes.at(0, min(wanted[1], axes.y_end))[0, 1]
    box = f'x="{axes.left}" y="{high:.1f}" width="{axes.right - axes.left}" height="{low - high:.1f}"'
    axes.body.append(f'<rect {box} fill="url(#wanted)" stroke="none"/>')
    t = clasp.travel
    edges = [path(axes.at(np.array([0.0, axes.x_end]), w), stroke=SOFT, width=0.7) for w in wanted if w <= axes.y_end]
    around = np.vstack([axes.at(t, clasp.pull[0]), axes.at(t, clasp.pull[2])[::-1]])
    axes.body.append(path(around, fill=BAND, stroke="none", closed=True))
    for row, name in ((0, "low"), (2, "high")):
        axes.body.append(path(axes.at(t, clasp.pull[row]), dash="3 2", width=0.9))
        k = int(clasp.pull[row].argmax())
        x, y = axes.at(t[k], clasp.pull[row, k])[0]
        axes.body.append(words(x, y - 3 if row == 2 else y + 10, f"{name} {clasp.pull[row, k]:.1f} N", size=8, anchor="middle", halo=True))
    axes.body += [*edges, path(axes.at(t, clasp.pull[1]), width=2.0)]
    axes.body.append(words(axes.right - 2, axes.at(0, min(wanted[1], axes.y_end))[0, 1] + 9, "wanted", size=8, anchor="end", colour=SOFT))
    x, y = axes.at(clasp.peak_travel_mm, clasp.peak.likely)[0]
    axes.body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{INK}"/>')
    axes.body.append(words(x + 5, y - 5, f"likely {clasp.peak.likely:.1f} N", size=9, bold=True, halo=True))
    axes.frame("travel from the seat, mm", "pull, N")
    hatch = (
        '<defs><pattern id="wanted" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<line x1="0" y1="0" x2="0" y2="6" stroke="{LINE}" stroke-width="1"/></pattern></defs>'
    )
    head = words(8, 13, f"{clasp.id}, tooth {clasp.tooth}", bold=True, size=10)
    return svg(320, 200, [hatch, head, *axes.body], f"Pull over travel of {clasp.id}: peak {clasp.peak}")


def stress_class(share: Floats) -> Ints:
    """Index into FILLS for each stress over the allowable (k,)."""
    return np.searchsorted(STEPS, share, side="left")


def arm_stress_plot(clasp: ClaspResult) -> str:
    """Stress over the distance from the rigid part to the tip: band, likely line, allowable and lowest proof stress."""
    proof, allowable = clasp.material.proof.low, clasp.allowable_mpa
    axes = Axes((40, 34, 312, 168), round_up(float(clasp.station[-1])), round_up(1.05 * max(float(clasp.along_band.max()), proof)))
    x = clasp.station
    around = np.vstack([axes.at(x, clasp.along_band[0]), axes.at(x, clasp.along_band[1])[::-1]])
    axes.body.append(path(around, fill=BAND, stroke="none", closed=True))
    axes.body += [path(axes.at(x, row), dash="3 2", width=0.9) for row in clasp.along_band]
    span = np.array([0.0, axes.x_end])
    for value, name, dash in ((allowable, "allowable", ""), (proof, "proof stress, lowest", "7 3")):
        axes.body.append(path(axes.at(span, value), stroke=INK, width=1.1, dash=dash))
        axes.body.append(words(axes.right - 2, axes.at(0, value)[0, 1] - 3, f"{name} {value:.0f}", size=8, anchor="end", colour=SOFT))
    axes.body.append(path(axes.at(x, clasp.along), width=2.0))
    k = int(clasp.along.argmax())
    a, b = axes.at(x[k], clasp.along[k])[0]
    axes.body.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="3" fill="{INK}"/>')
    over = float(axes.at(0, clasp.along_band.max())[0, 1])  # above the band, where no line of its own runs
    anchor = "end" if a > axes.right - 90 else "start"
    axes.body.append(words(a, over - 4, f"likely {clasp.along[k]:.0f} MPa", bold=True, anchor=anchor, halo=True))
    axes.frame("from the rigid part to the tip, mm", "stress, MPa")
    head = words(8, 13, f"{clasp.id}, tooth {clasp.tooth}", bold=True, size=10)
    return svg(320, 200, [head, *axes.body], f"Stress along {clasp.id}: greatest {clasp.stress}")


def balance_plot(found: CaseMechanics, margins: Mapping[int, Floats], arch: str) -> str:
    """The arch from above with every clasp's pull, the line the bases turn about, and both sides' sums against what is wanted."""
    outlines = {fdi: np.asarray(m)[:, :2] for fdi, m in margins.items()}
    every = np.vstack([*outlines.values(), *[np.array([p[:2]]) for p in found.places.values()]])
    low, high = every.min(axis=0) - 6.0, every.max(axis=0) + 3.0
    scale = min(420.0 / (high[0] - low[0]), 300.0 / (high[1] - low[1]))
    shift = 0.5 * (640 - (high[0] - low[0]) * scale)

    def put(points: Floats) -> Floats:
        flat = np.atleast_2d(points)[:, :2]
        return np.column_stack([shift + (flat[:, 0] - low[0]) * scale, 10 + (high[1] - flat[:, 1]) * scale])

    body = []
    for fdi, outline in outlines.items():
        drawn = put(outline)
        middle = drawn.mean(axis=0)
        body += [path(drawn, fill="#ffffff", width=0.9, closed=True), words(middle[0], middle[1] + 3, str(fdi), size=8.5, anchor="middle")]
    if found.fulcrum is not None:
        a, b = put(np.array(found.fulcrum))
        beyond = 0.08 * (b - a)
        body.append(path(np.array([a - beyond, b + beyond]), dash="7 4", width=1.2))
        body.append(words(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]) - 5, "line the bases turn about", size=8, anchor="middle", colour=SOFT))
    for clasp in found.clasps:
        x, y = put(np.array(found.places[clasp.id]))[0]
        left = x < 320
        radius = 4.2 * np.sqrt(clasp.peak.likely)
        body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{INK}" fill-opacity="0.28" stroke="{INK}"/>')
        tx = x - 16 if left else x + 16
        anchor = "end" if left else "start"
        body.append(words(tx, y - 2, f"{clasp.peak.likely:.1f} N", bold=True, anchor=anchor))
        body.append(words(tx, y + 9, f"{clasp.peak.low:.1f} to {clasp.peak.high:.0f}", size=8, anchor=anchor))
    bottom = 10 + (high[1] - low[1]) * scale
    viewer_left = ("left", found.balance.left) if arch == "lower" else ("right", found.balance.right)
    viewer_right = ("right", found.balance.right) if arch == "lower" else ("left", found.balance.left)
    for (name, total), x0 in ((viewer_left, 20.0), (viewer_right, 350.0)):
        body += _side_bar(name, total.low, total.likely, total.high, x0, bottom + 12)
    return svg(640, bottom + 62, body, f"Balance: right {found.balance.right}, left {found.balance.left}")


def _side_bar(name: str, low: float, likely: float, high: float, x0: float, y0: float) -> list[str]:
    """One side's sum on a scale to 20 N, with the wanted range marked."""
    full = 20.0
    width = 270.0

    def x(value: float) -> float:
        return x0 + width * min(value, full) / full

    a, b = WANTED_PER_SIDE_N
    return [
        words(x0, y0, f"Patient's {name}: {likely:.1f} N ({low:.1f} to {high:.0f})", bold=True),
        f'<rect x="{x(a):.1f}" y="{y0 + 6:.1f}" width="{x(b) - x(a):.1f}" height="16" fill="none" stroke="{INK}" stroke-width="1.2"/>',
        f'<rect x="{x(low):.1f}" y="{y0 + 10:.1f}" width="{x(high) - x(low):.1f}" height="8" fill="{LINE}"/>',
        path(np.array([[x(likely), y0 + 6], [x(likely), y0 + 22]]), width=3),
        path(np.array([[x0, y0 + 25], [x0 + width, y0 + 25]]), width=0.8),
        *(words(x(v), y0 + 35, f"{v:g} N" if v == full else f"{v:g}", size=8, anchor="middle") for v in (0.0, a, b, 10.0, 15.0, full)),
    ]
