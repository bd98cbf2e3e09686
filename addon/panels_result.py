"""The tab, second half: build, checks, export, cautions."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import bpy

from ..core.cautions import CAUTIONS
from . import document, follow, jobs, live, ops_build, ops_export, ops_look
from .panels_arms import CLASPWRIGHT_PT_arms
from .panels_work import NeedsCase, Tab, progress, shown_case, wrapped

STATUS_ICON = {"fail": "CANCEL", "warn": "ERROR", "pass": "CHECKMARK", "skip": "RADIOBUT_OFF"}
STATUS_WORDS = {"fail": "failed", "warn": "to look at", "pass": "passed", "skip": "not checked"}


class CLASPWRIGHT_PT_framework(NeedsCase, bpy.types.Panel):
    """Build"""

    bl_idname = "CLASPWRIGHT_PT_framework"
    bl_label = "Framework"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        own, case = document.settings(context.scene), shown_case(context)
        if case is None:
            return
        row = layout.row()
        row.prop(own, "quick")
        row.prop(own, "follow")
        row = layout.row()
        row.scale_y = 1.4
        row.operator("claspwright.build", icon="MOD_BUILD")
        progress(layout)
        if jobs.current() is None and not case.components:
            wrapped(layout, context, "Mark the teeth and add components first.", "INFO")
        if not own.built_key:
            return
        if follow.busy() and jobs.current() is None:
            column = layout.column(align=True)
            column.progress(factor=follow.share(), text=f"Following: {follow.stage()}")
            column.operator("claspwright.stop", icon="X")
        elif not live.current(context.scene, case):
            wrapped(layout, context, "The case was changed after this framework was built. Build again.", "ERROR")
        elif own.built_quick:
            wrapped(layout, context, "This is a quick look. For making, build without it.", "INFO")
        grid = layout.grid_flow(columns=2, even_columns=True, align=True)
        for what, (label, _, _) in ops_build.VIEWS.items():
            grid.operator("claspwright.view", text=label, icon="HIDE_OFF").what = what
        layout.label(text="Look from")
        grid = layout.grid_flow(columns=3, even_columns=True, align=True)
        for side, (label, _, _) in ops_look.SIDES.items():
            grid.operator("claspwright.look", text=label).side = side
        row = layout.row(align=True)
        row.operator("claspwright.turntable", icon="CON_CAMERASOLVER")
        row.operator("claspwright.set_pictures", icon="RENDER_STILL")


@lru_cache(maxsize=4)
def _checks(text: str) -> tuple[dict[str, Any], ...]:
    order = ("fail", "warn", "skip", "pass")
    return tuple(sorted(json.loads(text) if text else (), key=lambda c: order.index(c["status"])))


class CLASPWRIGHT_PT_checks(NeedsCase, bpy.types.Panel):
    """What the checks found"""

    bl_idname = "CLASPWRIGHT_PT_checks"
    bl_label = "Checks"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(document.settings(context.scene).checks)

    def draw(self, context: Any) -> None:
        own = document.settings(context.scene)
        layout: Any = self.layout
        found, case = _checks(own.checks), shown_case(context)
        reasons = {o.check: o.reason for o in case.overrules} if case else {}
        counts = {s: sum(c["status"] == s for c in found) for s in STATUS_ICON}
        row = layout.row(align=True)
        for status, count in counts.items():
            if count:
                row.label(text=f"{count} {STATUS_WORDS[status]}", icon=STATUS_ICON[status])
        layout.prop(own, "all_checks")
        for check in found:
            if own.all_checks or check["status"] in ("fail", "warn", "skip"):
                self._check(layout, context, check, reasons)

    def _check(self, layout: Any, context: Any, check: dict[str, Any], reasons: dict[str, str]) -> None:
        from ..core.output.check_words import heading

        box = layout.box().column(align=True)
        row = box.row()
        row.label(text=heading(check["id"]), icon=STATUS_ICON[check["status"]])
        if check["place"]:
            row.operator("claspwright.go_to", text="", icon="VIEWZOOM").place = check["place"]
        if check["status"] in ("fail", "warn"):
            row.operator("claspwright.overrule", text="", icon="GREASEPENCIL").check = check["id"]
        accepted = reasons.get(check["id"])
        if accepted:
            wrapped(box, context, f"Accepted: {accepted}", "USER")
        measure = _measure(check)
        if measure:
            box.label(text=measure, icon="BLANK1")
        words = ": ".join(w for w in (check["where"], check["words"]) if w)
        if words and check["status"] != "pass":
            wrapped(box, context, words)


def _measure(check: dict[str, Any]) -> str:
    from ..core.output.wording import measured

    if check["value"] is None:
        return ""
    limit = "" if check["limit"] is None else f" (limit {measured(check['limit'], check['unit']).split(' ')[0]})"  # the tab is narrow
    return f"{measured(check['value'], check['unit'])}{limit}"


class CLASPWRIGHT_PT_export(NeedsCase, bpy.types.Panel):
    """Files"""

    bl_idname = "CLASPWRIGHT_PT_export"
    bl_label = "Export"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        built = bool(document.settings(context.scene).built_key)
        row = layout.row()
        row.scale_y = 1.2
        row.operator("claspwright.choose_folder", icon="EXPORT")
        grid = layout.grid_flow(columns=2, even_columns=True, align=True)
        for what, (label, _, _) in ops_export.KINDS.items():
            cell = grid.row(align=True)
            cell.enabled = built or what == "CASE"
            cell.operator("claspwright.export", text=label).what = what
        if not built:
            wrapped(layout, context, "Build the framework first; the case file can be written at any time.")


class CLASPWRIGHT_PT_cautions(Tab, bpy.types.Panel):
    """What has to be known before metal is made"""

    bl_idname = "CLASPWRIGHT_PT_cautions"
    bl_label = "Cautions"

    def draw(self, context: Any) -> None:
        for k, line in enumerate(CAUTIONS):
            wrapped(self.layout, context, line, "ERROR" if k == 0 else "DOT")


CLASSES = (CLASPWRIGHT_PT_framework, CLASPWRIGHT_PT_checks, CLASPWRIGHT_PT_arms, CLASPWRIGHT_PT_export, CLASPWRIGHT_PT_cautions)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
