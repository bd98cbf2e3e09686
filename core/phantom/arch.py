"""The arch curve and where each crown stands on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from ..mesh import Floats
from .crowns import Crown
from .tables import ARCH_HALF_WIDTHS, FACIAL_LEAN, MESIAL_LEAN, crown_size

_STEP = 0.2  # mm between points of the arch curve


@dataclass(frozen=True, eq=False)
class ArchCurve:
    """A plane curve through the crown centres, symmetrical, apex at the origin; station s is 0 there and positive toward +X."""

    points: Floats  # (n, 2)
    station: Floats  # (n,)

    def at(self, s: float) -> tuple[Floats, Floats, Floats]:
        """Point, tangent toward +s and outward (facial) normal at a station, (2,) each."""
        point = np.array([np.interp(s, self.station, self.points[:, k]) for k in (0, 1)])
        ahead = np.array([np.interp(s + 1.0, self.station, self.points[:, k]) for k in (0, 1)])
        behind = np.array([np.interp(s - 1.0, self.station, self.points[:, k]) for k in (0, 1)])
        tangent = (ahead - behind) / np.linalg.norm(ahead - behind)
        return point, tangent, np.array([-tangent[1], tangent[0]])


def arch_curve(arch: str) -> ArchCurve:
    """The curve turns from across to along by A (1 - exp(-(s / L)^2.2)), with A and L such that the canines and first molars stand
    at the published widths."""
    lower = arch == "lower"
    widths = [crown_size((40 if lower else 20) + k).mesiodistal - 0.06 for k in range(1, 9)]
    centres = np.cumsum(widths) - 0.5 * np.array(widths)
    s = np.arange(0.0, centres[7] + 26.0, 0.02)

    def trace(shape: Floats) -> tuple[Floats, Floats]:
        turn = shape[0] * (1.0 - np.exp(-((s / shape[1]) ** 2.2)))
        return np.cumsum(np.cos(turn)) * 0.02, -np.cumsum(np.sin(turn)) * 0.02

    def misfit(shape: Floats) -> Floats:
        return np.interp(centres[[2, 5]], s, trace(shape)[0]) - np.array(ARCH_HALF_WIDTHS[arch])

    x, y = trace(least_squares(misfit, np.array([1.5, 19.0])).x)
    even = np.arange(0.0, s[-1], _STEP)
    half = np.stack([np.interp(even, s, x), np.interp(even, s, y)], axis=1)
    half[0] = 0.0
    points = np.concatenate([half[:0:-1] * [-1.0, 1.0], half])
    return ArchCurve(points, np.r_[-even[:0:-1], even])


@dataclass(frozen=True, eq=False)
class Placed:
    """A crown in the cast: point_cast = origin + local @ frame; rows of `frame` are its mesial, facial and long axes."""

    crown: Crown
    origin: Floats
    frame: Floats
    station: float

    @property
    def fdi(self) -> int:
        return self.crown.fdi

    def to_local(self, points: Floats) -> Floats:
        return (points - self.origin) @ self.frame.T

    def to_cast(self, local: Floats) -> Floats:
        return local @ self.frame + self.origin


def occlusal_level(arch: str, position: int) -> float:
    """Height of the cusp tips over the occlusal plane: a mild curve of Spee; canines stand out, upper laterals fall short."""
    if arch == "lower":
        return (0.4, 0.4, 0.7, 0.1, -0.3, -0.4, 0.1, 0.8)[position - 1]
    return (0.2, -0.4, 0.5, 0.1, 0.2, 0.2, -0.3, -0.9)[position - 1]


def place(crown: Crown, arch: str, curve: ArchCurve, station: float, lean: tuple[float, float], turn: float, settle: Floats) -> Placed:
    """Stand a crown on the arch. lean: extra degrees toward mesial and toward the face; turn: degrees about its axis, mesial side
    toward the face positive; settle: (2,) small shifts facially and occlusally, mm."""
    position = crown.fdi % 10
    point, tangent, outward = curve.at(station)
    mesial = np.r_[tangent * (-1.0 if station > 0 else 1.0), 0.0]
    facial = np.r_[outward, 0.0]
    up = np.array([0.0, 0.0, 1.0])
    angles = np.radians([MESIAL_LEAN[arch][position - 1] + lean[0], FACIAL_LEAN[arch][position - 1] + lean[1]])
    axis = up + np.tan(angles[0]) * mesial + np.tan(angles[1]) * facial
    axis /= np.linalg.norm(axis)
    turned = np.cos(np.radians(turn)) * mesial + np.sin(np.radians(turn)) * facial
    turned -= axis * (turned @ axis)
    turned /= np.linalg.norm(turned)
    face = facial - axis * (facial @ axis) - turned * (facial @ turned)
    face /= np.linalg.norm(face)
    pivot = 0.62 * crown.full
    level = occlusal_level(arch, position) + settle[1] - 0.38 * crown.full
    where = np.r_[point + settle[0] * outward, level]
    return Placed(crown, where - pivot * axis, np.stack([turned, face, axis]), station)


def stations(crowns: Mapping[int, Crown]) -> dict[int, float]:
    """Station of every tooth, standing or missing, contact to contact with a slight wear of the contacts (0.06 mm a tooth)."""
    out: dict[int, float] = {}
    for quadrant in sorted({fdi // 10 for fdi in crowns}):
        s, side = 0.0, 1.0 if quadrant in (2, 4) else -1.0
        for position in range(1, 9):
            fdi = quadrant * 10 + position
            width = crowns[fdi].size.mesiodistal - 0.06
            out[fdi] = side * (s + 0.5 * width)
            s += width
    return out
