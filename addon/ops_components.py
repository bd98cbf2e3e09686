"""The list of components: add, select, remove."""

from typing import Any

import bpy

from ..core import case as doc
from ..core.case import edit
from ..core.errors import CaseError
from . import document, jobs

KIND_ITEMS = [(kind, edit.kind_words(kind), (cls.__doc__ or "").strip().splitlines()[0]) for kind, cls in doc.KINDS.items()]


class CLASPWRIGHT_OT_add_component(jobs.NeedsCase, bpy.types.Operator):
    """Add a component to the prescription, with usual measures that you can change below"""

    bl_idname = "claspwright.add_component"
    bl_label = "Add Component"
    bl_options = {"REGISTER", "UNDO"}

    kind: bpy.props.EnumProperty(name="Kind", items=KIND_ITEMS)
    tooth: bpy.props.IntProperty(
        name="Tooth (FDI)", description="The tooth it stands on; for a base, any tooth of its side", min=11, max=48, default=34
    )

    side: bpy.props.StringProperty(name="Side", description="Mesial or distal, where the kind has sides", options={"HIDDEN", "SKIP_SAVE"})

    def invoke(self, context: Any, event: Any) -> set[Any]:
        case = document.find_case(context.scene)
        marked = sorted(t.fdi for t in case.chart.teeth) if case else []
        if marked and self.tooth not in marked:
            self.tooth = max(marked, key=lambda n: n % 10)
        return context.window_manager.invoke_props_dialog(self)

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            case = document.need_case(context.scene)
            made = edit.placed(case, self.kind, self.tooth, self.side)
            document.store(context.scene, edit.put_component(case, made))
            document.settings(context.scene).component = made.id
            return {"FINISHED"}

        return jobs.guarded(self, work)


class _OnComponent(jobs.NeedsCase):
    """Mixin: names a component of the case."""

    name: bpy.props.StringProperty(name="Component")


class CLASPWRIGHT_OT_select_component(_OnComponent, bpy.types.Operator):
    """Show this component's measures below the list"""

    bl_idname = "claspwright.select_component"
    bl_label = "Select Component"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            if self.name not in {c.id for c in document.need_case(context.scene).components}:
                raise CaseError(f"there is no component {self.name[:40]!r} in this case")
            own = document.settings(context.scene)
            own.component = "" if own.component == self.name else self.name
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_remove_component(_OnComponent, bpy.types.Operator):
    """Take this component out of the prescription"""

    bl_idname = "claspwright.remove_component"
    bl_label = "Remove Component"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            document.store(context.scene, edit.drop_component(document.need_case(context.scene), self.name))
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_add_component, CLASPWRIGHT_OT_select_component, CLASPWRIGHT_OT_remove_component)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
