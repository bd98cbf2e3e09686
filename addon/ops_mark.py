"""Marking teeth by clicking on the cast: modal only while you click."""

from typing import Any

import bpy

from ..core.case import Case
from ..core.errors import ClaspwrightError
from . import bridge, derived, document, jobs, ops_teeth, pointing, rays
from .classes import registrar

OPS: Any = bpy.ops
OWN: Any = OPS.claspwright

DIGITS = {name: k for k, name in enumerate(("ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE"))}
DIGITS |= {f"NUMPAD_{k}": k for k in range(10)}
HINT = (
    "Click: mark    Shift+click: add to the last tooth    Alt+click: no crown here    Two digits: number    Ctrl+Z: take back    Esc: done"
)

fronts: dict[str, tuple[float, float]] = {}  # mesh key: where the midline crosses the incisal edges, mm


def front_of_cast(thing: Any) -> tuple[float, float]:
    """(x, y) mm of the front of the arch, measured once a cast."""
    from ..core.teeth import front_of

    key = str(thing.data.get(derived.SOURCE, thing.data.name_full))
    if key not in fronts:
        fronts.clear()
        fronts[key] = front_of(bridge.to_core(thing.data))
    return fronts[key]


def proposal(case: Case, thing: Any, point: Any) -> int:
    """The number that a click here would get by itself: of the crown that is there already, else by its place along the arch."""
    from ..core.teeth import number_of_click

    marked = {t.fdi: t.seeds[0] for t in case.chart.teeth if t.seeds}
    return number_of_click(case.cast.arch, tuple(point), marked, case.chart.missing, front_of_cast(thing))


class CLASPWRIGHT_OT_mark_teeth(bpy.types.Operator):
    """Click each tooth that stands, once, on its chewing surface or edge. Its number is proposed; two typed digits give another.

    Esc or right click ends"""

    bl_idname = "claspwright.mark_teeth"
    bl_label = "Mark Teeth"

    _typed = ""
    _forced = 0
    _last = 0

    @classmethod
    def poll(cls, context: Any) -> bool:
        return jobs.has_case(context) and context.area is not None and context.area.type == "VIEW_3D"

    def invoke(self, context: Any, event: Any) -> set[Any]:
        thing = bridge.find_object(context.scene, "cast")
        if thing is None:
            self.report({"ERROR"}, "the cast is not in this scene any more; undo, or open the scan again")
            return {"CANCELLED"}
        if not thing.visible_get():
            OWN.view("EXEC_DEFAULT", True, what="SURVEY")
        document.settings(context.scene).shade = "CROWNS"
        self._typed, self._forced, self._last = "", 0, 0
        front_of_cast(thing)
        pointing.begin(context, self)
        self._tell(context, None)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[Any]:
        kind, pressed = event.type, event.value == "PRESS"
        if kind in {"ESC", "RET", "NUMPAD_ENTER", "RIGHTMOUSE"} and pressed:
            pointing.end(context)
            return {"FINISHED"}
        if not rays.over_view(context, event):
            return {"PASS_THROUGH"}
        if kind == "MOUSEMOVE":
            self._tell(context, self._hit(context, event))
            return {"PASS_THROUGH"}
        if pressed and kind in DIGITS and not (event.ctrl or event.alt):
            self._type(context, str(DIGITS[kind]))
            return {"RUNNING_MODAL"}
        if pressed and kind == "BACK_SPACE":
            self._typed, self._forced = "", 0
            self._tell(context, None)
            return {"RUNNING_MODAL"}
        if kind == "LEFTMOUSE":
            if pressed:
                self._click(context, event)
            return {"RUNNING_MODAL"}
        return {"PASS_THROUGH"}  # turning the view, undo, saving: all as ever

    def _region(self, context: Any) -> Any:
        return next((r for r in context.area.regions if r.type == "WINDOW"), None) if context.area else None

    def _hit(self, context: Any, event: Any) -> Any:
        """The point of the cast under the pointer (mm, cast frame), or None."""
        region, thing = self._region(context), bridge.find_object(context.scene, "cast")
        if region is None or thing is None:
            return None
        return rays.hit_at(context, thing, (event.mouse_x - region.x, event.mouse_y - region.y))

    def _type(self, context: Any, digit: str) -> None:
        self._typed += digit
        if len(self._typed) == 2:
            try:
                self._forced = ops_teeth.need_number(self._typed, document.need_case(context.scene).cast.arch)
            except ClaspwrightError as error:
                self.report({"WARNING"}, str(error))
            self._typed = ""
        self._tell(context, None)

    def _click(self, context: Any, event: Any) -> None:
        point = self._hit(context, event)
        if point is None:
            self.report({"INFO"}, "the click missed the cast")
            return
        if event.alt:
            self._call(context, OWN.mark_not_here, point=point)
            return
        case, thing = document.need_case(context.scene), bridge.find_object(context.scene, "cast")
        number = self._last if event.shift and self._last else self._forced or proposal(case, thing, point)
        if self._call(context, OWN.mark_tooth, fdi=number, point=point):
            self._last, self._forced = number, 0
        self._tell(context, None)

    def _call(self, context: Any, operator: Any, **values: Any) -> bool:
        """Run an operator with an undo step of its own, so that every click can be undone by itself."""
        try:
            return operator("EXEC_DEFAULT", True, **values) == {"FINISHED"}
        except RuntimeError as error:  # what the operator reported
            self.report({"WARNING"}, str(error).removeprefix("Error: ").strip())
            return False

    def _tell(self, context: Any, point: Any) -> None:
        if context.area is None:
            return
        if self._typed:
            words = f"Number: {self._typed}_"
        elif self._forced:
            words = f"The next click is {self._forced}"
        elif point is not None:
            case, thing = document.find_case(context.scene), bridge.find_object(context.scene, "cast")
            words = f"Here: {proposal(case, thing, point)}" if case and thing else ""
        else:
            words = f"Last: {self._last}" if self._last else "Point at a tooth"
        pointing.tell(context, words, HINT)

    def cancel(self, context: Any) -> None:
        """Blender ends the operator."""
        pointing.end(context)


register, unregister = registrar((CLASPWRIGHT_OT_mark_teeth,), fronts)
