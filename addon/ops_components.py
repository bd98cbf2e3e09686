"""The list of components: add, select, remove."""

import dataclasses
import typing

import bpy

from ..core import case as doc
from ..core.errors import CaseError
from . import document, forms, jobs

KIND_ITEMS = [(kind, forms.kind_words(kind), (cls.__doc__ or "").strip().splitlines()[0]) for kind, cls in doc.KINDS.items()]


def new_component(case: doc.Case, kind: str, tooth: int) -> doc.Component:
    """A component with the defaults of its kind; on `tooth` where it stands on one, over the charted gaps where it spans them."""
    cls = doc.KINDS[kind]
    names = {f.name for f in dataclasses.fields(cls)}
    on = tooth if "tooth" in names else None
    values: dict[str, typing.Any] = {"id": forms.free_id(case, kind, on)}
    if on is not None:
        values["tooth"] = on
    marked = sorted(t.fdi for t in case.chart.teeth)
    if "start" in names:
        first, second = (3, 4) if case.cast.arch == "lower" else (1, 2)
        ends = [max((n for n in marked if n // 10 == q), default=q * 10 + 4) for q in (first, second)]
        values["start"], values["end"] = ends
    if "teeth" in names:
        values["teeth"] = tuple(n for n in case.chart.missing if n not in case.chart.not_replaced and n // 10 == tooth // 10)
    if "base" in names:
        bases = [c for c in case.components if isinstance(c, doc.LatticeBase)]
        values["base"] = next((c.id for c in bases if any(n // 10 == tooth // 10 for n in c.teeth)), "")
    made: doc.Component = cls(**values)
    return made


class CLASPWRIGHT_OT_add_component(bpy.types.Operator):
    """Add a component to the prescription, with usual measures that you can change below"""

    bl_idname = "claspwright.add_component"
    bl_label = "Add Component"
    bl_options = {"REGISTER", "UNDO"}

    kind: bpy.props.EnumProperty(name="Kind", items=KIND_ITEMS)
    tooth: bpy.props.IntProperty(
        name="Tooth (FDI)", description="The tooth it stands on; for a base, any tooth of its quadrant", min=11, max=48, default=34
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        case = document.find_case(context.scene)
        marked = {t.fdi for t in case.chart.teeth} if case else set()
        if marked and self.tooth not in marked:
            self.tooth = max(marked, key=lambda n: n % 10)
        return context.window_manager.invoke_props_dialog(self)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            from ..core.teeth import numbering

            case = document.need_case(context.scene)
            if numbering.arch_of(numbering.check(self.tooth)) != case.cast.arch:
                raise CaseError(f"tooth {self.tooth} does not stand in the {case.cast.arch} arch; choose another")
            made = new_component(case, self.kind, self.tooth)
            document.store(context.scene, dataclasses.replace(case, components=(*case.components, made)))
            document.settings(context.scene).component = made.id
            return {"FINISHED"}

        return jobs.guarded(self, work)


class _OnComponent:
    name: bpy.props.StringProperty(name="Component")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def checked(self, context: bpy.types.Context) -> doc.Case:
        """The case. Raises CaseError when it has no component of this name."""
        case = document.need_case(context.scene)
        if self.name not in {c.id for c in case.components}:
            raise CaseError(f"there is no component {self.name[:40]!r} in this case")
        return case


class CLASPWRIGHT_OT_select_component(_OnComponent, bpy.types.Operator):
    """Show this component's measures below"""

    bl_idname = "claspwright.select_component"
    bl_label = "Select Component"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            self.checked(context)
            own = document.settings(context.scene)
            own.component = "" if own.component == self.name else self.name
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_remove_component(_OnComponent, bpy.types.Operator):
    """Take this component out of the prescription"""

    bl_idname = "claspwright.remove_component"
    bl_label = "Remove Component"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            case = self.checked(context)
            parts = tuple(c for c in case.components if c.id != self.name)
            document.store(context.scene, dataclasses.replace(case, components=parts))
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_add_component, CLASPWRIGHT_OT_select_component, CLASPWRIGHT_OT_remove_component)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
