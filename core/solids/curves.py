"""Space curves as dense polylines: even resampling, smoothing, frames."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator

from ..errors import GeometryError
from ..mesh import Floats


def arc_length(points: Floats) -> Floats:
    """(k,) distance from the first point along the polyline, mm."""
    return np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]


def resample(points: Floats, step: float) -> Floats:
    """Points at even distances of about `step` mm along a polyline; both ends are kept."""
    points = np.asarray(points, dtype=np.float64)
    points = points[np.r_[True, np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-9]]
    if len(points) < 2:
        raise GeometryError("a curve needs two points that differ")
    s = arc_length(points)
    at = np.linspace(0.0, s[-1], max(int(round(s[-1] / step)), 1) + 1)
    return np.stack([np.interp(at, s, points[:, k]) for k in range(points.shape[1])], axis=1)


def spline(points: Floats, step: float) -> Floats:
    """A smooth curve through the points (cubic in chord length), sampled every `step` mm or so."""
    points = np.asarray(points, dtype=np.float64)
    s = arc_length(points)
    if len(points) < 3:
        return resample(points, step)
    fine = CubicSpline(s, points, bc_type="natural")(np.linspace(0.0, s[-1], max(int(s[-1] / step * 3), 8)))
    return resample(fine, step)


def smooth(points: Floats, length: float, *, rounds: int = 3) -> Floats:
    """Moving average over about `length` mm of an evenly sampled polyline; the ends stay where they are."""
    points = np.asarray(points, dtype=np.float64)
    step = arc_length(points)[-1] / max(len(points) - 1, 1)
    half = max(int(round(0.5 * length / max(step, 1e-9))), 1)
    n = len(points)
    out = points.copy()
    for _ in range(rounds):
        total = np.vstack([np.zeros(3), np.cumsum(out, axis=0)])
        k = np.arange(n)
        reach = np.minimum(half, np.minimum(k, n - 1 - k))  # shrinks towards the ends, which so are kept
        out = (total[k + reach + 1] - total[k - reach]) / (2 * reach + 1)[:, None]
    return out


def smooth_rows(values: Floats, half: int, *, rounds: int = 2, periodic: bool = False) -> Floats:
    """Moving average of samples (k, ...) over 2*half + 1 neighbours."""
    out = np.asarray(values, dtype=np.float64)
    for _ in range(rounds):
        padded = np.pad(out, [(half, half)] + [(0, 0)] * (out.ndim - 1), mode="wrap" if periodic else "edge")
        total = np.concatenate([np.zeros((1, *out.shape[1:])), np.cumsum(padded, axis=0)])
        out = (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
    return out


def monotone(x: Floats, y: Floats, at: Floats) -> Floats:
    """Values at `at` of the shape-preserving cubic through (x, y): it never overshoots its control points."""
    return np.asarray(PchipInterpolator(x, y)(at))


def tangents(points: Floats) -> Floats:
    """(k, 3) unit tangents by central differences."""
    t = np.gradient(np.asarray(points, dtype=np.float64), axis=0)
    return t / np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-12)
