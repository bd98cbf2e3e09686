"""Curves over the full turn of a crown, kept as exact values at even angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from ..mesh import Bools, Floats


@dataclass(frozen=True, eq=False)
class PeriodicCurve:
    """values (n,) at angles 0, 360/n, ... degrees; nan where the curve does not exist."""

    values: Floats

    @property
    def phi(self) -> Floats:
        """(n,) degrees."""
        return np.arange(len(self.values), dtype=np.float64) * (360.0 / len(self.values))

    def __call__(self, phi: Floats | float) -> Floats:
        """Values at any angles: a periodic cubic where the curve goes all the way round, linear between neighbours where it has gaps."""
        at = np.mod(np.asarray(phi, dtype=np.float64), 360.0)
        if np.isfinite(self.values).all():
            ring = np.append(self.values, self.values[0])
            return CubicSpline(np.append(self.phi, 360.0), ring, bc_type="periodic")(at)
        step = 360.0 / len(self.values)
        i = np.floor(at / step).astype(int) % len(self.values)
        t = at / step - np.floor(at / step)
        a, b = self.values[i], self.values[(i + 1) % len(self.values)]
        both = (1.0 - t) * a + t * b
        nearest = np.where(t < 0.5, a, b)
        return np.where(np.isfinite(a) & np.isfinite(b), both, nearest)


def bridged(values: Floats, known: Bools | None = None) -> Floats:
    """Fill unknown values linearly between the known neighbours round the turn; all nan when nothing is known."""
    known = np.isfinite(values) if known is None else known & np.isfinite(values)
    if not known.any():
        return np.full_like(values, np.nan)
    n = len(values)
    at = np.flatnonzero(known)
    return np.interp(np.arange(n), np.r_[at - n, at, at + n], np.tile(values[at], 3))


def smoothed(values: Floats, sigma_deg: float) -> Floats:
    """Gaussian smoothing round the turn of a curve without gaps."""
    return gaussian_filter1d(values, sigma_deg * len(values) / 360.0, mode="wrap")
