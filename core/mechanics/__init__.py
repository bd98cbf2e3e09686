"""Alloys, sections, clasp arms and retention in closed form. Numbers about the mouth come back as ranges with their assumption."""

from .arms import Arm, ArmEstimate, arm_stiffness, estimate_arm, largest_undercut, peak_stress, stress_along, tip_stiffness
from .materials import CYCLES_PER_YEAR, FATIGUE, MATERIALS, Material, mass
from .ranges import Range
from .retention import FRICTION, ForceTravel, force_travel, lift_on_clasp, pull_per_normal_force, retention
from .sections import Section, gauge_mm, half_ellipse, half_round, round_wire

__all__ = [
    "CYCLES_PER_YEAR",
    "FATIGUE",
    "FRICTION",
    "MATERIALS",
    "Arm",
    "ArmEstimate",
    "ForceTravel",
    "Material",
    "Range",
    "Section",
    "arm_stiffness",
    "estimate_arm",
    "force_travel",
    "gauge_mm",
    "half_ellipse",
    "half_round",
    "largest_undercut",
    "lift_on_clasp",
    "mass",
    "peak_stress",
    "pull_per_normal_force",
    "retention",
    "round_wire",
    "stress_along",
    "tip_stiffness",
]
