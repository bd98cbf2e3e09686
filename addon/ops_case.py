"""Opening: a scan or a case file."""

from pathlib import Path
from typing import Any

import bpy

from ..core import case as doc
from ..core.errors import CaseError
from . import bridge, document, jobs, materials, shading

ARCHES = [
    ("FIND", "Find out", "Tell upper from lower by the shape of the cast"),
    ("lower", "Lower", "The scan is a lower (mandibular) cast"),
    ("upper", "Upper", "The scan is an upper (maxillary) cast"),
]


def show_cast(context: bpy.types.Context, case: doc.Case, cast: Any) -> None:
    """Put a case and its cast into the scene, instead of the case that was there."""
    scene = context.scene
    bridge.prepare_units(scene)
    bridge.remove_objects(scene, ("prepared", "master", "framework"))
    own = document.settings(scene)
    own.remarks = "\n".join([*(f"? {q}" for q in cast.questions), *cast.changes])
    own.built_key = own.checks = own.notice = own.component = ""
    document.store(scene, case)
    document.cache.clear()
    document.cache.cast, document.cache.cast_key = cast, document.cast_key(case)
    thing = bridge.put_object(scene, "cast", "Cast", bridge.to_blender(cast.mesh, "Cast"))
    thing.hide_set(False)
    materials.give(thing, "stone", surveyed=True)
    shading.put_line_objects(scene)
    own.shade = "UNDERCUT"
    if not case.chart.teeth:
        own.next_fdi = 34 if cast.arch == "lower" else 14
    shading.refresh(scene)
    frame_cast(context, thing)


def frame_cast(context: bpy.types.Context, thing: bpy.types.Object) -> None:
    """Fill the 3D views with the cast, seen from above, in its colours. Not in background mode: there is no view."""
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
        area.spaces.active.shading.color_type = "VERTEX"
        with context.temp_override(window=context.window, area=area, region=region):
            bpy.ops.view3d.view_axis(type="TOP")
            bpy.ops.view3d.view_selected()


class FileOperator:
    """Mixin: choose a file."""

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}


class CLASPWRIGHT_OT_open_scan(FileOperator, bpy.types.Operator):
    """Open the scan of a cast and begin a new case; the file itself is never changed"""

    bl_idname = "claspwright.open_scan"
    bl_label = "Open Scan"
    bl_options = {"REGISTER", "UNDO"}

    filter_glob: bpy.props.StringProperty(default="*.stl;*.ply;*.obj;*.3mf", options={"HIDDEN"})
    arch: bpy.props.EnumProperty(name="Arch", items=ARCHES, default="FIND")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.current() is None

    def execute(self, context: bpy.types.Context) -> set[str]:
        return jobs.guarded(self, lambda: self._open(context))

    def _open(self, context: bpy.types.Context) -> set[str]:
        from ..core.cast import load_cast

        path = Path(self.filepath)
        cast = load_cast(path, arch=None if self.arch == "FIND" else self.arch, add_base=True)
        rows: Any = tuple(tuple(float(v) for v in row) for row in cast.to_cast)
        entry = doc.CastEntry(path.name, cast.sha256, cast.arch, to_cast=rows)
        case = doc.Case(entry, title=path.stem, folder=str(path.resolve().parent))
        doc.case_from_json(doc.case_to_json(case))
        show_cast(context, case, cast)
        self.report({"INFO"}, f"{path.name}: {cast.arch} cast, {len(cast.mesh.faces)} triangles")
        return {"FINISHED"}


class CLASPWRIGHT_OT_open_case(FileOperator, bpy.types.Operator):
    """Open a case file and the scan that lies beside it"""

    bl_idname = "claspwright.open_case"
    bl_label = "Open Case"
    bl_options = {"REGISTER", "UNDO"}

    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.current() is None

    def execute(self, context: bpy.types.Context) -> set[str]:
        return jobs.guarded(self, lambda: self._open(context))

    def _open(self, context: bpy.types.Context) -> set[str]:
        from ..core.pipeline.build import read_cast

        case = doc.load_case(self.filepath)
        cast = read_cast(case)
        show_cast(context, case, cast)
        self.report({"INFO"}, f"{Path(self.filepath).name}: {len(case.chart.teeth)} teeth marked, {len(case.components)} components")
        return {"FINISHED"}


class CLASPWRIGHT_OT_level(bpy.types.Operator):
    """Set both tilts to zero: the path at right angles to the occlusal plane"""

    bl_idname = "claspwright.level"
    bl_label = "No Tilt"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        own = document.settings(context.scene)
        own.anteroposterior_deg = own.lateral_deg = 0.0
        return {"FINISHED"}


class CLASPWRIGHT_OT_refresh(bpy.types.Operator):
    """Survey the cast again at the present tilt and draw colours, contour and gauge lines"""

    bl_idname = "claspwright.survey"
    bl_label = "Survey Now"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            if bridge.find_object(context.scene, "cast") is None:
                case = document.need_case(context.scene)
                raise CaseError(f"the cast is not in this scene any more; undo, or open {case.cast.file} again")
            shading.refresh(context.scene)
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_open_scan, CLASPWRIGHT_OT_open_case, CLASPWRIGHT_OT_level, CLASPWRIGHT_OT_refresh)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
