"""Placing parts by clicking teeth: modal only while you click; each click is an undo step of its own."""

import dataclasses
from typing import Any

import bpy
from mathutils import Vector

from ..core.case import KINDS, edit
from ..core.errors import ClaspwrightError
from . import document, jobs, pointing, rays

OPS: Any = bpy.ops
OWN: Any = OPS.claspwright
ON_TEETH = {kind: edit.kind_words(kind) for kind, cls in KINDS.items() if "tooth" in {f.name for f in dataclasses.fields(cls)}}
ITEMS = [
    ("rest", "Rest", "An occlusal rest on premolars and molars, a cingulum rest on front teeth"),
    *((kind, words, (KINDS[kind].__doc__ or "").strip().splitlines()[0]) for kind, words in ON_TEETH.items()),
]
HINT = "Click a tooth, on its mesial or distal half: place    Ctrl+Z: take back    Esc: done"


def tooth_under(thing: Any, index: int) -> int:
    """FDI number of the crown that a face of the cast belongs to, 0 for none."""
    layer = thing.data.attributes.get("tooth")
    if layer is None or index < 0 or len(layer.data) != len(thing.data.vertices):
        return 0
    found = [layer.data[v].value for v in thing.data.polygons[index].vertices]
    return max(found, key=found.count)


class CLASPWRIGHT_OT_place(bpy.types.Operator):
    """Click a tooth to place a rest on it: on its mesial or its distal side, where you click. Esc or right click ends"""

    bl_idname = "claspwright.place"
    bl_label = "Place Rest"

    kind: bpy.props.EnumProperty(name="Kind", items=ITEMS, options={"SKIP_SAVE"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not jobs.has_case(context) or not rays.need_view(context):
            return False
        case, _ = rays.case_and_cast(context.scene)
        if case is None or len(case.chart.teeth) < 2:
            cls.poll_message_set("Mark the teeth first; then parts can be placed on them")
            return False
        return True

    def invoke(self, context: Any, event: Any) -> set[Any]:
        if rays.cast_in_view(context) is None:
            OWN.view("EXEC_DEFAULT", True, what="SURVEY")
        pointing.begin(context, self)
        self._tell(context, "")
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[Any]:
        pressed = event.value == "PRESS"
        if event.type in {"ESC", "RET", "NUMPAD_ENTER", "RIGHTMOUSE"} and pressed:
            pointing.end(context)
            return {"FINISHED"}
        if not rays.over_view(context, event):
            return {"PASS_THROUGH"}
        if event.type == "MOUSEMOVE":
            found = self._aim(context, event)
            self._tell(context, f"{self._name(found[0])} on {found[0]}, {found[1]}" if found else "Point at a tooth")
        if event.type != "LEFTMOUSE":
            return {"PASS_THROUGH"}
        found = self._aim(context, event) if pressed else None
        if found:
            self._place(context, *found)
        elif pressed:
            self.report({"INFO"}, "no crown was found there; click on a marked tooth")
        return {"RUNNING_MODAL"}

    def _kind(self, tooth: int) -> str:
        return edit.rest_kind(tooth) if self.kind == "rest" else str(self.kind)

    def _name(self, tooth: int) -> str:
        return edit.kind_words(self._kind(tooth))

    def _aim(self, context: Any, event: Any) -> tuple[int, str] | None:
        """Tooth and side under the pointer."""
        thing, case = rays.cast_in_view(context), document.find_case(context.scene)
        if thing is None or case is None:
            return None
        look = rays.sight_of(context, event, thing)
        hit, point, _, index = thing.ray_cast(Vector(tuple(look.start)), Vector(tuple(look.way)))
        tooth = tooth_under(thing, index) if hit else 0
        if not tooth:
            return None
        try:
            return tooth, edit.side_of_click(case, tooth, tuple(point))
        except ClaspwrightError:
            return None

    def _place(self, context: Any, tooth: int, side: str) -> None:
        try:
            OWN.add_component("EXEC_DEFAULT", True, kind=self._kind(tooth), tooth=tooth, side=side)
        except RuntimeError as error:  # what the operator reported
            self.report({"WARNING"}, str(error).removeprefix("Error: ").strip())

    def _tell(self, context: Any, words: str) -> None:
        pointing.tell(context, words or "Point at a tooth", HINT)

    def cancel(self, context: Any) -> None:
        """Blender ends the operator."""
        pointing.end(context)


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_place)


def unregister() -> None:
    bpy.utils.unregister_class(CLASPWRIGHT_OT_place)
