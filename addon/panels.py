"""The tab "Claspwright" at the side of the 3D view. Panels draw what is stored and compute nothing."""

from __future__ import annotations

import json
import textwrap
from functools import lru_cache
from typing import Any

import bpy

from ..core.case import Case
from ..core.errors import CaseError
from . import bridge, document, forms, jobs, ops_export

TAB = "Claspwright"
CAUTION = (
    "Not a certified medical device. For training and research.",
    "A qualified clinician prescribes and approves every design.",
    "Try the framework on the cast and in the mouth.",
)
STATUS_ICON = {"fail": "CANCEL", "warn": "ERROR", "pass": "CHECKMARK", "skip": "RADIOBUT_OFF"}


def wrapped(layout: Any, context: bpy.types.Context, words: str, icon: str = "NONE") -> None:
    """A text over as many lines as the panel's width needs."""
    width = context.region.width if context.region else 260
    scale = context.preferences.system.ui_scale
    room = max(18, int((width / scale - (60 if icon == "NONE" else 80)) / 6.4))
    column = layout.column(align=True)
    column.scale_y = 0.8
    for k, line in enumerate(textwrap.wrap(words, room) or [""]):
        column.label(text=line, icon=icon if k == 0 else ("NONE" if icon == "NONE" else "BLANK1"))


def shown_case(context: bpy.types.Context) -> Case | None:
    """The case to draw; a document that this release cannot read counts as none."""
    try:
        return document.find_case(context.scene)
    except CaseError:
        return None


class _Tab:
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class _NeedsCase(_Tab):
    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return bool(document.settings(context.scene).case_text)


class CLASPWRIGHT_PT_cast(_Tab, bpy.types.Panel):
    """Which cast"""

    bl_idname = "CLASPWRIGHT_PT_cast"
    bl_label = "Cast"

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        own = document.settings(context.scene)
        row = layout.row(align=True)
        row.operator("claspwright.open_scan", text="Open Scan", icon="IMPORT")
        row.operator("claspwright.open_case", text="Open Case", icon="FILE_FOLDER")
        try:
            case = document.find_case(context.scene)
        except CaseError as error:
            wrapped(layout, context, str(error), "ERROR")
            return
        if case is None:
            wrapped(layout, context, "Open the scan of a cast (STL, PLY, OBJ, 3MF) to begin a case, or a case file to go on with one.")
            for line in CAUTION:
                wrapped(layout, context, line)
            return
        layout.label(text=f"{case.title or case.cast.file}: {case.cast.arch} arch", icon="OUTLINER_OB_MESH")
        questions = [line[2:] for line in own.remarks.splitlines() if line.startswith("? ")]
        for question in questions:
            wrapped(layout, context, question, "QUESTION")
        if bridge.find_object(context.scene, "cast") is None:
            wrapped(layout, context, "The cast is not in this scene any more: undo, or open it again.", "ERROR")
        job = jobs.current()
        if job is not None:
            layout.progress(factor=job.fraction, text=f"{job.words}: {job.stage}")
            layout.operator("claspwright.stop", text="Stopping ..." if job.stopping else "Stop", icon="X")
        if own.notice:
            wrapped(layout, context, own.notice, "INFO")


class CLASPWRIGHT_PT_intake(_NeedsCase, bpy.types.Panel):
    """What intake changed"""

    bl_idname = "CLASPWRIGHT_PT_intake"
    bl_label = "What Intake Changed"
    bl_parent_id = "CLASPWRIGHT_PT_cast"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        changes = [line for line in document.settings(context.scene).remarks.splitlines() if not line.startswith("? ")]
        for line in changes or ["Nothing: the scan was used as it is."]:
            wrapped(self.layout, context, line)


class CLASPWRIGHT_PT_teeth(_NeedsCase, bpy.types.Panel):
    """Teeth and gaps"""

    bl_idname = "CLASPWRIGHT_PT_teeth"
    bl_label = "Teeth"

    def draw(self, context: bpy.types.Context) -> None:
        from ..core.teeth import numbering

        layout = self.layout
        case = shown_case(context)
        if case is None:
            return
        row = layout.row(align=True)
        row.operator("claspwright.mark_teeth", icon="CURSOR")
        row.prop(document.settings(context.scene), "next_fdi", text="Next")
        standing = {t.fdi for t in case.chart.teeth}
        numbers = numbering.order(case.cast.arch)
        grid = layout.column(align=True)
        for half in (numbers[:8], numbers[8:]):
            row = grid.row(align=True)
            for n in half:
                cell = row.row(align=True)
                cell.operator("claspwright.chart_tooth", text=_cell(n, case), depress=n in standing).fdi = n
        wrapped(layout, context, "Pressed: standing and marked. (36): missing, replaced. x38: missing, not replaced. Click a number to change it.")
        layout.operator("claspwright.chart_rest")
        layout.operator("claspwright.find_crowns", icon="SHADERFX")


def _cell(n: int, case: Case) -> str:
    if n in case.chart.not_replaced:
        return f"x{n}"
    return f"({n})" if n in case.chart.missing else str(n)


class CLASPWRIGHT_PT_survey(_NeedsCase, bpy.types.Panel):
    """Tilt of the cast and undercut"""

    bl_idname = "CLASPWRIGHT_PT_survey"
    bl_label = "Survey"

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        own = document.settings(context.scene)
        layout.row(align=True).prop(own, "shade", expand=True)
        column = layout.column(align=True)
        column.prop(own, "anteroposterior_deg")
        column.prop(own, "lateral_deg", text="Left side down (°)" if own.lateral_deg < 0 else "Right side down (°)")
        row = layout.row(align=True)
        row.operator("claspwright.level")
        row.operator("claspwright.survey")
        space = context.space_data
        if space and space.type == "VIEW_3D" and space.shading.type == "SOLID" and space.shading.color_type != "VERTEX":
            layout.prop(space.shading, "color_type", text="View colour")
            wrapped(layout, context, "Choose Attribute to see the undercut in this view.", "INFO")


class CLASPWRIGHT_PT_components(_NeedsCase, bpy.types.Panel):
    """The prescription"""

    bl_idname = "CLASPWRIGHT_PT_components"
    bl_label = "Components"

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        case = shown_case(context)
        if case is None:
            return
        own = document.settings(context.scene)
        layout.operator_menu_enum("claspwright.add_component", "kind", text="Add Component", icon="ADD")
        if not case.components:
            wrapped(layout, context, "Nothing is prescribed yet. Begin with the major connector and the bases, then rests, clasps and the minor connectors that join them.")
        column = layout.column(align=True)
        for part in case.components:
            row = column.row(align=True)
            chosen = part.id == own.component
            row.operator("claspwright.select_component", text=part.id, depress=chosen, icon="DOWNARROW_HLT" if chosen else "RIGHTARROW").name = part.id
            row.operator("claspwright.remove_component", text="", icon="X").name = part.id
        chosen_part = forms.selected(context.scene)
        if chosen_part is None:
            return
        box = layout.box()
        box.label(text=f"{forms.kind_words(chosen_part.kind)}")
        form = forms.form_of(context.scene, chosen_part.kind)
        fields = box.column()
        fields.use_property_split = True
        fields.use_property_decorate = False
        for name in forms.form_fields(chosen_part.kind):
            fields.prop(form, name)


class CLASPWRIGHT_PT_framework(_NeedsCase, bpy.types.Panel):
    """Build, checks, export"""

    bl_idname = "CLASPWRIGHT_PT_framework"
    bl_label = "Framework"

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        own = document.settings(context.scene)
        layout.prop(own, "quick")
        row = layout.row()
        row.scale_y = 1.4
        row.operator("claspwright.build", icon="MOD_BUILD")
        job = jobs.current()
        if job is not None:
            layout.progress(factor=job.fraction, text=f"{job.words}: {job.stage}")
            layout.operator("claspwright.stop", text="Stopping ..." if job.stopping else "Stop", icon="X")
        if own.built_key and own.built_key != document.case_key(context.scene):
            wrapped(layout, context, "The case was changed after this framework was built. Build again.", "ERROR")
        column = layout.column(align=True)
        for role, words in (("cast", "Cast"), ("prepared", "Prepared cast"), ("master", "Master cast"), ("framework", "Framework")):
            thing = bridge.find_object(context.scene, role)
            if thing is not None and own.built_key:
                column.prop(thing, "hide_viewport", text=words, invert_checkbox=True)
        layout.label(text="Export")
        grid = layout.grid_flow(columns=2, even_columns=True, align=True)
        for what, (label, _, _) in ops_export.KINDS.items():
            grid.operator("claspwright.export", text=label).what = what
        layout.operator("claspwright.export_all", icon="EXPORT")
        box = layout.box()
        for line in CAUTION:
            wrapped(box, context, line, "ERROR" if line is CAUTION[0] else "BLANK1")


@lru_cache(maxsize=4)
def _checks(text: str) -> tuple[dict[str, Any], ...]:
    order = ("fail", "warn", "skip", "pass")
    return tuple(sorted(json.loads(text) if text else (), key=lambda c: order.index(c["status"])))


class CLASPWRIGHT_PT_checks(_NeedsCase, bpy.types.Panel):
    """What the checks found"""

    bl_idname = "CLASPWRIGHT_PT_checks"
    bl_label = "Checks"
    bl_parent_id = "CLASPWRIGHT_PT_framework"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return bool(document.settings(context.scene).checks)

    def draw(self, context: bpy.types.Context) -> None:
        found = _checks(document.settings(context.scene).checks)
        counts = {s: sum(c["status"] == s for c in found) for s in ("fail", "warn", "skip", "pass")}
        self.layout.label(text=f"{counts['pass']} pass, {counts['fail']} fail, {counts['warn']} to look at, {counts['skip']} not checked")
        for check in [c for c in found if c["status"] in ("fail", "warn")][:12]:
            wrapped(self.layout, context, f"{check['where']}: {check['words']}" if check["where"] else check["words"], STATUS_ICON[check["status"]])


CLASSES = (
    CLASPWRIGHT_PT_cast,
    CLASPWRIGHT_PT_intake,
    CLASPWRIGHT_PT_teeth,
    CLASPWRIGHT_PT_survey,
    CLASPWRIGHT_PT_components,
    CLASPWRIGHT_PT_framework,
    CLASPWRIGHT_PT_checks,
)


def register() -> None:
    for cls in CLASSES:
        bpy.utils.register_class(cls)


def unregister() -> None:
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
