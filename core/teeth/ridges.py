"""Marginal ridges: where the top of a crown turns down to its proximal face."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..errors import CaseError, GeometryError
from ..mesh import Floats, Mesh
from . import numbering
from .model import Tooth
from .relief import Relief, middle_line, relief
from .walls import UP, middle_along

BAND_MM = 0.5
"""Half-width of the stretch of a marginal ridge whose heights are averaged."""
CALM_MM = 0.08
STEP_MM = 0.05
ROUND_MM = 0.3
"""Turns are measured on a profile smoothed over this length: a ridge is rounder, scan noise and fissures are finer."""
OUTER_SHARE = 0.6
"""Marginal ridges lie further out than this share of the half-width: further in, cusps and crossing ridges turn as sharply."""
FOLD_MM = 0.4
"""Nearer to the end of the crown than this the fold toward the neighbour, or the wall itself, is part of the profile."""
DEEP_MM = 1.0
"""What lies so far below the highest place out there is the proximal wall, which a leaning crown without a neighbour shows from above."""
SHARP_SHARE = 0.7
"""The ridge is the middle of where the profile turns at least so much as at its sharpest place."""
KNOWN_SHARE = 0.6


def profile(r: Relief, middle: float, half_mm: float = BAND_MM) -> Floats:
    """(a,) mean height along the mesiodistal line at the facial coordinate `middle`; nan where less than KNOWN_SHARE of it is known."""
    band = np.abs(r.v - middle) <= half_mm
    part = r.calmed(CALM_MM)[:, band]
    count = np.isfinite(part).sum(axis=1)
    total = np.where(np.isfinite(part), part, 0.0).sum(axis=1)
    return np.where(count > KNOWN_SHARE * band.sum(), total / np.maximum(count, 1), np.nan)


def marginal_ridge(tooth: Tooth, mesh: Mesh, side: str) -> Floats:
    """(3,) the mesial or distal marginal ridge, midway between facial and lingual cusps: where the crown's top in profile turns down most.

    "The border of the occlusal surface" (Glossary of Prosthodontic Terms, from memory), and so found on worn and on leaning crowns too,
    where no rise is left. Raises CaseError for another side, GeometryError where the crown's top is not in the scan.
    """
    if side not in ("mesial", "distal"):
        raise CaseError(f"a marginal ridge is mesial or distal, not {side!r}")
    sign = 1.0 if side == "mesial" else -1.0
    r = relief(tooth, mesh, UP)
    tips = r.local(tooth.cusps)
    middle = float(tips[0, 1]) if numbering.is_anterior(tooth.fdi) else middle_line(r, tips, sign)
    height = profile(r, middle)
    centre = middle_along(tooth, mesh.submesh(tooth.faces)[0])
    out = sign * (r.u - centre)
    used = np.flatnonzero(np.isfinite(height) & (out > 0.0))
    if len(used) < 8:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its top; the {side} marginal ridge cannot be placed")
    order = used[np.argsort(out[used])]
    place = sharpest_turn(out[order], height[order])
    i, j = int(np.abs(out - place).argmin()), int(np.abs(r.v - middle).argmin())
    level = float(r.raw[i, j]) if np.isfinite(r.raw[i, j]) else float(np.interp(place, out[order], height[order]))
    return r.point(centre + sign * place, float(r.v[j]), level)


def sharpest_turn(out: Floats, height: Floats) -> float:
    """Where, going outward (k,) mm, a profile of heights (k,) turns down most for its length, in its outer part."""
    length = np.r_[0.0, np.cumsum(np.hypot(np.diff(out), np.diff(height)))]
    even = np.arange(0.0, length[-1], STEP_MM)
    line = np.column_stack([np.interp(even, length, out), np.interp(even, length, height)])
    pad = int(round(3.0 * ROUND_MM / STEP_MM))
    steps = np.arange(1, pad + 1)[:, None]
    longer = np.vstack([line[0] - (line[3] - line[0]) / 3.0 * steps[::-1], line, line[-1] + (line[-1] - line[-4]) / 3.0 * steps])
    smooth = gaussian_filter1d(longer, ROUND_MM / STEP_MM, axis=0)
    bearing = np.unwrap(np.arctan2(np.gradient(smooth[:, 1]), np.gradient(smooth[:, 0])))
    turn = -np.gradient(bearing)[pad:-pad]
    outer = line[:, 0] > OUTER_SHARE * line[-1, 0]
    usable = outer & (line[:, 0] < line[-1, 0] - FOLD_MM) & (line[:, 1] > line[outer, 1].max(initial=-np.inf) - DEEP_MM)
    if not usable.any():
        return float(OUTER_SHARE * line[-1, 0])
    turn = np.where(usable, turn, -np.inf)
    sharp = int(turn.argmax())
    if turn[sharp] <= 0.0:
        return float(line[sharp, 0])
    low = np.flatnonzero(turn < SHARP_SHARE * turn[sharp])
    start = int(low[low < sharp].max(initial=-1)) + 1
    end = int(low[low > sharp].min(initial=len(turn)))
    return float(np.average(line[start:end, 0], weights=turn[start:end] - SHARP_SHARE * turn[sharp] + 1e-9))
