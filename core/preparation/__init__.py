"""Mouth preparation on the cast: rest seats sunk, guide planes planed, and what each takes of the enamel."""

from .ledge import fit_ledge
from .planes import GuidePlaneSpec, fit_plane
from .prepare import PLANE_MOST_MM, Cut, Prepared, cut_with, fit_reach, measure_planes, prepare
from .seats import ON_LEDGE, ON_TOP, RestSeatSpec, ball_centre, floor_angle_deg, seat_field, seat_solid

__all__ = [
    "ON_LEDGE",
    "ON_TOP",
    "PLANE_MOST_MM",
    "Cut",
    "GuidePlaneSpec",
    "Prepared",
    "RestSeatSpec",
    "ball_centre",
    "cut_with",
    "fit_ledge",
    "fit_plane",
    "fit_reach",
    "floor_angle_deg",
    "measure_planes",
    "prepare",
    "seat_field",
    "seat_solid",
]
