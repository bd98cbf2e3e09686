"""One crown with the top of its root as an implicit shape in its own frame.

Crown frame: x toward mesial, y toward the face, z occlusal from the cemento-enamel junction; mm. Negative inside.
The side wall is a superellipse whose four half-widths (mesial, distal, facial, lingual) change with height, widest at the
height of contour; the top is an incisal edge, a canine's cusp or an occlusal surface (occlusal.py).
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, replace
from functools import cache, cached_property

import numpy as np

from ..mesh import Floats
from .occlusal import POSTERIOR, Occlusal, height
from .shapes import bell, smooth_max, smooth_step, superellipse
from .tables import CrownSize, crown_size

ROOT = 3.5  # mm of root kept below the junction, always inside the gum
_TABLE_LOW, _TABLE_STEP, _TABLE_SIZE = 10.0, 0.04, 700


@dataclass(frozen=True)
class Profile:
    """Half-width against height on one side: neck at 0, crest at the height of contour, top at the crown's full height."""

    neck: float
    crest: float
    crest_z: float
    top: float
    upper_power: float = 2.0  # shape above the crest: > 1 convex
    lower_power: float = 1.7
    concave: bool = False  # a lingual fossa above the cingulum

    def __call__(self, z: Floats, full: float) -> Floats:
        below = np.clip((self.crest_z - z) / self.crest_z, 0.0, 1.0) ** self.lower_power
        t = np.clip((z - self.crest_z) / (full - self.crest_z), 0.0, 1.25)
        above = 1.0 - np.maximum(1.0 - t, 0.0) ** self.upper_power if self.concave else t**self.upper_power
        root = 0.09 * np.clip(-z, 0.0, 9.0)
        return np.maximum(self.crest - (self.crest - self.neck) * below - (self.crest - self.top) * above - root, 0.3)


@dataclass(frozen=True)
class Crown:
    """Shape of one crown; `shift` raises the top so that the finished crown has the table's height after rounding."""

    fdi: int
    size: CrownSize
    mesial: Profile
    distal: Profile
    facial: Profile
    lingual: Profile
    power: float
    taper: float  # narrowing toward the lingual side, fraction of the width
    skew: float  # mesial shift of the facial side, mm per mm
    occlusal: Occlusal | None
    rounding: float
    shift: float = 0.0

    @cached_property
    def _table(self) -> Floats:
        """(h, 4) half-widths tabulated over height, for speed."""
        z: Floats = np.arange(_TABLE_SIZE, dtype=np.float64) * _TABLE_STEP - _TABLE_LOW
        return np.stack([side(z, self.full) for side in (self.mesial, self.distal, self.facial, self.lingual)], axis=1)

    @property
    def full(self) -> float:
        return self.size.height

    @property
    def contact_z(self) -> float:
        """Height of the mesial contact."""
        return self.mesial.crest_z

    def half_widths(self, z: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Mesial, distal, facial, lingual half-width at heights z."""
        at = np.clip((z + _TABLE_LOW) / _TABLE_STEP, 0.0, _TABLE_SIZE - 2.0)
        low = at.astype(np.int64)
        part = (at - low)[:, None]
        rows = self._table[low] * (1.0 - part) + self._table[low + 1] * part
        return rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3]

    def wall(self, x: Floats, y: Floats, z: Floats) -> Floats:
        """Signed distance (about) to the side wall."""
        a_m, a_d, b_f, b_l = self.half_widths(z)
        x = x - self.skew * y
        b = np.where(y > 0, b_f, b_l)
        a = np.where(x > 0, a_m, a_d) * (1.0 + self.taper * np.clip(y / b, -1.0, 0.6))
        b = b + self._relief(x / a, y, z)
        return superellipse(x, y, a, b, self.power)

    def _relief(self, u: Floats, y: Floats, z: Floats) -> Floats:
        """Ridges and grooves of the facial and lingual walls, mm outward. u: -1 distal to 1 mesial."""
        t = z / self.full
        rise = smooth_step(t, 0.25, 0.6)
        if self.occlusal is not None:
            out = np.zeros_like(u)
            scale = 0.5 * self.size.mesiodistal
            for groove in self.occlusal.facial_grooves:
                out -= np.where(y > 0, 0.40 * bell(u - groove / scale, 0.13) * rise, 0.0)
            for groove in self.occlusal.lingual_grooves:
                out -= np.where(y < 0, 0.35 * bell(u - groove / scale, 0.13) * rise, 0.0)
            if not self.occlusal.facial_grooves:  # the facial ridge of a premolar
                out += np.where(y > 0, 0.16 * bell(u, 0.35) * rise - 0.05, 0.0)
            return out
        middle = smooth_step(t, 0.28, 0.45) * (1.0 - smooth_step(t, 0.8, 1.0))
        if self.fdi % 10 == 3:
            facial = 0.22 * bell(u, 0.3) * smooth_step(t, 0.3, 0.6)
            lingual = middle * (0.30 * bell(u, 0.22) + 0.38 * smooth_step(np.abs(u), 0.45, 0.8) - 0.10)
            return np.where(y > 0, facial, lingual)
        deep = 1.0 if self.fdi // 10 in (1, 2) else 0.4
        lobes = -0.07 * (bell(u - 0.33, 0.14) + bell(u + 0.33, 0.14)) * smooth_step(t, 0.45, 0.85)
        return np.where(y > 0, lobes * deep, middle * deep * 0.55 * smooth_step(np.abs(u), 0.4, 0.78))

    def _top(self, x: Floats, y: Floats) -> Floats:
        if self.occlusal is not None:
            return height(self.occlusal, x, y)
        a = 0.5 * self.size.mesiodistal
        if self.fdi % 10 == 3:
            d = np.sqrt((x - 0.25) ** 2 + 0.12) - 0.35
            return -d * np.where(x > 0.25, 0.52, 0.68) + 0.10 * y
        corner = np.where(x > 0, 0.25, 0.75 if self.fdi // 10 in (1, 2) else 0.4)
        return -corner * np.clip(np.abs(x) / a, 0.0, 1.2) ** 4 + 0.22 * y

    def __call__(self, points: Floats) -> Floats:
        """(k,) field at (k, 3) points of the crown frame."""
        x, y, z = np.ascontiguousarray(points.T)
        value = self.wall(x, y, z)
        high = np.flatnonzero(z > 0.3 * self.full)  # lower down the top does not matter
        top = (z[high] - self.full - self.shift - self._top(x[high], y[high])) * 0.8
        value[high] = smooth_max(value[high], top, self.rounding)
        return np.maximum(value, -z - ROOT)


def _anterior(fdi: int, size: CrownSize) -> Crown:
    upper, position = fdi // 10 in (1, 2), fdi % 10
    canine = position == 3
    h, a, b = size.height, 0.5 * size.mesiodistal, 0.5 * size.faciolingual
    neck, neck_b = 0.5 * size.mesiodistal_neck, 0.5 * size.faciolingual_neck
    mesial_z, distal_z = (0.68 * h, 0.58 * h) if canine else (0.78 * h, 0.68 * h if upper else 0.76 * h)
    edge = 0.75 if canine else 0.62
    return Crown(
        fdi, size,
        Profile(neck, a, mesial_z, a - (0.9 if canine else 0.25), 2.0, 2.2),
        Profile(neck, a, distal_z, a - (1.3 if canine else 0.6), 2.0, 2.0),
        Profile(neck_b, b, 0.24 * h, edge, 1.55, 1.6),
        Profile(neck_b, b, 0.22 * h, edge, 1.75 if upper else 1.45, 1.6, concave=True),
        power=2.25 if canine else 2.5, taper=0.16 if upper else 0.12, skew=0.0, occlusal=None, rounding=0.75 if canine else 0.55,
    )  # fmt: skip


def _posterior(fdi: int, size: CrownSize) -> Crown:
    upper, position = fdi // 10 in (1, 2), fdi % 10
    molar = position >= 6
    h, a, b = size.height, 0.5 * size.mesiodistal, 0.5 * size.faciolingual
    neck, neck_b = 0.5 * size.mesiodistal_neck, 0.5 * size.faciolingual_neck
    lingual_z = (0.62 if not upper and position == 5 else 0.52) * h
    facial_top, lingual_top = (b - 1.7, b - 1.5) if upper else (b - 2.3, b - 1.1)
    if position == 4 and not upper:
        facial_top, lingual_top = b - 2.2, b - 0.7
    bulge = 0.25 if position == 4 and not upper else 0.15  # the root's facial side lies deeper than half the neck's breadth
    return Crown(
        fdi, size,
        Profile(neck, a, 0.66 * h, a - 0.7, 2.0, 1.35),
        Profile(neck, a, 0.60 * h, a - 0.8, 2.0, 1.35),
        Profile(neck_b - bulge, b, 0.40 * h, facial_top, 1.8, 1.25),
        Profile(neck_b, b, lingual_z, lingual_top, 2.0, 1.5),
        power=2.75 if molar else 2.3, taper=-0.05 if upper and position == 6 else 0.10 if not molar else 0.05,
        skew=0.14 if upper and molar else 0.0, occlusal=POSTERIOR["upper" if upper else "lower"][position], rounding=1.1 if molar else 0.9,
    )  # fmt: skip


@cache
def make_crown(fdi: int, scale: float = 1.0) -> Crown:
    """The average crown of an FDI number, `scale` times as large; its top is shifted so that rounding leaves it as tall as planned."""
    size = CrownSize(*(scale * length for length in astuple(crown_size(fdi))))
    crown = _anterior(fdi, size) if fdi % 10 <= 3 else _posterior(fdi, size)
    for _ in range(3):
        crown = replace(crown, shift=crown.shift + size.height - crown_top(crown))
    return crown


def crown_top(crown: Crown) -> float:
    """Highest point of a crown's own shape, mm above the junction."""
    half_x, half_y = 0.5 * crown.size.mesiodistal, 0.5 * crown.size.faciolingual
    heights = np.linspace(0.85, 1.05, 41) * crown.full
    x, y, z = np.meshgrid(np.linspace(-half_x, half_x, 25), np.linspace(-half_y, half_y, 29), heights, indexing="ij")
    inside = crown(np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)).reshape(x.shape) < 0
    return float(z[inside].max())
