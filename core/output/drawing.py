"""Lines in the scene, words on top of it, and the file it all goes to."""

from __future__ import annotations

import base64
import io
import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageDraw, ImageFont

from ..mesh import Floats
from .camera import Camera

if TYPE_CHECKING:
    from .scene import Scene

Colour = tuple[float, float, float]
FINE = 3  # lines and words are drawn this much larger and reduced, for smooth edges
LINE_LIFT_MM = 0.06  # lines lie in the faces; this much nearer to the viewer they count as seen
PIECE_PX = 2.0
JPEG_QUALITY = 90


@dataclass(frozen=True, eq=False)
class Line:
    """A polyline in space. points (k, 3) mm; width in pixels; `ghost` is the opacity of hidden stretches, 0 for none."""

    points: Floats
    colour: Colour = (0.1, 0.1, 0.1)
    width: float = 2.0
    closed: bool = False
    ghost: float = 0.0


@dataclass(frozen=True)
class Label:
    """Words at a point in space, always on top. `size` is the letter height in pixels, `shift` moves them in pixels (right, down)."""

    text: str
    at: tuple[float, float, float]
    size: int = 22
    colour: Colour = (0.08, 0.09, 0.12)
    halo: Colour | None = (1.0, 1.0, 1.0)
    shift: tuple[float, float] = (0.0, 0.0)


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Pillow's own built-in face, so that pictures do not depend on the fonts of a machine."""
    return ImageFont.load_default(size)


def rgb(colour: Colour) -> tuple[int, int, int]:
    """0..1 to 0..255."""
    r, g, b = (int(round(255 * min(max(c, 0.0), 1.0))) for c in colour)
    return r, g, b


def draw_lines(image: Image.Image, lines: Sequence[Line], camera: Camera, scene: Scene) -> Image.Image:
    """Lines of one width in pixels whatever the distance, hidden where something stands before them."""
    groups: dict[tuple[Colour, float, float], list[Line]] = {}
    for line in lines:
        groups.setdefault((line.colour, line.width, line.ghost), []).append(line)
    for (colour, _, ghost), members in groups.items():
        seen = Image.new("L", (image.width * FINE, image.height * FINE))
        behind = Image.new("L", seen.size) if ghost > 0 else None
        _draw_group(members, camera, scene, image.size, seen, behind)
        masks = [(seen, 1.0)] + ([(behind, ghost)] if behind is not None else [])
        for mask, opacity in reversed(masks):
            image = _tint(image, mask.reduce(FINE), colour, opacity)
    return image


def _draw_group(
    lines: Sequence[Line], camera: Camera, scene: Scene, size: tuple[int, int], seen: Image.Image, behind: Image.Image | None
) -> None:
    chains = [np.asarray(line.points, dtype=np.float64) for line in lines if len(line.points) > 1]
    if not chains:
        return
    chains = [
        _split(np.vstack([p, p[:1]]) if line.closed else p, camera, size)
        for line, p in zip([line for line in lines if len(line.points) > 1], chains, strict=True)
    ]
    ends = np.cumsum([len(p) for p in chains])
    together = np.vstack(chains)
    flat = camera.project(together, size)[:, :2] * FINE
    visible = _seen((together[:-1] + together[1:]) / 2, camera, scene)
    pen = max(1, round(lines[0].width * FINE))
    for mask, chosen in ((seen, visible), (behind, ~visible)):
        if mask is None:
            continue
        chosen = chosen.copy()
        chosen[ends[:-1] - 1] = False  # from the end of one line to the start of the next
        _ink(ImageDraw.Draw(mask), flat, chosen, pen)


def _ink(pencil: ImageDraw.ImageDraw, flat: Floats, chosen: NDArray[np.bool_], pen: int) -> None:
    half = pen / 2
    for a, b in _runs(chosen):
        path = [(float(x), float(y)) for x, y in flat[a : b + 1]]
        pencil.line(path, fill=255, width=pen, joint="curve")
        for x, y in (path[0], path[-1]):
            pencil.ellipse([x - half, y - half, x + half, y + half], fill=255)


def _split(points: Floats, camera: Camera, size: tuple[int, int]) -> Floats:
    """Insert points so that no piece is longer than a few pixels: each is then wholly seen or hidden."""
    flat = camera.project(points, size)[:, :2]
    pieces = np.maximum(1, np.ceil(np.linalg.norm(np.diff(flat, axis=0), axis=1) / PIECE_PX)).astype(int)
    start = np.repeat(np.arange(len(pieces)), pieces)
    step = np.arange(len(start)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    t = (step / pieces[start])[:, None]
    return np.vstack([points[start] * (1 - t) + points[start + 1] * t, points[-1:]])


def _seen(points: Floats, camera: Camera, scene: Scene) -> NDArray[np.bool_]:
    if scene.solid is None:
        return np.ones(len(points), dtype=bool)
    to_eye = camera.toward_viewer(points)
    return ~scene.solid.blocked(points + LINE_LIFT_MM * to_eye, to_eye)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end of each stretch of True, as half-open indices."""
    edge = np.flatnonzero(np.diff(np.r_[False, flags, False].astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _tint(image: Image.Image, mask: Image.Image, colour: Colour, opacity: float) -> Image.Image:
    if opacity < 1:
        mask = mask.point(lambda v: v * opacity)
    out = image.copy()
    out.paste(rgb(colour), (0, 0, *image.size), mask)
    return out


def draw_labels(image: Image.Image, labels: Sequence[Label], camera: Camera) -> Image.Image:
    """Words at points of the scene, with a halo that keeps them readable on anything."""
    if not labels:
        return image
    flat = camera.project(np.array([item.at for item in labels]), image.size)[:, :2]
    for item, (x, y) in zip(labels, flat, strict=True):
        image = text(image, (x + item.shift[0], y + item.shift[1]), item.text, item.size, item.colour, item.halo)
    return image


def text(
    image: Image.Image, at: tuple[float, float], words: str, size: int, colour: Colour = (0.08, 0.09, 0.12),
    halo: Colour | None = None, anchor: str = "mm",
) -> Image.Image:
    """Smooth words on an image; returns a new image. `anchor` as in Pillow ("mm" middle, "ls" left on the baseline...)."""
    pencil = ImageDraw.Draw(image)
    stroke = max(2, size // 9) if halo is not None else 0
    face = font(size)
    pencil.text(at, words, fill=rgb(colour), font=face, anchor=anchor, stroke_width=stroke, stroke_fill=rgb(halo) if halo else None)
    return image


def side_by_side(images: Sequence[Image.Image], columns: int = 2, gap: int = 12, colour: Colour = (1, 1, 1)) -> Image.Image:
    """A sheet of pictures of one size, row by row."""
    width, height = images[0].size
    rows = -(-len(images) // columns)
    sheet = Image.new("RGB", (columns * width + (columns - 1) * gap, rows * height + (rows - 1) * gap), rgb(colour))
    for i, image in enumerate(images):
        sheet.paste(image, ((i % columns) * (width + gap), (i // columns) * (height + gap)))
    return sheet


def trimmed(image: Image.Image, pad: int = 24) -> Image.Image:
    """Cut away the plain border, but for `pad` pixels. The border colour is that of the first pixel."""
    plain = Image.new("RGB", image.size, image.getpixel((0, 0)))
    box = ImageChops.difference(image, plain).getbbox()
    if box is None:
        return image
    left, top, right, bottom = box
    return image.crop((max(left - pad, 0), max(top - pad, 0), min(right + pad, image.width), min(bottom + pad, image.height)))


def png_bytes(image: Image.Image) -> bytes:
    """A PNG with nothing in it but pixels: no time, no machine, so the same picture is the same file."""
    buffer = io.BytesIO()
    image.save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()


def write_bytes(data: bytes, path: str | os.PathLike[str]) -> None:
    """Write a file whole or not at all: a temporary file in the same folder takes the name at the end."""
    goal = FilePath(path)
    goal.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=goal.parent, prefix=f".{goal.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(temporary, 0o644)
        os.replace(temporary, goal)
    except OSError:
        FilePath(temporary).unlink(missing_ok=True)
        raise


def write_png(image: Image.Image, path: str | os.PathLike[str]) -> None:
    """Write a picture as PNG, whole or not at all."""
    write_bytes(png_bytes(image), path)


def inline_image(png: bytes) -> str:
    """A data URI. Photographs of casts are an order smaller as JPEG without a difference that can be seen in print."""
    with Image.open(io.BytesIO(png)) as image:
        buffer = io.BytesIO()
        image.convert("RGB").save(buffer, "JPEG", quality=JPEG_QUALITY, subsampling=0, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
