"""Occlusal surfaces: cusps, ridges, grooves and fossae of each tooth as a height over the crown's own plane.

Crown frame: x toward mesial, y toward the face, z occlusal from the cemento-enamel junction; mm.
Forms after the usual descriptions of dental anatomy (Wheeler; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..mesh import Floats
from .shapes import bell, segment_distance, smooth_max


@dataclass(frozen=True)
class Cusp:
    """A cusp tip below the crown's full height by `drop`; `slope` of its inner incline, mm per mm."""

    x: float
    y: float
    drop: float = 0.0
    slope: float = 0.75


@dataclass(frozen=True)
class Occlusal:
    """What makes up an occlusal surface. Heights are given as the drop below the crown's full height."""

    cusps: tuple[Cusp, ...]
    marginal: tuple[tuple[float, float], ...] = ()  # (x, drop) of the mesial and distal marginal ridges
    floor: float = 3.2  # drop of the deepest fossa
    ridges: tuple[tuple[float, float, float, float, float], ...] = ()  # x, y to x, y, drop: oblique and transverse ridges
    pits: tuple[tuple[float, float], ...] = ()
    grooves: tuple[tuple[float, float, float, float], ...] = ()
    facial_grooves: tuple[float, ...] = ()  # x of the grooves that run over onto the facial wall
    lingual_grooves: tuple[float, ...] = ()
    centre: tuple[float, float] = field(default=(0.0, 0.0))


def _cusp_height(x: Floats, y: Floats, cusp: Cusp, centre: tuple[float, float]) -> Floats:
    """A four-sided pyramid: its triangular ridge faces the centre, its cusp ridges run mesiodistally."""
    dx, dy = x - cusp.x, y - cusp.y
    d = np.sqrt(dx * dx + dy * dy + 0.09)
    to_x, to_y = centre[0] * 0.5 + cusp.x * 0.5 - cusp.x, centre[1] - cusp.y
    length = np.hypot(to_x, to_y)
    inward = (dx * to_x + dy * to_y) / (d * length)
    along = np.abs(dx) / d
    slope = cusp.slope * (1.0 - 0.30 * np.maximum(inward, 0.0) ** 10 - 0.38 * along**8)
    return -cusp.drop - slope * (d - 0.3)


def height(shape: Occlusal, x: Floats, y: Floats) -> Floats:
    """Height of the occlusal surface relative to the crown's full height, at (k,) x and y."""
    members = [_cusp_height(x, y, cusp, shape.centre) for cusp in shape.cusps]
    for at, drop in shape.marginal:
        bowed = np.abs(x - at + np.sign(at) * 0.05 * y * y)
        members.append(-drop - 0.75 * (np.sqrt(bowed**2 + 0.16) - 0.4) - 0.035 * y * y)
    for x0, y0, x1, y1, drop in shape.ridges:
        d, _ = segment_distance(x, y, (x0, y0), (x1, y1))
        members.append(-drop - 0.85 * (np.sqrt(d * d + 0.16) - 0.4))
    stack = np.stack(members)
    order = np.partition(stack, len(members) - 2, axis=0) if len(members) > 1 else np.concatenate([stack - 9.0, stack])
    top, second = order[-1], order[-2]
    # Where two cusps meet there is a developmental groove.
    h = top - 0.30 * bell(top - second, 0.30)
    for px, py in shape.pits:
        h = h - 0.35 * bell(np.hypot(x - px, y - py), 0.7)
    for x0, y0, x1, y1 in shape.grooves:
        d, t = segment_distance(x, y, (x0, y0), (x1, y1))
        h = h - 0.22 * bell(d, 0.33) * (1.0 - 0.5 * t)
    return smooth_max(h, np.full_like(h, -shape.floor), 0.6)


_UPPER_PREMOLAR = Occlusal(
    (Cusp(-0.2, 2.75, 0.0, 0.85), Cusp(0.5, -2.5, 0.9, 0.8)),
    marginal=((2.55, 2.2), (-2.55, 2.2)), floor=3.3, pits=((1.5, 0.1), (-1.5, 0.1)),
    grooves=((1.5, 0.2, 3.3, 0.5),),
)  # fmt: skip
_UPPER_PREMOLAR_2 = Occlusal(
    (Cusp(0.1, 2.65, 0.0, 0.75), Cusp(0.4, -2.55, 0.3, 0.72)),
    marginal=((2.5, 2.0), (-2.5, 2.0)), floor=3.0, pits=((0.9, 0.1), (-0.9, 0.1)),
    grooves=((0.9, 0.1, 2.0, 1.3), (-0.9, 0.1, -2.0, 1.3)),
)  # fmt: skip
_LOWER_PREMOLAR = Occlusal(
    (Cusp(0.2, 1.0, 0.0, 0.75), Cusp(0.3, -2.5, 2.0, 0.6)),
    marginal=((2.45, 2.6), (-2.45, 2.3)), floor=3.7, ridges=((0.2, 1.0, 0.3, -2.5, 1.9),),
    pits=((1.5, -0.9), (-1.5, -0.9)), grooves=((1.5, -1.0, 1.6, -2.9),),
)  # fmt: skip
_LOWER_PREMOLAR_2 = Occlusal(
    (Cusp(0.3, 1.7, 0.0, 0.75), Cusp(1.3, -2.3, 0.9, 0.75), Cusp(-1.5, -2.3, 1.3, 0.75)),
    marginal=((2.5, 2.0), (-2.5, 2.1)), floor=3.1, pits=((-0.2, -0.4), (1.5, 0.0), (-1.6, -0.1)),
)  # fmt: skip
_UPPER_MOLAR = Occlusal(
    (Cusp(2.5, 2.95, 0.1, 0.72), Cusp(-2.1, 2.9, 0.4, 0.72), Cusp(1.6, -2.7, 0.0, 0.68), Cusp(-3.0, -2.9, 0.9, 0.75)),
    marginal=((3.9, 1.9), (-3.8, 2.1)), floor=3.1, ridges=((1.4, -2.2, -1.9, 2.3, 1.75),),
    pits=((0.9, 0.5), (-2.6, -0.9), (2.9, 0.3)), facial_grooves=(0.2,), lingual_grooves=(-1.3,),
    grooves=((0.9, 0.5, 3.0, 0.3), (2.9, 0.3, 3.6, 1.4), (2.9, 0.3, 3.6, -1.0)),
)  # fmt: skip
_UPPER_MOLAR_2 = Occlusal(
    (Cusp(2.2, 2.9, 0.1, 0.72), Cusp(-1.9, 2.75, 0.6, 0.72), Cusp(1.3, -2.7, 0.0, 0.68), Cusp(-2.6, -2.6, 1.4, 0.75)),
    marginal=((3.45, 1.9), (-3.3, 2.1)), floor=3.0, ridges=((1.1, -2.2, -1.7, 2.2, 1.8),),
    pits=((0.7, 0.5), (-2.3, -0.9)), facial_grooves=(0.2,), lingual_grooves=(-1.2,), grooves=((0.7, 0.5, 2.8, 0.3), (2.5, 0.3, 3.2, 1.3)),
)  # fmt: skip
_LOWER_MOLAR = Occlusal(
    (
        Cusp(2.9, 2.1, 0.4, 0.68), Cusp(-0.7, 2.3, 0.6, 0.72), Cusp(-3.6, 1.2, 1.0, 0.75),
        Cusp(2.5, -2.7, 0.0, 0.72), Cusp(-1.9, -2.7, 0.2, 0.72),
    ),
    marginal=((4.35, 1.9), (-4.45, 2.1)), floor=3.0, pits=((0.3, -0.1), (3.2, -0.2), (-3.1, -0.5)),
    facial_grooves=(1.2, -2.6), lingual_grooves=(0.3,), grooves=((3.2, -0.2, 3.9, 1.0), (3.2, -0.2, 3.9, -1.3), (0.3, -0.1, 3.2, -0.2)),
)  # fmt: skip
_LOWER_MOLAR_2 = Occlusal(
    (Cusp(2.3, 2.2, 0.3, 0.70), Cusp(-2.1, 2.2, 0.5, 0.70), Cusp(2.2, -2.5, 0.0, 0.72), Cusp(-2.0, -2.5, 0.2, 0.72)),
    marginal=((4.1, 1.9), (-4.1, 2.0)), floor=2.9, pits=((0.1, -0.1), (2.9, -0.1), (-2.9, -0.1)),
    facial_grooves=(0.1,), lingual_grooves=(0.1,), grooves=((2.9, -0.1, 3.6, 1.1), (-2.9, -0.1, -3.6, 1.1), (2.9, -0.1, 3.6, -1.2)),
)  # fmt: skip

POSTERIOR = {
    "upper": {4: _UPPER_PREMOLAR, 5: _UPPER_PREMOLAR_2, 6: _UPPER_MOLAR, 7: _UPPER_MOLAR_2, 8: _UPPER_MOLAR_2},
    "lower": {4: _LOWER_PREMOLAR, 5: _LOWER_PREMOLAR_2, 6: _LOWER_MOLAR, 7: _LOWER_MOLAR_2, 8: _LOWER_MOLAR_2},
}
