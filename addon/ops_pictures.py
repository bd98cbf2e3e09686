"""Pictures of the framework on its cast from the set views, by Blender's own workbench engine, framed as those of the report."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy
from mathutils import Matrix

from ..core.errors import CaseError
from . import bridge, document, jobs, materials

OPS: Any = bpy.ops
# Of the scene's render, its output and its solid shading: what is set for the pictures and put back afterwards.
RENDER = {"engine": "BLENDER_WORKBENCH", "resolution_percentage": 100, "film_transparent": False, "use_border": False}
SHADING = {
    "light": "STUDIO", "color_type": "OBJECT", "show_cavity": True, "cavity_type": "BOTH", "show_shadows": False, "show_xray": False,
    "show_object_outline": False,
}  # fmt: skip
COLOURS = {"view_transform": "Standard", "look": "None", "exposure": 0.0, "gamma": 1.0}  # as they are, not as a film would show them


@contextmanager
def lent(thing: Any, values: dict[str, Any]) -> Iterator[None]:
    """Attributes of one of Blender's things, for a while."""
    before = {name: getattr(thing, name) for name in values}
    before = {name: tuple(old) if hasattr(old, "__len__") and not isinstance(old, str) else old for name, old in before.items()}
    try:
        for name, value in values.items():
            setattr(thing, name, value)
        yield
    finally:
        for name, old in before.items():
            setattr(thing, name, old)


@contextmanager
def only(scene: Any, things: list[Any]) -> Iterator[None]:
    """Nothing else is in the render for a while."""
    before = {o: o.hide_render for o in scene.objects}
    try:
        for o in scene.objects:
            o.hide_render = o not in things
        yield
    finally:
        for o, hidden in before.items():
            o.hide_render = hidden


@contextmanager
def before_a_wall(scene: Any, colour: Any) -> Iterator[None]:
    """A plain background (linear colour) for a while."""
    before = scene.world
    wall = bpy.data.worlds.new("Set view")
    wall.color = colour
    scene.world = wall
    try:
        yield
    finally:
        scene.world = before
        bpy.data.worlds.remove(wall)


@contextmanager
def eye_at(scene: Any, seen: Any) -> Iterator[None]:
    """A camera of the core's own, put into the scene for a while. seen : core.output.camera.Camera"""
    scale = bridge.units_per_mm(scene)
    data = bpy.data.cameras.new("Set view")
    data.type, data.ortho_scale = "ORTHO", seen.width_mm * scale
    data.clip_start, data.clip_end = 1.0 * scale, 600.0 * scale
    eye = bpy.data.objects.new("Set view", data)
    axes = Matrix([tuple(float(c) for c in row) for row in seen.axes]).transposed().to_4x4()
    away = [(t + 200.0 * w) * scale for t, w in zip(seen.target, seen.toward, strict=True)]
    eye.matrix_world = Matrix.Translation(away) @ axes
    scene.collection.objects.link(eye)
    before, scene.camera = scene.camera, eye
    try:
        yield
    finally:
        scene.camera = before
        bpy.data.objects.remove(eye, do_unlink=True)
        bpy.data.cameras.remove(data)


class CLASPWRIGHT_OT_set_pictures(jobs.NeedsCase, bpy.types.Operator):
    """Render the framework on its cast from the set views into a folder, each framed as in the report"""

    bl_idname = "claspwright.set_pictures"
    bl_label = "Render Set Views"

    directory: bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE"})
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
    _left: list[str]
    _timer: Any = None

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.has_case(context) and bridge.find_object(context.scene, "framework") is not None

    def invoke(self, context: Any, event: Any) -> set[Any]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[Any]:
        return jobs.guarded(self, lambda: self._begin(context))

    def _begin(self, context: Any) -> set[Any]:
        from ..core.output.pictures import FRAMEWORK_VIEWS

        if not self.directory:
            raise CaseError("no folder is named; choose where to write")
        folder = Path(bpy.path.abspath(self.directory))
        if not folder.is_dir():
            raise CaseError(f"{folder.name}: there is no such folder; choose another")
        self._left = list(FRAMEWORK_VIEWS)
        if bpy.app.background:
            while self._left:
                self._draw(context, self._left.pop(0))
            return self._end(context)
        manager = context.window_manager
        self._timer = manager.event_timer_add(0.05, window=context.window)  # the window breathes between two pictures
        manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[Any]:
        if event.type == "ESC":
            context.window_manager.event_timer_remove(self._timer)
            self.report({"INFO"}, "stopped; the pictures made so far stay")
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}

        def step() -> set[Any]:
            self._draw(context, self._left.pop(0))
            return {"RUNNING_MODAL"} if self._left else self._end(context)

        done = jobs.guarded(self, step)
        if done != {"RUNNING_MODAL"}:
            context.window_manager.event_timer_remove(self._timer)
        return done

    def _end(self, context: Any) -> set[Any]:
        self.report({"INFO"}, f"pictures written to {Path(bpy.path.abspath(self.directory)).name}")
        return {"FINISHED"}

    def _draw(self, context: Any, view: str) -> None:
        from ..core.files import write_atomic
        from ..core.output.camera import view_camera
        from ..core.output.render import BACKGROUND, SIZE

        scene = context.scene
        case = document.need_case(scene)
        metal = bridge.find_object(scene, "framework")
        stone = bridge.find_object(scene, "prepared") or bridge.find_object(scene, "cast")
        if metal is None or stone is None:
            raise CaseError("the framework or its cast is not in the scene any more; build it again")
        seen = view_camera(bridge.points_of(stone.data), view, arch=case.cast.arch, aspect=SIZE[0] / SIZE[1])
        size = {"resolution_x": SIZE[0], "resolution_y": SIZE[1]}
        with tempfile.TemporaryDirectory() as aside:
            file = Path(aside) / "picture.png"
            render, wall = scene.render, materials.linear(BACKGROUND)
            with (
                lent(render, {**RENDER, **size, "filepath": str(file)}), lent(render.image_settings, {"file_format": "PNG"}),
                lent(scene.display.shading, SHADING), lent(scene.view_settings, COLOURS), before_a_wall(scene, wall),
                only(scene, [metal, stone]), eye_at(scene, seen),
            ):  # fmt: skip
                OPS.render.render(write_still=True)
            write_atomic(Path(bpy.path.abspath(self.directory)) / f"rendered_{view}.png", file.read_bytes())


CLASSES = (CLASPWRIGHT_OT_set_pictures,)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
