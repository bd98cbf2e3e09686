"""Handles of the selected component: take hold of the metal and pull; the number follows within its limits, the part is built anew.

A drag is one undo step, Esc takes it back. Where the part cannot be built with the number it got, it goes back to the last that could.
"""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector

from ..core.errors import ClaspwrightError
from . import derived, document, forms, ink, live, rays

MOST = 8
REACH = 13.0  # pixels
ARROW_MM = 2.4
COLOUR = (0.98, 0.62, 0.28, 1.0)
STEPS = {"mm": (0.05, 0.01, 0.25), "deg": (1.0, 0.1, 5.0)}  # plain, with Shift, with Ctrl


def unit_of(field: str) -> str:
    """Unit of a field: the end of its name."""
    return field.rpartition("_")[2]


def reading(field: str, value: float) -> str:
    """A number in words: "Gauge 0.25 mm"."""
    unit = forms.UNITS.get(unit_of(field), "")
    words = forms.field_words(field).rpartition(" (")[0]
    return f"{words} {value:.2f} {unit}" if unit == "mm" else f"{words} {value:.0f}{unit}"


def read_off(part: live.Part, field: str) -> list[str]:
    """What the part measures as it was built: length, undercut at the tip and the like; not the number itself again."""
    found = [(n, v) for n, v in part.facts.items() if n != field and unit_of(n) in forms.UNITS]
    return [reading(n, v) for n, v in found]


class CLASPWRIGHT_GT_handle(bpy.types.Gizmo):
    """One handle of the selected component."""

    bl_idname = "CLASPWRIGHT_GT_handle"

    def setup(self) -> None:
        self.index = 0
        self.use_draw_modal = True
        self.stopped = ""

    def _handle(self, context: Any) -> tuple[Any, live.Part, Any, dict[str, Any]] | None:
        """The cast, the part, the component and the handle; None where there is nothing to hold."""
        thing, part = rays.cast_shown(context), live.part(context.scene)
        try:
            chosen = forms.selected(context.scene)
        except ClaspwrightError:
            return None
        if thing is None or part is None or chosen is None or not part.handles or self.index >= len(part.handles):
            return None
        handle = part.handles[self.index]
        return (thing, part, chosen, handle) if hasattr(chosen, handle["field"]) else None

    def _place(self, chosen: Any, handle: dict[str, Any]) -> tuple[Vector, Vector]:
        """Where the handle is now (mm), before the part has been built with the new number, and which way it goes."""
        from ..core.survey.handles import place_at

        way = handle["way"]
        place = place_at(rays.array(handle["point"]), rays.array(way), getattr(chosen, handle["field"]) - handle["value"], handle["per_mm"])
        return Vector(tuple(place)), Vector(way)

    def _spot(self, context: Any) -> tuple[float, float] | None:
        found = self._handle(context)
        if found is None:
            return None
        thing, _, chosen, handle = found
        place, way = self._place(chosen, handle)
        if not self.is_modal and rays.hidden(context, thing, place + way * 0.3):
            return None
        return rays.seen_at(context, thing, place)

    def test_select(self, context: Any, location: Any) -> int:
        spots = {h.index: spot for h in self.group.gizmos if (spot := h._spot(context)) is not None}
        far = {index: (Vector(location) - Vector(spot)).length for index, spot in spots.items()}
        nearest = min(far, key=lambda k: far[k], default=-1)  # handles may lie close together
        return 0 if nearest == self.index and far[nearest] < REACH * ink.pixel() else -1

    def draw(self, context: Any) -> None:
        spot, found = self._spot(context), self._handle(context)
        if spot is None or found is None:
            return
        thing, part, chosen, handle = found
        place, way = self._place(chosen, handle)
        lit = self.is_highlight or self.is_modal
        if lit:
            ends = [end for side in (-1.0, 1.0) if (end := rays.seen_at(context, thing, place + way * side * ARROW_MM)) is not None]
            ink.line(ends, COLOUR, 2.5)
        ink.knob(*spot, 7.0, COLOUR, lit=lit)
        if lit:
            ink.beside(*spot, self._words(part, chosen, handle))

    def _words(self, part: live.Part, chosen: Any, handle: dict[str, Any]) -> list[str]:
        field = handle["field"]
        lines = [reading(field, getattr(chosen, field)), *read_off(part, field)]
        if part.refused:
            lines.append(part.refused[:110])
        if self.stopped:
            lines.append(self.stopped)
        lines.append("Shift: finely    Ctrl: in steps    Esc: as before" if self.is_modal else "Drag to change")
        return lines

    def invoke(self, context: Any, event: Any) -> set[Any]:
        found = self._handle(context)
        if found is None:
            return {"CANCELLED"}
        thing, _, chosen, handle = found
        self.field, self.name = handle["field"], chosen.id
        self.before = self.value = float(getattr(chosen, self.field))
        self.stopped = ""
        place, _ = self._place(chosen, handle)
        self.start = place
        self.last = self._along(context, event, thing, handle)
        live.held.add(self.field)
        live.now.good[self.name] = chosen
        return {"RUNNING_MODAL"}

    def _along(self, context: Any, event: Any, thing: Any, handle: dict[str, Any]) -> float:
        from ..core.survey.handles import along

        return along(rays.sight_of(context, event, thing), rays.array(self.start), rays.array(handle["way"]))

    def modal(self, context: Any, event: Any, tweak: Any) -> set[Any]:
        from ..core.case.limits import why
        from ..core.survey.handles import held, overshot

        found = self._handle(context)
        if found is None or found[2].id != self.name:
            return {"CANCELLED"}
        thing, _, chosen, handle = found
        at = self._along(context, event, thing, handle)
        fine, snap = "PRECISE" in tweak, "SNAP" in tweak
        moved = self.value + (at - self.last) * handle["per_mm"] * (0.1 if fine else 1.0)
        self.last = at
        inside, end = held(moved, handle["low"], handle["high"])
        self.value = overshot(moved, inside, handle["per_mm"])
        self.stopped = f"Stops at {reading(self.field, inside).rpartition(' ')[0].split()[-1]}: {why(self.field, end)}" if end else ""
        step = STEPS[unit_of(self.field)][1 if fine else 2 if snap else 0]
        put = inside if end else held(round(round(inside / step) * step, 4), handle["low"], handle["high"])[0]
        if put != getattr(chosen, self.field):
            forms.write_field(context.scene, self.field, put)
            derived.mark_stale()
        context.area.tag_redraw()
        return {"RUNNING_MODAL"}

    def exit(self, context: Any, cancel: bool | None) -> None:
        live.held.clear()
        part, good = live.now.parts.get(self.name), live.now.good.get(self.name)
        if cancel:
            forms.write_field(context.scene, self.field, self.before)
        else:
            if part is not None and part.refused and good is not None:
                forms.write_field(context.scene, self.field, getattr(good, self.field))
                document.notice(context.scene, part.refused)
            chosen = forms.selected(context.scene)
            if chosen is not None and getattr(chosen, self.field, self.before) != self.before:
                bpy.ops.ed.undo_push(message=f"Drag {forms.field_words(self.field).rpartition(' (')[0]}")
        derived.mark_stale()


class CLASPWRIGHT_GGT_handles(bpy.types.GizmoGroup):
    """The handles of the selected component."""

    bl_idname = "CLASPWRIGHT_GGT_handles"
    bl_label = "Handles of the Component"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        own = document.settings(context.scene)
        return bool(own.component) and context.space_data.overlay.show_overlays and rays.cast_shown(context) is not None

    def setup(self, context: Any) -> None:
        for index in range(MOST):
            made: Any = self.gizmos.new(CLASPWRIGHT_GT_handle.bl_idname)
            made.index = index


CLASSES = (CLASPWRIGHT_GT_handle, CLASPWRIGHT_GGT_handles)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
