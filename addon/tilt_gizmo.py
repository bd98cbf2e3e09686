"""The rod on the cast: drag its knob and the cast tilts; the two lower knobs tilt one way only. A drag is one undo step."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector

from ..core.case import Case
from ..core.case.edit import tilted
from ..core.errors import ClaspwrightError
from . import derived, document, ink, rays
from .settings import LIMIT_DEG

# knob: height on the rod as a share, the words for what it changes, colour
KNOBS = {
    "both": (1.0, "", (0.95, 0.78, 0.35, 1.0)),
    "anteroposterior_deg": (0.78, "Front or back only", (0.55, 0.76, 0.92, 1.0)),
    "lateral_deg": (0.62, "One side only", (0.62, 0.85, 0.68, 1.0)),
}
REACH = 14.0  # pixels from a knob's middle within which it is taken
SNAP_DEG = 0.5
FINE = 0.1


class Tilting:
    """Mixin of gizmos that tilt the cast: what is dragged is written at once, and the whole drag is one undo step."""

    before: tuple[float, float] = (0.0, 0.0)

    def case(self, context: Any) -> Case | None:
        """The case; None where there is none, or one that cannot be read."""
        try:
            return document.find_case(context.scene)
        except ClaspwrightError:
            return None

    def begin(self, context: Any) -> bool:
        """The pointer takes hold. False where there is nothing to tilt."""
        case, thing = self.case(context), rays.cast_in_view(context)
        if case is None or thing is None:
            return False
        self.before = (case.path.anteroposterior_deg, case.path.lateral_deg)
        own = document.settings(context.scene)
        if own.shade != "UNDERCUT":
            own.shade = "UNDERCUT"
        derived.dragging.add("tilt")
        return True

    def put(self, context: Any, case: Case, tilt: tuple[float, float], *, snap: bool = False) -> None:
        """Write a tilt into the document; what follows from it is drawn by itself."""
        inside = [min(max(v, -LIMIT_DEG), LIMIT_DEG) for v in tilt]
        # a number is read to a tenth of a degree; a hand does not hold more
        document.store(context.scene, tilted(case, *[round(v / SNAP_DEG) * SNAP_DEG if snap else round(v, 1) for v in inside]))
        derived.mark_stale()
        context.area.tag_redraw()

    def exit(self, context: Any, cancel: bool | None) -> None:
        """The pointer lets go."""
        derived.dragging.discard("tilt")
        case = self.case(context)
        if case is None:
            return
        if cancel:
            self.put(context, case, self.before)
        elif (case.path.anteroposterior_deg, case.path.lateral_deg) != self.before:
            bpy.ops.ed.undo_push(message="Tilt Cast")
        derived.mark_stale()


class CLASPWRIGHT_GT_tilt_knob(Tilting, bpy.types.Gizmo):
    """One knob of the rod."""

    bl_idname = "CLASPWRIGHT_GT_tilt_knob"

    def setup(self) -> None:
        self.axis = "both"
        self.use_draw_modal = True

    def _spot(self, context: Any) -> tuple[float, float] | None:
        case, thing = self.case(context), rays.cast_in_view(context)
        if case is None or thing is None:
            return None
        foot, length = rays.standing(thing)
        way = rays.path_of(case.path.anteroposterior_deg, case.path.lateral_deg).vector
        return rays.seen_at(context, thing, foot + way * (length * KNOBS[self.axis][0]))

    def test_select(self, context: Any, location: Any) -> int:
        spot = self._spot(context)
        near = spot is not None and (Vector(location) - Vector(spot)).length < REACH * ink.pixel()
        return 0 if near else -1

    def draw(self, context: Any) -> None:
        spot, thing, case = self._spot(context), rays.cast_in_view(context), self.case(context)
        if spot is None or thing is None or case is None:
            return
        if self.axis == "both":
            foot = rays.seen_at(context, thing, rays.standing(thing)[0])
            if foot is not None:
                ink.line([foot, spot], ink.LIGHT, 3.0)
        lit = self.is_highlight or self.is_modal
        ink.knob(*spot, 9.0 if self.axis == "both" else 7.0, KNOBS[self.axis][2], lit=lit)
        if lit:
            ink.beside(*spot, self._words(case))

    def _words(self, case: Case) -> list[str]:
        from ..core.output.wording import tilt_words

        path = case.path
        lines = [tilt_words(path.anteroposterior_deg, path.lateral_deg, case.cast.arch).capitalize()]
        if max(abs(path.anteroposterior_deg), abs(path.lateral_deg)) >= LIMIT_DEG:
            lines.append(f"Stops at {LIMIT_DEG:g}°: further a path is of no use")
        elif rays.path_of(path.anteroposterior_deg, path.lateral_deg).tilt_deg > 10.0:
            lines.append("More than the usual 10°")
        if not self.is_modal:
            lines.append(KNOBS[self.axis][1] or "Drag to tilt the cast")
        else:
            lines.append("Ctrl: half degrees    Shift: finely    Esc: as before")
        return lines

    def invoke(self, context: Any, event: Any) -> set[Any]:
        case, thing = self.case(context), rays.cast_in_view(context)
        if case is None or thing is None or not self.begin(context):
            return {"CANCELLED"}
        self.now = self.before
        self.grip = self._asked(context, event, thing, self.before)
        return {"RUNNING_MODAL"}

    def _asked(self, context: Any, event: Any, thing: Any, now: tuple[float, float]) -> tuple[float, float]:
        from ..core.survey.handles import tilt_under

        foot, length = rays.standing(thing)
        found = tilt_under(rays.sight_of(context, event, thing), foot, length * KNOBS[self.axis][0], rays.path_of(*now))
        return found.anteroposterior_deg, found.lateral_deg

    def modal(self, context: Any, event: Any, tweak: Any) -> set[Any]:
        case, thing = self.case(context), rays.cast_in_view(context)
        if case is None or thing is None:
            return {"CANCELLED"}
        asked = self._asked(context, event, thing, self.now)
        step = FINE if "PRECISE" in tweak else 1.0
        moved = [n + step * (a - g) for n, a, g in zip(self.now, asked, self.grip, strict=True)]
        self.grip = asked
        if self.axis != "both":
            moved[1 if self.axis == "anteroposterior_deg" else 0] = self.now[1 if self.axis == "anteroposterior_deg" else 0]
        self.now = (moved[0], moved[1])
        self.put(context, case, self.now, snap="SNAP" in tweak)
        return {"RUNNING_MODAL"}


class CLASPWRIGHT_GGT_tilt(bpy.types.GizmoGroup):
    """The rod with its knobs."""

    bl_idname = "CLASPWRIGHT_GGT_tilt"
    bl_label = "Tilt of the Cast"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        own = document.settings(context.scene)
        return bool(own.case_text) and own.rod and context.space_data.overlay.show_overlays and rays.cast_in_view(context) is not None

    def setup(self, context: Any) -> None:
        for axis in ("lateral_deg", "anteroposterior_deg", "both"):
            made: Any = self.gizmos.new(CLASPWRIGHT_GT_tilt_knob.bl_idname)
            made.axis = axis


CLASSES = (CLASPWRIGHT_GT_tilt_knob, CLASPWRIGHT_GGT_tilt)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
