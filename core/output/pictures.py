"""The pictures that go with a case: the survey, and the framework on its cast, in set views and always laid out alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.spatial import cKDTree

from ..gauges import INCH_MM
from ..mesh import Floats, Ints, Mesh
from ..survey import Survey, contours_to_show, gauge_lines
from ..teeth import Tooth
from .camera import Camera, view_camera
from .crossed import crossed_out
from .drawing import Label, Line, rgb, side_by_side, text
from .palette import DEPTH_FULL_MM, GAUGES, INK, SURVEY_LINE, TRIPOD, depth_colours, ramp
from .render import BACKGROUND, SIZE, draw
from .scene import Body, Part, Scene
from .wording import tilt_words

PANEL = (900, 640)
FOCUS_MM = (np.array([6.0, 6.0, 5.0]), np.array([6.0, 6.0, 2.0]))  # shown beyond the crowns, low and high corner
NUMBER_MM = 1.5  # from the middle of a tooth number to its edge
GAUGE_WIDTHS = (1.3, 1.8, 2.4)
SURVEY_VIEWS = ("occlusal", "facial", "lingual", "right", "left")
FRAMEWORK_VIEWS = ("occlusal", "facial", "lingual", "oblique")
TITLES = {
    "occlusal": "Occlusal", "facial": "Facial", "lingual": "Lingual", "right": "Patient's right", "left": "Patient's left",
    "oblique": "Oblique", "tissue": "Tissue side",
}


def survey_lines(mesh: Mesh, survey: Survey, *, ghost: float = 0.0) -> tuple[list[Line], list[tuple[str, Line]]]:
    """The survey lines, and the gauge lines with the gauge's name, as drawn in every survey picture."""
    gauges = [
        (f"{custom:.2f}", Line(c.points, INK, width, c.closed, ghost))
        for (custom, inch), width in zip(GAUGES, GAUGE_WIDTHS, strict=True)
        for c in gauge_lines(mesh, survey, inch * INCH_MM)
    ]
    with_teeth = any(c.label for c in survey.contours)  # then tissue steps back
    shown = contours_to_show(mesh, survey) if with_teeth else survey.contours
    contours = [Line(c.points, SURVEY_LINE, 3.0 if c.label or not with_teeth else 1.4, c.closed) for c in shown]
    return contours, gauges


def survey_picture(
    mesh: Mesh, survey: Survey, labels: Ints | None = None, *, arch: str | None = "lower", views: Sequence[str] = SURVEY_VIEWS,
    size: tuple[int, int] = PANEL, title: str = "Survey", tripod: Sequence[Sequence[float]] = (),
) -> Image.Image:
    """Undercut depth in colour with survey and gauge lines, one panel a view and one for the legend.

    labels : (n,) FDI number of each vertex, 0 for tissue; gives the tooth numbers and frames the teeth
    tripod : (k, 3) tripod marks, mm, drawn as numbered crosses from above
    """
    part = Part("cast", mesh, "stone", depth_colours(survey.undercut))
    scene = Scene([part])
    contours, gauges = survey_lines(mesh, survey)
    panels = []
    for view in views:
        from_above = view == "occlusal"
        shown = _with_numbers(mesh, labels, view) if from_above else _focus(mesh, labels)
        camera = view_camera(shown, view, arch=arch, aspect=size[0] / size[1])
        words = tooth_labels(mesh, labels, camera, scene, view, size) if labels is not None else []
        if from_above:  # contours are met edge on, and gauge lines lie under them: both shine through
            lines = [replace(g, ghost=0.28) for _, g in gauges] + [replace(c, ghost=0.9) for c in contours]
            crosses, numbers = tripod_marks(tripod, camera)
            lines, words = lines + crosses, words + numbers
        else:
            lines = [g for _, g in gauges] + contours
            words += gauge_labels(gauges, camera, scene, size, taken=words)
        image = draw(scene, camera, size=size, lines=lines, labels=words)
        panels.append(finished(image, camera, TITLES.get(view, view)))
    tilt = survey.path
    notes = (
        f"Path of placement: {tilt_words(tilt.anteroposterior_deg, tilt.lateral_deg, arch)}",
        "Depth is measured square to the path, from the surface to a rod that clears everything above it.",
    )
    panels.append(legend_panel(size, title, notes))
    return side_by_side(panels, columns=min(3, len(panels)), gap=10)


def framework_picture(
    cast: Mesh, framework: Mesh, view: str = "occlusal", *, arch: str | None = "lower", labels: Ints | None = None,
    others: Sequence[Part] = (), lines: Sequence[Line] = (), size: tuple[int, int] = SIZE, caption: str | None = None,
) -> Image.Image:
    """The framework in metal on the cast in stone, from one of the set views. `others`: wax, relief... `labels` as in survey_picture."""
    out = framework_pictures(cast, framework, (view,), arch=arch, labels=labels, others=others, lines=lines, size=size, caption=caption)
    return out[view]


def framework_pictures(
    cast: Mesh, framework: Mesh, views: Sequence[str] = FRAMEWORK_VIEWS, *, arch: str | None = "lower", labels: Ints | None = None,
    others: Sequence[Part] = (), lines: Sequence[Line] = (), size: tuple[int, int] = SIZE, caption: str | None = None,
    taken_out: Sequence[Tooth] = (),
) -> dict[str, Image.Image]:
    """Several views at less than the price of each alone: the light is worked out once. taken_out : crowns to cross out"""
    scene = Scene([Part("cast", cast, "stone"), Part("framework", framework, "metal"), *others])
    out = {}
    for view in views:
        camera = view_camera(_with_numbers(cast, labels, view), view, arch=arch, aspect=size[0] / size[1])
        words = tooth_labels(cast, labels, camera, scene, view, size) if labels is not None else []
        image = draw(scene, camera, size=size, lines=[*lines, *crossed_out(taken_out, camera)], labels=words)
        out[view] = finished(image, camera, TITLES.get(view, view) if caption is None else caption)
    return out


def framework_sheet(
    cast: Mesh, framework: Mesh, views: Sequence[str] = FRAMEWORK_VIEWS, *, arch: str | None = "lower", labels: Ints | None = None,
    others: Sequence[Part] = (), size: tuple[int, int] = PANEL,
) -> Image.Image:
    """Several views on one sheet, two in a row."""
    pictures = framework_pictures(cast, framework, views, arch=arch, labels=labels, others=others, size=size)
    return side_by_side(list(pictures.values()), columns=2, gap=10)


def carried(values: NDArray, mesh: Mesh, onto: Mesh) -> NDArray:
    """Values of the vertices of one mesh (n, ...) for the vertices of another that lies on it: each takes those of the nearest.

    For labels and undercut depth of a cast on the same cast with seats and guide planes cut.
    """
    return np.asarray(values)[cKDTree(mesh.vertices).query(onto.vertices)[1]]


def tooth_labels(
    mesh: Mesh, labels: Ints, camera: Camera, scene: Scene, view: str, size: tuple[int, int] = SIZE
) -> list[Label]:
    """Tooth numbers (ISO 3950) beside the crowns that can be seen: outside the arch from above, over the crown from the side."""
    labels = np.asarray(labels)
    numbers = [int(f) for f in np.unique(labels) if f > 0]
    if not numbers:
        return []
    middle = mesh.vertices[labels > 0].mean(axis=0)
    letter = max(14, round(size[0] / 44))
    out = []
    for fdi in numbers:
        points = mesh.vertices[labels == fdi]
        if view in ("occlusal", "tissue"):
            out.append(Label(str(fdi), _outside(points, middle), letter))
        elif _mostly_seen(points, mesh.vertex_normals[labels == fdi], camera, scene.solid):
            at = _over(points, np.array(camera.up))
            if scene.solid is None or not scene.solid.blocked(np.array([at]), camera.toward_viewer(np.array([at])))[0]:
                out.append(Label(str(fdi), at, letter))
    return _apart(sorted(out, key=lambda item: -float(np.dot(item.at, camera.toward))), camera, size)


def gauge_labels(
    gauges: Sequence[tuple[str, Line]], camera: Camera, scene: Scene, size: tuple[int, int], *, taken: Sequence[Label] = (),
    letter: int = 13,
) -> list[Label]:
    """The name of the gauge at the middle of the longest seen stretches of its lines, as many as have room."""
    found = []
    for words, line in gauges:
        points = np.asarray(line.points)
        long_px = float(np.linalg.norm(np.diff(camera.project(points, size)[:, :2], axis=0), axis=1).sum())
        at = points[len(points) // 2]
        to_eye = camera.toward_viewer(at[None])
        if long_px > 3.0 * letter and (scene.solid is None or not scene.solid.blocked(at[None] + 0.06 * to_eye, to_eye)[0]):
            found.append((long_px, Label(words, (float(at[0]), float(at[1]), float(at[2])), letter)))
    return _apart([label for _, label in sorted(found, key=lambda f: -f[0])], camera, size, taken)


def tripod_marks(points: Sequence[Sequence[float]], camera: Camera) -> tuple[list[Line], list[Label]]:
    """A cross of 3 mm and a number at each tripod mark, on top of everything."""
    right, up, _ = camera.axes
    lines, labels = [], []
    for i, point in enumerate(points, 1):
        at = np.asarray(point, dtype=np.float64)
        lines += [Line(np.array([at - 1.5 * way, at + 1.5 * way]), TRIPOD, 2.5, ghost=1.0) for way in (right, up)]
        x, y, z = at + 2.2 * (right + up)
        labels.append(Label(f"mark {i}", (float(x), float(y), float(z)), 15, TRIPOD))
    return lines, labels


def _apart(labels: Sequence[Label], camera: Camera, size: tuple[int, int], taken: Sequence[Label] = ()) -> list[Label]:
    """Those labels, first come first served, that run into none already placed."""
    kept: list[Label] = []
    spots = [camera.project(np.array([item.at]), size)[0, :2] for item in taken]
    for label in labels:
        spot = camera.project(np.array([label.at]), size)[0, :2]
        room = np.array([0.75 * len(label.text), 1.15]) * label.size
        if all((np.abs(spot - s) > room).any() for s in spots):
            kept.append(label)
            spots.append(spot)
    return kept


def _outside(points: Floats, middle: Floats) -> tuple[float, float, float]:
    """A place beside a crown, away from the middle of the arch."""
    centre = points.mean(axis=0)
    away = (centre - middle) * np.array([1.0, 1.0, 0.0])
    away /= max(float(np.linalg.norm(away)), 1e-9)
    x, y, z = centre + away * (float(np.max((points - centre) @ away)) + 3.6)
    return float(x), float(y), float(z)


def _with_numbers(mesh: Mesh, labels: Ints | None, view: str) -> Floats:
    """What a picture has to hold: the cast and, where they stand outside the arch, the tooth numbers."""
    if labels is None or view not in ("occlusal", "tissue") or not np.any(np.asarray(labels) > 0):
        return mesh.vertices
    labels = np.asarray(labels)
    middle = mesh.vertices[labels > 0].mean(axis=0)
    spots = np.array([_outside(mesh.vertices[labels == fdi], middle) for fdi in np.unique(labels[labels > 0])])
    return np.vstack([mesh.vertices, *(spots + NUMBER_MM * np.array(way) for way in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)))])


def _over(points: Floats, up: Floats) -> tuple[float, float, float]:
    """A place above a crown as the camera sees it."""
    height = points @ up
    at = 0.5 * (points[np.argmax(height)] + points.mean(axis=0))
    x, y, z = at + up * (float(height.max() - at @ up) + 1.6)
    return float(x), float(y), float(z)


def _mostly_seen(points: Floats, normals: Floats, camera: Camera, body: Body | None) -> bool:
    pick = slice(None, None, max(1, len(points) // 80))
    points, normals = points[pick], normals[pick]
    to_eye = camera.toward_viewer(points)
    facing = np.einsum("ij,ij->i", normals, to_eye) > 0.25
    if body is None or not facing.any():
        return False
    free = ~body.blocked(points[facing] + 0.05 * normals[facing], to_eye[facing])
    return bool(free.sum() > 0.22 * len(points))


def _focus(mesh: Mesh, labels: Ints | None) -> Floats:
    """The teeth with the tissue round them, so that a tall base or a long saddle does not shrink what the picture is about."""
    if labels is None or not np.any(np.asarray(labels) > 0):
        return mesh.vertices
    crowns = mesh.vertices[np.asarray(labels) > 0]
    return np.array([crowns.min(axis=0) - FOCUS_MM[0], crowns.max(axis=0) + FOCUS_MM[1]])


def finished(image: Image.Image, camera: Camera, caption: str) -> Image.Image:
    """Caption at the upper left and, on orthographic pictures, a scale bar of 10 mm at the lower left."""
    unit = max(1.0, image.width / 900)
    if caption:
        image = text(image, (18 * unit, 16 * unit), caption, int(24 * unit), INK, BACKGROUND, "lt")
    if camera.distance_mm is None:
        length = 10.0 * image.width / camera.width_mm
        x, y = 20 * unit, image.height - 20 * unit
        pencil = ImageDraw.Draw(image)
        pencil.rectangle([x, y - 3 * unit, x + length, y], fill=rgb(INK))
        image = text(image, (x + length + 10 * unit, y + 2 * unit), "10 mm", int(18 * unit), INK, BACKGROUND, "ls")
    return image


def legend_panel(size: tuple[int, int], title: str, notes: Sequence[str]) -> Image.Image:
    """The ramp with its gauges in millimetres and inches, the lines, and notes in words."""
    width, height = size
    image = Image.new("RGB", size, rgb(BACKGROUND))
    pencil = ImageDraw.Draw(image)
    text(image, (36, 30), title, 34, INK, None, "lt")
    text(image, (36, 84), "Undercut depth", 22, INK, None, "lt")
    x0, x1, top, bottom = 40, 96, 128, height - 150
    colours = ramp()
    for y in range(top, bottom):
        t = (y - top) / (bottom - top - 1)
        pencil.line([x0, y, x1, y], fill=rgb(tuple(colours[int(t * (len(colours) - 1))])))
    pencil.rectangle([x0, top, x1, bottom], outline=rgb(INK), width=2)
    ticks = [(0.0, "0 mm", 0)] + [(mm, f"{mm:.2f} mm   {inch:.3f} in", w) for (mm, inch), w in zip(GAUGES, (2, 3, 4), strict=True)]
    for depth, words, pen in [*ticks, (DEPTH_FULL_MM, f"{DEPTH_FULL_MM:.2f} mm and deeper", 0)]:
        y = round(top + (bottom - top) * depth / DEPTH_FULL_MM)
        pencil.line([x0, y, x1 + 12, y], fill=rgb(INK), width=max(pen, 1))
        text(image, (x1 + 22, y), words, 20, INK, None, "lm")
    x = x1 + 260
    pencil.line([x, top + 12, x + 70, top + 12], fill=rgb(SURVEY_LINE), width=5)
    text(image, (x + 86, top + 12), "survey line", 20, INK, None, "lm")
    text(image, (x + 86, top + 38), "(height of contour; thin on tissue)", 17, INK, None, "lm")
    for i, ((depth, _), pen) in enumerate(zip(GAUGES, (2, 3, 4), strict=True)):
        y = top + 82 + 36 * i
        pencil.line([x, y, x + 70, y], fill=rgb(INK), width=pen)
        text(image, (x + 86, y), f"gauge {depth:.2f} mm", 20, INK, None, "lm")
    y = height - 116
    for note in notes:
        for line in _wrapped(note, 18, width - 72):
            text(image, (36, y), line, 18, INK, None, "lt")
            y += 25
    return image


def _wrapped(words: str, size: int, width: int) -> list[str]:
    from .drawing import font

    face = font(size)
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if face.getlength(longer) > width and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
