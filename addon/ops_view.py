"""Going to the place that a check speaks of."""

from typing import Any

import bpy
from mathutils import Vector

from . import bridge, derived, document

NEAR_MM = 22.0  # what the view then spans: about three teeth

focus: dict[str, tuple[float, float, float]] = {}  # scene name: the place to point at (mm, cast frame); of this session only


class CLASPWRIGHT_OT_go_to(bpy.types.Operator):
    """Turn the view to this place and point at it; click again to take the pointer away"""

    bl_idname = "claspwright.go_to"
    bl_label = "Go to Place"

    place: bpy.props.FloatVectorProperty(name="Place (mm)", size=3)

    @classmethod
    def poll(cls, context: Any) -> bool:
        return document.settings(context.scene).case_text != ""

    def execute(self, context: Any) -> set[Any]:
        scene: Any = context.scene
        place = (self.place[0], self.place[1], self.place[2])
        if focus.get(scene.name) == place:
            focus.pop(scene.name)
            derived.redraw()
            return {"FINISHED"}
        focus[scene.name] = place
        space: Any = context.space_data
        thing = bridge.find_object(scene, "framework") or bridge.find_object(scene, "cast")
        if thing is not None and space is not None and space.type == "VIEW_3D":
            space.region_3d.view_location = thing.matrix_world @ Vector(place)
            space.region_3d.view_distance = NEAR_MM * bridge.units_per_mm(scene)
        derived.redraw()
        return {"FINISHED"}


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_go_to)


def unregister() -> None:
    bpy.utils.unregister_class(CLASPWRIGHT_OT_go_to)
    focus.clear()
