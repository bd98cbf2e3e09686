"""What leaves the tool for people's eyes: pictures, the report and the preview page."""

from .camera import VIEWS, Camera, look, view_camera
from .drawing import Label, Line, png_bytes, side_by_side, write_png
from .materials import MATERIALS, Material
from .render import draw, shot
from .scene import Part, Scene

__all__ = [
    "MATERIALS", "VIEWS", "Camera", "Label", "Line", "Material", "Part", "Scene",
    "draw", "look", "png_bytes", "shot", "side_by_side", "view_camera", "write_png",
]
