"""The tab "Claspwright" at the side of the 3D view, first half: cast, teeth, tilt, components.

Panels draw what is stored and compute nothing.
"""

from __future__ import annotations

import json
import textwrap
from typing import Any

import bpy

from ..core.case import Case
from ..core.case.edit import arch_numbers, kind_words
from ..core.errors import ClaspwrightError
from . import bridge, derived, document, first_steps, forms, jobs, ops_case, ops_path, scan

TAB = "Claspwright"


def wrapped(layout: Any, context: Any, words: str, icon: str = "NONE") -> None:
    """A text over as many lines as the panel's width needs."""
    width = context.region.width if context.region else 260
    scale = context.preferences.system.ui_scale
    room = max(18, int((width / scale - (50 if icon == "NONE" else 75)) / 6.0))
    column = layout.column(align=True)
    column.scale_y = 0.8
    for k, line in enumerate(textwrap.wrap(words, room) or [""]):
        column.label(text=line, icon=icon if k == 0 else ("NONE" if icon == "NONE" else "BLANK1"))


def shown_case(context: Any) -> Case | None:
    """The case to draw; a document that this release cannot read counts as none."""
    try:
        return document.find_case(context.scene)
    except ClaspwrightError:
        return None


def progress(layout: Any) -> None:
    """How far the running work is, and a button that ends it."""
    job = jobs.current()
    if job is None:
        return
    column = layout.column(align=True)
    column.progress(factor=job.call.share, text=f"{job.words}: {job.call.stage}")
    column.operator("claspwright.stop", icon="X")


def next_act(layout: Any, context: Any, case: Case) -> None:
    """What is sensible to do now; every other act stays open."""
    own = document.settings(context.scene)
    if jobs.current() is not None:
        return
    row = layout.column(align=True)
    row.scale_y = 1.2
    numbers = arch_numbers(case.cast.arch)
    charted = {t.fdi for t in case.chart.teeth} | set(case.chart.missing)
    if not case.chart.teeth:
        row.operator("claspwright.mark_teeth", text="Next: Mark Teeth", icon="CURSOR")
    elif not charted.issuperset(numbers):
        row.operator("claspwright.chart_rest", text="Next: Chart the Missing", icon="X")
    elif not case.components:
        row.operator("claspwright.draft", text="Next: Draft a Design, or Add Components", icon="SHADERFX")
    elif own.built_key != document.case_key(case, own.built_quick):
        row.operator("claspwright.build", text="Next: Build Framework", icon="MOD_BUILD")
    else:
        found = [c["status"] for c in json.loads(own.checks or "[]")]
        words = f"Built: {found.count('fail')} checks failed, {found.count('warn')} to look at"
        row.label(text=words, icon="CANCEL" if "fail" in found else "CHECKMARK")


class Tab:
    """Mixin: a panel of the tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class NeedsCase(Tab):
    """Mixin: a panel that is there once a cast is open."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(document.settings(context.scene).case_text)


class CLASPWRIGHT_PT_cast(Tab, bpy.types.Panel):
    """Which cast"""

    bl_idname = "CLASPWRIGHT_PT_cast"
    bl_label = "Cast"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        own = document.settings(context.scene)
        row = layout.row(align=True)
        row.operator("claspwright.choose_scan", icon="IMPORT")
        row.operator("claspwright.choose_case", icon="FILE_FOLDER")
        try:
            case = document.find_case(context.scene)
        except ClaspwrightError as error:
            wrapped(layout, context, str(error), "ERROR")
            return
        if case is None:
            layout.operator_menu_enum("claspwright.open_sample", "sample", icon="PRESET")
            wrapped(layout, context, "Begin with the scan of a cast (STL, PLY, OBJ, 3MF), go on with a case file, or look at a sample.")
            first_steps.draw_steps(layout, context, wrapped)
            progress(layout)
            return
        layout.label(text=f"{case.title or case.cast.file}", icon="OUTLINER_OB_MESH")
        layout.label(text=f"{case.cast.arch.capitalize()} arch, {case.cast.file}", icon="BLANK1")
        questions = [line[2:] for line in own.remarks.splitlines() if line.startswith("? ")]
        for question in questions:
            wrapped(layout, context, question, "QUESTION")
        if not case.chart.teeth:
            self._arch(layout, case)
        state = scan.state(case)
        if state == "unknown":
            derived.mark_stale()
        if state == "changed":
            words = f"The file {case.cast.file} is not the one that this case was made for. Find the right one, or take it as it is."
            wrapped(layout, context, words, "ERROR")
            row = layout.row(align=True)
            row.operator("claspwright.find_scan", icon="VIEWZOOM")
            row.operator("claspwright.accept_scan")
        elif bridge.find_object(context.scene, "cast") is None and state != "missing":
            layout.operator("claspwright.bring_cast", icon="FILE_REFRESH")
        elif state == "missing":
            wrapped(layout, context, f"The scan {case.cast.file} is not where it was; without it nothing can be built.", "ERROR")
            layout.operator("claspwright.find_scan", icon="VIEWZOOM")
        if document.notices.get(context.scene.name):
            wrapped(layout, context, document.notices[context.scene.name], "INFO")
        progress(layout)
        next_act(layout, context, case)
        layout.operator("claspwright.clear", icon="TRASH")

    def _arch(self, layout: Any, case: Case) -> None:
        """Before anything is marked: right the arch with one click."""
        row = layout.row(align=True)
        row.label(text="It is the")
        for key, label, _ in ops_case.ARCHES[1:]:
            op = row.operator("claspwright.open_scan", text=label, depress=key == case.cast.arch)
            op.filepath, op.arch = str(case.scan), key


class CLASPWRIGHT_PT_intake(NeedsCase, bpy.types.Panel):
    """What intake changed"""

    bl_idname = "CLASPWRIGHT_PT_intake"
    bl_label = "What Intake Did"
    bl_parent_id = "CLASPWRIGHT_PT_cast"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: Any) -> None:
        changes = [line for line in document.settings(context.scene).remarks.splitlines() if not line.startswith("? ")]
        for line in changes or ["Nothing: the scan was used as it is."]:
            wrapped(self.layout, context, line, "DOT")


class CLASPWRIGHT_PT_teeth(NeedsCase, bpy.types.Panel):
    """Teeth and gaps"""

    bl_idname = "CLASPWRIGHT_PT_teeth"
    bl_label = "Teeth"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        case = shown_case(context)
        if case is None:
            return
        row = layout.row(align=True)
        row.operator("claspwright.mark_teeth", icon="CURSOR")
        row.operator("claspwright.propose_marks", icon="SHADERFX")
        standing = {t.fdi for t in case.chart.teeth}
        numbers = arch_numbers(case.cast.arch)
        sides = ("patient's right", "patient's left") if case.cast.arch == "upper" else ("patient's left", "patient's right")
        grid = layout.column(align=True)
        for half, side in zip((numbers[:8], numbers[8:]), sides, strict=True):
            grid.label(text=side.capitalize())
            row = grid.row(align=True)
            for n in half:
                row.operator("claspwright.tooth_menu", text=_cell(n, case), depress=n in standing).fdi = n
        if not standing:
            wrapped(layout, context, "Mark Teeth: click each tooth that stands. Propose Marks finds them by itself; look at every number.")
            return
        wrapped(layout, context, "Blue: marked. (36): missing. -38: missing, not replaced. Click a number to change it.")
        uncharted = [n for n in numbers if n not in standing and n not in case.chart.missing]
        if uncharted:
            layout.operator("claspwright.chart_rest", icon="X")
        if case.chart.not_here:
            layout.operator("claspwright.clear_not_here")
        if derived.finding():
            layout.label(text="Finding crowns ...", icon="SORTTIME")


def _cell(n: int, case: Case) -> str:
    if n in case.chart.not_replaced:
        return f"-{n}"
    return f"({n})" if n in case.chart.missing else str(n)


def lowered_side(arch: str) -> str:
    """The patient's side at +X of the cast frame, which a positive lateral tilt lowers."""
    return "Patient's right" if arch == "lower" else "Patient's left"


class CLASPWRIGHT_PT_tilt(NeedsCase, bpy.types.Panel):
    """Tilt of the cast and undercut"""

    bl_idname = "CLASPWRIGHT_PT_tilt"
    bl_label = "Tilt and Undercut"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        own = document.settings(context.scene)
        case = shown_case(context)
        if case is None:
            return
        column = layout.column(align=True)
        column.prop(own, "anteroposterior_deg", text="Front down (°)")
        column.prop(own, "lateral_deg", text=f"{lowered_side(case.cast.arch)} down (°)")
        from ..core.output.wording import tilt_words

        wrapped(layout, context, tilt_words(case.path.anteroposterior_deg, case.path.lateral_deg, case.cast.arch).capitalize())
        row = layout.row(align=True)
        row.prop(own, "rod", toggle=True, icon="ORIENTATION_GIMBAL")
        row.operator("claspwright.level")
        self._paths(layout, context, case)
        layout.row(align=True).prop(own, "shade", expand=True)
        thing, space = bridge.find_object(context.scene, "cast"), context.space_data
        if thing is not None and not thing.visible_get():
            row = layout.row()
            row.label(text="Cast hidden", icon="INFO")
            row.operator("claspwright.view", text="Show It").what = "SURVEY"
        elif space and space.type == "VIEW_3D" and space.shading.type == "SOLID" and space.shading.color_type != "VERTEX":
            wrapped(layout, context, "Choose Attribute to see the undercut in this view.", "INFO")
            layout.prop(space.shading, "color_type", text="")


    def _paths(self, layout: Any, context: Any, case: Case) -> None:
        """The search for a path, and the paths to choose from."""
        row = layout.row(align=True)
        row.operator("claspwright.search_path", icon="SHADERFX")
        found = ops_path.found_for(context.scene)
        if found is None:
            return
        row.prop(document.settings(context.scene), "map", text="", icon="HIDE_OFF")
        if not ops_path.is_current(found, case):
            wrapped(layout, context, "The map is of another design or chart; map again.", "ERROR")
        column = layout.column(align=True)
        now = (case.path.anteroposterior_deg, case.path.lateral_deg)
        for path in found.paths:
            tilt = (path["anteroposterior_deg"], path["lateral_deg"])
            words = path["words"].replace("patient's ", "").replace(" side", "").replace("lowered ", "")  # the tab is narrow
            words = "no tilt" if "no tilt" in words else f"{words} down"
            op = column.operator("claspwright.take_path", text=f"{path['name'].capitalize()}: {words}", depress=tilt == now)
            op.anteroposterior_deg, op.lateral_deg = tilt
            best = "The least score; it only orders tilts, the decision is yours"
            op.reason = best if path["name"] == "best" else f"Against the best. Better: {path['better']}. Worse: {path['worse']}"
        for line in found.warnings[:2]:
            wrapped(layout, context, line.removeprefix("Look at: "), "INFO")


class CLASPWRIGHT_PT_components(NeedsCase, bpy.types.Panel):
    """The prescription"""

    bl_idname = "CLASPWRIGHT_PT_components"
    bl_label = "Components"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        case = shown_case(context)
        if case is None:
            return
        own = document.settings(context.scene)
        row = layout.row(align=True)
        row.operator("claspwright.place", icon="CURSOR")
        row.operator_menu_enum("claspwright.add_component", "kind", text="Add Part", icon="ADD")
        row = layout.row(align=True)
        row.operator("claspwright.draft", icon="SHADERFX")
        if not case.components:
            words = "Nothing is prescribed yet. Have a design drafted from the chart, or add the parts by hand: bases first, then the rest."
            wrapped(layout, context, words)
        columns = layout.column(align=True)
        for part in case.components:
            row = columns.row(align=True)
            chosen = part.id == own.component
            row.operator("claspwright.select_component", text=part.id, depress=chosen).name = part.id
            row.operator("claspwright.remove_component", text="", icon="X").name = part.id
        chosen_part = forms.selected(context.scene)
        if chosen_part is None:
            return
        box = layout.box()
        box.label(text=kind_words(chosen_part.kind))
        form = forms.form_of(context.scene, chosen_part.kind)
        fields = box.column()
        fields.use_property_split = True
        fields.use_property_decorate = False
        for name in forms.form_fields(chosen_part.kind):
            fields.prop(form, name)


class CLASPWRIGHT_PT_reasons(NeedsCase, bpy.types.Panel):
    """Why the drafted design is as it is, and what is left open"""

    bl_idname = "CLASPWRIGHT_PT_reasons"
    bl_label = "Why This Draft"
    bl_parent_id = "CLASPWRIGHT_PT_components"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(document.settings(context.scene).reasons)

    def draw(self, context: Any) -> None:
        for line in document.settings(context.scene).reasons.splitlines():
            wrapped(self.layout, context, line.removeprefix("? "), "QUESTION" if line.startswith("? ") else "DOT")


CLASSES = (
    CLASPWRIGHT_PT_cast,
    CLASPWRIGHT_PT_intake,
    CLASPWRIGHT_PT_teeth,
    CLASPWRIGHT_PT_tilt,
    CLASPWRIGHT_PT_components,
    CLASPWRIGHT_PT_reasons,
)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
