"""Where crowns truly stand out furthest and where they truly meet, from the anatomy's own field."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import label

from ..mesh import Bools, Floats
from .anatomy import CREASE, Anatomy
from .arch import Placed
from .drop import drop
from .sides import UP

_BAND = np.linspace(-0.5, 0.5, 9)  # mm mesiodistally, over which a wall's profile is averaged
_OUT_MM = 0.05  # as good as furthest out: what a scanner measures a wall to
_FLAT_MM = 0.5  # of height, over which a contact's highest stretch is taken
_FLOOR_MM = 0.1  # of height, over which the middle of the valley's bottom is taken
_BESIDE_MM = 1.0
_APART_MM = 0.5  # where the bottom of the valley lies further from both crowns they do not meet


def reach_along(tooth: Placed, along: Floats) -> tuple[float, float]:
    """Least and greatest coordinate (cast, along a unit vector) of the crown over its margin."""
    crown = tooth.crown
    turn, height = (g.ravel() for g in np.meshgrid(np.linspace(0.0, 2.0 * np.pi, 120), np.linspace(1.0, 0.97 * crown.full, 40)))
    radius = np.full_like(turn, 4.0)
    for _ in range(10):  # the field is nearly the radial distance itself
        radius = np.maximum(radius - crown(np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=1)), 0.1)
    reach = tooth.to_cast(np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=1)) @ along
    return float(reach.min()), float(reach.max())


def middle_along(tooth: Placed, along: Floats) -> float:
    """Coordinate (cast, along a unit vector) midway between the crown's furthest places over its margin."""
    return 0.5 * sum(reach_along(tooth, along))


def wall(anatomy: Anatomy, tooth: Placed, mesial: Floats, side: Floats) -> Floats:
    """(k, b, 3) the crown's wall midway mesiodistally, seen from a `side` (unit vector), over its middle millimetre and level by level from
    foot to top; only levels that neither gum nor the stone in the cleft above it hides."""
    bottom, top = tooth.to_cast(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, tooth.crown.full]]))
    centre = 0.5 * (bottom + top)
    centre = centre + (middle_along(tooth, mesial) - centre @ mesial) * mesial
    level = np.arange(bottom[2], top[2] - 0.3, 0.02) - centre[2]
    start = centre + level[:, None, None] * UP + _BAND[None, :, None] * mesial + 8.0 * side
    landed = drop(lambda p: tooth.crown(tooth.to_local(p)), start.reshape(-1, 3), -side, reach=14.0)
    there = np.flatnonzero(np.isfinite(landed).all(axis=1))
    seen = np.zeros(len(landed), dtype=bool)
    seen[there] = anatomy.parts(landed[there])[2] > CREASE
    rows = seen.reshape(start.shape[:2]).all(axis=1)
    return np.asarray(landed.reshape(start.shape)[rows])


def wall_crest(anatomy: Anatomy, tooth: Placed, mesial: Floats, side: Floats) -> Floats:
    """(3,) the middle of the stretch of a wall's profile that stands out furthest: the height of contour seen along the occlusal direction.

    Of a wall that widens down to the gum it is at its foot.
    """
    profile = wall(anatomy, tooth, mesial, side)
    out = (profile @ side).mean(axis=1)
    inner = np.flatnonzero((out[1:-1] >= out[:-2]) & (out[1:-1] > out[2:])) + 1
    peak = int(inner[out[inner].argmax()]) if len(inner) else int(out.argmax())
    weight = _stretch(out, peak, _OUT_MM)
    return np.asarray(profile[int(round(float(weight @ np.arange(len(weight))))), len(_BAND) // 2])


def _stretch(height: Floats, peak: int, flat: float) -> Floats:
    """(k,) shares of the places round a peak no more than `flat` below it, the higher the more."""
    depth = np.maximum(height - height[peak] + flat, 0.0)
    part, _ = label(depth > 0.0)
    depth = np.where(part == part[peak], depth, 0.0)
    return np.asarray(depth / depth.sum())


def contact(anatomy: Anatomy, one: Placed, other: Placed) -> Floats | None:
    """(3,) the middle of the highest stretch of the bottom of the valley in which two crowns meet, as the finished surface has it; higher
    places count for more. None where they stand apart."""
    apart = other.origin - one.origin
    along = np.array([apart[0], apart[1], 0.0]) / float(np.hypot(apart[0], apart[1]))
    across = np.cross(UP, along)
    middle = 0.5 * (one.to_cast(np.array([0.0, 0.0, one.crown.full])) + other.to_cast(np.array([0.0, 0.0, other.crown.full])))
    across_mm, along_mm = np.arange(-4.5, 4.51, 0.1), np.arange(-1.8, 1.81, 0.06)
    start = middle + 2.0 * UP + across_mm[:, None, None] * across + along_mm[None, :, None] * along
    landed = drop(anatomy.field, start.reshape(-1, 3), -UP, reach=14.0).reshape(*start.shape)
    border, seen = _border(landed, one, other)
    near = np.abs(along_mm[None] - along_mm[border][:, None]) < _BESIDE_MM
    height = np.where(near & np.isfinite(landed[:, :, 2]), landed[:, :, 2], 99.0)
    share = np.maximum(height.min(axis=1, keepdims=True) + _FLOOR_MM - height, 0.0)
    share = share / np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    valley = middle + across_mm[:, None] * across + (share @ along_mm)[:, None] * along
    valley[:, 2] = height.min(axis=1)
    if not seen.any():
        return None
    depth = np.where(seen, np.maximum(valley[:, 2] - valley[seen, 2].max() + _FLAT_MM, 0.0), 0.0)
    at = int(round(depth @ np.arange(len(depth)) / depth.sum()))
    nearest = min(float(tooth.crown(tooth.to_local(valley[at : at + 1]))[0]) for tooth in (one, other))
    return np.asarray(valley[at]) if nearest < _APART_MM else None


def _border(landed: Floats, one: Placed, other: Placed) -> tuple[np.ndarray, Bools]:
    """Of each row of a grid of surface points (a, b, 3) the column where two crowns are equally near, and whether there is such a place."""
    safe = np.nan_to_num(landed, nan=0.0).reshape(-1, 3)
    gap = np.abs(one.crown(one.to_local(safe)) - other.crown(other.to_local(safe))).reshape(landed.shape[:2])
    gap = np.where(np.isfinite(landed[:, :, 2]), gap, np.inf)
    best = gap.argmin(axis=1)
    return best, gap[np.arange(len(best)), best] < 0.15
