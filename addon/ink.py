"""Drawing over a view, in pixels: letters, rings, lines, disks. Light with a dark edge, so that it shows on stone and on every theme."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import blf
import bpy
import gpu
from gpu_extras.batch import batch_for_shader

FONT = 0
Colour = tuple[float, float, float, float]
LIGHT: Colour = (1.0, 1.0, 1.0, 1.0)
DARK: Colour = (0.05, 0.05, 0.06, 0.85)
Spot = tuple[float, float]


def pixel() -> float:
    """Pixels that one pixel of a plain screen measures on this one."""
    context: Any = bpy.context
    return float(context.preferences.system.ui_scale)


def text(x: float, y: float, words: str, size: float, *, align: str = "CENTER", colour: Colour = LIGHT, firm: bool = True) -> float:
    """Letters at a place; gives their width in pixels. firm: with a dark edge"""
    blf.size(FONT, size)
    if firm:
        blf.enable(FONT, blf.SHADOW)
    blf.shadow(FONT, 5, 0.0, 0.0, 0.0, 1.0)
    width, _ = blf.dimensions(FONT, words)
    left = x - width / 2 if align == "CENTER" else x
    for _ in range(2 if firm else 1):  # the edge is soft; twice makes it firm
        blf.position(FONT, left, y, 0.0)
        blf.color(FONT, *colour)
        blf.draw(FONT, words)
    blf.disable(FONT, blf.SHADOW)
    return float(width)


def beside(x: float, y: float, lines: Sequence[str], size: float = 13.0) -> None:
    """Lines of words at the right of a place, where there is room, else at its left, on a dark ground; the first line is the reading."""
    if not lines:
        return
    k = pixel()
    height = (size + 5.0) * k
    blf.size(FONT, size * k)
    width = max(blf.dimensions(FONT, line)[0] for line in lines)
    wide, high = _room()
    y = min(max(y, height * len(lines)), high - 12 * k)
    left, low = x + 22 * k, y - height * len(lines) + 6 * k
    if left + width + 8 * k > wide:
        left = max(x - 22 * k - width, 8 * k)
    fill(
        [(left - 6 * k, low - 5 * k), (left + width + 6 * k, low - 5 * k), (left + width + 6 * k, y + 8 * k), (left - 6 * k, y + 8 * k)],
        DARK,
    )
    for n, line in enumerate(lines):
        text(left, y - height * (n + 1) + 12 * k, line, size * k, align="LEFT")


def _room() -> tuple[float, float]:
    """Pixels of the view's width that no side bar covers, and of its height that no header does."""
    context: Any = bpy.context
    region = context.region
    sides = (r for r in context.area.regions if r.type == "UI" and r.width > 1)
    heads = (r for r in context.area.regions if r.type in {"HEADER", "TOOL_HEADER"} and r.height > 1)
    wide = min([region.width, *(r.x - region.x for r in sides if r.x > region.x)])
    high = min([region.height, *(r.y - region.y for r in heads if r.y > region.y + 0.5 * region.height)])
    return float(wide), float(high)


def _draw(shape: str, points: Sequence[Spot], colour: Colour, width: float = 1.0) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.bind()
    gpu.state.blend_set("ALPHA")
    gpu.state.line_width_set(width)
    shader.uniform_float("color", colour)
    batch_for_shader(shader, shape, {"pos": [(x, y, 0.0) for x, y in points]}).draw(shader)
    gpu.state.line_width_set(1.0)
    gpu.state.blend_set("NONE")


def fill(corners: Sequence[Spot], colour: Colour) -> None:
    """A convex face."""
    _draw("TRI_FAN", corners, colour)


def line(points: Sequence[Spot], colour: Colour, width: float = 2.0) -> None:
    """A line through places, with a dark edge."""
    if len(points) > 1:
        _draw("LINE_STRIP", points, (*DARK[:3], colour[3]), (width + 2.5) * pixel())
        _draw("LINE_STRIP", points, colour, width * pixel())


def circle(x: float, y: float, radius: float) -> list[Spot]:
    """Places on a circle, closed."""
    turns = [2.0 * math.pi * k / 40 for k in range(41)]
    return [(x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns]


def ring(x: float, y: float, radius: float, colour: Colour, width: float = 2.0) -> None:
    """A circle."""
    line(circle(x, y, radius * pixel()), colour, width)


def knob(x: float, y: float, radius: float, colour: Colour, *, lit: bool = False) -> None:
    """A disk to take hold of; lit: the pointer is on it."""
    k = pixel()
    fill(circle(x, y, (radius + 1.8) * k), DARK)
    fill(circle(x, y, radius * k), LIGHT if lit else colour)
    if lit:
        fill(circle(x, y, 0.55 * radius * k), colour)
