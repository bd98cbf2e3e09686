"""A clasp arm as a spatial beam, from the line it is swept along: stiffness where it touches, force, stress along it, set, life."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..mesh import Floats
from .frame import Frame, Response, solve, stresses
from .materials import Material
from .sections import Shape, sections
from .yielding import permanent_set

ELEMENTS = 40
BEND_STEP_MM = 0.5
ROUND_RADIUS_MM = 1e6  # an arc flatter than this is straight


@dataclass(frozen=True, eq=False)
class ClaspArm:
    """One arm as made.

    points : (k, 3) mm on the tooth, from the rigid part to the tip; normals : (k, 3) unit, away from the tooth
    width, thickness : (k,) mm; shape : of the section, flat side (or lowest line) on `points`
    free_mm : length from the first point that the rigid part holds; the arm bends beyond it
    """

    points: Floats
    normals: Floats
    width: Floats
    thickness: Floats
    material: Material
    shape: Shape = "half_round"
    free_mm: float = 0.0

    def __post_init__(self) -> None:
        k = len(self.points)
        if k < 3 or self.points.shape != (k, 3) or self.normals.shape != (k, 3) or len(self.width) != k or len(self.thickness) != k:
            raise ValueError("arm: points and normals (k, 3), width and thickness (k,) with three samples or more are wanted")
        if not 0.0 <= self.free_mm < self.length_mm:
            raise ValueError(f"arm: the rigid part must end before the tip ({self.free_mm:.2f} of {self.length_mm:.2f} mm)")

    @property
    def station(self) -> Floats:
        """(k,) mm along the arm."""
        return np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self.points, axis=0), axis=1))]

    @property
    def length_mm(self) -> float:
        """From the first point to the tip."""
        return float(self.station[-1])

    @property
    def bending_mm(self) -> float:
        """From where the rigid part ends to the tip."""
        return self.length_mm - self.free_mm


def simple_arm(
    length_mm: float, width_mm: float, thickness_mm: float, material: Material, *, taper: float = 0.5, arc_deg: float = 0.0,
    shape: Shape = "half_round", samples: int = 81,
) -> ClaspArm:
    """An arm of even taper (tip over base, for width and thickness) on a circular arc in the plane z = 0, or straight."""
    if not (length_mm > 0 and 0 < taper <= 1 and 0 <= arc_deg <= 330):
        raise ValueError(f"arm: length > 0, 0 < taper <= 1, 0 <= arc <= 330 wanted, not {length_mm}, {taper}, {arc_deg}")
    t = np.linspace(0.0, 1.0, samples)
    radius = length_mm / np.radians(arc_deg) if arc_deg > 0.01 else ROUND_RADIUS_MM
    angle = t * length_mm / radius
    normals = np.stack([np.cos(angle), np.sin(angle), 0.0 * t], axis=1)
    # The line of centroids has the length asked for; the flat side lies inside it.
    size = 1.0 - (1.0 - taper) * t
    run = sections(shape, width_mm * size, thickness_mm * size)
    middle = radius * normals - [radius, 0.0, 0.0] if arc_deg > 0.01 else np.stack([0.0 * t, t * length_mm, 0.0 * t], axis=1)
    return ClaspArm(middle - normals * run.centroid[:, None], normals, run.width, run.thickness, material, shape)


@dataclass(frozen=True, eq=False)
class BentArm:
    """The beam of an arm and what unit forces do to it.

    at : (c,) stations of the contacts, mm from the first point; middle : (e,) stations of the elements
    give : (c, c) mm of shift at contact i, in its own direction, by one newton at contact j in its own
    push, pull : inner forces (c, e, 6), as in `Response`, by one newton at each contact in its direction, and along `path`
    lead : the contact that is bent farthest (the tip)
    """

    frame: Frame
    at: Floats
    middle: Floats
    give: Floats
    push: Floats
    pull: Floats
    shape: Shape
    lead: int = -1

    @property
    def tip_stiffness(self) -> float:
        """N/mm at the leading contact, in its direction."""
        return float(1.0 / self.give[self.lead, self.lead])

    def tip_stress(self, travel_mm: float) -> Floats:
        """(e,) stress, MPa, when the leading contact alone is bent by `travel_mm`, without friction."""
        force = np.zeros((1, len(self.at)))
        force[0, self.lead] = travel_mm * self.tip_stiffness
        return np.asarray(self.stress(force, 0.0 * force)[0])

    def stress(self, normal: Floats, along: Floats) -> Floats:
        """(s, e) equivalent stress, MPa, for s sets of forces at the contacts (s, c): square to the tooth and along the path, N."""
        forces = np.einsum("sc,cef->sef", normal, self.push) + np.einsum("sc,cef->sef", along, self.pull)
        return stresses(self.frame, forces)


@dataclass(frozen=True)
class Making:
    """How far the metal may differ from the drawing: change of thickness and of free length, mm."""

    thickness_mm: float = 0.0
    longer_mm: float = 0.0


def beam_of(arm: ClaspArm, making: Making = Making(), modulus_mpa: float | None = None, elements: int = ELEMENTS) -> tuple[Frame, Floats]:
    """The arm as a frame built in at node 0, and the stations (n,) of its nodes, mm."""
    s = arm.station
    root = float(np.clip(arm.free_mm - making.longer_mm, -2.0, s[-1] - 0.5))
    # Short elements at the root, where the stress of an even arm is greatest.
    at = root + (s[-1] - root) * np.r_[0.0, 0.1 / elements, 0.4 / elements, np.linspace(0.0, 1.0, elements + 1)[1:]]
    middle = 0.5 * (at[1:] + at[:-1])

    def along(values: Floats, where: Floats) -> Floats:
        columns = values[:, None] if values.ndim == 1 else values
        out = np.stack([np.interp(where, s, columns[:, i]) for i in range(columns.shape[1])], axis=1)
        return out[:, 0] if values.ndim == 1 else out

    def run(where: Floats) -> tuple[Floats, Floats]:
        return along(arm.width, where), np.maximum(along(arm.thickness, where) + making.thickness_mm, 0.1)

    points, normals = along(arm.points, at), along(arm.normals, at)
    before = np.minimum(at - s[0], 0.0)  # a root longer than the drawn arm goes on straight
    start = arm.points[1] - arm.points[0]
    points = points + before[:, None] * start / max(float(np.linalg.norm(start)), 1e-9)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    nodes = points + normals * sections(arm.shape, *run(at)).centroid[:, None]
    away = along(arm.normals, middle)
    ends = np.stack([np.arange(len(at) - 1), np.arange(1, len(at))], axis=1)
    modulus = arm.material.modulus_mpa if modulus_mpa is None else modulus_mpa
    frame = Frame(nodes, ends, away, sections(arm.shape, *run(middle)), modulus, arm.material.poisson, line_bend(nodes, at, middle))
    return frame, at


def line_bend(nodes: Floats, at: Floats, middle: Floats) -> Floats:
    """(e, 3) curvature, 1/mm, towards the centre, at stations `middle` (e,) of a line through nodes (n, 3) at stations `at` (n,).

    Taken over even steps of about half a millimetre: what is smaller is not a bend of the arm.
    """
    even = np.linspace(at[0], at[-1], max(int((at[-1] - at[0]) / BEND_STEP_MM), 4) + 1)
    line = np.stack([np.interp(even, at, nodes[:, i]) for i in range(3)], axis=1)
    step = np.diff(line, axis=0)
    length = np.linalg.norm(step, axis=1, keepdims=True)
    turn = 2.0 * np.diff(step / length, axis=0) / (length[1:] + length[:-1])
    return np.stack([np.interp(middle, even[1:-1], turn[:, i]) for i in range(3)], axis=1)


def bend(
    arm: ClaspArm, at: Floats, direction: Floats, path: Floats, *, places: Floats | None = None, making: Making = Making(),
    modulus_mpa: float | None = None, lead: int = -1, elements: int = ELEMENTS,
) -> BentArm:
    """Solve the arm for unit forces at contacts.

    at : (c,) stations from the arm's first point, mm, rising, the last nearest the tip; direction : (c, 3) unit, away from the tooth
    places : (c, 3) where the tooth is touched (the arm's flat side when None): a force there also twists the arm
    """
    points = np.stack([np.interp(at, arm.station, arm.points[:, i]) for i in range(3)], axis=1) if places is None else np.asarray(places)
    return bend_frame(*beam_of(arm, making, modulus_mpa, elements), at, direction, points, path, arm.shape, lead)


def bend_frame(
    frame: Frame, stations: Floats, at: Floats, direction: Floats, points: Floats, path: Floats, shape: Shape = "half_round",
    lead: int = -1,
) -> BentArm:
    """As `bend`, for a frame built in at node 0 whose nodes lie at `stations` (n,); points (c, 3) are touched."""
    at = np.clip(np.asarray(at, dtype=np.float64), stations[1], stations[-1])
    count, n = len(at), len(frame.nodes)
    place = np.interp(at, stations, np.arange(n))
    low = np.minimum(place.astype(int), n - 2)
    share = place - low
    # Forces on a node stand for forces between two nodes: split by the lever rule, with the moment about each node's centroid.
    loads = np.zeros((2 * count, n, 6))
    along = np.broadcast_to(np.asarray(path, dtype=np.float64), (count, 3))
    for case, force in enumerate(np.concatenate([direction, along])):
        i = case % count
        for node, part in ((low[i], 1.0 - share[i]), (low[i] + 1, share[i])):
            loads[case, node, :3] += part * force
        centre = (1.0 - share[i]) * frame.nodes[low[i]] + share[i] * frame.nodes[low[i] + 1]
        moment = np.cross(points[i] - centre, force)
        loads[case, low[i], 3:] += (1.0 - share[i]) * moment
        loads[case, low[i] + 1, 3:] += share[i] * moment
    answer = solve(frame, np.array([0]), loads)
    give = _give(frame, answer, low, share, points, direction)[:, :count]
    return BentArm(
        frame, at, 0.5 * (stations[1:] + stations[:-1]), 0.5 * (give + give.T), answer.forces[:count], answer.forces[count:], shape, lead
    )


def _give(frame: Frame, answer: Response, low: Floats, share: Floats, points: Floats, direction: Floats) -> Floats:
    """(c, cases) shift of each contact point in its direction."""
    t = share[None, :, None]
    low = np.asarray(low, dtype=int)
    shift = (1.0 - t) * answer.shifts[:, low] + t * answer.shifts[:, low + 1]
    turn = (1.0 - t) * answer.turns[:, low] + t * answer.turns[:, low + 1]
    centre = (1.0 - share[:, None]) * frame.nodes[low] + share[:, None] * frame.nodes[low + 1]
    moved = shift + np.cross(turn, points - centre)
    return np.einsum("cij,ij->ic", moved, direction)


def set_after(bent: BentArm, travel_mm: float, proof_mpa: float) -> float:
    """mm of permanent set at the leading contact after one travel of `travel_mm`, for a proof stress."""
    lever = np.hypot(bent.push[bent.lead, :, 4], bent.push[bent.lead, :, 5])
    s = bent.frame.sections
    used = bent.tip_stress(travel_mm) / proof_mpa
    return permanent_set(bent.shape, used, lever, bent.frame.lengths, s.outer, travel_mm, proof_mpa / bent.frame.modulus_mpa)


def with_size(arm: ClaspArm, width: float = 1.0, thickness: float = 1.0, taper: float | None = None, *, keep_tip: bool = False) -> ClaspArm:
    """The arm with its width and thickness scaled, and its taper (tip over base) changed with the base kept.

    keep_tip : the factors hold at the base and fade out towards the tip
    """
    t = arm.station / arm.length_mm
    size = np.ones_like(t)
    if taper is not None:
        size = (1.0 - (1.0 - taper) * t) / np.maximum(arm.width / arm.width[0], 1e-3)
    fade = 1.0 - t if keep_tip else np.ones_like(t)
    wide, thick = 1.0 + (width - 1.0) * fade, 1.0 + (thickness - 1.0) * fade
    return replace(arm, width=arm.width * wide * size, thickness=arm.thickness * thick * size)
