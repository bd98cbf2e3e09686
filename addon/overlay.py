"""What is written over the 3D view: the number at each marked tooth, and the scale of the undercut colours."""

from __future__ import annotations

from typing import Any

import bpy
import gpu
from bpy_extras import view3d_utils
from gpu_extras.batch import batch_for_shader
from mathutils import Vector

from . import document, ink, ops_view, rays

TEXT_PX, SCALE_PX = 15, 12
BAR = (220, 12)  # width and height of the scale, in pixels at a resolution scale of 1
MARKS_MM = (0.25, 0.5, 0.75)

handles: dict[str, Any] = {}


def draw() -> None:
    """Draw handler, POST_PIXEL."""
    context: Any = bpy.context
    scene, region, view = context.scene, context.region, context.region_data
    space = context.space_data
    if scene is None or region is None or view is None or not getattr(space.overlay, "show_overlays", True):
        return
    case, thing = rays.case_and_cast(scene)
    if case is None or thing is None:
        return
    pixel = context.preferences.system.ui_scale
    place = ops_view.focus.get(scene.name)
    if place is not None:
        _pointer(view3d_utils.location_3d_to_region_2d(region, view, thing.matrix_world @ Vector(place)))
    if not thing.visible_get():
        return
    for tooth in case.chart.teeth:
        for seed in tooth.seeds[:1]:
            spot = view3d_utils.location_3d_to_region_2d(region, view, thing.matrix_world @ Vector(seed))
            if spot is not None:
                ink.text(spot.x, spot.y - 5 * pixel, str(tooth.fdi), TEXT_PX * pixel)
    if document.settings(scene).shade == "UNDERCUT":
        _scale(region, pixel)


def _pointer(spot: Any) -> None:
    """A ring round a place."""
    if spot is not None:
        ink.ring(spot.x, spot.y, 13.0, (0.95, 0.35, 0.2, 1.0), 3.0)


def _scale(region: bpy.types.Region, pixel: float) -> None:
    """The ramp of depth with the gauges' names, at the foot of the view."""
    from ..core.output.palette import DEPTH_FULL_MM, ramp

    width, height = BAR[0] * pixel, BAR[1] * pixel
    left, low = (region.width - width) / 2, 34 * pixel
    colours = ramp()[::16]
    step = width / (len(colours) - 1)
    points, inks = [], []
    for k, srgb in enumerate(colours):
        # Overlays are drawn in the display's own colours.
        colour = (*(float(c) for c in srgb), 1.0)
        points += [(left + k * step, low), (left + k * step, low + height)]
        inks += [colour, colour]
    shader = gpu.shader.from_builtin("SMOOTH_COLOR")
    shader.bind()
    gpu.state.blend_set("NONE")
    batch_for_shader(shader, "TRI_STRIP", {"pos": [(x, y, 0.0) for x, y in points], "color": inks}).draw(shader)
    for depth in MARKS_MM:
        ink.text(left + width * depth / DEPTH_FULL_MM, low - 16 * pixel, f"{depth:.2f}", SCALE_PX * pixel)
    ink.text(left, low - 16 * pixel, "0", SCALE_PX * pixel)
    ink.text(left + width, low - 16 * pixel, f"{DEPTH_FULL_MM:g}+", SCALE_PX * pixel)
    ink.text(left + width / 2, low + height + 6 * pixel, "Undercut depth, mm", SCALE_PX * pixel)


def register() -> None:
    handler: Any = draw
    handles["view"] = bpy.types.SpaceView3D.draw_handler_add(handler, (), "WINDOW", "POST_PIXEL")


def unregister() -> None:
    handle = handles.pop("view", None)
    if handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
