"""What the core proposes: marks on the crowns, and a drafted design. Both change the document only, are one undo step, and want a look."""

from typing import Any

import bpy

from ..core.background import Process
from ..core.case import case_from_json
from ..core.errors import CaseError
from . import derived, document, jobs


class _Proposes(jobs.NeedsCase, jobs.JobOperator):
    """Mixin: a task that gives the case back, changed."""

    words = "Proposing"
    task = ""
    before = ""

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = document.need_case(context.scene)
        self.before = document.settings(context.scene).case_text
        return derived.bench, self.task, {"case": document.as_json(case), "folder": case.folder}

    def take(self, context: Any, info: dict[str, Any]) -> None:
        """Write the proposal. Raises CaseError when the case was changed meanwhile."""
        if document.settings(context.scene).case_text != self.before:
            raise CaseError("the case was changed meanwhile, so the proposal was left out; ask for it again")
        document.store(context.scene, case_from_json(info["case"], folder=info["folder"]))


class CLASPWRIGHT_OT_propose_marks(_Proposes, bpy.types.Operator):
    """Look for the crowns and mark them, with the numbers they seem to have. Look at every number; a click on the chart changes it"""

    bl_idname = "claspwright.propose_marks"
    bl_label = "Propose Marks"
    bl_options = {"REGISTER", "UNDO"}
    task = "propose_marks"

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        count = len(document.need_case(context.scene).chart.teeth)
        self.take(context, info)
        document.settings(context.scene).shade = "CROWNS"
        more = len(document.need_case(context.scene).chart.teeth) - count
        self.report({"INFO"}, f"{more} crowns marked; look at every number")
        return {"FINISHED"}


class CLASPWRIGHT_OT_draft(_Proposes, bpy.types.Operator):
    """Draft a design from the chart and the measured crowns, with reasons. It takes the place of the components that are there"""

    bl_idname = "claspwright.draft"
    bl_label = "Draft a Design"
    bl_options = {"REGISTER", "UNDO"}
    words = "Drafting"
    task = "draft"

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        if not any(t.seeds for t in document.need_case(context.scene).chart.teeth):
            raise CaseError("no tooth is marked on the cast; mark each tooth that stands first")
        return super().begin(context)

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        self.take(context, info)
        own = document.settings(context.scene)
        own.component = ""
        own.reasons = "\n".join([*(f"? {words}" for words in info["open"]), *info["reasons"]])
        self.report({"INFO"}, f"{len(info['case']['components'])} parts drafted; the reasons are below them")
        return {"FINISHED"}


CLASSES = (CLASPWRIGHT_OT_propose_marks, CLASPWRIGHT_OT_draft)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
