"""Heights of the vestibule, the palate and the floor of the mouth over the plane, mm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..mesh import Floats
from .arch import ArchCurve
from .shapes import Ripple, bell, segment_distance, smooth_max, smooth_step

# Depth of the vault below the occlusal plane at the first molars: about 0.4 of the intermolar width (Korkhaus, from memory).
PALATE_DEEP = -18.0
PALATE_RIM = -10.5
LINGUAL_SULCUS = 9.5  # mm of the lower lingual sulcus below the lowest margin (8 or more suits a lingual bar; common practice)
FOLD = {"upper": 10.0, "lower": 8.5}  # facial fold below the facial margins (common practice)
_RUGAE = (  # right half of the palate: x, y of starts, bends and ends, height
    ((1.9, -10.6), (5.2, -9.8), (9.0, -10.6), 0.60),
    ((1.8, -13.4), (5.8, -12.8), (11.2, -14.2), 0.75),
    ((2.2, -16.6), (6.4, -16.4), (10.6, -18.0), 0.65),
    ((3.6, -19.6), (6.4, -19.8), (9.2, -21.0), 0.40),
)


def _curve_distance(x: Floats, y: Floats, p: Sequence[Floats], pieces: int = 8) -> tuple[Floats, Floats]:
    """Distance to the parabola from p[0] to p[2] that passes by p[1], and the fraction along it of the nearest point."""
    t = np.linspace(0.0, 1.0, pieces + 1)[:, None]
    bend = 2.0 * p[1] - 0.5 * (p[0] + p[2])
    line = (1.0 - t) ** 2 * p[0] + 2.0 * t * (1.0 - t) * bend + t**2 * p[2]
    best, along = np.full_like(x, np.inf), np.zeros_like(x)
    for k in range(pieces):
        d, part = segment_distance(x, y, tuple(line[k]), tuple(line[k + 1]))
        along = np.where(d < best, (k + part) / pieces, along)
        best = np.minimum(best, d)
    return best, along


class Floors:
    """Floors of one arch; `rng` varies rugae and frena a little."""

    def __init__(self, arch: str, curve: ArchCurve, rng: np.random.Generator) -> None:
        self.arch = arch
        right = curve.points[curve.station >= 0]
        self._depth, self._half = -right[:, 1], right[:, 0]
        self._ripple = Ripple(rng, 8.0)
        self._wobble = rng.normal(0.0, 0.35, size=(2, len(_RUGAE), 3, 2))
        self._frena = np.array([0.0, 25.0, -25.0]) + rng.normal(0.0, 0.5, 3)

    def facial(self, flat: Floats, s: Floats, n: Floats, gum: Floats, half: Floats) -> Floats:
        """Vestibule: a fold, then the roll of the impression's border and the land."""
        fold = gum - FOLD[self.arch]
        out = n - half
        roll = 2.4 * smooth_step(out, 3.0, 8.0)
        frena = np.zeros_like(s)
        for k, at in enumerate(self._frena):
            frena += (3.2 if k == 0 else 2.4) * bell(s - at, 1.2 if k == 0 else 1.8) * (1.0 - smooth_step(out, 2.0, 7.0))
        return fold + roll + frena

    def lingual(self, flat: Floats, s: Floats, n: Floats, gum: Floats) -> Floats:
        return self._palate(flat, n) if self.arch == "upper" else self._mouth_floor(flat, n, gum)

    def _mouth_floor(self, flat: Floats, n: Floats, gum: Floats) -> Floats:
        x, y = flat.T
        level = float(gum.min()) - LINGUAL_SULCUS
        tongue = 1.6 * smooth_step(-n, 9.0, 19.0)
        frenum = 1.6 * bell(x, 1.7) * smooth_step(y, -20.0, -6.0)
        return level + tongue + frenum

    def _waver(self, level: float, flat: Floats) -> Floats:
        """(k,) smooth random shifts, so that no ridge of the palate runs straight."""
        return self._ripple(np.column_stack([flat, np.full(len(flat), level)]))

    def _palate(self, flat: Floats, n: Floats) -> Floats:
        x, y = flat.T
        half = np.interp(-y, self._depth, self._half) - 4.5
        u = np.clip(np.abs(x) / np.maximum(half, 0.5), 0.0, 1.4)
        t = np.clip((-5.0 - y) / 24.0, 0.0, 1.0)
        deep = (PALATE_RIM - PALATE_DEEP) * (1.0 - (1.0 - t) ** 1.8)
        vault = 1.0 - u**2.5
        z = PALATE_RIM - deep * smooth_max(vault, np.zeros_like(vault), 0.5)
        x = x + 0.8 * self._waver(0.0, flat)
        y = y + 0.9 * self._waver(40.0, flat)
        z = z + 0.28 * bell(x, 0.9) * smooth_step(-y, 9.0, 13.0)
        z = z + 1.4 * np.exp(-((x / 1.9) ** 2) - ((y + 8.0) / 2.8) ** 2)
        for side in (0, 1):
            sign = 1.0 if side else -1.0
            for k, (start, bend, end, tall) in enumerate(_RUGAE):
                p = [np.array(q) + w for q, w in zip((start, bend, end), self._wobble[side, k], strict=True)]
                away, along = _curve_distance(sign * x, y, p)
                z = z + tall * bell(away, 0.85) * np.sin(np.pi * np.clip(along, 0.06, 0.94)) ** 0.7
        return z
