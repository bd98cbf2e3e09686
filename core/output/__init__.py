"""What leaves the tool for people's eyes: pictures, the report and the preview page."""

from .camera import VIEWS, Camera, look, view_camera
from .drawing import Label, Line, png_bytes, side_by_side, write_png
from .materials import MATERIALS, Material
from .palette import depth_colours
from .pictures import framework_picture, framework_pictures, framework_sheet, survey_picture, tilt_words
from .render import draw, shot
from .scene import Part, Scene

__all__ = [
    "MATERIALS", "VIEWS", "Camera", "Label", "Line", "Material", "Part", "Scene",
    "depth_colours", "draw", "framework_picture", "framework_pictures", "framework_sheet", "look", "png_bytes", "shot", "side_by_side",
    "survey_picture", "tilt_words", "view_camera", "write_png",
]
