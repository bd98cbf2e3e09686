"""Sweeps: a section that follows a curve on the cast with its flat side to the surface (Darboux frame)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats
from .curves import arc_length, smooth_rows, tangents
from .fields import Shape

Section = Callable[[Floats, Floats, Floats, Floats], Floats]


@dataclass(frozen=True)
class Rail:
    """A centre line with a frame and a size at each sample.

    points : (k, 3) mm, evenly spaced, on the surface that the flat side rests on
    normals : (k, 3) unit, away from that surface
    width, thickness : (k,) mm, full width along the surface and height above it
    """

    points: Floats
    normals: Floats
    width: Floats
    thickness: Floats

    @property
    def length(self) -> float:
        """mm along the centre line."""
        return float(arc_length(self.points)[-1])


def make_rail(points: Floats, normals: Floats, width: Floats | float, thickness: Floats | float, *, calm: int = 5) -> Rail:
    """A rail with its normals made perpendicular to the curve and smoothed over `calm` samples each way, so nothing twists."""
    points = np.asarray(points, dtype=np.float64)
    t = tangents(points)
    n = smooth_rows(np.asarray(normals, dtype=np.float64), calm)
    n = n - t * np.einsum("ij,ij->i", n, t)[:, None]
    n /= np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-9)
    k = len(points)
    return Rail(points, n, np.broadcast_to(np.asarray(width, float), k).copy(), np.broadcast_to(np.asarray(thickness, float), k).copy())


def half_round(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
    """Half ellipse on the line v = 0, with straight sides below it (they go into the cast and are cut off there).

    u, v : across and above, mm; half, height : semi-axes, mm. Returns about a signed distance.
    """
    q = np.sqrt((u / half) ** 2 + (v / height) ** 2)
    slope = np.sqrt((u / half**2) ** 2 + (v / height**2) ** 2)
    above = np.where(q > 1e-6, q * (q - 1) / np.maximum(slope, 1e-9), -np.minimum(half, height))
    return np.where(v >= 0, above, np.abs(u) - half)


def half_pear(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
    """Half pear: two quarter ellipses that share their highest point, which lies towards +u (the bulk; inferior for a bar)."""
    peak = 0.3 * half
    side = np.where(u >= peak, half - peak, half + peak)
    q = np.sqrt(((u - peak) / side) ** 2 + (v / height) ** 2)
    slope = np.sqrt(((u - peak) / side**2) ** 2 + (v / height**2) ** 2)
    above = np.where(q > 1e-6, q * (q - 1) / np.maximum(slope, 1e-9), -np.minimum(half, height))
    return np.where(v >= 0, above, np.maximum(u - half, -half - u))


def full_round(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
    """Ellipse standing on v = 0 (its centre at half its height)."""
    r = 0.5 * height
    q = np.sqrt((u / half) ** 2 + ((v - r) / r) ** 2)
    slope = np.sqrt((u / half**2) ** 2 + ((v - r) / r**2) ** 2)
    return np.where(q > 1e-6, q * (q - 1) / np.maximum(slope, 1e-9), -np.minimum(half, r))


def sweep(
    rail: Rail, section: Section = half_round, *, depth: float = 0.8, name: str = "", flat_ends: tuple[bool, bool] = (False, False)
) -> Shape:
    """The solid of a section that runs along a rail; ends are rounded off unless `flat_ends` says otherwise.

    depth : how far the sides go below the flat, mm
    """
    points, normals = rail.points, rail.normals
    tangent = tangents(points)
    across = np.cross(tangent, normals)
    tree = cKDTree(points)
    step = rail.length / max(len(points) - 1, 1)
    last = len(points) - 1

    def field(query: Floats) -> Floats:
        _, near = tree.query(query, workers=-1)
        offset = np.einsum("ij,ij->i", query - points[near], tangent[near])
        # Blend the two frames on either side, so that the solid has no facets from the samples of the curve.
        place = np.clip(near + offset / step, 0, last)
        lo = np.minimum(place.astype(int), last - 1)
        w = (place - lo)[:, None]

        def mix(values: Floats) -> Floats:
            return values[lo] * (1 - w) + values[lo + 1] * w

        centre, n, b = mix(points), mix(normals), mix(across)
        rel = query - centre
        u, v = np.einsum("ij,ij->i", rel, b), np.einsum("ij,ij->i", rel, n)
        beyond = np.where(near == 0, np.maximum(-offset, 0), 0) + np.where(near == last, np.maximum(offset, 0), 0)
        flat = ((near == 0) & flat_ends[0]) | ((near == last) & flat_ends[1])
        half = 0.5 * (rail.width[lo] * (1 - w[:, 0]) + rail.width[lo + 1] * w[:, 0])
        high = rail.thickness[lo] * (1 - w[:, 0]) + rail.thickness[lo + 1] * w[:, 0]
        # Past an end the section shrinks like a quarter sphere: the distance beyond counts as height, in the section's own scale.
        past = np.where(flat, 0.0, beyond)
        body = np.where(v >= 0, section(u, np.hypot(v, past * high / half), half, high), section(u, v, half, high))
        body = np.where((past > 0) & (v < 0), np.hypot(u, past) - half, body)
        return np.maximum(np.maximum(body, -v - depth), np.where(flat, beyond, -1e9))

    reach = max(float(rail.width.max()), float(rail.thickness.max()), depth) + 0.3
    return Shape(field, np.array([points.min(axis=0) - reach, points.max(axis=0) + reach]), name)
