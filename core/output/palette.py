"""Colours for undercut depth: one ramp of evenly falling lightness, and the gauges of the trade drawn on it as lines.

The ramp is built in OKLab (B. Ottosson, "A perceptual color space for image processing", 2020), where equal distances look equally
different. Its lightness falls all the way, so it reads in black-and-white and for colour-blind eyes; its darkest end stays clear of the
ink of the gauge lines.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..gauges import GAUGES_INCH
from .materials import MATERIALS, to_linear, to_srgb

if TYPE_CHECKING:
    from ..mesh import Floats

DEPTH_FULL_MM = 1.0  # deeper is shown as this deep
# Undercut gauges: label in mm by custom of the trade, and the inch size they are made to (design: frames and definitions).
GAUGES: tuple[tuple[float, float], ...] = tuple((round(25 * inch, 2), inch) for inch in GAUGES_INCH)
INK = (0.03, 0.035, 0.05)
TRIPOD = (0.12, 0.16, 0.55)
SURVEY_LINE = (0.76, 0.21, 0.07)
BEST_PATH, PICKED_PATH = SURVEY_LINE, TRIPOD

# Lightness, chroma and hue (degrees) along the ramp: pale green, sea green, blue, violet.
_STOPS = np.array([[0.920, 0.070, 140.0], [0.775, 0.100, 178.0], [0.635, 0.100, 228.0], [0.505, 0.120, 278.0]])

_LMS = np.array([
    [0.4122214708, 0.5363325363, 0.0514459929], [0.2119034982, 0.6806995451, 0.1073969566], [0.0883024619, 0.2817188376, 0.6299787005],
])
_LAB = np.array([
    [0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099], [0.0259040371, 0.7827717662, -0.8086757660],
])


def oklab(srgb: NDArray) -> Floats:
    """(k, 3) sRGB 0..1 to OKLab."""
    lms = to_linear(srgb).astype(np.float64) @ _LMS.T
    return np.cbrt(lms) @ _LAB.T


def from_oklab(lab: NDArray) -> Floats:
    """(k, 3) OKLab to sRGB 0..1, clipped."""
    lms = (np.asarray(lab) @ np.linalg.inv(_LAB).T) ** 3
    return to_srgb(lms @ np.linalg.inv(_LMS).T).astype(np.float64)


@lru_cache(maxsize=1)
def ramp(count: int = 256) -> Floats:
    """(count, 3) sRGB 0..1 from depth 0 to DEPTH_FULL_MM, equal steps looking equal."""
    t = np.linspace(0, 1, 2048)
    where = np.linspace(0, 1, len(_STOPS))
    light, chroma, hue = (np.interp(t, where, _STOPS[:, k]) for k in range(3))
    turn = np.radians(hue)
    lab = np.column_stack([light, chroma * np.cos(turn), chroma * np.sin(turn)])
    way = np.r_[0, np.cumsum(np.linalg.norm(np.diff(lab, axis=0), axis=1))]
    even = np.interp(np.linspace(0, way[-1], count), way, t)
    return from_oklab(np.column_stack([np.interp(even, t, lab[:, k]) for k in range(3)]))


def depth_colours(depth_mm: NDArray, plain: tuple[float, float, float] | None = None) -> Floats:
    """(n, 3) sRGB 0..1 for undercut depths (n,) in mm; `plain` (stone by default) where there is none."""
    depth = np.nan_to_num(np.asarray(depth_mm, dtype=np.float64))
    table = ramp()
    spot = np.clip(depth / DEPTH_FULL_MM, 0, 1) * (len(table) - 1)
    low = np.floor(spot).astype(int)
    high = np.minimum(low + 1, len(table) - 1)
    share = (spot - low)[:, None]
    colour = table[low] * (1 - share) + table[high] * share
    stone = np.array(MATERIALS["stone"].colour if plain is None else plain)
    veil = np.clip((depth - 0.01) / 0.02, 0, 1)[:, None]  # a scan's noise makes hundredths of undercut everywhere
    return stone * (1 - veil) + colour * veil
