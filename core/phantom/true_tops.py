"""Where cusp tips, marginal ridges and fossae of made-up crowns truly are, from each crown's own field.

A tip is a local maximum of the built surface, a marginal ridge the border of the occlusal surface (Glossary of Prosthodontic Terms, from
memory): where that turns down most toward the neighbour. A fossa is the middle of the floor of the deepest hollow in its part of the table.
"Up" for tips is halfway between the occlusal direction and the crown's long axis, for fossae the occlusal direction (Z).
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import UnivariateSpline
from scipy.ndimage import gaussian_filter1d, label, minimum_filter

from ..mesh import Floats
from .anatomy import Anatomy
from .arch import Placed
from .drop import Field, climb, drop, square, stands_clear
from .sides import UP
from .true_walls import middle_along, reach_along

_STRAY_MM = 1.5  # a designed cusp whose slope leads further away than this has no tip of its own
_ONE_MM = 0.8  # tips nearer than this are one
_BAND = np.linspace(-0.5, 0.5, 5)  # mm faciolingually, over which a marginal ridge's profile is averaged
_FINE_MM = 0.05
_ROUND_MM = 0.3  # of a profile's length, over which its turns are taken
_OUTER = 0.6  # share of the half-width: further in, cusps and crossing ridges turn as sharply
_FOLD_MM = 0.4  # nearer to the crown's end the fold toward the neighbour is part of the profile
_DEEP_MM = 1.0  # what lies so far below the highest place out there is the proximal wall
_SHARP = 0.7  # the ridge is the middle of where the profile turns at least so much as at its sharpest place
_TURN = 0.25  # radians a millimetre: less is no border
_INSIDE_MM = 1.2  # of a lingual cusp's tip from the lingual outline (common practice)
_GRID_MM = 0.1
_TABLE = 0.22  # of the crown's breadth, to either side of the middle: the floor of the table
_HOLLOW_MM = 0.4  # a hollow is lower than all round it within this
_FLOOR_MM = 0.7  # of height over the deepest place: what counts for the middle of a fossa, the deeper the more


def _field(tooth: Placed) -> Field:
    return lambda points: tooth.crown(tooth.to_local(points))


def tip_direction(tooth: Placed) -> Floats:
    """(3,) unit: halfway between the occlusal direction and the crown's long axis."""
    up = tooth.frame[2] + UP
    return np.asarray(up / np.linalg.norm(up))


def true_cusps(tooth: Placed, mesial: Floats) -> Floats:
    """(c, 3) tips in the order of the design. Of an incisor the place of the edge midway between its mesial and distal contact.

    Only local maxima of the finished shape count: rounding swallows a low cusp whose neighbour's slope passes over it.
    """
    field, up, occlusal = _field(tooth), tip_direction(tooth), tooth.crown.occlusal
    if occlusal is None and tooth.fdi % 10 <= 2:
        return _edge_middle(tooth, up, mesial)[None]
    nominal = [(c.x, c.y, -c.drop) for c in occlusal.cusps] if occlusal else [(0.25, 0.0, 0.0)]
    kept: list[Floats] = []
    for x, y, z in nominal:
        start = tooth.to_cast(np.array([x, y, tooth.crown.full + z]))
        tip = climb(field, start, up, mesial)
        strayed = np.linalg.norm((tooth.to_local(tip) - tooth.to_local(start))[:2])
        new = all(np.linalg.norm(tip - other) > _ONE_MM for other in kept)
        if new and strayed < _STRAY_MM and stands_clear(field, tip, up, mesial):
            kept.append(tip)
    return np.array(kept)


def _edge_middle(tooth: Placed, up: Floats, mesial: Floats) -> Floats:
    """(3,) the crest of an incisal edge midway between the crown's widest places."""
    along, across = square(up, mesial)
    top = tooth.to_cast(np.array([0.0, 0.0, tooth.crown.full + 1.0]))
    start = top + (middle_along(tooth, along) - top @ along) * along + np.linspace(-2.0, 2.0, 201)[:, None] * across
    landed = drop(_field(tooth), start, -up)
    return np.asarray(landed[int(np.nan_to_num(landed @ up, nan=-np.inf).argmax())])


def _between(tooth: Placed, tips: Floats, mesial: Floats, facial: Floats, sign: float) -> float:
    """Facial coordinate midway between the facial and the lingual cusp that stand furthest mesially (sign 1) or distally (-1).

    A lingual cusp without a tip of its own stands 1.2 mm inside the lingual outline.
    """
    designed = tooth.to_local(tips)[:, 1]
    rows = []
    for row in (tips[designed > 0.0], tips[designed <= 0.0]):
        rows.append(float(row[int((sign * row @ mesial).argmax())] @ facial) if len(row) else reach_along(tooth, facial)[0] + _INSIDE_MM)
    return 0.5 * (rows[0] + rows[1])


def true_ridge(anatomy: Anatomy, tooth: Placed, tips: Floats, mesial: Floats, facial: Floats, sign: float) -> Floats | None:
    """(3,) the mesial (sign 1) or distal marginal ridge over its middle millimetre, midway between the cusps: the border of the occlusal
    surface, where the mesiodistal profile of the finished surface turns down most; None where it turns nowhere by as much as _TURN."""
    near_end, far_end = reach_along(tooth, mesial)
    centre = 0.5 * (near_end + far_end)
    out = np.arange(0.0, 0.5 * (far_end - near_end) + 0.3, _FINE_MM)
    top = tooth.to_cast(np.array([0.0, 0.0, tooth.crown.full + 1.0]))
    ahead = (centre + sign * out - top @ mesial)[:, None, None] * mesial
    start = top + ahead + (_between(tooth, tips, mesial, facial, sign) - top @ facial + _BAND)[None, :, None] * facial
    landed = drop(anatomy.field, start.reshape(-1, 3), -UP, reach=14.0).reshape(*start.shape)
    height = landed[:, :, 2].mean(axis=1)
    own = np.isfinite(height) & (anatomy.parts(np.nan_to_num(landed[:, len(_BAND) // 2]))[1] == tooth.fdi)
    own &= height > np.nanmax(height) - 0.5 * tooth.crown.full
    out, height, landed = out[own], height[own], landed[own]
    turn, x, z = _turn(out, height)
    outer = x > _OUTER * x[-1]
    turn = np.where(outer & (x < x[-1] - _FOLD_MM) & (z > z[outer].max() - _DEEP_MM), turn, 0.0)
    part, _ = label(turn >= _SHARP * turn.max())
    place = np.where(part == part[turn.argmax()], turn - _SHARP * turn.max() + 1e-9, 0.0)
    if turn.max() < _TURN:
        return None
    return np.asarray(landed[int(np.abs(out - place @ x / place.sum()).argmin()), len(_BAND) // 2])


def _turn(out: Floats, height: Floats) -> tuple[Floats, Floats, Floats]:
    """(k,) radians a millimetre by which a profile turns down, smoothed over _ROUND_MM of its length, and where out and up (k,) that is."""
    length = np.r_[0.0, np.cumsum(np.hypot(np.diff(out), np.diff(height)))]
    even = np.arange(0.0, length[-1], _FINE_MM)
    x, z = np.interp(even, length, out), np.interp(even, length, height)
    slope = UnivariateSpline(even, z, s=0.0, k=3, ext=0), UnivariateSpline(even, x, s=0.0, k=3, ext=0)
    beyond = np.r_[even[0] + np.arange(-40, 0) * _FINE_MM, even, even[-1] + np.arange(1, 41) * _FINE_MM]
    inside = np.clip(beyond, even[0], even[-1])
    run, fall = (curve.derivative()(inside) for curve in (slope[1], slope[0]))
    run, fall = (gaussian_filter1d(v, _ROUND_MM / _FINE_MM) for v in (run, fall))
    return -np.gradient(np.unwrap(np.arctan2(fall, run)), _FINE_MM)[40:-40], x, z


def true_fossae(tooth: Placed, tips: Floats, mesial: Floats, facial: Floats) -> dict[str, Floats]:
    """The middle of the floor of the deepest hollow in each named part of the finished table (a premolar's or a molar's)."""
    top = tooth.to_cast(np.array([0.0, 0.0, tooth.crown.full + 1.0]))
    middle = 0.5 * (_between(tooth, tips, mesial, facial, 1.0) + _between(tooth, tips, mesial, facial, -1.0))
    near_end, far_end = reach_along(tooth, mesial)
    centre, half = 0.5 * (near_end + far_end), 0.5 * (far_end - near_end)
    lingual_end, facial_end = reach_along(tooth, facial)
    broad = _TABLE * (facial_end - lingual_end)
    across = np.arange(-broad, broad + 1e-9, _GRID_MM)
    parts = {"central fossa": (-0.35, 0.35)} if tooth.fdi % 10 >= 6 else {"mesial fossa": (0.15, 0.75), "distal fossa": (-0.75, -0.15)}
    found = {}
    for name, (near, far) in parts.items():
        along = np.arange(near * half, far * half + 1e-9, _GRID_MM)
        start = top + (centre - top @ mesial + along)[:, None, None] * mesial + (middle - top @ facial + across)[None, :, None] * facial
        landed = drop(_field(tooth), start.reshape(-1, 3), -UP).reshape(*start.shape)
        place = _floor(np.nan_to_num(landed[:, :, 2], nan=np.inf))
        if place is not None:
            exact = start[0, 0] + _GRID_MM * (place[0] * mesial + place[1] * facial)
            found[name] = drop(_field(tooth), exact[None], -UP)[0]
    return found


def _floor(height: Floats) -> tuple[float, float] | None:
    """Place, in cells, in the middle of the floor round the deepest hollow of a grid of heights; None where none lies within its border."""
    inner = np.zeros(height.shape, bool)
    reach = int(round(_HOLLOW_MM / _GRID_MM))
    inner[reach:-reach, reach:-reach] = True
    lowest = inner & (height <= minimum_filter(height, size=2 * reach + 1))
    if not lowest.any():
        return None
    i, j = (int(k) for k in np.unravel_index(int(np.where(lowest, height, np.inf).argmin()), height.shape))
    depth = np.maximum(height[i, j] + _FLOOR_MM - height, 0.0)
    share = depth / depth.sum()
    return float(share.sum(axis=1) @ np.arange(len(share))), float(share.sum(axis=0) @ np.arange(share.shape[1]))
