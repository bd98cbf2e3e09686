"""The picture of a scan's teeth: crowns, numbers, margins, landmarks, and the stretches of margin that nobody can see in the surface."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from PIL import Image, ImageDraw

from ..mesh import Floats, Ints, Mesh
from ..teeth import Teeth, Tooth, numbering
from .camera import Camera, view_camera
from .crossed import CROSS, crossed_out
from .drawing import Label, Line, rgb, side_by_side, text
from .materials import MATERIALS
from .palette import INK, from_oklab
from .pictures import FOCUS_MM, PANEL, TITLES, finished, tooth_labels
from .render import BACKGROUND, draw
from .scene import Part, Scene

VIEWS = ("occlusal", "facial", "lingual", "right", "left")
MARGIN_LINE = (0.05, 0.25, 0.45)
UNSURE = (0.85, 0.08, 0.10)
SHARED = (0.35, 0.45, 0.55)
AXIS = (0.10, 0.45, 0.25)
REGION = (0.93, 0.78, 0.74)
MARKS = {
    "cusp": ("cusp tip", (0.80, 0.25, 0.05)),
    "ridge": ("marginal ridge", (0.45, 0.20, 0.60)),
    "fossa": ("fossa", (0.05, 0.35, 0.75)),
    "cingulum": ("cingulum", (0.05, 0.50, 0.50)),
    "contact": ("contact", (0.15, 0.15, 0.15)),
    "prominence": ("facial prominence", (0.55, 0.42, 0.05)),
}
CROSS_MM = 0.55
LIFT_MM = 0.7


def crown_colours(mesh: Mesh, teeth: Teeth) -> Floats:
    """(n, 3) sRGB: stone for tissue, two pale tints by turns along the arch for crowns, so that neighbours differ."""
    colours = np.tile(np.array(MATERIALS["stone"].colour), (len(mesh.vertices), 1))
    hues = np.radians([230.0, 95.0])
    tints = from_oklab(np.column_stack([np.full(2, 0.86), 0.065 * np.cos(hues), 0.065 * np.sin(hues)]))
    for i, tooth in enumerate(teeth.ordered):
        colours[teeth.labels == tooth.fdi] = tints[i % 2]
    return colours


def _runs_of(margin: Floats, chosen: np.ndarray) -> list[Floats]:
    """Pieces of a closed line where (k,) chosen holds, each with the point after its end."""
    if chosen.all():
        return [np.vstack([margin, margin[:1]])]
    start = int(np.flatnonzero(~chosen)[0])
    points, flags = np.roll(margin, -start, axis=0), np.roll(chosen, -start)
    edge = np.flatnonzero(np.diff(np.r_[False, flags, False].astype(np.int8)))
    ring = np.vstack([points, points[:1]])
    return [ring[a : b + 1] for a, b in zip(edge[::2], edge[1::2], strict=True) if b > a]


def margin_lines(tooth: Tooth) -> list[Line]:
    """The margin: dark where the surface shows it, grey along a neighbour, red where nothing supports it."""
    shared = tooth.shared != 0
    unsure = ~tooth.supported & ~shared
    sure = ~shared & ~unsure
    lines = [Line(p, MARGIN_LINE, 2.4) for p in _runs_of(tooth.margin, sure)] if sure.any() else []
    lines += [Line(p, SHARED, 1.6) for p in _runs_of(tooth.margin, shared)] if shared.any() else []
    lines += [Line(p, UNSURE, 4.0) for p in _runs_of(tooth.margin, unsure)] if unsure.any() else []
    return lines


def _axis_line(tooth: Tooth) -> Line:
    top = tooth.centre + tooth.axis * (float((tooth.cusps @ tooth.axis).max() - tooth.centre @ tooth.axis) + 2.5)
    return Line(np.stack([tooth.centre, top]), AXIS, 1.6)


def _marks(landmarks: Mapping[int, Mapping[str, Floats]], camera: Camera) -> list[Line]:
    """A small cross at each landmark, in the plane of the picture, a little before the surface so that no slope hides half of it."""
    right, up, _ = camera.axes
    before = LIFT_MM * np.array(camera.toward)
    lines = []
    for marks in landmarks.values():
        for name, points in marks.items():
            colour = next(c for key, (_, c) in MARKS.items() if key in name)
            for p in np.atleast_2d(points):
                for way in (right + up, right - up):
                    lines.append(Line(before + np.array([p - CROSS_MM * way, p + CROSS_MM * way]), colour, 2.0))
    return lines


def teeth_picture(
    mesh: Mesh, teeth: Teeth, landmarks: Mapping[int, Mapping[str, Floats]], *, views: Sequence[str] = VIEWS,
    size: tuple[int, int] = PANEL, title: str = "Teeth", universal: bool = False, regions: Sequence[tuple[str, Ints]] = (),
) -> Image.Image:
    """One panel a view and one for the legend.

    landmarks : by FDI number the points (3,) or (c, 3) by name, mm, as core.teeth.landmarks.landmarks_of gives them
    universal : show Universal numbers instead of FDI; regions : names and faces of regions of tissue to tint
    """
    colours = crown_colours(mesh, teeth)
    for _, faces in regions:
        colours[np.unique(mesh.faces[faces])] = REGION
    scene = Scene([Part("cast", mesh, "stone", colours)])
    labels = np.asarray(teeth.labels, dtype=np.int64)
    crowns = mesh.vertices[labels > 0]
    focus = np.array([crowns.min(axis=0) - FOCUS_MM[0], crowns.max(axis=0) + FOCUS_MM[1]])
    margins = [line for tooth in teeth.ordered for line in margin_lines(tooth)]
    panels = []
    for view in views:
        camera = view_camera(focus, view, arch=teeth.arch, aspect=size[0] / size[1])
        lines = margins + _marks(landmarks, camera) + crossed_out(teeth.taken_out.values(), camera)
        if view != "occlusal":
            lines += [_axis_line(t) for t in teeth.ordered]
        words: list[Label] = tooth_labels(mesh, labels, camera, scene, view, size)
        if universal:
            words = [replace(word, text=str(numbering.universal(int(word.text)))) for word in words]
        panels.append(finished(draw(scene, camera, size=size, lines=lines, labels=words), camera, TITLES[view]))
    panels.append(_legend(size, title, teeth, universal, [name for name, _ in regions]))
    return side_by_side(panels, columns=min(3, len(panels)), gap=10)


def _legend(size: tuple[int, int], title: str, teeth: Teeth, universal: bool, regions: Sequence[str]) -> Image.Image:
    image = Image.new("RGB", size, rgb(BACKGROUND))
    pencil = ImageDraw.Draw(image)
    text(image, (36, 30), title, 34, INK, None, "lt")
    y = 100
    rows = [(MARGIN_LINE, 4, "margin"), (SHARED, 3, "border with the neighbour"), (UNSURE, 7, "margin not shown by the surface: check")]
    rows += [(AXIS, 3, "long axis (estimate)"), *((REGION, 12, name + " (where the scan shows it)") for name in dict.fromkeys(regions))]
    if teeth.taken_out:
        rows.append((CROSS, 7, "crossed out: to be taken out"))
    for colour, pen, words in rows:
        pencil.line([40, y, 110, y], fill=rgb(colour), width=pen)
        text(image, (128, y), words, 19, INK, None, "lm")
        y += 32
    for i, (words, colour) in enumerate(MARKS.values()):
        x, row = 40 + 300 * (i % 2), y + 32 * (i // 2)
        for sign in (1, -1):
            pencil.line([x, row - 7 * sign, x + 14, row + 7 * sign], fill=rgb(colour), width=3)
        text(image, (x + 26, row), words, 19, INK, None, "lm")
    y += 32 * 3 + 18
    shown = numbering.universal if universal else int
    flagged = [f"{shown(t.fdi)}: {words}" for t in teeth.ordered for words in t.flags]
    if teeth.missing:
        flagged.insert(0, "missing: " + ", ".join(str(shown(n)) for n in teeth.missing))
    flagged.insert(0, "tooth numbers: " + ("Universal" if universal else "FDI (ISO 3950)"))
    room = (size[1] - y - 30) // 22
    for words in flagged[:room] if len(flagged) <= room else [*flagged[: room - 1], f"and {len(flagged) - room + 1} more remarks"]:
        text(image, (36, y), words if len(words) < 92 else words[:90] + "…", 16, INK, None, "lt")
        y += 22
    return image
