"""What a new user needs: the order of the work in a few lines, in the Help menu and in the tab while no cast is open. No network."""

from __future__ import annotations

from typing import Any

import bpy

from . import document

# heading, what to do and why; in the order of the panels
STEPS = (
    ("Cast", "Open the scan. Say upper or lower if it was told wrongly. The file itself is never changed."),
    ("Teeth", "Click each tooth that stands, then chart the gaps. Everything else is measured on these crowns."),
    ("Tilt and Undercut", "Drag the rod, or have the tilts mapped and click in the map. Undercut and height of contour follow."),
    ("Components", "Have a design drafted, or place rests and clasps by hand. Pull a part's knobs to change it."),
    ("Framework", "Build. The window stays free; later edits are followed by themselves."),
    ("Checks", "Look at each place that failed. Accept one only with a reason, which the report shows."),
    ("Export", "Write meshes, report and preview into one folder."),
)
LAST = "Ctrl+Z takes back each act; the case lives in the .blend. A qualified clinician approves every design."


def draw_steps(layout: Any, context: Any, wrap: Any) -> None:
    """The page, in a panel or a box. wrap: writes a text over several lines"""
    for k, (heading, words) in enumerate(STEPS, 1):
        wrap(layout, context, f"{k}. {heading}: {words}")
    wrap(layout, context, LAST, "INFO")


class CLASPWRIGHT_OT_first_steps(bpy.types.Operator):
    """The order of the work in a few lines, and a sample to open"""

    bl_idname = "claspwright.first_steps"
    bl_label = "Claspwright: First Steps"

    def invoke(self, context: Any, event: Any) -> set[Any]:
        return context.window_manager.invoke_popup(self, width=520)

    def execute(self, context: Any) -> set[Any]:
        return {"FINISHED"}

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        layout.label(text="Claspwright: from the scan of a cast to the framework", icon="OUTLINER_OB_MESH")
        column = layout.column(align=True)
        for k, (heading, words) in enumerate(STEPS, 1):
            row = column.split(factor=0.24)
            row.label(text=f"{k}. {heading}")
            lines = row.column(align=True)
            first, _, rest = words.partition(". ")
            for line in filter(None, (f"{first}{'.' if rest else ''}", rest)):
                lines.label(text=line)
        for line in LAST.split("; "):
            layout.label(text=f"{line[0].upper()}{line[1:]}", icon="INFO")
        layout.label(text="Everything is in the tab Claspwright of the 3D view's side bar (key N).", icon="BLANK1")
        if document.settings(context.scene).case_text == "":
            row = layout.row(align=True)
            row.operator_context = "INVOKE_DEFAULT"
            row.operator("claspwright.choose_scan", icon="IMPORT")
            row.operator_menu_enum("claspwright.open_sample", "sample", icon="PRESET")


def in_help(self: Any, context: Any) -> None:
    """A line at the end of the Help menu."""
    self.layout.separator()
    self.layout.operator(CLASPWRIGHT_OT_first_steps.bl_idname, icon="HELP")


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_first_steps)
    bpy.types.TOPBAR_MT_help.append(in_help)


def unregister() -> None:
    bpy.types.TOPBAR_MT_help.remove(in_help)
    bpy.utils.unregister_class(CLASPWRIGHT_OT_first_steps)
