"""Clasp arms as beams in closed form: straight with a linear taper, and curved to a circular arc (handbook 8.3; Roark, Timoshenko).

A first estimate from length, end sections and the angle the arm curves through. The beam is built in where it leaves the rigid part,
loaded at the tip, linear and small in deflection. Real clasps give under their root and touch along their length: see `arm_stiffness`
for the band that is handed back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .materials import Material
from .ranges import Range
from .sections import Section


@dataclass(frozen=True)
class Arm:
    """One clasp arm.

    length_mm : along the centre line, from the start of the taper to the tip
    base : section at the shoulder; taper : tip size over base size, the same for width and thickness (0 < taper <= 1)
    arc_deg : angle through which the arm curves in its own plane; 0 for a straight arm
    """

    length_mm: float
    base: Section
    taper: float = 0.5
    arc_deg: float = 0.0

    def __post_init__(self) -> None:
        if not (self.length_mm > 0 and 0 < self.taper <= 1 and 0 <= self.arc_deg <= 270):
            raise ValueError(f"arm: length > 0, 0 < taper <= 1, 0 <= arc <= 270 wanted, not {self.length_mm}, {self.taper}, {self.arc_deg}")


def straight_stiffness(modulus_mpa: float, base: Section, length_mm: float, taper: float = 1.0) -> float:
    """N/mm at the tip, away from the tooth: K = 3 E I_base taper / L^3, exact when width and thickness taper alike."""
    return 3.0 * modulus_mpa * base.inertia * taper / length_mm**3


def arc_factor(arc_deg: float) -> float:
    """Stiffness under a radial tip load of an arc over that of a straight arm of equal length and uniform section (1.645 at 90 degrees)."""
    t = np.radians(arc_deg)
    if t < 0.05:
        return 1.0
    return float(t**3 / (3.0 * (t / 2.0 - np.sin(2.0 * t) / 4.0)))


def arc_stiffness_out_of_plane(
    modulus_mpa: float, poisson: float, inertia: float, torsion: float, radius_mm: float, arc_deg: float
) -> float:
    """N/mm at the tip of a uniform arc, loaded square to its plane: bending and torsion together (Timoshenko).

    inertia, torsion : mm4 (a round wire: torsion = 2 x inertia)
    """
    t = np.radians(arc_deg)
    bending = (t / 2.0 - np.sin(2.0 * t) / 4.0) / (modulus_mpa * inertia)
    shear_modulus = modulus_mpa / (2.0 * (1.0 + poisson))
    twisting = (1.5 * t - 2.0 * np.sin(t) + np.sin(2.0 * t) / 4.0) / (shear_modulus * torsion)
    return float(1.0 / (radius_mm**3 * (bending + twisting)))


def _lever(arm: Arm, fraction: Floats) -> Floats:
    """(k,) bending moment per newton of tip load, mm, at fractions of the length from the tip: L x straight, R sin(angle) on an arc."""
    t = np.radians(arm.arc_deg)
    if t < 0.05:
        return arm.length_mm * fraction
    return arm.length_mm / t * np.sin(t * fraction)


def tip_stiffness(arm: Arm, modulus_mpa: float) -> float:
    """N/mm at the tip for a load off the tooth, in the plane of the arm (exact beam theory; curved and tapered arms by quadrature)."""
    if np.radians(arm.arc_deg) < 0.05:
        return straight_stiffness(modulus_mpa, arm.base, arm.length_mm, arm.taper)
    x = np.linspace(0.0, 1.0, 401)
    size = arm.taper + (1.0 - arm.taper) * x
    give = _lever(arm, x) ** 2 / (modulus_mpa * arm.base.inertia * size**4)
    weights = np.r_[1.0, np.tile([4.0, 2.0], 199), 4.0, 1.0] / 1200.0  # Simpson
    return float(1.0 / (arm.length_mm * (weights @ give)))


def arm_stiffness(arm: Arm, material: Material) -> Range:
    """N/mm at the tip, away from the tooth, as a band.

    likely : the closed form, built in at the shoulder, curvature counted. high : the same with the highest modulus.
    low : half of a straight arm of the same length, with the lowest modulus, because the root gives and the arm does not bear at its very
    tip alone. Bench tests and finite elements are as far apart: 9.4 to 10.1 N/mm for two-armed clasps on a sphere (Int J Prosthodont
    2006;19:371), 87 N/mm for one clasp in a model (Materials 2021;14:408). The absolute number is uncertain by a factor, ratios are not.
    """
    k = tip_stiffness(arm, material.modulus_mpa)
    e = material.modulus
    straight = straight_stiffness(e.low * 1000.0, arm.base, arm.length_mm, arm.taper)
    words = (
        f"tapered beam of {material.label}, modulus {e.low:g} to {e.high:g} GPa; low: straight and half as stiff, high: curved, built in"
    )
    return Range(0.5 * straight, k, k * e.high / e.likely, "N/mm", words)


def stress_along(arm: Arm, tip_force_n: float, fraction: Floats) -> Floats:
    """Bending stress, MPa, at fractions of the length from the tip (0) to the shoulder (1)."""
    x = np.asarray(fraction, dtype=np.float64)
    size = arm.taper + (1.0 - arm.taper) * x
    return tip_force_n * np.abs(_lever(arm, x)) * arm.base.outer / (arm.base.inertia * size**3)


def peak_stress(arm: Arm, tip_force_n: float) -> tuple[float, float]:
    """(MPa, fraction of the length from the tip): the highest bending stress of an arm and where it is.

    A straight arm with a taper under 2/3 has its peak at taper / (2 (1 - taper)) from the tip (mid-arm for 2:1), else at the shoulder.
    """
    if np.radians(arm.arc_deg) < 0.05:
        at = 1.0 if arm.taper >= 2.0 / 3.0 else arm.taper / (2.0 * (1.0 - arm.taper))
        return float(stress_along(arm, tip_force_n, np.array([at]))[0]), float(at)
    x = np.linspace(0.0, 1.0, 1001)
    stress = stress_along(arm, tip_force_n, x)
    return float(stress.max()), float(x[stress.argmax()])


@dataclass(frozen=True)
class ArmEstimate:
    """What an arm does at its planned undercut: forces square to the tooth, stress from the likely modulus."""

    stiffness: Range  # N/mm
    force: Range  # N, square to the tooth
    peak_stress_mpa: Range
    peak_at: float  # fraction of the length from the tip
    allowable_mpa: float
    proof_mpa: float

    @property
    def exceeds_allowable(self) -> bool:
        return self.peak_stress_mpa.likely > self.allowable_mpa

    @property
    def exceeds_proof(self) -> bool:
        """The arm would take a set at the first insertion."""
        return self.peak_stress_mpa.likely > self.proof_mpa


def estimate_arm(arm: Arm, material: Material, undercut_mm: float) -> ArmEstimate:
    """Force and stress of an arm flexed by the undercut; the stress band follows the stiffness band."""
    k = arm_stiffness(arm, material)
    per_newton, at = peak_stress(arm, 1.0)
    force = k.scaled(undercut_mm, "N")
    stress = force.scaled(per_newton, "MPa", "bending only; notches, bends and casting faults come on top")
    return ArmEstimate(k, force, stress, at, material.allowable_mpa, material.proof.low)


def largest_undercut(arm: Arm, material: Material, stress_mpa: float | None = None) -> float:
    """mm: the tip travel at which the peak bending stress reaches `stress_mpa` (the material's allowable when not given)."""
    per_newton, _ = peak_stress(arm, 1.0)
    limit = material.allowable_mpa if stress_mpa is None else stress_mpa
    return limit / (per_newton * tip_stiffness(arm, material.modulus_mpa))
