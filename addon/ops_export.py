"""Export: single meshes from the scene, or everything as the command line writes it."""

from pathlib import Path
from typing import Any

import bpy

from ..core.background import Process
from ..core.case import Case
from ..core.errors import CaseError
from . import bridge, document, jobs

OPS: Any = bpy.ops
OWN: Any = OPS.claspwright

# what: label, file name, description
KINDS = {
    "FRAMEWORK_STL": ("Framework (STL)", "framework.stl", "The framework in millimetres, as STL"),
    "FRAMEWORK_3MF": ("Framework (3MF)", "framework.3mf", "The framework as 3MF, which names its unit"),
    "MASTER_STL": ("Master cast (STL)", "master_cast.stl", "The blocked-out, relieved cast that the framework fits"),
    "CASE": ("Case file", "case.json", "The case document; the scan is copied beside it"),
}


def need_current(scene: bpy.types.Scene, case: Case) -> None:
    """Raises CaseError where the framework in the scene is not of the case as it is now."""
    own = document.settings(scene)
    if not own.built_key:
        raise CaseError("there is no framework yet; build it first")
    if own.built_key != document.case_key(case, own.built_quick):
        raise CaseError("the case was changed after the framework was built; build it again before it is exported")


def result_mesh(scene: bpy.types.Scene, role: str) -> Any:
    """A built mesh for the core, mm. Raises CaseError where it is not there, or was edited by hand after the checks."""
    thing = bridge.find_object(scene, role)
    if thing is None:
        raise CaseError("there is no framework in the scene any more; build it again")
    if thing.data.get(bridge.BUILT) not in (None, document.settings(scene).built_key):
        raise CaseError("the framework in the scene is of another step of the case; build it again")
    kept = thing.data.get(bridge.SHAPE)
    if kept is not None and kept != bridge.shape_digest(thing.data):
        raise CaseError("the framework was edited after its checks, so they no longer hold; build it again, or use Blender's own export")
    return bridge.to_core(thing.data)


class CLASPWRIGHT_OT_export(jobs.NeedsCase, bpy.types.Operator):
    """Write one file"""

    bl_idname = "claspwright.export"
    bl_label = "Export"

    what: bpy.props.EnumProperty(name="What", items=[(key, label, words) for key, (label, _, words) in KINDS.items()])
    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: bpy.props.StringProperty(default="*", options={"HIDDEN"})
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        return KINDS[properties.what][2]

    def invoke(self, context: Any, event: Any) -> set[Any]:
        name = KINDS[self.what][1]
        self.filter_glob = f"*{Path(name).suffix}"
        self.filepath = str(Path(bpy.path.abspath(document.settings(context.scene).folder)) / name)
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[Any]:
        return jobs.guarded(self, lambda: self._write(context))

    def _write(self, context: Any) -> set[Any]:
        from ..core.cast import write_mesh
        from ..core.pipeline.serve import write_case

        case = document.need_case(context.scene)
        if not self.filepath:
            raise CaseError("no file is named; choose where to write")
        path = Path(bpy.path.abspath(self.filepath)).with_suffix(Path(KINDS[self.what][1]).suffix)
        if not path.parent.is_dir():
            raise CaseError(f"{path.parent.name}: there is no such folder; choose another")
        if path.resolve() == case.scan.resolve():
            raise CaseError(f"{path.name}: this is the scan itself, which is never overwritten; choose another name")
        if self.what == "CASE":
            write_case(case, path)
        else:
            need_current(context.scene, case)
            write_mesh(path, result_mesh(context.scene, "master" if self.what == "MASTER_STL" else "framework"))
        quick = document.settings(context.scene).built_quick and self.what != "CASE"
        self.report({"WARNING"} if quick else {"INFO"}, f"{path.name} written" + ("; it is a quick look, not for making" if quick else ""))
        return {"FINISHED"}


class CLASPWRIGHT_OT_export_all(jobs.JobOperator, bpy.types.Operator):
    """Write everything into one folder, as the command line does: meshes, survey, pictures, report, preview, and the case with its scan"""

    bl_idname = "claspwright.export_all"
    bl_label = "Export Everything"
    words = "Writing"

    directory: bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.has_case(context) and document.settings(context.scene).built_key != ""

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = document.need_case(context.scene)
        need_current(context.scene, case)
        if not self.directory:
            raise CaseError("no folder is named; choose where to write")
        folder = Path(bpy.path.abspath(self.directory))
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CaseError(f"{folder.name}: cannot be the folder for the results ({error.strerror}); choose another") from error
        quick = document.settings(context.scene).built_quick
        return jobs.builder, "write", {"case": document.as_json(case), "folder": case.folder, "quick": quick, "into": str(folder)}

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        self.report({"INFO"}, f"everything written to {Path(info['folder']).name}")
        return {"FINISHED"}


class CLASPWRIGHT_OT_choose_folder(bpy.types.Operator):
    """Write everything into one folder: meshes, survey, pictures, report, preview, and the case with its scan"""

    bl_idname = "claspwright.choose_folder"
    bl_label = "Export Everything"

    directory: bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE"})
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.has_case(context) and document.settings(context.scene).built_key != ""

    def invoke(self, context: Any, event: Any) -> set[Any]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[Any]:
        return jobs.hand_over(self, OWN.export_all, directory=self.directory)


CLASSES = (CLASPWRIGHT_OT_export, CLASPWRIGHT_OT_export_all, CLASPWRIGHT_OT_choose_folder)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
