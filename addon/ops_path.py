"""The search for a path of placement: begun from the panel, shown as a map in the view (`path_map.py`), its choices taken with a click."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from ..core.background import Process
from ..core.case import Case
from ..core.case.edit import tilted
from ..core.errors import CaseError
from . import derived, document, jobs
from .classes import registrar


@dataclass(frozen=True)
class Found:
    """A search of this session. key : of the case it was made for, whatever its path; map : `survey.TiltMap`; picture : (s, s, 4)"""

    key: str
    map: Any
    picture: Any
    paths: tuple[dict[str, Any], ...]
    warnings: tuple[str, ...]


searches: dict[str, Found] = {}  # scene name: the last search


def found_for(scene: bpy.types.Scene) -> Found | None:
    """The last search in a scene."""
    return searches.get(scene.name)


def is_current(found: Found, case: Case) -> bool:
    """Whether a search is of this case, whatever its path is now."""
    return found.key == document.search_key(case)


class CLASPWRIGHT_OT_search_path(jobs.NeedsCase, jobs.JobOperator, bpy.types.Operator):
    """Score all tilts within 20° by guide planes, undercut at the tips, block-out and the rest, and show them as a map to click in"""

    bl_idname = "claspwright.search_path"
    bl_label = "Map of Tilts"
    words = "Searching"
    _key = ""

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = document.need_case(context.scene)
        if not any(t.seeds for t in case.chart.teeth):
            raise CaseError("no tooth is marked on the cast; mark each tooth that stands first")
        self._key = document.search_key(case)
        return derived.bench, "path", {"case": document.as_json(case), "folder": case.folder}

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        from ..core.survey import TiltMap

        words = (tuple(info[name]) for name in ("words", "units", "digits"))
        made = TiltMap(info["cone_deg"], arrays["plane"], arrays["values"], *words)
        searches[context.scene.name] = Found(self._key, made, arrays["picture"], tuple(info["paths"]), tuple(info["warnings"]))
        document.settings(context.scene).map = True
        derived.redraw()
        self.report({"INFO"}, f"{len(arrays['plane'])} tilts scored; best: {info['paths'][0]['words']}")
        return {"FINISHED"}


class CLASPWRIGHT_OT_take_path(jobs.NeedsCase, bpy.types.Operator):
    """Tilt the cast to this path"""

    bl_idname = "claspwright.take_path"
    bl_label = "Take This Path"
    bl_options = {"REGISTER", "UNDO"}

    anteroposterior_deg: bpy.props.FloatProperty(name="Front down (°)", min=-30.0, max=30.0, step=50, precision=1)
    lateral_deg: bpy.props.FloatProperty(name="Right side of the view down (°)", min=-30.0, max=30.0, step=50, precision=1)
    reason: bpy.props.StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        return properties.reason or str(cls.__doc__)

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            tilt = round(self.anteroposterior_deg, 1), round(self.lateral_deg, 1)
            document.store(context.scene, tilted(document.need_case(context.scene), *tilt))
            document.settings(context.scene).shade = "UNDERCUT"
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_search_path, CLASPWRIGHT_OT_take_path)


register, unregister = registrar(CLASSES, searches)
