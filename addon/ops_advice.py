"""The press that puts a piece of advice of the mechanics into the case."""

import json
from typing import Any

import bpy

from ..core.case.advised import apply_row
from ..core.errors import CaseError
from . import document, jobs


class CLASPWRIGHT_OT_apply_advice(jobs.NeedsCase, bpy.types.Operator):
    """Change the arm as advised. What the button names is an estimate: the framework has to be built again to confirm it"""

    bl_idname = "claspwright.apply_advice"
    bl_label = "Apply Advice"
    bl_options = {"REGISTER", "UNDO"}

    component: bpy.props.StringProperty(name="Component", options={"HIDDEN"})
    number: bpy.props.IntProperty(name="Which advice", min=0, options={"HIDDEN"})

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        row = next((r for r in arms(context.scene) if r["component"] == properties.component), None)
        if row is None or properties.number >= len(row["advice"]):
            return cls.__doc__ or ""
        return f"{row['component']}: {row['advice'][properties.number]['words']}. An estimate: build again to confirm"

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            row = next((r for r in arms(context.scene) if r["component"] == self.component), None)
            if row is None:
                raise CaseError(f"there is no advice for {self.component[:40]!r}; build the framework first")
            document.store(context.scene, apply_row(document.need_case(context.scene), row, self.number))
            document.settings(context.scene).component = self.component
            self.report({"INFO"}, f"{self.component}: {row['advice'][self.number]['words']}; build again to confirm")
            return {"FINISHED"}

        return jobs.guarded(self, work)


def arms(scene: bpy.types.Scene) -> list[dict[str, Any]]:
    """Each retentive arm of the last build: its figures and the advice for it (core.pipeline.advice.arm_rows)."""
    text = document.settings(scene).arms
    return json.loads(text) if text else []


register, unregister = bpy.utils.register_classes_factory((CLASPWRIGHT_OT_apply_advice,))
