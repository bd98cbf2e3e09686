"""The chart: marks on crowns, missing teeth, numbers. Every change is an operator with an undo step of its own."""

from typing import Any

import bpy

from ..core.case import Case, edit
from ..core.errors import CaseError
from . import document, jobs

STATES = [
    ("missing", "Missing, to be replaced", "A base will carry this tooth"),
    ("not replaced", "Missing, not replaced", "Lost or never there, and no base carries it"),
    ("uncharted", "Not charted", "Nothing is said of this tooth; a mark on it is taken away"),
]


class _Edits:
    """Mixin: one change of the case document."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        return document.settings(context.scene).case_text != ""

    def change(self, case: Case) -> Case:
        """The case after this operator. Raises CaseError."""
        raise NotImplementedError

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            document.store(context.scene, self.change(document.need_case(context.scene)))
            document.notice(context.scene, "")
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_mark_tooth(_Edits, bpy.types.Operator):
    """Mark one tooth at a point of the cast (mm, in the cast's own frame). A second mark on the same tooth adds to its crown"""

    bl_idname = "claspwright.mark_tooth"
    bl_label = "Mark Tooth"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34)
    point: bpy.props.FloatVectorProperty(name="Point (mm)", size=3)

    def change(self, case: Case) -> Case:
        return edit.mark_tooth(case, self.fdi, tuple(self.point))


class CLASPWRIGHT_OT_mark_not_here(_Edits, bpy.types.Operator):
    """Say that a point of the cast (mm, in the cast's own frame) is no crown: takes away from a crown that reaches too far"""

    bl_idname = "claspwright.mark_not_here"
    bl_label = "Mark No Crown Here"
    bl_options = {"REGISTER", "UNDO"}

    point: bpy.props.FloatVectorProperty(name="Point (mm)", size=3)

    def change(self, case: Case) -> Case:
        return edit.mark_not_here(case, tuple(self.point))


class CLASPWRIGHT_OT_clear_not_here(_Edits, bpy.types.Operator):
    """Forget all the places that were said to be no crown"""

    bl_idname = "claspwright.clear_not_here"
    bl_label = "Forget Taken-Away Places"
    bl_options = {"REGISTER", "UNDO"}

    def change(self, case: Case) -> Case:
        return edit.clear_not_here(case)


class CLASPWRIGHT_OT_chart_tooth(_Edits, bpy.types.Operator):
    """Chart this tooth as missing, or take its mark away"""

    bl_idname = "claspwright.chart_tooth"
    bl_label = "Chart Tooth"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34, options={"HIDDEN"})
    state: bpy.props.EnumProperty(name="This tooth is", items=STATES)

    def change(self, case: Case) -> Case:
        return edit.chart_tooth(case, self.fdi, self.state)


class CLASPWRIGHT_OT_renumber_tooth(_Edits, bpy.types.Operator):
    """Give a marked tooth another number. Its components go with it"""

    bl_idname = "claspwright.renumber_tooth"
    bl_label = "Give Another Number"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34, options={"HIDDEN"})
    to: bpy.props.IntProperty(name="New number (FDI)", min=11, max=48, default=35)

    def invoke(self, context: Any, event: Any) -> set[Any]:
        self.to = self.fdi
        return context.window_manager.invoke_props_dialog(self)

    def change(self, case: Case) -> Case:
        return edit.renumber_tooth(case, self.fdi, self.to)


class CLASPWRIGHT_OT_chart_rest(_Edits, bpy.types.Operator):
    """Chart every tooth that is not marked as missing; third molars as not replaced"""

    bl_idname = "claspwright.chart_rest"
    bl_label = "All Others Are Missing"
    bl_options = {"REGISTER", "UNDO"}

    def change(self, case: Case) -> Case:
        return edit.chart_rest_missing(case)


class CLASPWRIGHT_OT_tooth_menu(jobs.NeedsCase, bpy.types.Operator):
    """Chart this tooth: missing, not replaced, another number, or no mark"""

    bl_idname = "claspwright.tooth_menu"
    bl_label = "Tooth"
    bl_options = {"INTERNAL"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34, options={"HIDDEN"})

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        from ..core.teeth import numbering

        return f"{numbering.name(properties.fdi).capitalize()}: chart it as missing, give it another number, or take its mark away"

    def execute(self, context: Any) -> set[Any]:
        return jobs.guarded(self, lambda: self._open(context))

    def _open(self, context: Any) -> set[Any]:
        case = document.need_case(context.scene)
        if bpy.app.background:  # Blender itself ends there
            raise CaseError("a menu needs a window; a script calls claspwright.chart_tooth")
        fdi, marked = self.fdi, any(t.fdi == self.fdi for t in case.chart.teeth)

        def draw(menu: Any, _context: Any) -> None:
            for state, label, _ in STATES:
                name = "Take its mark away" if state == "uncharted" and marked else label
                op = menu.layout.operator("claspwright.chart_tooth", text=name)
                op.fdi, op.state = fdi, state
            if marked:
                menu.layout.separator()
                menu.layout.operator_context = "INVOKE_DEFAULT"
                menu.layout.operator("claspwright.renumber_tooth", text="Give it another number...").fdi = fdi

        context.window_manager.popup_menu(draw, title=f"Tooth {fdi}")
        return {"FINISHED"}


def need_number(text: str, arch: str) -> int:
    """A tooth of the arch from two typed digits. Raises CaseError."""
    number = int(text)
    if number not in edit.arch_numbers(arch):
        raise CaseError(f"{number} is no tooth of the {arch} arch (FDI)")
    return number


CLASSES = (
    CLASPWRIGHT_OT_mark_tooth,
    CLASPWRIGHT_OT_mark_not_here,
    CLASPWRIGHT_OT_clear_not_here,
    CLASPWRIGHT_OT_chart_tooth,
    CLASPWRIGHT_OT_renumber_tooth,
    CLASPWRIGHT_OT_chart_rest,
    CLASPWRIGHT_OT_tooth_menu,
)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
