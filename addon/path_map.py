"""The map of tilts at the foot of the view: point to read what a tilt costs, click or drag to take it; the undercut follows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import bpy
import gpu
from gpu_extras.presets import draw_texture_2d

from . import document, ink, ops_path, rays, tilt_gizmo
from .classes import registrar

if TYPE_CHECKING:
    from ..core.survey.handles import Disk

RADIUS, LEFT, LOW = 92.0, 150.0, 150.0  # pixels: of the disk, and of its middle from the view's corner
NOW = (0.95, 0.78, 0.35, 1.0)  # the colour of the rod's knob
BEST = (0.90, 0.36, 0.16, 1.0)
OLD = (1.0, 0.62, 0.45, 1.0)

kept: dict[str, Any] = {}  # "texture", and "of": the search it shows


def _texture(found: ops_path.Found) -> Any:
    if kept.get("of") is not found:
        import numpy as np

        picture = np.ascontiguousarray(found.picture, dtype=np.float32) / np.float32(255.0)
        high, wide = picture.shape[:2]
        kinds: Any = gpu.types  # the stub knows no arguments
        data = kinds.Buffer("FLOAT", picture.size, picture.ravel())
        kept.update(of=found, texture=kinds.GPUTexture((wide, high), format="RGBA8", data=data))
    return kept["texture"]


def _disk() -> Disk:
    """Where the map lies in the view, pixels."""
    from ..core.survey.handles import Disk

    k = ink.pixel()
    return Disk((LEFT * k, LOW * k), RADIUS * k)


class CLASPWRIGHT_GT_path_map(tilt_gizmo.Tilting, bpy.types.Gizmo):
    """The disk."""

    bl_idname = "CLASPWRIGHT_GT_path_map"

    def setup(self) -> None:
        self.use_draw_modal = True
        self.over: tuple[float, float] | None = None

    def test_select(self, context: Any, location: Any) -> int:
        disk = _disk()
        inside = disk.holds(location)
        over = disk.share(location) if inside else None
        if over != self.over:
            self.over = over
            context.area.tag_redraw()
        return 0 if inside else -1

    def draw(self, context: Any) -> None:
        found, case = ops_path.found_for(context.scene), self.case(context)
        if found is None or case is None:
            return
        k, shown, disk = ink.pixel(), found.map, _disk()
        ink.fill(ink.circle(LEFT * k, LOW * k, (RADIUS + 3) * k), ink.DARK)
        gpu.state.blend_set("ALPHA")
        draw_texture_2d(_texture(found), ((LEFT - RADIUS) * k, (LOW - RADIUS) * k), 2 * RADIUS * k, 2 * RADIUS * k)
        gpu.state.blend_set("NONE")
        self._ends(case)
        for path in reversed(found.paths):
            share = shown.share(rays.path_of(path["anteroposterior_deg"], path["lateral_deg"]))
            if share is None:
                continue
            x, y = disk.spot(share)
            ink.knob(x, y, 5.0 if path["name"] == "best" else 7.0, BEST if path["name"] == "best" else ink.LIGHT)
            if path["name"] != "best":
                ink.text(x, y - 4 * k, path["name"], 11 * k, colour=(0.1, 0.1, 0.1, 1.0), firm=False)
        now = shown.share(rays.path_of(case.path.anteroposterior_deg, case.path.lateral_deg))
        if now is not None:
            ink.ring(*disk.spot(now), 9.0, NOW, 2.5)
        if not ops_path.is_current(found, case):
            ink.text(LEFT * k, (LOW + RADIUS + 26) * k, "Of another design: map again", 12 * k, colour=OLD)
        if self.is_modal and now is not None:
            ink.beside(*disk.spot(now), self._words(case, found, (case.path.anteroposterior_deg, case.path.lateral_deg)))
        elif self.is_highlight and self.over is not None:
            path = shown.path(self.over)
            ink.beside(*disk.spot(self.over), self._words(case, found, (path.anteroposterior_deg, path.lateral_deg)))

    def _ends(self, case: Any) -> None:
        """Which side is lowered at the four ends; the sides of the map are those of the cast seen from above."""
        from .panels_work import lowered_side

        k = ink.pixel()
        right = lowered_side(case.cast.arch).removeprefix("Patient's ")
        left = "left" if right == "right" else "right"
        ink.text(LEFT * k, (LOW + RADIUS + 8) * k, "Front down", 12 * k)
        ink.text(LEFT * k, (LOW - RADIUS - 18) * k, "Back down", 12 * k)
        for side, words in ((-1, left), (1, right)):
            x = (LEFT + side * (RADIUS + 26)) * k
            for n, line in enumerate(("Patient's", words, "down")):
                ink.text(x, (LOW + 11 - 15 * n) * k, line, 11 * k)

    def _words(self, case: Any, found: ops_path.Found, tilt: tuple[float, float]) -> list[str]:
        from ..core.output.wording import tilt_words

        lines = [tilt_words(*tilt, case.cast.arch).capitalize(), *(line.capitalize() for line in found.map.reading(rays.path_of(*tilt)))]
        return [*lines, "Ctrl: half degrees    Esc: as before" if self.is_modal else "A click tilts the cast so; less is better in all"]

    def invoke(self, context: Any, event: Any) -> set[Any]:
        return self._follow(context, event, set()) if self.begin(context) else {"CANCELLED"}

    def modal(self, context: Any, event: Any, tweak: Any) -> set[Any]:
        return self._follow(context, event, tweak)

    def _follow(self, context: Any, event: Any, tweak: Any) -> set[Any]:
        found, case = ops_path.found_for(context.scene), self.case(context)
        if found is None or case is None:
            return {"CANCELLED"}
        region, _ = rays.view_of(context)
        path = found.map.path(_disk().share((event.mouse_x - region.x, event.mouse_y - region.y)))
        self.put(context, case, (path.anteroposterior_deg, path.lateral_deg), snap="SNAP" in tweak)
        return {"RUNNING_MODAL"}


class CLASPWRIGHT_GGT_path_map(bpy.types.GizmoGroup):
    """The map, where a search was made."""

    bl_idname = "CLASPWRIGHT_GGT_path_map"
    bl_label = "Map of Tilts"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        own = document.settings(context.scene)
        shown = own.map and bool(own.case_text) and context.space_data.overlay.show_overlays
        return bool(shown) and ops_path.found_for(context.scene) is not None and rays.cast_in_view(context) is not None

    def setup(self, context: Any) -> None:
        self.gizmos.new(CLASPWRIGHT_GT_path_map.bl_idname)


CLASSES = (CLASPWRIGHT_GT_path_map, CLASPWRIGHT_GGT_path_map)


register, unregister = registrar(CLASSES, kept)
