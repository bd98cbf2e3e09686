"""Each retentive arm as the mechanics look at it: its line, what holds its root, where it bears on the tooth, and what opposes it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..case import Case, Component, GuidePlate
from ..charts import CrownChart
from ..components import Assembly, Built, Site
from ..errors import ComponentError
from ..mechanics import ClaspArm, ClaspInput, Material, Profile, find_material
from ..mechanics.materials import WIRES
from ..mesh import Floats
from ..solids.curves import tangents
from ..solids.fields import Shape
from ..solids.sweep import Rail

CONTACTS = 6  # along the part of an arm that lies below the contour
STEPS = 41  # of travel
BEYOND_MM = 0.7  # the lift is followed this far past the contour
LEAST_UNDERCUT_MM = 0.02
FACING = 0.2  # cosine to the tip's outward direction: a surface that faces more its way than this cannot resist its push
STRAIGHT_DEG = 12.0  # a place holds a push this far off its own direction by friction of 0.2 (arctangent)
ENCLOSED_DEG = 160.0  # two places further apart than this would have to press many times harder than the tip (own limit)
COVER_STEP_DEG, COVER_STEP_MM = 8.0, 0.4
UNDER_METAL_MM = 0.15  # a place of the crown is covered where metal lies so far inside it: shapes reach 0.7 mm into the cast

KINDS = {"retentive_arm": "circumferential", "i_bar": "bar"}
RIGHT = (1, 4)  # quadrants on the patient's right


def side_of(tooth: int) -> str:
    """The patient's side a tooth (FDI) stands on."""
    return "right" if tooth // 10 in RIGHT else "left"


def clasp_input(
    spec: Component, built: Built, case: Case, assembly: Assembly, site: Site, alloy: Material, own: Mapping[str, Material]
) -> ClaspInput:
    """One arm of the case. Raises ComponentError where no part of it touches the tooth below the contour."""
    rail, tip = built.rails["arm"], built.tips[0]
    kind = "wrought" if "wrought" in spec.kind else KINDS.get(spec.kind, "bar")
    chart = site.chart(tip.tooth, spec.id)
    metal = wire_material(spec, own) if kind == "wrought" else alloy
    arm = ClaspArm(
        rail.points, rail.normals, rail.width, rail.thickness, metal, "round" if kind == "wrought" else "half_round",
        _held(spec.id, rail, assembly),
    )  # fmt: skip
    border = _border(rail, site.up) if kind == "circumferential" else rail.points
    lowest = float(chart.local(tip.points)[:, 2].min()) - 0.05 if kind == "bar" else -np.inf
    at = touching(chart, border, lowest, arm, built.open_zones)
    phi, z = chart.locate(border[at])
    travel, profile = _profile(chart, phi, z)
    outward = _level_normals(chart, phi, z)
    rigid = _rigid_gap(spec.id, tip.tooth, outward[profile.lead], case, assembly, chart, travel)
    return ClaspInput(
        spec.id, tip.tooth, kind, side_of(tip.tooth), arm, tip.planned_mm, site.up, arm.station[at], chart.surface(phi, z), outward,
        profile, *((travel, rigid) if rigid is not None else (np.zeros(0), np.zeros(0))), case.manufacture.fillet_mm,
        case.manufacture.build_angle_deg,
    )  # fmt: skip


def wire_material(spec: Component, own: Mapping[str, Material]) -> Material:
    """What a wrought arm is drawn from. Raises ComponentError for words that mean no material."""
    words = str(getattr(spec, "material", "") or getattr(spec, "wire", "") or WIRES[0])
    found = find_material(words, own)
    if found is None:
        raise ComponentError(f"{spec.id}: {words[:60]!r} is not known; choose one of {', '.join(WIRES)}, or add it to case.materials")
    return found


def _held(name: str, rail: Rail, assembly: Assembly) -> float:
    """mm of the arm, from its first point, that lie inside other metal: the rigid part it leaves."""
    middle = rail.points + 0.4 * rail.thickness[:, None] * rail.normals
    inside = np.zeros(len(middle), dtype=bool)
    for other, built in assembly.built.items():
        if other != name:
            inside |= within(built.shapes, middle)
    # Metal that the far half of an arm runs into is not its root.
    held = np.flatnonzero(inside[: len(inside) // 2])
    station = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(rail.points, axis=0), axis=1))]
    return float(station[held[-1]]) if len(held) else 0.0


def within(shapes: tuple[Shape, ...], points: Floats, depth_mm: float = 0.0) -> np.ndarray:
    """(k,) whether points (k, 3) lie inside one of the shapes, by `depth_mm` or more."""
    inside = np.zeros(len(points), dtype=bool)
    for shape in shapes:
        low, high = np.asarray(shape.bounds)
        near = np.flatnonzero(np.all((points >= low) & (points <= high), axis=1))
        if len(near):
            inside[near] |= shape.field(points[near]) < -depth_mm
    return inside


def _border(rail: Rail, up: Floats) -> Floats:
    """(k, 3) gingival border of the flat side."""
    across = np.cross(tangents(rail.points), rail.normals)
    down = np.where((across @ up) > 0, -1.0, 1.0)
    return rail.points + (0.5 * rail.width * down)[:, None] * across


def touching(chart: CrownChart, border: Floats, lowest: float, arm: ClaspArm, zones: tuple[Shape, ...]) -> np.ndarray:
    """(c,) samples of the arm that lie in an undercut of the crown, spread evenly over that part, the last of them included.

    zones : where the master cast is left open for the tip. Anywhere else an undercut is blocked out with wax, so the arm lies off the
    tooth there, however low it runs: a shoulder that dips under the contour beside the rigid part is bent by nothing. (All are taken
    where none is given.)
    """
    phi, z = chart.locate(border)
    depth = np.nan_to_num(chart.depth(phi, z))
    inside = (depth > LEAST_UNDERCUT_MM) & (z < chart.contour(phi)) & (z >= lowest) & (arm.station > arm.free_mm + 0.5)
    inside &= np.isfinite(chart.radius(phi, z))
    if zones:
        inside &= within(zones, border)
    found = np.flatnonzero(inside)
    if len(found) == 0:
        raise ComponentError("no part of it touches the tooth below the contour")
    return np.unique(found[np.round(np.linspace(0, len(found) - 1, CONTACTS)).astype(int)])


def _profile(chart: CrownChart, phi: Floats, z: Floats) -> tuple[Floats, Profile]:
    """How far the tooth bulges above each contact while the arm is lifted, measured on the scan."""
    travel = np.linspace(0.0, float((chart.contour(phi) - z).max()) + BEYOND_MM, STEPS)
    angle, height = np.repeat(phi, STEPS), (z[:, None] + travel).ravel()
    radius = chart.radius(angle, height).reshape(-1, STEPS)
    normal = chart.normal(angle, height)
    lean = -(normal @ chart.up) / np.maximum(np.linalg.norm(normal - np.outer(normal @ chart.up, chart.up), axis=1), 1e-6)
    facing = np.einsum("ij,ij->i", _level_normals(chart, phi, z), chart.outward(phi))
    bulge = (radius - radius[:, :1]) * facing[:, None]
    slope = lean.reshape(-1, STEPS)
    return travel, Profile(travel, np.where(np.isfinite(bulge), bulge, -1.0), np.clip(np.nan_to_num(slope), -2.0, 2.0))


def _level_normals(chart: CrownChart, phi: Floats, z: Floats) -> Floats:
    """(k, 3) unit outward normals of the tooth, square to the path."""
    normal = chart.normal(phi, z)
    flat = normal - np.outer(normal @ chart.up, chart.up)
    size = np.linalg.norm(flat, axis=1, keepdims=True)
    return np.where(np.isfinite(size) & (size > 1e-6), flat / np.where(size > 1e-6, size, 1.0), chart.outward(phi))


def _rigid_gap(name: str, tooth: int, outward: Floats, case: Case, assembly: Assembly, chart: CrownChart, travel: Floats) -> Floats | None:
    """(m,) how far, after each travel, the tooth can yield to a tip before rigid metal holds it; None where none is on the other side.

    outward : (3,) at the tip. Any metal on the crown counts: a reciprocal arm, a lingual plate, a strut, a guide plate. A guide plate
    slides on a plane that the chart of the scanned crown does not show, for the plane's height.
    """
    phi, z, normals = _opposite(chart, outward)
    points = chart.surface(phi, z)
    falling = _gap_of(chart, phi, z, travel)
    gaps = np.full(falling.shape, np.inf)
    for component in case.components:
        built = assembly.built.get(component.id)
        if built is None or component.id == name or built.tips:
            continue
        mine = within(built.shapes, points, UNDER_METAL_MM)
        plane = isinstance(component, GuidePlate) and component.tooth == tooth
        # The crown above a guide plane falls away by about 1 in 4.
        gap = 0.25 * np.maximum(travel - component.plane_height_mm, 0.0) if isinstance(component, GuidePlate) and plane else falling[mine]
        gaps[mine] = np.minimum(gaps[mine], gap)
    side = np.cross(chart.up, outward)
    turn = np.degrees(np.arctan2(normals @ side, -(normals @ outward)))
    held = yielding_room(turn, gaps)
    return held if np.isfinite(held).any() else None


def yielding_room(turn: Floats, gaps: Floats) -> Floats:
    """(m,) least opening at which metal holds a tooth against a push: one place straight opposite, or two whose directions enclose it.

    turn : (p,) degrees from the push's direction to that in which each place holds; gaps : (p, m) mm between metal and tooth there
    """
    out = np.full(gaps.shape[1], np.inf)
    straight = np.abs(turn) <= STRAIGHT_DEG
    if straight.any():
        out = gaps[straight].min(axis=0)
    left, right = np.flatnonzero(turn < 0), np.flatnonzero(turn > 0)
    for i in left:
        for j in right[turn[right] - turn[i] < ENCLOSED_DEG]:
            out = np.minimum(out, np.maximum(gaps[i], gaps[j]))
    return out


def _opposite(chart: CrownChart, outward: Floats) -> tuple[Floats, Floats, Floats]:
    """Places (k,) phi, z of the crown, from its contour up, that do not face the tip's way, and their level normals (k, 3)."""
    angles = np.arange(0.0, 360.0, COVER_STEP_DEG)
    low, high = chart.contour(angles) - 0.05, chart.top(angles)
    rows = [(a, h) for a, b, t in zip(angles, low, high, strict=True) if np.isfinite(b + t) for h in np.arange(b, t, COVER_STEP_MM)]
    phi, z = np.array(rows).reshape(-1, 2).T
    normals = _level_normals(chart, phi, z)
    keep = (normals @ outward < FACING) & np.isfinite(chart.radius(phi, z)) & np.isfinite(chart.surface(phi, z)).all(axis=1)
    return phi[keep], z[keep], normals[keep]


def _gap_of(chart: CrownChart, phi: Floats, z: Floats, travel: Floats) -> Floats:
    """(k, m) distance from the crown, after each travel, of metal that lay on it at places (k,) phi, z; it stays off once it has left."""
    rest = chart.radius(phi, z)
    lifted = chart.radius(np.repeat(phi, len(travel)), (z[:, None] + travel).ravel()).reshape(len(phi), -1)
    gap = np.where(np.isfinite(lifted), rest[:, None] - lifted, np.inf)
    return np.asarray(np.maximum.accumulate(np.maximum(gap, 0.0), axis=1))
