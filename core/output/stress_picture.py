"""A clasp arm as it is made, shaded, with its stress as colour: what a plot along the arm cannot show is where on the metal that is."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

from ..mechanics.clasps import ClaspResult
from ..mesh import Floats, Mesh
from .camera import Camera, look
from .drawing import Label, text
from .palette import INK
from .plots import FILLS, STEPS, stress_class
from .render import BACKGROUND, draw
from .scene import Part, Scene

SIZE = (680, 470)
SCALE_PX = 74  # below the picture
NEAR_METAL_MM, NEAR_CAST_MM = 12.0, 13.0  # of the arm's line: what else is shown
OVER_MM = 0.35  # beyond half the arm's width: fillets and the round of the section
PLAIN = (0.70, 0.71, 0.73)  # metal that the beam does not speak of
ABOVE = 0.45  # of the way along the path, for every way outward: seen a little from above


def stress_picture(framework: Mesh, cast: Mesh, clasp: ClaspResult, path: Floats) -> Image.Image:
    """The built metal of one arm on its tooth, each cross-section in the colour of its greatest likely stress; a scale below.

    path : (3,) unit off the teeth
    """
    metal = near(framework, clasp.line, NEAR_METAL_MM)
    stone = near(cast, clasp.line, NEAR_CAST_MM)
    scene = Scene([Part("cast", stone, "stone"), Part("arm", metal, "metal", stress_colours(metal.vertices, clasp))])
    height = SIZE[1] - SCALE_PX
    camera = _camera(stone, clasp, path, SIZE[0] / height)
    k = int(clasp.along.argmax())
    peak = f"{clasp.along[k]:.0f} MPa"
    marks = [_label(peak, clasp.line[k], 19, (0, -34)), _label("tip", clasp.line[-1], 15, (0, 24))]
    marks.append(_label("rigid part", clasp.line[0], 15, (0, 24)))
    drawn = draw(scene, camera, size=(SIZE[0], height), labels=marks)
    sheet = Image.new("RGB", SIZE, tuple(round(255 * c) for c in BACKGROUND))
    sheet.paste(drawn, (0, 0))
    _dot(sheet, camera, clasp.line[k], (SIZE[0], height))
    head = f"{clasp.id}: greatest {clasp.stress.likely:.0f} MPa ({clasp.stress.low:.0f} to {clasp.stress.high:.0f})"
    return _scale(text(sheet, (12, 10), head, 18, INK, BACKGROUND, "lt"), clasp.allowable_mpa, height)


def stress_colours(points: Floats, clasp: ClaspResult) -> Floats:
    """(n, 3) sRGB 0..1 for points (n, 3) of the metal: the step of the scale at the arm's nearest place, plain where it is not the arm."""
    station, away = along_line(points, clasp.line)
    place = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(clasp.line, axis=0), axis=1))]
    mine = (away < 0.5 * np.interp(station, place, clasp.width) + OVER_MM) & (station > 0.0)
    share = np.interp(station, place, clasp.along) / clasp.allowable_mpa
    table = np.array([[int(f[i : i + 2], 16) / 255 for i in (1, 3, 5)] for f in FILLS])
    return np.where(mine[:, None], table[stress_class(share)], np.array(PLAIN))


def along_line(points: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Where (k,) along a polyline (m, 3) each point (k, 3) lies nearest, and how far (k,) from it, mm."""
    start, step = line[:-1], np.diff(line, axis=0)
    length = np.linalg.norm(step, axis=1)
    begin = np.r_[0.0, np.cumsum(length)[:-1]]
    best, where = np.full(len(points), np.inf), np.zeros(len(points))
    for a, d, size, s in zip(start, step, length, begin, strict=True):
        t = np.clip((points - a) @ d / max(size * size, 1e-12), 0.0, 1.0)
        gap = np.linalg.norm(points - a - t[:, None] * d, axis=1)
        nearer = gap < best
        best[nearer], where[nearer] = gap[nearer], s + t[nearer] * size
    return where, best


def near(mesh: Mesh, line: Floats, reach_mm: float) -> Mesh:
    """The faces of a mesh with a corner within reach of a line (m, 3)."""
    low, high = line.min(axis=0) - reach_mm, line.max(axis=0) + reach_mm
    box = np.flatnonzero(((mesh.vertices >= low) & (mesh.vertices <= high)).all(axis=1))
    inside = np.zeros(len(mesh.vertices), dtype=bool)
    inside[box[along_line(mesh.vertices[box], line)[1] < reach_mm]] = True
    faces = mesh.faces[inside[mesh.faces].any(axis=1)]
    kept, corners = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[kept], corners.reshape(-1, 3))


def _camera(stone: Mesh, clasp: ClaspResult, path: Floats, aspect: float) -> Camera:
    """From outside the tooth, a little from above, the arm filling most of the picture."""
    close = along_line(stone.vertices, clasp.line)[1] < 2.0
    outward = stone.vertex_normals[close if close.any() else slice(None)].mean(axis=0)
    outward = outward - (outward @ path) * path
    outward /= max(float(np.linalg.norm(outward)), 1e-9)
    margin = 2.2 * np.array([1.0, 1.0, 1.0])
    box = np.array([clasp.line.min(axis=0) - margin, clasp.line.max(axis=0) + margin])
    return look(np.vstack([clasp.line, clasp.line + 2.5 * path, clasp.line - 2.5 * path, box.mean(axis=0)[None]]), outward + ABOVE * path,
                path, aspect=aspect, step_mm=1.0)  # fmt: skip


def _label(words: str, at: Floats, size: int, shift: tuple[float, float]) -> Label:
    return Label(words, (float(at[0]), float(at[1]), float(at[2])), size, shift=shift)


def _dot(sheet: Image.Image, camera: Camera, at: Floats, size: tuple[int, int]) -> None:
    x, y = camera.project(at[None], size)[0, :2]
    ImageDraw.Draw(sheet).ellipse([x - 6, y - 6, x + 6, y + 6], fill=(255, 255, 255), outline=(20, 23, 28), width=3)


def _scale(sheet: Image.Image, allowable_mpa: float, top: int) -> Image.Image:
    """The steps of colour in MPa; the allowable stress is marked."""
    pencil, wide = ImageDraw.Draw(sheet), (SIZE[0] - 48) / len(FILLS)
    limits = [0.0, *(s * allowable_mpa for s in STEPS)]
    at = 24 + (STEPS.index(1.0) + 1) * wide
    for i, fill in enumerate(FILLS):
        x = 24 + i * wide
        pencil.rectangle([x, top + 8, x + wide, top + 24], fill=fill, outline=(20, 23, 28))
        sheet = text(sheet, (x, top + 28), f"{limits[i]:.0f}" + (" MPa" if not i else ""), 14, INK, None, "mt" if i else "lt")
        pencil = ImageDraw.Draw(sheet)
    pencil.line([at, top + 3, at, top + 28], fill=(20, 23, 28), width=4)
    return text(sheet, (at, top + 48), f"allowable {allowable_mpa:.0f} MPa", 15, INK, None, "mt")
