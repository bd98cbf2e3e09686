"""Set views of what is shown, and a turntable: a camera that goes once round it, for Blender's own render of an animation."""

import math
from typing import Any

import bpy
from mathutils import Euler, Vector

from ..core.errors import CaseError
from . import bridge, jobs, rays

# what: label, turn of the view (degrees about X, then Z), description. The cast's front is +Y, its occlusal side +Z.
SIDES = {
    "OCCLUSAL": ("Occlusal", (0.0, 0.0), "From above, the front away from you"),
    "FRONT": ("Front", (90.0, 180.0), "From before the patient"),
    "LINGUAL": ("Lingual", (52.0, 0.0), "From behind and above, where connectors are seen"),
    "LEFT": ("View's left", (90.0, -90.0), "From the left side of the occlusal view"),
    "RIGHT": ("View's right", (90.0, 90.0), "From the right side of the occlusal view"),
    "TISSUE": ("Tissue side", (180.0, 0.0), "From below: the fitting side of the metal alone"),
}
FRAMES, LENS = 120, 80.0
ROLES = ("turntable", "turntable camera", "turntable lamp")


def shown(scene: Any) -> list[Any]:
    """Our meshes whose eye is open."""
    roles = ("cast", "prepared", "master", "framework")
    return [t for t in (bridge.find_object(scene, r) for r in roles) if t is not None and t.visible_get()]


def bounds(things: list[Any]) -> tuple[Vector, float]:
    """Middle and largest width of objects, in the scene's units."""
    from ..core.survey.handles import extent

    middle, width = extent(rays.corners(things))
    return Vector(tuple(middle)), width


class CLASPWRIGHT_OT_look(jobs.NeedsCase, bpy.types.Operator):
    """Turn the view to this side of what is shown, and fill it"""

    bl_idname = "claspwright.look"
    bl_label = "Set View"

    side: bpy.props.EnumProperty(name="Side", items=[(key, label, words) for key, (label, _, words) in SIDES.items()])

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        return SIDES[properties.side][2]

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            things, space = shown(context.scene), context.space_data
            if not things or space is None or space.type != "VIEW_3D":
                raise CaseError("nothing of this case is shown in this view; open an eye first")
            middle, size = bounds(things)
            tip, turn = (math.radians(v) for v in SIDES[self.side][1])
            view = space.region_3d
            view.view_perspective = "ORTHO"
            view.view_rotation = Euler((tip, 0.0, turn)).to_quaternion()
            view.view_location, view.view_distance = middle, 1.35 * size
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_turntable(jobs.NeedsCase, bpy.types.Operator):
    """Put a camera and a lamp round what is shown; they go once round in 120 pictures. Then Render, Render Animation (Ctrl+F12)"""

    bl_idname = "claspwright.turntable"
    bl_label = "Turntable"
    bl_options = {"REGISTER", "UNDO"}

    above_deg: bpy.props.FloatProperty(name="From above (°)", description="Height of the camera", default=38.0, min=-80.0, max=80.0)

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            scene: Any = context.scene
            things = shown(scene)
            if not things:
                raise CaseError("nothing of this case is shown; open an eye first")
            middle, size = bounds(things)
            bridge.remove_objects(scene, ROLES)
            pivot = self._add(scene, "turntable", "Turntable", None, None)
            pivot.location = middle
            # a plain expression, which Blender works out itself: nothing has to be allowed to run
            turn = pivot.driver_add("rotation_euler", 2).driver
            turn.expression = f"frame * {2.0 * math.pi / FRAMES:.9f}"
            tip = Euler((math.radians(90.0 - self.above_deg), 0.0, 0.0))
            camera = bpy.data.cameras.new("Turntable camera")
            camera.lens, camera.clip_start, camera.clip_end = LENS, 0.05 * size, 20.0 * size
            eye = self._add(scene, ROLES[1], "Turntable camera", camera, pivot)
            eye.rotation_euler, eye.location = tip, tip.to_matrix() @ Vector((0.0, 0.0, 3.1 * size))
            self._lamp(scene, pivot, size)
            scene.camera = eye
            scene.frame_start, scene.frame_end = 1, FRAMES
            self.report({"INFO"}, f"{FRAMES} pictures once round; Ctrl+F12 renders them to the folder of Output Properties")
            return {"FINISHED"}

        return jobs.guarded(self, work)

    def _lamp(self, scene: Any, pivot: Any, size: float) -> None:
        """A soft lamp that goes with the camera, so that every picture is lit alike."""
        lamp: Any = bpy.data.lights.new("Turntable lamp", "AREA")
        lamp.size, lamp.energy = size, 40.0 * size**2
        aim = Euler((math.radians(42.0), math.radians(24.0), 0.0))
        thing = self._add(scene, ROLES[2], "Turntable lamp", lamp, pivot)
        thing.rotation_euler, thing.location = aim, aim.to_matrix() @ Vector((0.0, 0.0, 1.8 * size))

    def _add(self, scene: Any, role: str, name: str, data: Any, parent: Any) -> Any:
        made = bpy.data.objects.new(name, data)
        made[bridge.ROLE] = role
        made.parent = parent
        bridge.collection(scene).objects.link(made)
        return made


CLASSES = (CLASPWRIGHT_OT_look, CLASPWRIGHT_OT_turntable)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
