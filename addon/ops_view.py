"""Checks: going to the place that one speaks of, and accepting one with a reason."""

from typing import Any

import bpy
from mathutils import Vector

from ..core.case.edit import overruled
from . import bridge, derived, document, jobs
from .classes import registrar

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


class CLASPWRIGHT_OT_overrule(jobs.NeedsCase, bpy.types.Operator):
    """Accept this check although it did not pass, with the reason. It stays what it is; the report shows the reason beside it"""

    bl_idname = "claspwright.overrule"
    bl_label = "Accept with a Reason"
    bl_options = {"REGISTER", "UNDO"}

    check: bpy.props.StringProperty(name="Check", options={"HIDDEN"})
    reason: bpy.props.StringProperty(name="Reason", description="Why it may stay so. Empty takes the acceptance back")

    def invoke(self, context: Any, event: Any) -> set[Any]:
        case = document.find_case(context.scene)
        self.reason = next((o.reason for o in case.overrules if o.check == self.check), "") if case else ""
        return context.window_manager.invoke_props_dialog(self, width=420)

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            document.store(context.scene, overruled(document.need_case(context.scene), self.check, self.reason))
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_go_to, CLASPWRIGHT_OT_overrule)


register, unregister = registrar(CLASSES, focus)
