"""Building: the core's pipeline in the background, then its meshes as objects."""

import json
from typing import Any

import bpy

from ..core.errors import CaseError
from . import bridge, document, jobs, materials, shading

# role: object name, look, and whether it is shown when built
RESULTS = (("prepared", "Prepared cast", "stone", False), ("master", "Master cast", "wax", False), ("framework", "Framework", "metal", True))
SHARP_DEG = 40.0


class CLASPWRIGHT_OT_build(jobs.JobOperator, bpy.types.Operator):
    """Build the framework of this case. The window stays free; Esc stops the work. Nothing is changed until it is done"""

    bl_idname = "claspwright.build"
    bl_label = "Build Framework"
    bl_options = {"REGISTER", "UNDO"}
    words = "Building"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def begin(self, context: bpy.types.Context) -> jobs.Work:
        scene = context.scene
        case = document.need_case(scene)
        if not any(t.seeds for t in case.chart.teeth):
            raise CaseError("no tooth is marked on the cast; mark each tooth that stands first")
        if not case.components:
            raise CaseError("the prescription is empty; add a component first")
        self._key = document.case_key(scene)
        quick = bool(document.settings(scene).quick)

        def work(progress: Any, cancelled: Any) -> Any:
            from ..core.pipeline import build

            return build(case, quick=quick, progress=progress, cancelled=cancelled)

        return work

    def land(self, context: bpy.types.Context, result: Any) -> set[str]:
        scene = context.scene
        if document.case_key(scene) != self._key:
            raise CaseError("the case was changed while it was being built, so the result was left out; build it again")
        meshes = {"prepared": result.prepared.mesh, "master": result.master.mesh, "framework": result.framework}
        for role, name, look, shown in RESULTS:
            fresh = bridge.find_object(scene, role) is None
            data = bridge.to_blender(meshes[role], name, sharp_deg=SHARP_DEG)
            thing = bridge.put_object(scene, role, name, data)
            materials.give(thing, look)
            if fresh:
                thing.hide_set(not shown)
        own = document.settings(scene)
        own.built_key = self._key
        own.checks = json.dumps([c.as_dict() for c in result.checks], ensure_ascii=False)
        own.notice = "; ".join(result.remarks[:2])
        document.cache.build, document.cache.build_key = result, self._key
        own.shade = "PLAIN"
        shading.refresh(scene)
        failed = sum(c.status == "fail" for c in result.checks)
        words = f"Framework built in {sum(result.stages.values()):.0f} s: {len(result.checks)} checks, {failed} failed"
        self.report({"WARNING"} if failed else {"INFO"}, words)
        return {"FINISHED"}


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_build)


def unregister() -> None:
    bpy.utils.unregister_class(CLASPWRIGHT_OT_build)
