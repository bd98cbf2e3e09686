"""Survey: the path of placement, the height of contour, undercut depth and gauge lines."""

from .gauge import GAUGES_INCH, INCH_MM, gauge_lines, gauge_name
from .lines import Contour
from .measure import Reading, Survey, depth_at, read_gauge, survey
from .path import Path
from .scene import RayScene, scene_of

__all__ = [
    "GAUGES_INCH",
    "INCH_MM",
    "Contour",
    "Path",
    "RayScene",
    "Reading",
    "Survey",
    "depth_at",
    "gauge_lines",
    "gauge_name",
    "read_gauge",
    "scene_of",
    "survey",
]
