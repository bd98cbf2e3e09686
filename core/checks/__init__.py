"""Checks of a finished framework: each a pure function that returns a Check; `run_checks` runs all that can be run."""

from .borders import check_feather_edges, check_margin_distance, check_mass
from .fit import FaceGaps, check_fitting_surface, check_overlap, check_rest_contact, face_gaps
from .gaps import check_gap_map, gap_map
from .gather import gather
from .insertion import RIGID_LIMIT_MM, TIP_TOLERANCE_MM, Entries, TipSpec, check_rigid, check_tip, entry_depth, rigid_entries, tip_travel
from .intersections import check_self_intersection
from .mechanics import check_clasp, check_mechanics
from .result import Check, Landmarks, Status, overrule, worst
from .run import CheckInput, region_from_solid, run_checks
from .stored import as_stored, check_stored, joined
from .thickness import Region, Thickness, check_thickness, local_thickness
from .topology import check_one_body, check_outward, check_scale, check_triangles, check_watertight

__all__ = [
    "RIGID_LIMIT_MM",
    "TIP_TOLERANCE_MM",
    "Check",
    "CheckInput",
    "Entries",
    "FaceGaps",
    "Landmarks",
    "Region",
    "Status",
    "Thickness",
    "TipSpec",
    "as_stored",
    "check_clasp",
    "check_feather_edges",
    "check_fitting_surface",
    "check_gap_map",
    "check_margin_distance",
    "check_mass",
    "check_mechanics",
    "check_one_body",
    "check_outward",
    "check_overlap",
    "check_rest_contact",
    "check_rigid",
    "check_scale",
    "check_self_intersection",
    "check_stored",
    "check_thickness",
    "check_tip",
    "check_triangles",
    "check_watertight",
    "entry_depth",
    "face_gaps",
    "gap_map",
    "gather",
    "joined",
    "local_thickness",
    "overrule",
    "region_from_solid",
    "rigid_entries",
    "run_checks",
    "tip_travel",
    "worst",
]
