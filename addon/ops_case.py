"""Opening: a scan, a case file or the sample; finding a scan again; clearing the case away."""

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy

from ..core import case as doc
from ..core.background import Process
from ..core.case.edit import tilted
from ..core.errors import CaseError
from . import bridge, derived, document, jobs, scan
from .show import show_cast

OPS: Any = bpy.ops
OWN: Any = OPS.claspwright

ARCHES = [
    ("FIND", "Find out", "Tell upper from lower by the shape of the cast"),
    ("lower", "Lower", "The scan is a lower (mandibular) cast"),
    ("upper", "Upper", "The scan is an upper (maxillary) cast"),
]
SAMPLES = [
    ("lower_class_i", "Lower, free ends", "Lower arch, Kennedy class I: I-bars, rests, lingual bar. Invented"),
    ("lower_class_i_plate", "Lower, free ends, shallow sulcus", "Lower arch, Kennedy class I: lingual plate, T-bars. Invented"),
    ("lower_class_ii_mod_1", "Lower, one free end", "Lower arch, Kennedy class II modification 1: lingual and continuous bar. Invented"),
    ("lower_class_iii", "Lower, tipped molar", "Lower arch, Kennedy class III: ring clasp, embrasure clasp, sublingual bar. Invented"),
    ("lower_class_iii_mod_1", "Lower, tori", "Lower arch, Kennedy class III modification 1: labial bar, back-action clasp. Invented"),
    ("upper_class_i", "Upper, free ends", "Upper arch, Kennedy class I: complete palatal plate, half T-bars. Invented"),
    ("upper_class_ii_mod_1", "Upper, one free end", "Upper arch, Kennedy class II modification 1: palatal strap, wrought wire. Invented"),
    ("upper_class_iii_mod_1", "Upper, bounded gaps", "Upper arch, Kennedy class III modification 1: clasps, palatal straps. Invented"),
    ("upper_class_iv", "Upper, front teeth", "Upper arch, Kennedy class IV: U-shaped plate. Invented"),
]
SCANS = "*.stl;*.ply;*.obj;*.3mf"


class _Browse:
    """Mixin: choose a file, then hand it to the operator that opens it."""

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.idle(context)

    def invoke(self, context: Any, event: Any) -> set[Any]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}


class CLASPWRIGHT_OT_choose_scan(_Browse, bpy.types.Operator):
    """Begin a new case on the scan of a cast (STL, PLY, OBJ or 3MF). The file itself is never changed"""

    bl_idname = "claspwright.choose_scan"
    bl_label = "Open Scan"

    filter_glob: bpy.props.StringProperty(default=SCANS, options={"HIDDEN"})
    arch: bpy.props.EnumProperty(name="Arch", items=ARCHES, default="FIND")

    def execute(self, context: Any) -> set[Any]:
        return jobs.hand_over(self, OWN.open_scan, filepath=self.filepath, arch=self.arch)


class CLASPWRIGHT_OT_choose_case(_Browse, bpy.types.Operator):
    """Open a case file (JSON) and the scan that lies beside it"""

    bl_idname = "claspwright.choose_case"
    bl_label = "Open Case"

    filter_glob: bpy.props.StringProperty(default="*.json", options={"HIDDEN"})

    def execute(self, context: Any) -> set[Any]:
        return jobs.hand_over(self, OWN.open_case, filepath=self.filepath)


class _Opens(jobs.JobOperator):
    """Mixin: a task that gives a cast."""

    words = "Opening"
    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.idle(context)

    def path(self) -> Path:
        """The chosen file. Raises CaseError when none is named."""
        if not self.filepath:
            raise CaseError("no file is named; choose one")
        return Path(bpy.path.abspath(self.filepath))

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        case = doc.case_from_json(info["case"], folder=info["folder"])
        show_cast(context, case, info, arrays)
        self.report({"INFO"}, f"{case.cast.file}: {case.cast.arch} cast, {len(arrays['faces']):,} triangles")  # type: ignore[attr-defined]
        return {"FINISHED"}


class CLASPWRIGHT_OT_open_scan(_Opens, bpy.types.Operator):
    """Open the scan of a cast and begin a new case"""

    bl_idname = "claspwright.open_scan"
    bl_label = "Open Scan"
    bl_options = {"REGISTER", "UNDO"}

    arch: bpy.props.EnumProperty(name="Arch", items=ARCHES, default="FIND")

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        return derived.bench, "open_scan", {"scan": str(self.path()), "arch": "" if self.arch == "FIND" else self.arch}


class CLASPWRIGHT_OT_open_case(_Opens, bpy.types.Operator):
    """Open a case file and the scan that lies beside it"""

    bl_idname = "claspwright.open_case"
    bl_label = "Open Case"
    bl_options = {"REGISTER", "UNDO"}

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = doc.load_case(self.path())
        return derived.bench, "open_case", {"case": document.as_json(case), "folder": case.folder}


class CLASPWRIGHT_OT_open_sample(_Opens, bpy.types.Operator):
    """Open an invented case that is ready to build, to see how everything goes"""

    bl_idname = "claspwright.open_sample"
    bl_label = "Open Sample"
    bl_options = {"REGISTER", "UNDO"}

    sample: bpy.props.EnumProperty(name="Sample", items=SAMPLES)

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = doc.load_case(Path(__file__).resolve().parents[1] / "sample_scenes" / self.sample / "case.json")
        return derived.bench, "open_case", {"case": document.as_json(case), "folder": case.folder}


class CLASPWRIGHT_OT_bring_cast(jobs.NeedsCase, jobs.JobOperator, bpy.types.Operator):
    """Read the scan of this case again and show its cast, with everything that follows from it"""

    bl_idname = "claspwright.bring_cast"
    bl_label = "Bring the Cast Back"
    bl_options = {"REGISTER", "UNDO"}
    words = "Opening"

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = document.need_case(context.scene)
        return derived.bench, "open_case", {"case": document.as_json(case), "folder": case.folder}

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        show_cast(context, document.need_case(context.scene), info, arrays, again=True)
        return {"FINISHED"}


class CLASPWRIGHT_OT_find_scan(jobs.NeedsCase, _Browse, bpy.types.Operator):
    """Say where the scan of this case lies now. Only the very same file is taken"""

    bl_idname = "claspwright.find_scan"
    bl_label = "Find Scan"
    bl_options = {"REGISTER", "UNDO"}

    filter_glob: bpy.props.StringProperty(default=SCANS, options={"HIDDEN"})

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            case, path = document.need_case(context.scene), Path(bpy.path.abspath(self.filepath))
            try:
                digest = hashlib.sha256(path.read_bytes()).hexdigest()
            except OSError as error:
                raise CaseError(f"{path.name}: cannot be read ({error.strerror}); choose the scan again") from error
            if digest != case.cast.sha256:
                raise CaseError(f"{path.name}: this is another file than the case was made for (SHA-256 differs); choose the right scan")
            document.store(context.scene, replace(case, cast=replace(case.cast, file=path.name), folder=str(path.resolve().parent)))
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_accept_scan(jobs.NeedsCase, bpy.types.Operator):
    """Go on with the scan's file as it is now: its cast is read again, marks and components stay. Look at every crown afterwards"""

    bl_idname = "claspwright.accept_scan"
    bl_label = "Take the Changed Scan"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            case = document.need_case(context.scene)
            if scan.state(case, wait=True) != "changed":
                raise CaseError(f"{case.cast.file}: there is no other file than the one that this case was made for")
            document.store(context.scene, replace(case, cast=replace(case.cast, sha256=scan.digest(case))))
            done = jobs.hand_over(self, OWN.bring_cast)
            if done == {"CANCELLED"}:
                document.store(context.scene, case)
            return done

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_clear(jobs.NeedsCase, bpy.types.Operator):
    """Take the case and all its objects out of this scene. Files on disk stay as they are"""

    bl_idname = "claspwright.clear"
    bl_label = "Clear Case"
    bl_options = {"REGISTER", "UNDO"}

    def invoke(self, context: Any, event: Any) -> set[Any]:
        return context.window_manager.invoke_confirm(self, event)

    def execute(self, context: Any) -> set[Any]:
        bridge.remove_objects(context.scene, bridge.all_roles(context.scene))
        own = document.settings(context.scene)
        for name in ("case_text", "folder", "remarks", "component", "reasons", "built_key", "checks", "arms"):
            own.property_unset(name)
        document.notice(context.scene, "")
        derived.forget()
        return {"FINISHED"}


class CLASPWRIGHT_OT_level(jobs.NeedsCase, bpy.types.Operator):
    """Set both tilts to zero: the path at right angles to the occlusal plane"""

    bl_idname = "claspwright.level"
    bl_label = "No Tilt"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            document.store(context.scene, tilted(document.need_case(context.scene), 0.0, 0.0))
            document.settings(context.scene).shade = "UNDERCUT"
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_refresh(jobs.NeedsCase, bpy.types.Operator):
    """Find crowns, survey the cast and draw its lines now, and wait for it: for scripts. The window does this by itself"""

    bl_idname = "claspwright.refresh"
    bl_label = "Refresh Survey"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            bridge.need_cast(context.scene)
            derived.step(context.scene, wait=True)
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (
    CLASPWRIGHT_OT_choose_scan,
    CLASPWRIGHT_OT_choose_case,
    CLASPWRIGHT_OT_open_scan,
    CLASPWRIGHT_OT_open_case,
    CLASPWRIGHT_OT_open_sample,
    CLASPWRIGHT_OT_bring_cast,
    CLASPWRIGHT_OT_find_scan,
    CLASPWRIGHT_OT_accept_scan,
    CLASPWRIGHT_OT_clear,
    CLASPWRIGHT_OT_level,
    CLASPWRIGHT_OT_refresh,
)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
