"""The framework going on: frames of it along the path from clear to seated, as a moving picture and as a strip for paper.

Without perspective a lift along the path is a plain shift in the picture, so metal and stone are each drawn once and laid over one
another by their distance to the eye.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from PIL import Image

from ..mesh import Floats, Mesh
from .camera import look
from .drawing import side_by_side, text
from .palette import INK
from .plots import LINE, Axes, path, round_up, svg, words
from .render import BACKGROUND, draw_layer
from .scene import Part, Scene
from .tables import table

SIZE = (600, 440)
FINE = 2  # layers are drawn so much larger: outlines come out smooth when the frame is made smaller
TOWARD = (0.62, 0.55, 0.45)  # from the side and a little above: both the lift and the tips show
FRAME_MS, REST_MS = 110, 1200
WEBP_QUALITY = 80


@dataclass(frozen=True, eq=False)
class TipTravel:
    """How far one tip is bent aside at each lift: name, tooth, planned_mm, bent (m,) mm."""

    name: str
    tooth: int
    planned_mm: float
    bent: Floats


@dataclass(frozen=True, eq=False)
class InsertionSheet:
    """What the report shows of the insertion.

    lifts (m,) mm of way from the seat, and what that way is called; moving : WebP bytes; strip : PNG bytes of chosen frames
    """

    lifts: Floats
    tips: Sequence[TipTravel]
    moving: bytes
    strip: bytes
    strip_words: str
    verdict: str = ""
    way: str = "lift"


def insertion_frames(
    cast: Mesh, framework: Mesh, moves: Sequence[tuple[Floats, Floats]], words_of: Sequence[str], *, size: tuple[int, int] = SIZE
) -> list[Image.Image]:
    """One picture a move, a turn (3, 3) and a shift (3,) mm of the framework; words_of : a line of text for each picture."""
    ends = [framework.bounds, *(framework.vertices[::50] @ turn.T + shift for turn, shift in moves)]
    camera = look(np.vstack([cast.vertices, *ends]), TOWARD, aspect=size[0] / size[1])
    large = (size[0] * FINE, size[1] * FINE)
    stone, behind = draw_layer(Scene([Part("cast", cast)]), camera, size=large)
    stone_colours = np.asarray(stone)
    scale = large[0] / camera.width_mm
    drawn_for: bytes | None = None
    frames = []
    for (turn, shift), line in zip(moves, words_of, strict=True):
        if drawn_for != turn.tobytes():  # what is only shifted need not be drawn again
            stays = np.array_equal(turn, np.eye(3)) and not np.any(shift)
            there = framework if stays else Mesh(framework.vertices @ turn.T + shift, framework.faces)
            metal, before = draw_layer(Scene([Part("framework", there, "metal")]), camera, size=large)
            metal_colours, drawn_for, drawn_at = np.asarray(metal), turn.tobytes(), shift
        step = camera.axes @ (shift - drawn_at)
        right, down = round(float(step[0] * scale)), round(float(-step[1] * scale))
        image = stone_colours.copy()
        into, out_of = _overlap(image.shape, right, down)
        near = before[out_of] - step[2] < behind[into] + 0.01
        near &= np.isfinite(before[out_of])
        image[into][near] = metal_colours[out_of][near]
        small = Image.fromarray(image).resize(size, Image.Resampling.LANCZOS)
        frames.append(text(small, (14, 12), line, 18, INK, BACKGROUND, "lt"))
    return frames


def _overlap(shape: tuple[int, ...], right: int, down: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where a picture shifted by (right, down) lies on one of the same size, and which part of it that is."""
    into, out_of = [], []
    for shift, length in ((down, shape[0]), (right, shape[1])):
        into.append(slice(max(shift, 0), max(min(length + shift, length), 0)))
        out_of.append(slice(max(-shift, 0), max(min(length - shift, length), 0)))
    return (into[0], into[1]), (out_of[0], out_of[1])


def moving_picture(frames: Sequence[Image.Image]) -> bytes:
    """The frames (first the seated one) as an endless WebP that goes off and on again, resting at both ends."""
    order = [*frames, *frames[-2:0:-1]]
    waits = [FRAME_MS] * len(order)
    waits[0] = waits[len(frames) - 1] = REST_MS
    buffer = io.BytesIO()
    order[0].save(
        buffer, "WEBP", save_all=True, append_images=order[1:], duration=waits, loop=0, quality=WEBP_QUALITY, method=2, minimize_size=True
    )
    return buffer.getvalue()


def strip_of(frames: Sequence[Image.Image], chosen: Sequence[int]) -> Image.Image:
    """Some of the frames beside each other, for paper."""
    return side_by_side([frames[k] for k in chosen], columns=len(chosen), gap=8)


def tip_rows(sheet: InsertionSheet) -> str:
    """HTML table: each tip's plan, the most it is bent on its way and where, and the lift from which it is free."""
    rows = []
    for tip in sheet.tips:
        most = int(np.argmax(tip.bent))
        touched = np.flatnonzero(tip.bent > 0.01)
        free = f"{sheet.lifts[min(int(touched[-1]) + 1, len(sheet.lifts) - 1)]:.1f}" if len(touched) else "0.0"
        rows.append(
            (escape(tip.name), str(tip.tooth), f"{tip.planned_mm:.2f}", f"{tip.bent[most]:.2f}", f"{sheet.lifts[most]:.1f}", free)
        )
    heads = ("Tip", "Tooth", "Planned undercut, mm", "Most bent, mm", f"at a {sheet.way} of, mm", "Free from, mm")
    return table(heads, rows, "numbers") if rows else "<p>No part is meant to enter an undercut.</p>"


DASHES = ("", "5 3", "1.5 2.5", "8 3 2 3", "3 1.5", "10 2")


def travel_plot(sheet: InsertionSheet) -> str:
    """Bending of every tip over the lift, with the planned undercuts as thin level lines: told apart by dashes, not by colour."""
    if not sheet.tips:
        return ""
    most = max(max(float(t.bent.max()), t.planned_mm) for t in sheet.tips)
    axes = Axes((44, 24, 420, 150), float(sheet.lifts[-1]), round_up(1.1 * most))
    for level in sorted({t.planned_mm for t in sheet.tips}):
        axes.body.append(path(axes.at(np.array([0.0, axes.x_end]), level), stroke=LINE, width=1.0))
        x, y = axes.at(axes.x_end, level)[0]
        axes.body.append(words(x, y - 3, f"planned {level:.2f}", size=8, anchor="end"))
    for k, tip in enumerate(sheet.tips):
        dash = DASHES[k % len(DASHES)]
        axes.body.append(path(axes.at(sheet.lifts, tip.bent), width=1.6, dash=dash))
        y = 34.0 + 14 * k
        axes.body.append(path(np.array([[440.0, y - 3], [470.0, y - 3]]), width=1.6, dash=dash))
        axes.body.append(words(476, y, f"{tip.name} ({tip.tooth})", size=9))
    axes.frame(f"{sheet.way} from the seat, mm", "bent aside, mm")
    return svg(640, 182, axes.body, "Bending of each tip over the lift")
