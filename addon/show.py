"""A cast comes into the scene: its object, its lines, its looks, and views that show it."""

import hashlib
import math
from typing import Any

import bpy
from mathutils import Euler

from ..core.case import Case
from . import bridge, derived, document, materials

FROM_FRONT = (math.radians(52.0), 0.0, math.radians(180.0))  # a look down at the arch from before the patient


def show_cast(context: Any, case: Case, info: dict[str, Any], arrays: dict[str, Any], again: bool = False) -> None:
    """Put a case and its cast into the scene, instead of the case that was there; again: the same case, whose framework stays."""
    scene: Any = context.scene
    bridge.prepare_units(scene)
    own = document.settings(scene)
    bridge.remove_objects(scene, ("cast", *derived.LINE_ROLES) if again else bridge.all_roles(scene))
    # Views that show the old case's survey would hold it in the new one's place.
    derived.forget()
    own.remarks = "\n".join([*(f"? {q}" for q in info["questions"]), f"the file is in {info['unit']}s", *info["changes"]])
    if not again:
        own.built_key = own.checks = own.arms = own.component = own.reasons = ""
    document.notice(scene, "")
    document.store(scene, case)
    data = bridge.to_blender(arrays["vertices"], arrays["faces"], "Cast")
    data[derived.SOURCE] = hashlib.sha256(arrays["vertices"].tobytes()).hexdigest()
    data[derived.TEETH] = ""
    thing = bridge.put_object(scene, "cast", "Cast", data)
    materials.give(thing, "stone", surveyed=True)
    bridge.set_colours(data, derived.COLOUR, materials.flat_colour("stone", len(data.vertices)))
    bridge.show_colours(data, derived.COLOUR)
    derived.put_line_objects(scene)
    own.shade = "UNDERCUT"
    frame_cast(context, thing, bool(case.chart.teeth))


def frame_cast(context: Any, thing: Any, marked: bool) -> None:
    """Fill the 3D views with the cast, in its colours. Not in background mode: there is no view.

    Without marks it is seen from above, where the teeth are clicked; with marks from the front, where undercut shows: along an upright
    path none is seen from above.
    """
    if bpy.app.background or context.window is None:
        return
    for other in context.selected_objects:
        other.select_set(False)
    thing.select_set(True)
    context.view_layer.objects.active = thing
    for area in context.window.screen.areas:
        if area.type != "VIEW_3D":
            continue
        region = next(r for r in area.regions if r.type == "WINDOW")
        space: Any = area.spaces.active
        space.shading.color_type = "VERTEX"
        with context.temp_override(window=context.window, area=area, region=region):
            bpy.ops.view3d.view_axis(type="TOP")
            if marked:
                space.region_3d.view_perspective = "PERSP"
                space.region_3d.view_rotation = Euler(FROM_FRONT).to_quaternion()
            bpy.ops.view3d.view_selected()
    thing.select_set(False)
