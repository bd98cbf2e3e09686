"""Checks of a finished framework: each a pure function that returns a Check; `run_checks` runs all that can be run."""

from .insertion import RIGID_LIMIT_MM, TIP_TOLERANCE_MM, Entries, TipSpec, check_rigid, check_tip, entry_depth, rigid_entries
from .intersections import check_self_intersection, self_crossings
from .result import Check, Landmarks, Status, worst
from .topology import check_one_body, check_outward, check_scale, check_triangles, check_watertight

__all__ = [
    "RIGID_LIMIT_MM",
    "TIP_TOLERANCE_MM",
    "Check",
    "Entries",
    "Landmarks",
    "Status",
    "TipSpec",
    "check_one_body",
    "check_outward",
    "check_rigid",
    "check_scale",
    "check_self_intersection",
    "check_tip",
    "check_triangles",
    "check_watertight",
    "entry_depth",
    "rigid_entries",
    "self_crossings",
    "worst",
]
