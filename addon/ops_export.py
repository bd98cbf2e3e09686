"""Export: meshes, the case file, and the report."""

import tempfile
from pathlib import Path
from typing import Any

import bpy

from ..core import case as doc
from ..core.errors import CaseError
from . import bridge, document, jobs

# what: label, file name, description
KINDS = {
    "FRAMEWORK_STL": ("Framework (STL)", "framework.stl", "The framework in millimetres, as STL"),
    "FRAMEWORK_3MF": ("Framework (3MF)", "framework.3mf", "The framework as 3MF, which names its unit"),
    "MASTER_STL": ("Master cast (STL)", "master_cast.stl", "The blocked-out, relieved cast that the framework fits"),
    "CASE": ("Case file", "case.json", "The case document; the scan is copied beside it"),
    "REPORT": ("Report", "report.html", "One page to print: survey, components, checks, cautions"),
}
ITEMS = [(key, label, words) for key, (label, _, words) in KINDS.items()]


def need_build(scene: bpy.types.Scene) -> Any:
    """The build of the present case. Raises CaseError when there is none in this session."""
    if document.cache.build is None or document.cache.build_key != document.case_key(scene):
        raise CaseError("the report is of a build: build the framework of the present case first")
    return document.cache.build


def result_mesh(scene: bpy.types.Scene, role: str) -> Any:
    """A built mesh in mm: the core's own where this session built it, else the object's. Raises CaseError where there is none or it is old."""
    thing = bridge.find_object(scene, role)
    if thing is None:
        raise CaseError("there is no framework yet; build it first")
    if document.settings(scene).built_key != document.case_key(scene):
        raise CaseError("the case was changed after the framework was built; build it again before it is exported")
    if document.cache.build is not None and document.cache.build_key == document.case_key(scene):
        return document.cache.build.framework if role == "framework" else document.cache.build.master.mesh
    return bridge.to_core(thing.data)


def write_case(case: doc.Case, path: Path) -> None:
    """The case file, and its scan beside it when it goes to another folder."""
    from ..core.cast import write_atomic

    target = path.parent / case.cast.file
    if target.resolve() != case.scan.resolve():
        try:
            scan = case.scan.read_bytes()
        except OSError as error:
            raise CaseError(f"{case.cast.file}: cannot be read ({error.strerror}); put the scan back into its folder") from error
        if target.exists() and target.read_bytes() != scan:
            raise CaseError(f"{target.name}: another file of this name is in that folder; choose an empty folder")
        write_atomic(target, scan)
    doc.save_case(case, path)


def write_report(build: Any, path: Path) -> None:
    """The report alone; it is one file with its pictures inside."""
    from ..core.cast import write_atomic
    from ..core.pipeline import write_outputs

    with tempfile.TemporaryDirectory() as folder:
        write_outputs(build, Path(folder))
        write_atomic(path, (Path(folder) / "report.html").read_bytes())


class CLASPWRIGHT_OT_export(bpy.types.Operator):
    """Write one file"""

    bl_idname = "claspwright.export"
    bl_label = "Export"

    what: bpy.props.EnumProperty(name="What", items=ITEMS)
    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})
    filter_glob: bpy.props.StringProperty(default="*", options={"HIDDEN"})
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    @classmethod
    def description(cls, context: bpy.types.Context, properties: Any) -> str:
        return KINDS[properties.what][2]

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        name = KINDS[self.what][1]
        self.filter_glob = f"*{Path(name).suffix}"
        self.filepath = str(Path(bpy.path.abspath(document.settings(context.scene).folder)) / name)
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        return jobs.guarded(self, lambda: self._write(context))

    def _write(self, context: bpy.types.Context) -> set[str]:
        scene = context.scene
        case = document.need_case(scene)
        suffix = Path(KINDS[self.what][1]).suffix
        if not self.filepath:
            raise CaseError("no file is named; choose where to write")
        path = Path(bpy.path.abspath(self.filepath)).with_suffix(suffix)
        if not path.parent.is_dir():
            raise CaseError(f"{path.parent.name}: there is no such folder; choose another")
        if path.resolve() == case.scan.resolve():
            raise CaseError(f"{path.name}: this is the scan itself, which is never overwritten; choose another name")
        if self.what == "CASE":
            write_case(case, path)
        elif self.what == "REPORT":
            write_report(need_build(scene), path)
        else:
            from ..core.cast import write_mesh

            write_mesh(path, result_mesh(scene, "master" if self.what == "MASTER_STL" else "framework"))
        self.report({"INFO"}, f"{path.name} written")
        return {"FINISHED"}


class CLASPWRIGHT_OT_export_all(bpy.types.Operator):
    """Write everything of the build into one folder: meshes, survey, pictures, report, preview, and the case file with its scan"""

    bl_idname = "claspwright.export_all"
    bl_label = "Export Everything"

    directory: bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE"})
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        return jobs.guarded(self, lambda: self._write(context))

    def _write(self, context: bpy.types.Context) -> set[str]:
        from ..core.pipeline import write_outputs

        if not self.directory:
            raise CaseError("no folder is named; choose where to write")
        folder = Path(bpy.path.abspath(self.directory))
        build = need_build(context.scene)
        write_case(document.need_case(context.scene), folder / "case.json")
        write_outputs(build, folder)
        self.report({"INFO"}, f"everything written to {folder.name}")
        return {"FINISHED"}


CLASSES = (CLASPWRIGHT_OT_export, CLASPWRIGHT_OT_export_all)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
