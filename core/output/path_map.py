"""The map of a search for a path of placement: the cone seen from above, the score large, every term small beside it.

The middle is no tilt. A place to the right means: the cast's right side in an occlusal view is lowered; above: its front is lowered.
Light is good, dark is bad, on the ramp of the undercut pictures, whose lightness falls evenly (readable without colour).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.interpolate import CloughTocher2DInterpolator
from scipy.ndimage import map_coordinates

from ..mesh import Floats
from ..planning.path_search import PathSearch
from ..planning.path_search_grid import CONE_DEG
from ..planning.path_search_score import SCALES, values
from .drawing import Colour, rgb, text
from .palette import BEST_PATH, INK, PICKED_PATH, ramp
from .wording import tilt_parts, tilt_words

SIZE = (1560, 1080)
_PAPER: Colour = (1.0, 1.0, 1.0)
_FAINT: Colour = (0.45, 0.47, 0.52)
_CONTOUR: Colour = (0.25, 0.27, 0.33)
_GRID = 241  # places across the cone at which the terms are interpolated
_FINE = 2  # fields and lines are drawn this much larger and reduced
_CIRCLES_DEG = (5, 10, 15, 20)
_FAR = 90.0  # percentile of a term over the cone at which the ramp is at its darkest: a few extreme directions would eat it up
_STEPS = 8  # contour lines of the large map
_SMALL = ("guide_planes", "guide_inequality", "retention", "balance", "interference", "looks", "block_out", "tilt")


@dataclass(frozen=True)
class _Disk:
    """Where a cone is drawn: middle and radius in pixels."""

    x: float
    y: float
    radius: float

    def at(self, place: Floats) -> tuple[float, float]:
        """Pixels of a place (lateral, anteroposterior) in degrees."""
        scale = self.radius / CONE_DEG
        return self.x + scale * float(place[0]), self.y - scale * float(place[1])


def path_map(found: PathSearch, title: str = "Path of placement") -> Image.Image:
    """The whole sheet."""
    image = Image.new("RGB", SIZE, rgb(_PAPER))
    arch = found.plan.arch
    text(image, (40, 34), title, 32, INK, None, "lt")
    best = tilt_words(found.best.path.anteroposterior_deg, found.best.path.lateral_deg, arch)
    text(image, (40, 82), f"Best: {best}", 20, INK, None, "lt")
    text(image, (40, 112), f"Score of {len(found.total):,} directions of the cone: light is good, dark is bad", 18, INK, None, "lt")
    by_name = values(found.terms)
    names = [n for n in _SMALL if np.ptp(by_name[n]) > 1e-9]
    fields = _interpolated(found.terms.plane, np.stack([found.total, *(by_name[n] for n in names)], axis=1))
    main = _Disk(480.0, 540.0, 315.0)
    _field(image, main, fields[..., 0], _levels(found.total), _STEPS)
    _circles(image, main, 16, _CIRCLES_DEG)
    _sides(image, main, arch)
    _marks(image, main, found)
    _bar(image, (165, 946, 795, 966), found.total)
    _legend(image, (40, 1012), found)
    for k, name in enumerate(names):
        disk = _Disk(1020.0 + 320.0 * (k % 2), 178.0 + 252.0 * (k // 2), 88.0)
        _field(image, disk, fields[..., 1 + k], _levels(by_name[name]), 0)
        _small(image, found, name, disk)
    return image


def _interpolated(plane: Floats, fields: Floats) -> Floats:
    """(_GRID, _GRID, f) values on a square grid over the cone, front up; beyond the outermost directions the nearest inside them stands."""
    ticks = np.linspace(-CONE_DEG, CONE_DEG, _GRID)
    x, y = np.meshgrid(ticks, -ticks)
    away = np.hypot(x, y)
    shrink = np.minimum(1.0, (np.hypot(plane[:, 0], plane[:, 1]).max() - 0.9) / np.maximum(away, 1e-9))
    found = CloughTocher2DInterpolator(plane, fields)(x * shrink, y * shrink)
    return np.where(np.isfinite(found), found, fields.max(axis=0))


def _levels(field: Floats) -> tuple[float, float]:
    """The values at the light and at the dark end of the ramp."""
    low, high = float(np.min(field)), float(np.percentile(field, _FAR))
    return low, max(high, low + 1e-9)


def _field(image: Image.Image, disk: _Disk, field: Floats, levels: tuple[float, float], steps: int) -> None:
    """The cone filled with colour, and contour lines between the light and the dark end in even steps. field : from _interpolated"""
    n = int(2 * disk.radius * _FINE)
    spots = (np.arange(n) + 0.5) / n * (_GRID - 1)
    grid = map_coordinates(field, np.meshgrid(spots, spots, indexing="ij"), order=1)
    low, high = levels
    share = np.clip((grid - low) / (high - low), 0.0, 1.0)
    colours = (255.0 * ramp()[np.round(share * 255).astype(int)]).round().astype(np.uint8)
    if steps:
        colours[_edges(np.floor(share * steps))] = rgb(_CONTOUR)
    ticks = (np.arange(n) + 0.5) / n * 2.0 - 1.0
    inside = np.hypot(*np.meshgrid(ticks, ticks)) <= 1.0
    mask = Image.fromarray((255 * inside).astype(np.uint8)).reduce(_FINE)
    image.paste(Image.fromarray(colours).reduce(_FINE), (round(disk.x - disk.radius), round(disk.y - disk.radius)), mask)


def _edges(level: NDArray) -> NDArray[np.bool_]:
    """Pixels beside which the level changes."""
    edge = np.zeros(level.shape, dtype=bool)
    edge[:, 1:] |= level[:, 1:] != level[:, :-1]
    edge[1:] |= level[1:] != level[:-1]
    return edge


def _circles(image: Image.Image, disk: _Disk, letter: int, circles: Sequence[int]) -> None:
    pencil = ImageDraw.Draw(image)
    for degrees in circles:
        r = disk.radius * degrees / CONE_DEG
        colour, pen = (INK, 2) if degrees == CONE_DEG else (_FAINT, 1)
        pencil.ellipse([disk.x - r, disk.y - r, disk.x + r, disk.y + r], outline=rgb(colour), width=pen)
        if letter:
            text(image, (disk.x + 0.7071 * r + 4, disk.y + 0.7071 * r + 4), f"{degrees}°", letter, INK, _PAPER, "lt")
    pencil.line([disk.x - disk.radius, disk.y, disk.x + disk.radius, disk.y], fill=rgb(_FAINT))
    pencil.line([disk.x, disk.y - disk.radius, disk.x, disk.y + disk.radius], fill=rgb(_FAINT))


def _sides(image: Image.Image, disk: _Disk, arch: str) -> None:
    """Which edge of the cast is lowered, at the four ends of the axes."""
    front, right = (part.removesuffix(" 1.0°") for part in tilt_parts(1.0, 1.0, arch))
    back, left = (part.removesuffix(" 1.0°") for part in tilt_parts(-1.0, -1.0, arch))
    text(image, (disk.x, disk.y - disk.radius - 12), f"{front} (anteroposterior +)", 18, INK, None, "mb")
    text(image, (disk.x, disk.y + disk.radius + 12), f"{back} (anteroposterior -)", 18, INK, None, "mt")
    for words, x, anchor in ((right, disk.x + disk.radius + 12, "l"), (left, disk.x - disk.radius - 12, "r")):
        owner, _, rest = words.partition(" ")  # "patient's", "right side lowered"
        lines = [owner, *rest.rsplit(" ", 1), "(lateral +)" if anchor == "l" else "(lateral -)"]
        for k, line in enumerate(lines):
            text(image, (x, disk.y - 33 + 22 * k), line, 18, INK, None, f"{anchor}m")


def _cross(image: Image.Image, at: tuple[float, float], colour: Colour, size: float) -> None:
    pencil = ImageDraw.Draw(image)
    x, y = at
    for width, paint in ((6, _PAPER), (3, colour)):
        pencil.line([x - size, y, x + size, y], fill=rgb(paint), width=width)
        pencil.line([x, y - size, x, y + size], fill=rgb(paint), width=width)


def _ring(image: Image.Image, at: tuple[float, float], colour: Colour, size: float, *, filled: bool = False) -> None:
    pencil = ImageDraw.Draw(image)
    x, y = at
    pencil.ellipse([x - size - 2, y - size - 2, x + size + 2, y + size + 2], fill=rgb(_PAPER))
    pencil.ellipse([x - size, y - size, x + size, y + size], fill=rgb(colour) if filled else rgb(_PAPER), outline=rgb(colour), width=2)


def _square(image: Image.Image, at: tuple[float, float], colour: Colour, size: float) -> None:
    pencil = ImageDraw.Draw(image)
    x, y = at
    pencil.rectangle([x - size - 2, y - size - 2, x + size + 2, y + size + 2], fill=rgb(_PAPER))
    pencil.rectangle([x - size, y - size, x + size, y + size], fill=rgb(colour))


def _marks(image: Image.Image, disk: _Disk, found: PathSearch) -> None:
    """The front as dots, the choices by number, no tilt, the picked and the best path."""
    pencil = ImageDraw.Draw(image)
    for place in found.terms.plane[found.front]:
        x, y = disk.at(place)
        pencil.ellipse([x - 1.5, y - 1.5, x + 1.5, y + 1.5], fill=rgb(INK))
    _cross(image, disk.at(found.zero.place), INK, 11)
    for number, choice in enumerate(found.choices, 1):
        _ring(image, disk.at(choice.place), INK, 11)
        text(image, disk.at(choice.place), str(number), 15, INK, None, "mm")
    if found.picked is not None and found.picked.terms.tilt[0] <= CONE_DEG:
        _square(image, disk.at(found.picked.place), PICKED_PATH, 8)
    _ring(image, disk.at(found.best.place), BEST_PATH, 10, filled=True)


def _bar(image: Image.Image, box: tuple[int, int, int, int], field: Floats) -> None:
    """The ramp with the values at its ends and between."""
    x0, y0, x1, y1 = box
    pencil = ImageDraw.Draw(image)
    colours = ramp()
    for x in range(x0, x1):
        pencil.line([x, y0, x, y1], fill=rgb(tuple(colours[int((x - x0) / (x1 - x0) * 255)])))
    pencil.rectangle(box, outline=rgb(INK))
    low, high = _levels(field)
    for k in range(_STEPS + 1):
        at = x0 + (x1 - x0) * k / _STEPS
        pencil.line([at, y0, at, y1 + 4], fill=rgb(INK))
        more = "+" if k == _STEPS else ""
        if k % 2 == 0:
            text(image, (at, y1 + 8), f"{low + (high - low) * k / _STEPS:.2f}{more}", 15, INK, None, "mt")


def _legend(image: Image.Image, at: tuple[int, int], found: PathSearch) -> None:
    x, y = float(at[0] + 12), float(at[1] + 22)
    entries = ["best path", "no tilt"] + (["picked path"] if found.picked is not None else [])
    for words in entries:
        if words == "best path":
            _ring(image, (x, y), BEST_PATH, 10, filled=True)
        elif words == "no tilt":
            _cross(image, (x, y), INK, 11)
        else:
            _square(image, (x, y), PICKED_PATH, 8)
        text(image, (x + 20, y), words, 17, INK, None, "lm")
        x += 150
    if found.choices:
        _ring(image, (x, y), INK, 11)
        text(image, (x, y), "1", 15, INK, None, "mm")
        text(image, (x + 20, y), "other choices", 17, INK, None, "lm")
        x += 160
    ImageDraw.Draw(image).ellipse([x - 2, y - 2, x + 2, y + 2], fill=rgb(INK))
    text(image, (x + 12, y), "no other direction is better in everything", 17, INK, None, "lm")


def _small(image: Image.Image, found: PathSearch, name: str, disk: _Disk) -> None:
    """Marks, name and range of one term."""
    field = values(found.terms)[name]
    scale = SCALES[name]
    _circles(image, disk, 0, (10, 20))
    _cross(image, disk.at(found.zero.place), INK, 6)
    if found.picked is not None and found.picked.terms.tilt[0] <= CONE_DEG:
        _square(image, disk.at(found.picked.place), PICKED_PATH, 4)
    _ring(image, disk.at(found.best.place), BEST_PATH, 5, filled=True)
    unit = "degrees" if scale.unit == "deg" else scale.unit
    text(image, (disk.x - disk.radius, disk.y - disk.radius - 10), f"{scale.words}, {unit}", 16, INK, None, "lb")
    n = {"mm": 2, "mm2": 1, "deg": 1}.get(scale.unit, 0)
    best, zero = (float(values(s.terms)[name][0]) for s in (found.best, found.zero))
    lines = [f"least {field.min():.{n}f}", f"most {field.max():.{n}f}", "", f"no tilt {zero:.{n}f}", f"best {best:.{n}f}"]
    if found.picked is not None:
        lines.append(f"picked {float(values(found.picked.terms)[name][0]):.{n}f}")
    for k, line in enumerate(lines):
        if line:
            text(image, (disk.x + disk.radius + 10, disk.y - 50 + 20 * k), line, 15, INK, None, "lm")


def clickable(found: PathSearch, size: int = 256) -> NDArray[np.uint8]:
    """(size, size, 4) the score over the cone alone, transparent beyond it, last line first as a graphics card wants it.

    Marks and words are the window's: they change while one points.
    """
    image = Image.new("RGB", (size, size), rgb(_PAPER))
    disk = _Disk(size / 2, size / 2, size / 2)
    _field(image, disk, _interpolated(found.terms.plane, found.total[:, None])[..., 0], _levels(found.total), _STEPS)
    _circles(image, disk, 0, _CIRCLES_DEG[:-1])
    ticks = (np.arange(size) + 0.5) / size * 2.0 - 1.0
    soft = np.clip((1.0 - np.hypot(*np.meshgrid(ticks, ticks))) * size / 2, 0.0, 1.0)
    return np.dstack([np.asarray(image), np.round(255 * soft).astype(np.uint8)])[::-1]
