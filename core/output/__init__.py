"""What leaves the tool for people's eyes: pictures, the report and the preview page."""

from .arch_plan import ArchPlan
from .camera import VIEWS, Camera, look, view_camera
from .drawing import Label, Line, png_bytes, side_by_side, write_bytes, write_png
from .materials import MATERIALS, Material
from .mechanics_section import MechanicsSheet
from .palette import depth_colours
from .pictures import carried, framework_picture, framework_pictures, framework_sheet, survey_picture
from .preview import preview_html
from .render import draw, shot
from .report import Picture, PreparationRow, ReportData, report_html
from .scene import Part, Scene
from .stress_picture import stress_picture
from .teeth_picture import teeth_picture
from .wording import ComponentRow, component_rows, tilt_words

__all__ = [
    "ArchPlan",
    "MATERIALS", "VIEWS", "Camera", "ComponentRow", "Label", "Line", "Material", "MechanicsSheet", "Part", "Picture", "PreparationRow",
    "ReportData", "Scene",
    "carried", "component_rows", "depth_colours", "draw", "framework_picture", "framework_pictures", "framework_sheet", "look", "png_bytes",
    "preview_html", "report_html", "shot", "side_by_side", "stress_picture", "survey_picture", "teeth_picture", "tilt_words", "view_camera",
    "write_bytes", "write_png",
]
