"""Rest seats: their form as a height over the tooth, so that nothing in them can be undercut to the path.

Local axes of every seat: x inward (level, from the rim of the tooth toward its middle), y across, z along the path, origin at the
landmark. A seat takes away all that lies above z = floor(x, y). Forms from standard texts (occlusal: a rounded triangle with its
base at the marginal ridge, spoon-shaped, deepest 0.5 mm below the lowered ridge, no vertical walls; long: a channel past the middle
of the crown, falling inward; embrasure: as occlusal, its base flared over the ridge; cingulum: an inverted V in plan and front view;
ball: as a round bur leaves it; incisal: a rounded notch), sizes from the specification.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats, Mesh

KINDS = ("occlusal", "long", "embrasure", "cingulum", "ball", "incisal")
ON_TOP = ("occlusal", "long", "embrasure")
"""Kinds in an occlusal table; ON_LEDGE: kinds in a lingual face."""
ON_LEDGE = ("cingulum", "ball")
SPOON_MM = 0.5
"""How much deeper than the lowered ridge the floor of an occlusal seat is (common practice)."""
DEEPEST_AT = {"occlusal": 0.45, "embrasure": 0.45, "long": 0.75}
"""Where along its length an occlusal seat is deepest: a long one towards the middle of the crown."""
APEX = {"occlusal": 0.28, "embrasure": 0.28, "long": 0.4}
"""Radius of the inner end of the outline in widths."""
FLARE, FLARE_FROM_MM = 0.5, 0.7
"""An embrasure seat widens by this share of a millimetre to either side for each millimetre outward from FLARE_FROM_MM inside the ridge."""
LEVEL_FROM_MM = 0.5
"""Further outward than this the floor of an embrasure seat runs level to that of its partner: the contact below is left."""
BALL_DROP = 0.3
"""The bottom of a ball seat lies this share of the radius, and 0.3 mm, below its landmark, so that it has a lip outward."""
CLEAR_MM = 10.0
"""Seats are open this far above the landmark: more than any crown stands over its cingulum."""
GRID_MM = 0.1
WALL = 3.5
"""Rise over run of an occlusal seat's steepest wall, 74 degrees: seats have no vertical walls (common practice)."""
LEDGE_WALL = 9.5
"""Of the wall behind a cingulum ledge, 84 degrees: a flatter one would never leave a steep lingual face."""


_LIMITS = (("width_mm", 0.8, 8.0), ("length_mm", 0.8, 8.0), ("depth_mm", 0.2, 3.0), ("reach_mm", 0.0, 5.0), ("fall_mm", 0.0, 3.0))


@dataclass(frozen=True, eq=False)
class RestSeatSpec:
    """One rest seat.

    tooth : FDI number; kind : one of KINDS
    point : (3,) landmark on the unprepared surface: middle of the marginal ridge, shoulder of the cingulum, or on the edge
    inward : (3,) unit, level: toward the fossa, toward the facial, or along the edge toward the tooth's middle
    up : (3,) unit, the path
    width_mm : across (occlusal: faciolingual at the ridge; cingulum: mesiodistal; incisal: along the edge)
    length_mm : along inward; depth_mm : occlusal: by how much the ridge is lowered; cingulum: how deep the ledge goes into the
        tooth, level; incisal: below the edge
    reach_mm : how far the seat goes outward from the landmark, over the rim of the tooth
    fall_mm : occlusal kinds: how much deeper than the lowered ridge the floor is at its deepest
    """

    tooth: int
    kind: str
    point: Floats
    inward: Floats
    up: Floats
    width_mm: float = 2.5
    length_mm: float = 2.5
    depth_mm: float = 1.2
    reach_mm: float = 0.9
    fall_mm: float = SPOON_MM

    def __post_init__(self) -> None:
        where = f"rest seat on {self.tooth}"
        if self.kind not in KINDS:
            raise GeometryError(f"{where}: kind {self.kind!r} is unknown; use one of {', '.join(KINDS)}")
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if not low <= value <= high:
                raise GeometryError(f"{where}: {name} is {value:g}, outside {low:g} to {high:g}")
        up = np.asarray(self.up, dtype=np.float64) / np.linalg.norm(self.up)
        inward = np.asarray(self.inward, dtype=np.float64)
        inward = inward - (inward @ up) * up
        if np.linalg.norm(inward) < 1e-6:
            raise GeometryError(f"{where}: its inward direction is parallel to the path; give a level one")
        object.__setattr__(self, "point", np.asarray(self.point, dtype=np.float64).reshape(3))
        object.__setattr__(self, "up", up)
        object.__setattr__(self, "inward", inward / np.linalg.norm(inward))

    @property
    def axes(self) -> Floats:
        """(3, 3) rows: inward, across, up."""
        return np.stack([self.inward, np.cross(self.up, self.inward), self.up])


def _outline(x: Floats, y: Floats, spec: RestSeatSpec) -> Floats:
    """Signed distance to the occlusal outline, negative inside: its width at x = 0, a round apex at x = its length, open outward."""
    width, length = spec.width_mm, spec.length_mm
    r = APEX[spec.kind] * width
    ahead, aside = length - r, 0.5 * width
    lean = np.arctan2(aside, ahead) - np.arcsin(min(r / np.hypot(ahead, aside), 1.0))
    u, v = x - ahead, np.abs(y)
    flare = FLARE * np.maximum(FLARE_FROM_MM - x, 0.0) ** 2 / (FLARE_FROM_MM + np.abs(x)) if spec.kind == "embrasure" else 0.0
    side = np.sin(lean) * x + np.cos(lean) * (v - aside - flare)
    return np.where(u * np.cos(lean) - v * np.sin(lean) > 0, np.hypot(u, v) - r, side)


def _occlusal(spec: RestSeatSpec) -> Callable[[Floats, Floats], Floats]:
    depth = spec.depth_mm
    rise = depth + 0.25
    middle = DEEPEST_AT[spec.kind] * spec.length_mm
    inner = -float(_outline(np.array(middle), np.array(0.0), spec))  # the bowl is flat further inside than this

    def floor(x: Floats, y: Floats) -> Floats:
        # Along the middle: from the lowered ridge down to its deepest; over the ridge it rolls off outward without a sharp line.
        over = np.maximum(-x, 0.0) if spec.kind != "embrasure" else np.clip(-x, 0.0, LEVEL_FROM_MM)
        fall = np.sin(0.5 * np.pi * np.clip(x / middle, 0.0, 1.0))
        axis = -depth - spec.fall_mm * fall + 0.25 * over - 0.45 * over**2
        edge = _outline(x, y, spec)
        bowl = rise * np.clip(1.0 + edge / inner, 0.0, 1.0) ** 2
        slope, out = 2.0 * rise / inner, np.maximum(edge, 0.0)
        steeper = np.maximum(WALL - slope, 0.0)
        # Beyond the outline the wall grows steeper within half a millimetre, so that a high cusp beside the seat is not cut away.
        return axis + bowl + slope * out + steeper * np.where(out < 0.5, out**2, out - 0.25)

    return floor


def _cingulum(spec: RestSeatSpec) -> Callable[[Floats, Floats], Floats]:
    half, depth = 0.5 * spec.width_mm, spec.depth_mm

    def floor(x: Floats, y: Floats) -> Floats:
        # An inverted V seen from lingual, falling 5 degrees inward, so that the rest cannot slip off.
        ledge = -0.25 - 0.09 * x - 0.45 * (np.hypot(y, 0.5) - 0.5)
        back = depth * (1.0 - 0.8 * (y / half) ** 2)
        soft = 0.06  # rounds the line between floor and wall
        return ledge + LEDGE_WALL * soft * np.logaddexp(0.0, (x - back) / soft)

    return floor


def ball_centre(spec: RestSeatSpec) -> tuple[float, float]:
    """Local x and z of the middle of a ball seat's ball, mm: its inner side as deep in the tooth as the seat is asked to be."""
    r = 0.5 * spec.width_mm
    return spec.depth_mm - r, (1.0 - BALL_DROP) * r - 0.3


def _ball(spec: RestSeatSpec) -> Callable[[Floats, Floats], Floats]:
    r, (x0, z0) = 0.5 * spec.width_mm, ball_centre(spec)
    steep = r * LEDGE_WALL / np.hypot(1.0, LEDGE_WALL)  # beyond this the ball's side would be steeper than the wall

    def floor(x: Floats, y: Floats) -> Floats:
        away = np.hypot(x - x0, y)
        return z0 - np.sqrt(r**2 - np.minimum(away, steep) ** 2) + LEDGE_WALL * np.maximum(away - steep, 0.0)

    return floor


def _incisal(spec: RestSeatSpec) -> Callable[[Floats, Floats], Floats]:
    half, depth = 0.5 * spec.width_mm, spec.depth_mm

    def floor(x: Floats, y: Floats) -> Floats:
        v = np.abs(x) / half
        return depth * (np.where(v < 1.0, v**2, 2.0 * v - 1.0) - 1.0) - 0.15 * np.minimum(y**2, 4.0)

    return floor


_FLOORS = {**dict.fromkeys(ON_TOP, _occlusal), "cingulum": _cingulum, "ball": _ball, "incisal": _incisal}


def seat_floor(spec: RestSeatSpec) -> Callable[[Floats, Floats], Floats]:
    """Height of the seat's floor over its landmark, mm, from local x (inward) and y (across), arrays of one shape."""
    return _FLOORS[spec.kind](spec)


def seat_field(spec: RestSeatSpec) -> Callable[[Floats], Floats]:
    """The seat as a field, negative inside: (k, 3) points in the cast frame -> (k,) mm, about a distance near its floor."""
    floor = seat_floor(spec)

    def field(points: Floats) -> Floats:
        x, y, z = ((np.asarray(points, dtype=np.float64) - spec.point) @ spec.axes.T).T
        h = 0.02
        height = floor(x, y)
        slope = np.hypot(floor(x + h, y) - floor(x - h, y), floor(x, y + h) - floor(x, y - h)) / (2 * h)
        outward = -x - spec.reach_mm
        if spec.kind == "incisal":
            outward = np.abs(y) - max(spec.length_mm, 4.0)
        return np.maximum(np.maximum((height - z) / np.hypot(1.0, slope), outward), z - CLEAR_MM)

    return field


def seat_solid(spec: RestSeatSpec) -> Mesh:
    """What the seat takes away, as a closed solid in the cast frame; open (to CLEAR_MM above the landmark) along the path."""
    across = 0.5 * spec.width_mm + (3.0 if spec.kind == "embrasure" else 2.2)
    if spec.kind == "incisal":
        x0, x1, across = -across, across, max(spec.length_mm, 4.0)
    else:
        x0, x1 = -spec.reach_mm, max(spec.length_mm, spec.depth_mm) + 2.2
    nx, ny = int(np.ceil((x1 - x0) / GRID_MM)) + 1, int(np.ceil(2 * across / GRID_MM)) + 1
    x, y = np.meshgrid(np.linspace(x0, x1, nx), np.linspace(-across, across, ny), indexing="ij")
    low = np.minimum(seat_floor(spec)(x, y), CLEAR_MM)
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    vertices = np.vstack([np.column_stack([flat, low.ravel()]), np.column_stack([flat, np.full(len(flat), CLEAR_MM + 0.5)])])
    number = np.arange(nx * ny).reshape(nx, ny)
    a, b, c, d = number[:-1, :-1].ravel(), number[1:, :-1].ravel(), number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    top = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    rim = np.concatenate([number[:, 0], number[-1, 1:], number[-2::-1, -1], number[0, -2:0:-1]])
    nxt, n = np.roll(rim, -1), nx * ny
    walls = np.concatenate([np.stack([rim, nxt, nxt + n], axis=1), np.stack([rim, nxt + n, rim + n], axis=1)])
    block = Mesh(vertices, np.concatenate([top[:, ::-1], top + n, walls])).to_manifold()
    open_top = Mesh.from_manifold(block.trim_by_plane((0.0, 0.0, -1.0), -CLEAR_MM))
    return Mesh(spec.point + open_top.vertices @ spec.axes, open_top.faces)


def floor_angle_deg(spec: RestSeatSpec) -> float:
    """Angle between an occlusal seat's floor, just inside the ridge, and a minor connector that comes up along the path.

    Below 90 degrees the rest cannot slide off the tooth (common practice).
    """
    run = DEEPEST_AT[spec.kind] * spec.length_mm
    ends = seat_floor(spec)(np.array([0.0, run]), np.zeros(2))
    return float(90.0 - np.degrees(np.arctan2(ends[0] - ends[1], run)))
