"""Dragging in a view: from the line of sight under the pointer to the number that is dragged. Pure functions, all in the cast's frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .path import Path


@dataclass(frozen=True, eq=False)
class Sight:
    """The line of sight under the pointer. start (3,) mm; way (3,) unit, away from the viewer"""

    start: Floats
    way: Floats


def sight(start: Floats, way: Floats) -> Sight:
    """A line of sight from any direction vector."""
    way = np.asarray(way, dtype=np.float64)
    return Sight(np.asarray(start, dtype=np.float64), way / np.linalg.norm(way))


def tilt_under(look: Sight, centre: Floats, radius_mm: float, before: Path) -> Path:
    """The path whose rod, standing on `centre` (3,), has its upper end under the pointer, at a distance of `radius_mm`.

    Where the line of sight passes through the sphere of all such ends twice, the end nearer to that of the path `before` counts; where it
    passes by, the nearest place of the sphere does. Directions that lean below the occlusal plane are lifted to just above it.
    """
    rel = look.start - np.asarray(centre, dtype=np.float64)
    along = float(rel @ look.way)
    inside = along * along - float(rel @ rel) + radius_mm * radius_mm
    ways = (-along,) if inside <= 0.0 else (-along - np.sqrt(inside), -along + np.sqrt(inside))
    ends = [rel + t * look.way for t in ways]
    end = max(ends, key=lambda e: float(e @ before.vector) / max(float(np.linalg.norm(e)), 1e-12))
    lifted = np.array([end[0], end[1], max(float(end[2]), 0.05 * radius_mm)])
    return Path.from_vector(lifted)


def extent(corners: Floats) -> tuple[Floats, float]:
    """Middle (3,) of the upright box about points (n, 3), and its longest side."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    return (low + high) / 2, float((high - low).max())


def standing(corners: Floats) -> tuple[Floats, float]:
    """Foot (3,) of the rod and its length, mm, on a cast within the box of `corners` (n, 3): it stands in the middle, a quarter of the
    cast's height below its top, and is half as long as the cast is wide."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    foot = np.array([*(low + high)[:2] / 2, high[2] - 0.25 * (high[2] - low[2])])
    return foot, 0.5 * float((high - low)[:2].max())


@dataclass(frozen=True)
class Disk:
    """A round picture in a view. middle (x, y) and radius in pixels; a share is a place in it whose unit is the radius"""

    middle: tuple[float, float]
    radius: float

    def share(self, spot: tuple[float, float]) -> tuple[float, float]:
        """A place of the view, pixels, as a share."""
        return (spot[0] - self.middle[0]) / self.radius, (spot[1] - self.middle[1]) / self.radius

    def spot(self, share: tuple[float, float]) -> tuple[float, float]:
        """The place of a share in the view, pixels."""
        return self.middle[0] + self.radius * share[0], self.middle[1] + self.radius * share[1]

    def holds(self, spot: tuple[float, float]) -> bool:
        """Is a place of the view on the disk?"""
        return bool(np.hypot(*self.share(spot)) <= 1.0)


def held(value: float, low: float | None, high: float | None) -> tuple[float, str]:
    """A number kept within its limits, and which limit stopped it: "least", "most" or nothing."""
    if low is not None and value < low:
        return low, "least"
    if high is not None and value > high:
        return high, "most"
    return value, ""


def overshot(asked: float, inside: float, per_mm: float) -> float:
    """What a hand asks for past a limit, as far as it is remembered: 2 mm, so that the number follows soon when the hand comes back."""
    return inside + min(max(asked - inside, -2.0 * per_mm), 2.0 * per_mm)


def place_at(point: Floats, way: Floats, more: float, per_mm: float) -> Floats:
    """(3,) mm: where metal at `point` that goes along `way` (3,) lies when its number has grown by `more`."""
    return np.asarray(point + way * (more / per_mm))


def along(look: Sight, point: Floats, way: Floats) -> float:
    """How far (mm) from `point` (3,) along `way` (3,) a straight line comes nearest to the line of sight; 0 where one looks along it."""
    away = np.asarray(point, dtype=np.float64) - look.start
    axis = np.asarray(way, dtype=np.float64)
    cross = float(axis @ look.way)
    flat = 1.0 - cross * cross
    if flat < 0.02:
        return 0.0
    return float((cross * (away @ look.way) - away @ axis) / flat)
