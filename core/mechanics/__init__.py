"""Mechanics of clasps and connectors: materials, spatial beams, retention, levers. Numbers come back as ranges with their assumption."""

from .advice import Advice
from .arm import BentArm, ClaspArm, beam_of, bend, bend_frame, set_after, simple_arm
from .case import BaseInput, CaseInput, CaseMechanics, analyse
from .clasps import ClaspInput, ClaspResult, analyse_clasp
from .connector import ConnectorInput, ConnectorResult, Run, swept
from .frame import Frame, solve, stresses
from .levers import Axis, axis_through, base_lift, base_sinking, lift_on_clasp
from .materials import CYCLES_PER_YEAR, FATIGUE, MATERIALS, WIRE_GAUGES, WIRES, Material, find_material, mass, material
from .ranges import Range
from .retention import (
    FRICTION,
    Balance,
    ForceTravel,
    Profile,
    Reciprocation,
    force_travel,
    frictional_hold,
    normal_forces,
    pull_per_normal_force,
)
from .sections import Section, Sections, gauge_mm, half_ellipse, half_round, round_wire, sections

__all__ = [
    "CYCLES_PER_YEAR",
    "FATIGUE",
    "FRICTION",
    "MATERIALS",
    "Advice",
    "Axis",
    "Balance",
    "BaseInput",
    "BentArm",
    "CaseInput",
    "CaseMechanics",
    "ClaspArm",
    "ClaspInput",
    "ClaspResult",
    "ConnectorInput",
    "ConnectorResult",
    "ForceTravel",
    "Frame",
    "Material",
    "Profile",
    "Range",
    "Reciprocation",
    "Run",
    "Section",
    "Sections",
    "WIRES",
    "WIRE_GAUGES",
    "analyse",
    "analyse_clasp",
    "axis_through",
    "base_lift",
    "base_sinking",
    "beam_of",
    "bend",
    "bend_frame",
    "find_material",
    "force_travel",
    "frictional_hold",
    "gauge_mm",
    "half_ellipse",
    "half_round",
    "lift_on_clasp",
    "mass",
    "material",
    "normal_forces",
    "pull_per_normal_force",
    "round_wire",
    "sections",
    "set_after",
    "simple_arm",
    "solve",
    "stresses",
    "swept",
]
