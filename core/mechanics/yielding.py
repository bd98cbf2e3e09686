"""Beyond the proof stress: how much of a bend stays, by the plastic moment and curvature of the section."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..mesh import Floats

_STRIPS = 400
_CURVATURES = np.r_[np.linspace(1.0, 2.0, 21)[1:], np.geomspace(2.0, 60.0, 40)[1:]]


def _strips(shape: str) -> tuple[Floats, Floats]:
    """Heights above the flat side and areas of thin strips of a section of height 1."""
    edge = np.linspace(0.0, 1.0, _STRIPS + 1)
    y = 0.5 * (edge[1:] + edge[:-1])
    if shape == "round":
        return y, np.sqrt(np.maximum(0.25 - (y - 0.5) ** 2, 0.0))
    return y, np.ones_like(y) if shape == "strip" else np.sqrt(1.0 - y**2)


@lru_cache(maxsize=8)
def moment_curvature(shape: str) -> tuple[Floats, Floats]:
    """(curvature, moment), both over their value at first yield, from (1, 1) up; elastic and ideally plastic fibres.

    The same for every half-ellipse, whatever its width and thickness; the neutral axis moves so that no axial force is left.
    """
    y, area = _strips(shape)
    centre = float((y * area).sum() / area.sum())
    inertia = float(((y - centre) ** 2 * area).sum())
    outer = max(centre, 1.0 - centre)
    moments = []
    for curvature in _CURVATURES:
        slope = curvature / outer  # stress in units of the proof stress per unit height
        low, high = 0.0, 1.0
        for _ in range(50):
            axis = 0.5 * (low + high)
            pull = float((np.clip(slope * (y - axis), -1.0, 1.0) * area).sum())
            low, high = (axis, high) if pull > 0 else (low, axis)
        moments.append(float((np.clip(slope * (y - axis), -1.0, 1.0) * y * area).sum()) / (inertia / outer))
    return np.r_[1.0, _CURVATURES], np.r_[1.0, moments]


def excess_curvature(shape: str, utilisation: Floats) -> Floats:
    """Plastic part of the curvature over the curvature at first yield, at elastic stress over proof stress `utilisation` (>= 0)."""
    curvature, moment = moment_curvature(shape)
    used = np.asarray(utilisation, dtype=np.float64)
    # No section carries more than its plastic moment: beyond the table the curvature grows without limit.
    runaway = 1e3 * np.maximum(used - moment[-1], 0.0)
    return np.where(used > 1.0, np.interp(used, moment, curvature) + runaway - used, 0.0).clip(0.0)


def permanent_set(
    shape: str, used: Floats, lever: Floats, length: Floats, outer: Floats, travel_mm: float, yield_strain: float
) -> float:
    """mm of a tip's travel that stay after it was bent by `travel_mm` and let go.

    used : (e,) elastic stress at that travel over the proof stress; lever : (e,) bending moment per newton at the tip, mm
    length, outer : (e,) mm; yield_strain : proof stress over modulus
    The tip force falls as metal yields, until elastic and plastic travel add up to the travel.
    """
    low, high = 0.0, 1.0
    yield_curvature = yield_strain / outer

    def plastic(share: float) -> float:
        return float((excess_curvature(shape, used * share) * yield_curvature * np.abs(lever) * length).sum())

    if plastic(1.0) <= 0.0:
        return 0.0
    for _ in range(40):
        share = 0.5 * (low + high)
        low, high = (share, high) if share * travel_mm + plastic(share) < travel_mm else (low, share)
    return travel_mm * (1.0 - low)
