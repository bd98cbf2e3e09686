"""Marking teeth: clicks on the cast become seeds of the chart; crowns are found from them; gaps are charted."""

import dataclasses

import bpy
from bpy_extras import view3d_utils

from ..core import case as doc
from ..core.errors import CaseError
from . import bridge, document, jobs, shading

DIGITS = {name: k for k, name in enumerate(("ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE"))}
DIGITS |= {f"NUMPAD_{k}": k for k in range(10)}
NAVIGATION = {"MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE", "WHEELINMOUSE", "WHEELOUTMOUSE", "TRACKPADPAN", "TRACKPADZOOM", "MOUSEMOVE"}


def next_number(case: doc.Case, after: int) -> int:
    """The next tooth along the arch that is neither marked nor missing; the same number where none is left."""
    from ..core.teeth import numbering

    row = numbering.order(case.cast.arch)
    taken = {t.fdi for t in case.chart.teeth if t.seeds} | set(case.chart.missing)
    start = row.index(after) if after in row else 0
    return next((n for n in (*row[start + 1 :], *row[:start]) if n not in taken), after)


def with_seed(case: doc.Case, fdi: int, point: tuple[float, float, float]) -> doc.Case:
    """The case with tooth `fdi` standing and marked at one point (cast frame, mm)."""
    from ..core.teeth import numbering

    numbering.check(fdi)
    if numbering.arch_of(fdi) != case.cast.arch:
        raise CaseError(f"tooth {fdi} does not stand in the {case.cast.arch} arch; type another number")
    chart = case.chart
    seed = tuple(round(float(v), 3) for v in point)
    old = next((t for t in chart.teeth if t.fdi == fdi), doc.ToothEntry(fdi))
    teeth = sorted([*(t for t in chart.teeth if t.fdi != fdi), dataclasses.replace(old, seeds=(seed,))], key=lambda t: t.fdi)
    missing = tuple(n for n in chart.missing if n != fdi)
    kept = tuple(n for n in chart.not_replaced if n != fdi)
    return dataclasses.replace(case, chart=dataclasses.replace(chart, teeth=tuple(teeth), missing=missing, not_replaced=kept))


class CLASPWRIGHT_OT_place_mark(bpy.types.Operator):
    """Mark one tooth at a point of the cast (mm in the cast's own frame); what a click does, for scripts"""

    bl_idname = "claspwright.place_mark"
    bl_label = "Mark Tooth"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34)
    point: bpy.props.FloatVectorProperty(name="Point (mm)", size=3)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            case = with_seed(document.need_case(context.scene), self.fdi, tuple(self.point))
            document.store(context.scene, case)
            own = document.settings(context.scene)
            own.last_fdi, own.next_fdi = self.fdi, next_number(case, self.fdi)
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_remove_mark(bpy.types.Operator):
    """Take the mark off a tooth"""

    bl_idname = "claspwright.remove_mark"
    bl_label = "Remove Mark"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            case = document.need_case(context.scene)
            if self.fdi not in {t.fdi for t in case.chart.teeth}:
                raise CaseError(f"tooth {self.fdi} is not marked")
            teeth = tuple(t for t in case.chart.teeth if t.fdi != self.fdi)
            document.store(context.scene, dataclasses.replace(case, chart=dataclasses.replace(case.chart, teeth=teeth)))
            document.settings(context.scene).next_fdi = self.fdi
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_chart_tooth(bpy.types.Operator):
    """One place of the chart: click to go from not charted to missing and replaced, to missing and not replaced, and back. A marked tooth loses its mark"""

    bl_idname = "claspwright.chart_tooth"
    bl_label = "Chart Tooth"
    bl_options = {"REGISTER", "UNDO"}

    fdi: bpy.props.IntProperty(name="Tooth (FDI)", min=11, max=48, default=34)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            case = document.need_case(context.scene)
            chart, n = case.chart, self.fdi
            missing, bare = set(chart.missing) - {n}, set(chart.not_replaced) - {n}
            if n not in chart.missing:
                missing.add(n)
            elif n not in chart.not_replaced:
                missing.add(n)
                bare.add(n)
            teeth = tuple(t for t in chart.teeth if t.fdi != n)
            changed = dataclasses.replace(chart, teeth=teeth, missing=tuple(sorted(missing)), not_replaced=tuple(sorted(bare)))
            document.store(context.scene, dataclasses.replace(case, chart=changed))
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_chart_rest(bpy.types.Operator):
    """Chart every tooth that is not marked as missing; third molars as not replaced"""

    bl_idname = "claspwright.chart_rest"
    bl_label = "All Others Are Missing"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> set[str]:
            from ..core.teeth import numbering

            case = document.need_case(context.scene)
            if not case.chart.teeth:
                raise CaseError("no tooth is marked yet; mark those that stand first")
            standing = {t.fdi for t in case.chart.teeth}
            missing = tuple(sorted(n for n in numbering.order(case.cast.arch) if n not in standing))
            new = {n for n in missing if n not in case.chart.missing and numbering.position(n) == 8}
            bare = tuple(sorted(new | (set(case.chart.not_replaced) & set(missing))))
            chart = dataclasses.replace(case.chart, missing=missing, not_replaced=bare)
            document.store(context.scene, dataclasses.replace(case, chart=chart))
            return {"FINISHED"}

        return jobs.guarded(self, work)


class CLASPWRIGHT_OT_find_crowns(jobs.JobOperator, bpy.types.Operator):
    """Find the crown and its gingival margin at each mark, and colour it"""

    bl_idname = "claspwright.find_crowns"
    bl_label = "Find Crowns"
    bl_options = {"REGISTER", "UNDO"}
    words = "Finding crowns"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context)

    def begin(self, context: bpy.types.Context) -> jobs.Work:
        import numpy as np

        case = document.need_case(context.scene)
        mesh = shading.core_cast(context.scene, case)
        seeds = {t.fdi: np.array(t.seeds, dtype=np.float64) for t in case.chart.teeth if t.seeds}
        self._key = document.teeth_key(case)

        def work(_progress: object, _cancelled: object) -> object:
            from ..core.teeth import find_teeth

            return find_teeth(mesh, case.cast.arch, seeds, case.chart.missing)

        return work

    def land(self, context: bpy.types.Context, result: object) -> set[str]:
        case = document.need_case(context.scene)
        thing = bridge.need_cast(context.scene)
        if document.teeth_key(case) != self._key:
            raise CaseError("the marks were changed while the crowns were being found; find them again")
        bridge.set_numbers(thing.data, "tooth", result.labels, "INT")  # type: ignore[attr-defined]
        thing.data["claspwright_teeth"] = self._key
        own = document.settings(context.scene)
        own.shade = "CROWNS"
        flags = [f"{t.fdi}: {words}" for t in result.teeth.values() for words in t.flags]  # type: ignore[attr-defined]
        own.notice = "; ".join(flags[:3])
        shading.refresh(context.scene)
        self.report({"INFO"}, f"{len(result.teeth)} crowns found")  # type: ignore[attr-defined]
        return {"FINISHED"}


class CLASPWRIGHT_OT_mark_teeth(bpy.types.Operator):
    """Mark the teeth that stand: click each once on its chewing surface or edge. The number in the header is the next one; type two digits for another"""

    bl_idname = "claspwright.mark_teeth"
    bl_label = "Mark Teeth"

    _typed = ""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return jobs.has_case(context) and context.area is not None and context.area.type == "VIEW_3D"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if bridge.find_object(context.scene, "cast") is None:
            self.report({"ERROR"}, "the cast is not in this scene any more; undo, or open the scan again")
            return {"CANCELLED"}
        self._typed = ""
        context.window.cursor_modal_set("CROSSHAIR")
        context.window_manager.modal_handler_add(self)
        self._tell(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        kind = event.type
        if kind in {"ESC", "RET", "NUMPAD_ENTER", "RIGHTMOUSE"} and event.value == "PRESS":
            self._finish(context)
            return {"FINISHED"}
        if event.value == "PRESS" and not event.ctrl and kind in DIGITS:
            self._type(context, str(DIGITS[kind]))
            return {"RUNNING_MODAL"}
        if event.value == "PRESS" and (kind == "BACK_SPACE" or (kind == "Z" and event.ctrl)):
            self._take_back(context)
            return {"RUNNING_MODAL"}
        if kind == "LEFTMOUSE" and event.value == "PRESS" and self._over_view(context, event):
            self._click(context, event)
            return {"RUNNING_MODAL"}
        if kind in NAVIGATION or kind.startswith("NDOF") or not self._over_view(context, event):
            return {"PASS_THROUGH"}
        return {"RUNNING_MODAL"}

    def _region(self, context: bpy.types.Context) -> bpy.types.Region | None:
        area = context.area
        return next((r for r in area.regions if r.type == "WINDOW"), None) if area else None

    def _over_view(self, context: bpy.types.Context, event: bpy.types.Event) -> bool:
        if context.area is None:
            return False
        x, y = event.mouse_x, event.mouse_y
        for region in context.area.regions:
            inside = region.x <= x < region.x + region.width and region.y <= y < region.y + region.height
            if inside and region.type != "WINDOW":
                return False
        region = self._region(context)
        return region is not None and region.x <= x < region.x + region.width and region.y <= y < region.y + region.height

    def _type(self, context: bpy.types.Context, digit: str) -> None:
        self._typed = (self._typed + digit)[-2:]
        if len(self._typed) == 2:
            from ..core.teeth import numbering

            arch = document.need_case(context.scene).cast.arch
            number = int(self._typed)
            if number in numbering.order(arch):
                document.settings(context.scene).next_fdi = number
            else:
                self.report({"WARNING"}, f"{number} is no tooth of the {arch} arch (FDI)")
            self._typed = ""
        self._tell(context)

    def _click(self, context: bpy.types.Context, event: bpy.types.Event) -> None:
        """Cast a ray through the pointer onto the cast; what it meets first becomes the mark."""
        region = self._region(context)
        thing = bridge.find_object(context.scene, "cast")
        if region is None or thing is None:
            return
        view = context.area.spaces.active.region_3d
        spot = (event.mouse_x - region.x, event.mouse_y - region.y)
        back = thing.matrix_world.inverted()
        start = back @ view3d_utils.region_2d_to_origin_3d(region, view, spot)
        way = back.to_3x3() @ view3d_utils.region_2d_to_vector_3d(region, view, spot)
        hit, point, _, _ = thing.ray_cast(start, way)
        if not hit:
            self.report({"INFO"}, "the click missed the cast")
            return
        number = document.settings(context.scene).next_fdi
        self._call(context, bpy.ops.claspwright.place_mark, fdi=number, point=point)

    def _take_back(self, context: bpy.types.Context) -> None:
        last = document.settings(context.scene).last_fdi
        case = document.find_case(context.scene)
        if case and last in {t.fdi for t in case.chart.teeth}:
            self._call(context, bpy.ops.claspwright.remove_mark, fdi=last)

    def _call(self, context: bpy.types.Context, operator: object, **values: object) -> None:
        """Run an operator with an undo step of its own, so that every click can be undone by itself."""
        try:
            operator("EXEC_DEFAULT", True, **values)  # type: ignore[operator]
        except RuntimeError as error:  # what the operator reported
            self.report({"WARNING"}, str(error).removeprefix("Error: ").strip())
        self._tell(context)

    def _tell(self, context: bpy.types.Context) -> None:
        number = self._typed + "_" if self._typed else str(document.settings(context.scene).next_fdi)
        if context.area is not None:
            context.area.header_text_set(
                f"Next tooth: {number}    Click: mark    Two digits: another number    Backspace: take back    Enter or Esc: done"
            )
            context.area.tag_redraw()

    def _finish(self, context: bpy.types.Context) -> None:
        context.window.cursor_modal_restore()
        if context.area is not None:
            context.area.header_text_set(None)
            context.area.tag_redraw()

    def cancel(self, context: bpy.types.Context) -> None:
        self._finish(context)


CLASSES = (
    CLASPWRIGHT_OT_place_mark,
    CLASPWRIGHT_OT_remove_mark,
    CLASPWRIGHT_OT_chart_tooth,
    CLASPWRIGHT_OT_chart_rest,
    CLASPWRIGHT_OT_find_crowns,
    CLASPWRIGHT_OT_mark_teeth,
)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
