"""Survey: the path of placement, the height of contour, undercut depth, gauge lines, probe, space under the rod, tripod."""

from .carry import Carried, carry_path
from .enamel import proximal_enamel_mm
from .gauge import gauge_lines
from .lines import Contour
from .measure import Reading, Survey, depth_at, local_undercut, read_gauge, survey
from .path import Path
from .probe import SCAN_NOISE_MM, Probe, probe
from .rod_space import GuidePlane, RodSpace, space_under_rod
from .scene import RayScene, scene_of
from .shown import contours_to_show
from .tilt_map import TiltMap
from .tripod import Tripod, marks_uncertainty_deg, path_from_marks, place_marks, propose_tripod

__all__ = [
    "SCAN_NOISE_MM",
    "Carried",
    "Contour",
    "GuidePlane",
    "Path",
    "Probe",
    "RayScene",
    "Reading",
    "RodSpace",
    "Survey",
    "TiltMap",
    "Tripod",
    "carry_path",
    "contours_to_show",
    "depth_at",
    "gauge_lines",
    "local_undercut",
    "marks_uncertainty_deg",
    "path_from_marks",
    "place_marks",
    "probe",
    "propose_tripod",
    "proximal_enamel_mm",
    "read_gauge",
    "scene_of",
    "space_under_rod",
    "survey",
]
