"""Where the landmarks of made-up crowns truly are, from the anatomy's own field: no mesh, no noise, no step of a grid.

Each is what its name says in the mouth: a cusp tip is a local maximum of the built surface, a fossa the middle of the floor of the deepest
hollow in its part of the table,
a contact the middle of the highest stretch of the valley between two crowns. "Up" for tips is halfway between the occlusal direction
and the crown's long axis, for marginal ridges the axis itself, for the rest the occlusal direction (Z).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import label, minimum_filter

from ..mesh import Floats
from .anatomy import Anatomy
from .arch import Placed

_UP = np.array([0.0, 0.0, 1.0])
_STRAY_MM = 1.5  # a designed cusp whose slope leads further away than this has no tip of its own
_ONE_MM = 0.8  # tips nearer than this are one
_BAND = np.linspace(-0.5, 0.5, 5)  # mm faciolingually, over which a marginal ridge's profile is averaged
_OFF_MM = 0.6  # a designed marginal ridge's crest on the finished surface lies no further off
_INSIDE_MM = 1.2  # of a lingual cusp's tip from the lingual outline (common practice)
_GRID_MM = 0.1
_HOLLOW_MM = 0.4  # a hollow is lower than all round it within this
_FLOOR_MM = 0.1  # of height over the deepest place: the floor of a fossa
_FLAT_MM = 0.3  # of height, over which a contact's highest stretch is taken


def _drop(field: Callable[[Floats], Floats], start: Floats, down: Floats, reach: float = 9.0) -> Floats:
    """(k, 3) where points that fall along a unit vector come onto the surface; nan where they fall past it."""
    fallen = np.zeros(len(start))
    for _ in range(22):
        fallen = fallen + np.clip(field(start + fallen[:, None] * down), -0.3, 1.5)
    landed = start + fallen[:, None] * down
    ok = (np.abs(field(landed)) < 0.01) & (fallen < reach)
    return np.where(ok[:, None], landed, np.nan)


def _square(up: Floats, toward: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors perpendicular to `up`, the first as near to `toward` as can be."""
    first = toward - (toward @ up) * up
    first /= np.linalg.norm(first)
    return first, np.cross(up, first)


def _climb(field: Callable[[Floats], Floats], start: Floats, up: Floats, toward: Floats, sign: float = 1.0) -> Floats:
    """(3,) the local maximum (sign 1) or minimum (-1) along `up` of the surface that is reached uphill (downhill) from a point (3,)."""
    a, b = _square(up, toward)
    ring = np.array([(i, j) for i in (0, -1, 1) for j in (0, -1, 1)], dtype=np.float64)
    here = _drop(field, (start + 1.0 * up)[None], -up)[0]
    for step in (0.2, 0.1, 0.05, 0.02):
        for _ in range(20):
            around = here + 0.5 * up + step * (ring[:, :1] * a + ring[:, 1:] * b)
            landed = _drop(field, around, -up)
            best = int(np.nan_to_num(sign * landed @ up, nan=-np.inf).argmax())
            if best == 0 or not np.isfinite(landed[best]).all():
                break
            here = landed[best]
    return np.asarray(here)


def _stands_clear(field: Callable[[Floats], Floats], tip: Floats, up: Floats, toward: Floats) -> bool:
    """Whether the surface is lower half a millimetre away on every side: else it is a shoulder of something higher."""
    a, b = _square(up, toward)
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)[:, None]
    ring = _drop(field, tip + 0.5 * (np.cos(turn) * a + np.sin(turn) * b) + 0.8 * up, -up)
    return bool((np.nan_to_num(ring @ up, nan=-np.inf) < tip @ up).all())


def tip_direction(tooth: Placed) -> Floats:
    """(3,) unit: halfway between the occlusal direction and the crown's long axis."""
    up = tooth.frame[2] + _UP
    return np.asarray(up / np.linalg.norm(up))


def true_cusps(tooth: Placed) -> Floats:
    """(c, 3) tips in the order of the design. Of an incisor the place of the edge midway between its mesial and distal contact.

    Only local maxima of the finished shape count: rounding swallows a low cusp whose neighbour's slope passes over it.
    """
    def field(points: Floats) -> Floats:
        return tooth.crown(tooth.to_local(points))

    up = tip_direction(tooth)
    occlusal = tooth.crown.occlusal
    if occlusal is None and tooth.fdi % 10 <= 2:
        return _edge_middle(tooth, field, up)[None]
    nominal = [(c.x, c.y, -c.drop) for c in occlusal.cusps] if occlusal else [(0.25, 0.0, 0.0)]
    kept: list[Floats] = []
    for x, y, z in nominal:
        start = tooth.to_cast(np.array([x, y, tooth.crown.full + z]))
        tip = _climb(field, start, up, tooth.frame[0])
        strayed = np.linalg.norm((tooth.to_local(tip) - tooth.to_local(start))[:2])
        new = all(np.linalg.norm(tip - other) > _ONE_MM for other in kept)
        if new and strayed < _STRAY_MM and _stands_clear(field, tip, up, tooth.frame[0]):
            kept.append(tip)
    return np.array(kept)


def _middle_along(tooth: Placed, along: Floats) -> float:
    """Coordinate (cast, along a unit vector) midway between the crown's furthest places over its margin."""
    return 0.5 * sum(_reach_along(tooth, along))


def _reach_along(tooth: Placed, along: Floats) -> tuple[float, float]:
    """Least and greatest coordinate (cast, along a unit vector) of the crown over its margin."""
    crown = tooth.crown
    turn, height = (g.ravel() for g in np.meshgrid(np.linspace(0.0, 2.0 * np.pi, 120), np.linspace(1.0, 0.97 * crown.full, 40)))
    radius = np.full_like(turn, 4.0)
    for _ in range(10):  # the field is nearly the radial distance itself
        radius = np.maximum(radius - crown(np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=1)), 0.1)
    reach = tooth.to_cast(np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=1)) @ along
    return float(reach.min()), float(reach.max())


def _edge_middle(tooth: Placed, field: Callable[[Floats], Floats], up: Floats) -> Floats:
    """(3,) the crest of an incisal edge midway between the crown's widest places."""
    along, across = _square(up, tooth.frame[0])
    top = tooth.to_cast(np.array([0.0, 0.0, tooth.crown.full + 1.0]))
    start = top + (_middle_along(tooth, along) - top @ along) * along + np.linspace(-2.0, 2.0, 201)[:, None] * across
    landed = _drop(field, start, -up)
    return np.asarray(landed[int(np.nan_to_num(landed @ up, nan=-np.inf).argmax())])


def _between(tooth: Placed, tips: Floats, mesial: Floats, facial: Floats, sign: float) -> float:
    """Facial coordinate midway between the facial and the lingual cusp that stand furthest mesially (sign 1) or distally (-1).

    A lingual cusp without a tip of its own stands 1.2 mm inside the lingual outline.
    """
    designed = tooth.to_local(tips)[:, 1]
    rows = []
    for row in (tips[designed > 0.0], tips[designed <= 0.0]):
        if len(row):
            rows.append(float(row[int((sign * row @ mesial).argmax())] @ facial))
        else:
            wall, _ = _profile(tooth, -1.0)
            rows.append(float((wall @ facial).min()) + _INSIDE_MM)
    return 0.5 * (rows[0] + rows[1])


def _ridge(tooth: Placed, tips: Floats, sign: float, designed: tuple[float, float]) -> Floats | None:
    """(3,) crest of the mesial (sign 1) or distal marginal ridge over its middle millimetre: highest along the crown's axis as seen
    from the cheek, nearest to the designed (x, drop); None where the finished shape has no rise there."""
    def field(points: Floats) -> Floats:
        return tooth.crown(tooth.to_local(points))

    mesial, facial = _sides(tooth)
    axis = tooth.frame[2]
    up = _UP + (axis @ mesial) / (axis @ _UP) * mesial
    up /= np.linalg.norm(up)
    along, _ = _square(up, mesial)
    crest = tooth.to_cast(np.array([designed[0], 0.0, tooth.crown.full - designed[1]]))
    middle = _between(tooth, tips, mesial, facial, sign)
    off = np.arange(-1.2, 1.21, 0.03)
    start = crest + (middle - crest @ facial) * facial + 3.0 * up + off[:, None, None] * along + _BAND[None, :, None] * facial
    landed = _drop(field, start.reshape(-1, 3), -up).reshape(*start.shape)
    height = np.nan_to_num((landed @ up).mean(axis=1), nan=-np.inf)
    top = np.flatnonzero((height[1:-1] >= height[:-2]) & (height[1:-1] > height[2:])) + 1
    top = top[np.abs(off[top]) < _OFF_MM]
    return landed[int(top[np.abs(off[top]).argmin()]), len(_BAND) // 2] if len(top) else None


def _fossae(tooth: Placed, tips: Floats) -> dict[str, Floats]:
    """The middle of the floor of the deepest hollow in each named part of the finished table (a premolar's or a molar's)."""
    def field(points: Floats) -> Floats:
        return tooth.crown(tooth.to_local(points))

    mesial, facial = _sides(tooth)
    top = tooth.to_cast(np.array([0.0, 0.0, tooth.crown.full + 1.0]))
    middle = 0.5 * (_between(tooth, tips, mesial, facial, 1.0) + _between(tooth, tips, mesial, facial, -1.0))
    near_end, far_end = _reach_along(tooth, mesial)
    centre, half = 0.5 * (near_end + far_end), 0.5 * (far_end - near_end)
    across = np.arange(-1.7, 1.71, _GRID_MM)
    parts = {"central fossa": (-0.35, 0.35)} if tooth.fdi % 10 >= 6 else {"mesial fossa": (0.15, 0.75), "distal fossa": (-0.75, -0.15)}
    found = {}
    for name, (near, far) in parts.items():
        along = np.arange(near * half, far * half + 1e-9, _GRID_MM)
        start = top + (centre - top @ mesial + along)[:, None, None] * mesial + (middle - top @ facial + across)[None, :, None] * facial
        landed = _drop(field, start.reshape(-1, 3), -_UP).reshape(*start.shape)
        place = _floor(np.nan_to_num(landed[:, :, 2], nan=np.inf))
        if place is not None:
            found[name] = landed[place]
    return found


def _floor(height: Floats) -> tuple[int, int] | None:
    """Cell in the middle of the floor of the deepest hollow of a grid of heights; None where all runs out over the grid's border."""
    inner = np.zeros(height.shape, bool)
    reach = int(round(_HOLLOW_MM / _GRID_MM))
    inner[reach:-reach, reach:-reach] = True
    lowest = inner & (height <= minimum_filter(height, size=2 * reach + 1))
    if not lowest.any():
        return None
    i, j = (int(k) for k in np.unravel_index(int(np.where(lowest, height, np.inf).argmin()), height.shape))
    depth = np.maximum(height[i, j] + _FLOOR_MM - height, 0.0)
    part, _ = label(depth > 0.0)
    depth = np.where(part == part[i, j], depth, 0.0)
    share = depth / depth.sum()
    return int(round(share.sum(axis=1) @ np.arange(len(share)))), int(round(share.sum(axis=0) @ np.arange(share.shape[1])))


def _sides(tooth: Placed) -> tuple[Floats, Floats]:
    """Horizontal mesial and facial unit vectors."""
    mesial, left = _square(_UP, tooth.frame[0])
    return mesial, left if left @ tooth.frame[1] > 0 else -left


def _prominence(tooth: Placed) -> Floats:
    """(3,) the most facial place of the crown's profile midway mesiodistally, over the middle millimetre."""
    return _profile(tooth, 1.0)[1]


def _profile(tooth: Placed, side: float) -> tuple[Floats, Floats]:
    """(k, 3) profile of the facial (1) or lingual (-1) wall midway mesiodistally, and its outermost point (3,)."""
    def field(points: Floats) -> Floats:
        return tooth.crown(tooth.to_local(points))

    mesial, facial = _sides(tooth)
    crown = tooth.crown
    bottom, top = tooth.to_cast(np.array([[0.0, 0.0, 0.7], [0.0, 0.0, crown.full]]))
    middle = 0.5 * (bottom + top)
    middle = middle + (_middle_along(tooth, mesial) - middle @ mesial) * mesial
    z = np.arange(bottom[2], top[2] - 0.3, 0.02)
    start = middle + np.array([0.0, 0.0, 1.0]) * (z - middle[2])[:, None] + side * 8.0 * facial
    landed = _drop(field, start, -side * facial, reach=14.0)
    known = landed[np.isfinite(landed).all(axis=1)]
    return known, known[int((side * known @ facial).argmax())]


def _cingulum(tooth: Placed) -> Floats:
    """(3,) the shoulder between the cingulum's bulge and the hollow above it: where the designed lingual profile turns."""
    shape = tooth.crown.lingual
    points, _ = _profile(tooth, -1.0)
    height = tooth.to_local(points)[:, 2]
    return np.asarray(points[int(np.abs(height - shape.crest_z).argmin())])


def _contact(anatomy: Anatomy, one: Placed, other: Placed) -> Floats | None:
    """(3,) the middle of the highest stretch of the valley in which two crowns meet, as the finished surface has it.

    None where they stand apart."""
    def field(points: Floats) -> Floats:
        return anatomy.field(points)

    apart = other.origin - one.origin
    along, across = _square(_UP, apart)
    middle = 0.5 * (one.to_cast(np.array([0.0, 0.0, one.crown.full])) + other.to_cast(np.array([0.0, 0.0, other.crown.full])))
    across_mm, along_mm = np.arange(-4.5, 4.51, 0.15), np.arange(-2.5, 2.51, 0.1)
    start = middle + 2.0 * _UP + across_mm[:, None, None] * across + along_mm[None, :, None] * along
    landed = _drop(field, start.reshape(-1, 3), -_UP, reach=14.0).reshape(*start.shape)
    safe = np.nan_to_num(landed, nan=0.0).reshape(-1, 3)
    gap = np.abs(one.crown(one.to_local(safe)) - other.crown(other.to_local(safe))).reshape(start.shape[:2])
    gap = np.where(np.isfinite(landed[:, :, 2]), gap, np.inf)
    best = gap.argmin(axis=1)
    rows = np.arange(len(across_mm))
    valley = landed[rows, best]
    on_border = (gap[rows, best] < 0.15) & np.isfinite(valley).all(axis=1)
    if not on_border.any():
        return None
    high = np.flatnonzero(on_border & (valley[:, 2] > valley[on_border, 2].max() - _FLAT_MM))
    top = int(round(0.5 * (high[0] + high[-1])))
    crowns = np.minimum(one.crown(one.to_local(valley[top : top + 1])), other.crown(other.to_local(valley[top : top + 1])))
    return np.asarray(valley[top]) if crowns[0] < 0.5 else None


def true_landmarks(anatomy: Anatomy, cusps: dict[int, Floats]) -> dict[int, dict[str, Floats]]:
    """For each crown the points (3,) by name, mm, cast frame.

    "facial prominence"; "cingulum" of front teeth; of back teeth "mesial ridge", "distal ridge" and "central fossa" (molars) or
    "mesial fossa", "distal fossa" (premolars), each where the shape has it; "mesial contact", "distal contact" where a neighbour touches.
    """
    teeth = anatomy.teeth
    result: dict[int, dict[str, Floats]] = {}
    for fdi, tooth in teeth.items():
        marks = {"facial prominence": _prominence(tooth)}
        occlusal = tooth.crown.occlusal
        if occlusal is None:
            marks["cingulum"] = _cingulum(tooth)
        else:
            marks |= _fossae(tooth, cusps[fdi])
            for name, sign, designed in zip(("mesial ridge", "distal ridge"), (1.0, -1.0), occlusal.marginal, strict=True):
                crest = _ridge(tooth, cusps[fdi], sign, designed)
                if crest is not None:
                    marks[name] = crest
        result[fdi] = marks
    for fdi, tooth in teeth.items():
        distal = teeth.get(fdi + 1)
        mesial = teeth.get(fdi - 1) if fdi % 10 > 1 else teeth.get({11: 21, 31: 41}.get(fdi, 0))
        for other, name in ((distal, "distal contact"), (mesial, "mesial contact")):
            back = "mesial contact" if fdi % 10 == 1 or name == "distal contact" else "distal contact"
            if other is None or name in result[fdi]:
                continue
            point = _contact(anatomy, tooth, other)
            if point is not None:
                result[fdi][name] = result[other.fdi][back] = point
    return result
