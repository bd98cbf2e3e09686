"""What leaves the tool for people's eyes: pictures, the report and the preview page.

Names are loaded when they are first asked for: a window that wants a colour does not wait for the report.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
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
    from .wording import ComponentRow, component_rows, tilt_words

_WHERE = {
    "arch_plan": ("ArchPlan",),
    "camera": ("VIEWS", "Camera", "look", "view_camera"),
    "drawing": ("Label", "Line", "png_bytes", "side_by_side", "write_bytes", "write_png"),
    "materials": ("MATERIALS", "Material"),
    "mechanics_section": ("MechanicsSheet",),
    "palette": ("depth_colours",),
    "pictures": ("carried", "framework_picture", "framework_pictures", "framework_sheet", "survey_picture"),
    "preview": ("preview_html",),
    "render": ("draw", "shot"),
    "report": ("Picture", "PreparationRow", "ReportData", "report_html"),
    "scene": ("Part", "Scene"),
    "wording": ("ComponentRow", "component_rows", "tilt_words"),
}
_ROOM_OF = {name: room for room, names in _WHERE.items() for name in names}

__all__ = [
    "ArchPlan",
    "MATERIALS", "VIEWS", "Camera", "ComponentRow", "Label", "Line", "Material", "MechanicsSheet", "Part", "Picture", "PreparationRow",
    "ReportData", "Scene",
    "carried", "component_rows", "depth_colours", "draw", "framework_picture", "framework_pictures", "framework_sheet", "look", "png_bytes",
    "preview_html", "report_html", "shot", "side_by_side", "survey_picture", "tilt_words", "view_camera",
    "write_bytes", "write_png",
]


def __getattr__(name: str) -> Any:
    if name not in _ROOM_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f".{_ROOM_OF[name]}", __name__), name)
    globals()[name] = found
    return found
