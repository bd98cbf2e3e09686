"""Can it be made this way: supports and the build angle of printed frameworks, what a cutter cannot reach in milled ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..mesh import Bools, Floats, Mesh
from .gaps import worst_spot
from .process import Process
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

FITTING_WEIGHT = 3.0  # own: scars of supports on the fitting side cost more than on a face that is polished anyway
ARM_WEIGHT_MM2 = 4.0  # own: mm2 of supported surface that one degree of a lying arm outweighs
DIRECTIONS = 200
SUPPORTED_WARN_MM2 = 150.0  # own limit, of fitting surface
HIDDEN_WARN_MM2 = 5.0  # own limit, of polished surface that no cutter reaches from either side along the path


@dataclass(frozen=True, eq=False)
class BuildAngle:
    """up (3,) away from the plate; tilt_deg between it and the path; supported areas in mm2; arms: degrees to the plate by arm."""

    up: Floats
    tilt_deg: float
    supported_mm2: float
    supported_fitting_mm2: float
    arms: Mapping[str, float]
    height_mm: float


def _directions(count: int) -> Floats:
    """(count, 3) unit vectors, evenly spread."""
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = k * np.pi * (3.0 - np.sqrt(5.0))
    ring = np.sqrt(1.0 - z * z)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), z])


def _gathered(framework: Mesh, fitting: Bools) -> tuple[Floats, Floats, Floats]:
    """Directions (k, 3) that face normals share within 2 degrees, the area that looks each way (k,), and the fitting side's part of it."""
    cell = np.round(framework.face_normals * 32).astype(np.int64) + 32
    _, inverse = np.unique((cell[:, 0] * 65 + cell[:, 1]) * 65 + cell[:, 2], return_inverse=True)
    weights = [framework.face_areas, framework.face_areas * fitting, *(framework.face_areas[:, None] * framework.face_normals).T]
    area, on_fit, x, y, z = (np.bincount(inverse.reshape(-1), w).astype(np.float64) for w in weights)
    total = np.column_stack([x, y, z])
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12), area, on_fit


def arm_angle(points: Floats, up: Floats) -> float:
    """Degrees between an arm's long axis (the direction in which its points (k, 3) spread most) and the plate."""
    about = points - points.mean(axis=0)
    axis = np.linalg.svd(about, full_matrices=False)[2][0]
    return float(np.degrees(np.arcsin(min(abs(float(axis @ up)), 1.0))))


def build_angle(framework: Mesh, path: Floats, process: Process, arms: Mapping[str, Floats], fitting: Bools) -> BuildAngle:
    """The way up on the plate that leaves the least to be supported, the fitting side above all, and arms upright where that matters.

    arms : points (k, 3) along each flexible arm; fitting : (m,) faces that lie on the cast. Searched over 200 directions.
    """
    overhang = np.cos(np.radians(process.overhang_deg))
    normal, area, area_fit = _gathered(framework, fitting)
    best: tuple[float, BuildAngle] | None = None
    for up in _directions(DIRECTIONS):
        down = normal @ up < -overhang
        supported, on_fit = float(area[down].sum()), float(area_fit[down].sum())
        lying = {name: arm_angle(points, up) for name, points in arms.items()}
        short = sum(max(process.least_arm_deg - a, 0.0) for a in lying.values())
        cost = supported + FITTING_WEIGHT * on_fit + ARM_WEIGHT_MM2 * short
        if best is None or cost < best[0]:
            tilt = float(np.degrees(np.arccos(np.clip(up @ path, -1.0, 1.0))))
            best = cost, BuildAngle(up, tilt, supported, on_fit, lying, float(np.ptp(framework.vertices @ up)))
    assert best is not None
    return best[1]


def check_build_angle(framework: Mesh, path: Floats, process: Process, arms: Mapping[str, Floats], fitting: Bools) -> Check:
    """Supports and arms at the advised way up: warns of much support on the fitting side and of arms that lie."""
    found = build_angle(framework, path, process, arms, fitting)
    low = {name: a for name, a in found.arms.items() if a < process.least_arm_deg}
    much = found.supported_fitting_mm2 > SUPPORTED_WARN_MM2
    words = f"advised way up: {found.tilt_deg:.0f} degrees off the path ({found.up[0]:+.2f}, {found.up[1]:+.2f}, {found.up[2]:+.2f}), "
    words += f"{found.height_mm:.0f} mm high; {found.supported_mm2:.0f} mm2 need supports, "
    words += f"{found.supported_fitting_mm2:.0f} of it on the fitting side"
    if found.arms and process.least_arm_deg > 0:
        words += "; arms stand at " + ", ".join(f"{name} {a:.0f}" for name, a in found.arms.items()) + " degrees to the plate"
    upright = "; upright arms live longest, Kajima (handbook 9)" if process.least_arm_deg > 0 else ""
    source = process.source + upright + "; area: own limit"
    status: Status = "warn" if low or much else "pass"
    return Check("make.build_angle", status, found.supported_fitting_mm2, SUPPORTED_WARN_MM2, "mm2", "", source, words)


def check_reach(framework: Mesh, path: Floats, process: Process, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """Surface that a cutter reaches neither from above along the path nor from below."""
    scene = Rays(framework)
    centre = framework.triangles.mean(axis=1) + 2e-3 * framework.face_normals
    hidden = np.ones(len(centre), dtype=bool)
    for way in (path, -path):
        open_ = framework.face_normals @ way > 0.02
        open_[open_] = ~scene.hits(centre[open_], way)
        hidden &= ~open_
    upright = np.abs(framework.face_normals @ path) <= 0.02  # a wall along the cutter is cut by its flank
    hidden &= ~upright
    area = framework.face_areas
    value = float(area[hidden].sum())
    status: Status = "warn" if value > HIDDEN_WARN_MM2 else "pass"
    place = worst_spot(framework.triangles[hidden].mean(axis=1), area[hidden]) if status == "warn" else None
    words = f"{value:.0f} of {area.sum():.0f} mm2 are reached from neither side along the path: "
    words += "tilt the blank there (4 or 5 axes) or finish by hand"
    source = process.source + "; amount: own limit"
    return Check("make.reach", status, value, HIDDEN_WARN_MM2, "mm2", landmarks.describe(place), source, words, as_place(place))
