"""Small pieces of implicit modelling: smooth unions, superellipses, gentle noise. Fields are negative inside."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from ..mesh import Floats


def smooth_min(a: Floats, b: Floats, k: float) -> Floats:
    """Union with a fillet: equals min(a, b) wherever they differ by more than k mm."""
    h = np.maximum(k - np.abs(a - b), 0.0)
    return np.minimum(a, b) - h * h / (4.0 * k)


def smooth_max(a: Floats, b: Floats, k: float | Floats) -> Floats:
    """Intersection with a rounded edge: equals max(a, b) wherever they differ by more than k mm."""
    h = np.maximum(k - np.abs(a - b), 0.0)
    return np.maximum(a, b) + h * h / (4.0 * k)


def smooth_step(x: Floats, low: float, high: float) -> Floats:
    """0 below `low`, 1 above `high`, cubic between."""
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def bell(x: Floats, width: float) -> Floats:
    """exp(-(x / width)^2)"""
    return np.exp(-((x / width) ** 2))


def superellipse(x: Floats, y: Floats, a: Floats, b: Floats, n: float | Floats) -> Floats:
    """Signed radial distance to (|x|/a)^n + (|y|/b)^n = 1, all arrays alike."""
    rho = (np.abs(x / a) ** n + np.abs(y / b) ** n + 1e-9) ** (1.0 / n)
    r = np.sqrt(x * x + y * y + 1e-12)
    return r * (1.0 - 1.0 / rho)


def segment_distance(x: Floats, y: Floats, start: Sequence[float], end: Sequence[float]) -> tuple[Floats, Floats]:
    """Distance to a segment in the plane, and the fraction along it of the nearest point."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    t = np.clip(((x - start[0]) * dx + (y - start[1]) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
    return np.hypot(x - start[0] - t * dx, y - start[1] - t * dy), t


class Ripple:
    """Smooth random relief of unit standard deviation, from a periodic block of noise that is sampled trilinearly."""

    def __init__(self, rng: np.random.Generator, wavelength: float, cells: int = 32) -> None:
        block = gaussian_filter(rng.normal(size=(cells, cells, cells)), 1.6, mode="wrap")
        self._block = (block / block.std()).astype(np.float32)
        self._cell = wavelength / 8.0

    def __call__(self, points: Floats) -> Floats:
        """(k,) values at (k, 3) points."""
        return map_coordinates(self._block, points.T / self._cell, order=1, mode="grid-wrap").astype(np.float64)
