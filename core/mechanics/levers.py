"""Turning of the denture about a line: lifting by sticky food, sinking of an extension base under load, and what each tip then does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .ranges import Range

# Loaded mucosa gives way by 0.4 to 2 mm, a tooth by 0.02 to 0.1 mm: Wills and Manderson 1977; Picton, from memory.
MUCOSA_SINK = Range(0.4, 1.0, 2.0, "mm", "sinking of loaded mucosa, Wills and Manderson 1977 (from memory)")
TOOTH_SINK = Range(0.02, 0.05, 0.1, "mm", "sinking of a loaded tooth, Picton (from memory)")
# Food pulls on clasps and bases with 1.7 to 12.2 N a tooth: Alageel et al., J Prosthet Dent (clasps against food).
FOOD_PULL_N = (1.7, 12.2)
STILL_MM = 0.005  # less movement than this at a tip is none


@dataclass(frozen=True, eq=False)
class Axis:
    """A line to turn about: point (3,) mm, direction (3,) unit, both square to the path where it counts."""

    point: Floats
    direction: Floats

    def distance(self, points: Floats, path: Floats) -> Floats:
        """(k,) signed distance in plan, mm, from the line; the sign tells the side."""
        side = np.cross(path, self.direction)
        side = side / max(float(np.linalg.norm(side)), 1e-12)
        return (np.atleast_2d(points) - self.point) @ side

    def turning(self, points: Floats) -> Floats:
        """(k, 3) mm of movement a radian of turning about the line."""
        return np.cross(self.direction, np.atleast_2d(points) - self.point)


def axis_through(first: Floats, second: Floats) -> Axis:
    """The line through two rests (3,). Raises ValueError when they are one point."""
    along = np.asarray(second, dtype=np.float64) - first
    length = float(np.linalg.norm(along))
    if length < 1e-6:
        raise ValueError("axis: two rests at different places are needed")
    return Axis(np.asarray(first, dtype=np.float64), along / length)


def lift_on_clasp(load_n: float, load_distal_mm: float, tip_distal_mm: float, indirect_mesial_mm: float | None = None) -> float:
    """N on the clasp when sticky food lifts an extension base: rigid lever in one plane.

    Distances are from the rest on the fulcrum line: the load and the clasp tip distal of it, the indirect retainer (if any) mesial of it;
    with it the denture turns about the indirect retainer instead.
    """
    if min(load_distal_mm, tip_distal_mm) <= 0:
        raise ValueError("the load and the clasp tip must lie distal of the rest (distances above 0 mm)")
    y = 0.0 if indirect_mesial_mm is None else indirect_mesial_mm
    return load_n * (load_distal_mm + y) / (tip_distal_mm + y)


@dataclass(frozen=True)
class Lift:
    """An extension base lifted by food at its middle.

    base : id; lever_mm : from the line to the load; tips_mm : from the line to each tip that holds
    holds_n : lifting force at which the clasps let go; per_newton : greatest force on a clasp a newton of lift
    """

    base: str
    lever_mm: float
    tips_mm: tuple[float, ...]
    holds_n: Range
    per_newton: float


def base_lift(base: str, load: Floats, tips: Floats, pulls: Sequence[Range], axis: Axis, path: Floats) -> Lift | None:
    """Lift about a line; a rigid denture shares the moment among the tips as their distances. None where no tip holds on that side."""
    lever = float(axis.distance(load, path)[0])
    side = 1.0 if lever >= 0 else -1.0
    arms = side * axis.distance(tips, path) if len(tips) else np.zeros(0)
    hold = np.flatnonzero(arms > 0.2)
    if abs(lever) < 1.0 or len(hold) == 0:
        return None
    low, likely, high = (
        sum(float(getattr(pulls[int(i)], end) * arms[i]) for i in hold) / abs(lever) for end in ("low", "likely", "high")
    )
    words = "rigid denture; all tips of that side of the line let go together"
    share = float(abs(lever) * arms[hold].max() / (arms[hold] ** 2).sum())
    return Lift(base, abs(lever), tuple(float(a) for a in arms[hold]), Range(low, likely, high, "N", words), share)


@dataclass(frozen=True)
class TipMotion:
    """What a tip does when the base sinks: mm along the tooth's outward normal (positive: leaves it) and along the path."""

    id: str
    away_mm: Range
    rise_mm: float
    word: str  # "releases", "presses" or "stays"


@dataclass(frozen=True)
class Sinking:
    """An extension base pressed into its mucosa: the angle of turning and what each tip does."""

    base: str
    angle_deg: Range
    tips: tuple[TipMotion, ...]


def base_sinking(base: str, end: Floats, axis: Axis, path: Floats, tips: Sequence[tuple[str, Floats, Floats]]) -> Sinking:
    """The base's end (3,) sinks by the mucosa's give less the tooth's, turning about the rests.

    tips : id, place (3,) and the tooth's outward normal (3,) there
    """
    lever = abs(float(axis.distance(end, path)[0]))
    turn = axis.turning(end)[0]
    sense = -1.0 if float(turn @ path) > 0 else 1.0  # the end moves against the path
    sinks = (MUCOSA_SINK.low - TOOTH_SINK.high, MUCOSA_SINK.likely - TOOTH_SINK.likely, MUCOSA_SINK.high - TOOTH_SINK.low)
    angles = [max(s, 0.0) / max(lever, 1.0) for s in sinks]
    words = f"the base's end, {lever:.0f} mm from the line, sinks by {sinks[0]:.2g} to {sinks[2]:.2g} mm more than the tooth"
    motions = []
    for name, place, normal in tips:
        step = sense * axis.turning(place)[0]
        away = float(step @ normal)
        reach = sorted(a * away for a in angles)
        middle = angles[1] * away
        word = "stays" if abs(middle) < STILL_MM else "releases" if middle > 0 else "presses"
        motions.append(TipMotion(name, Range(reach[0], middle, reach[2], "mm", words), angles[1] * float(step @ path), word))
    degrees = [float(np.degrees(a)) for a in angles]
    return Sinking(base, Range(degrees[0], degrees[1], degrees[2], "degrees", words), tuple(motions))
