"""The tab: each retentive arm's force and stress as ranges, and a button for each change that would bring them into range."""

from __future__ import annotations

from typing import Any

import bpy

from ..core.case.advised import CONFIRM, applies
from . import document, live, ops_advice
from .panels_work import NeedsCase, shown_case, wrapped

NAMES = {
    "gauge_mm": "Undercut {:.2f} mm", "base_thickness_mm": "Base {:.2f} mm thick", "base_width_mm": "Base {:.2f} mm wide",
    "taper": "Taper to {:.2f}", "alloy": "All of {}",
}  # fmt: skip


class CLASPWRIGHT_PT_arms(NeedsCase, bpy.types.Panel):
    """Force and stress of each clasp arm, and advice"""

    bl_idname = "CLASPWRIGHT_PT_arms"
    bl_label = "Clasp Arms"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(document.settings(context.scene).arms)

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        rows, case = ops_advice.arms(context.scene), shown_case(context)
        if case is None:
            return
        if not live.current(context.scene, case):
            wrapped(layout, context, "Of the framework as last built; the case was changed since.", "INFO")
        for row in rows:
            box = layout.box().column(align=True)
            self._figures(box, context, row)
            fresh = applies(case, row)
            if row["advice"] and not fresh:
                wrapped(box, context, "Changed since; build again for new advice.", "FILE_REFRESH")
            for number, advice in enumerate(row["advice"]):
                if fresh:
                    self._advice(box, context, row["component"], number, advice)
        if rows:
            wrapped(layout, context, f"{rows[0]['pull']['assumption']}. {CONFIRM}")

    def _figures(self, box: Any, context: Any, row: dict[str, Any]) -> None:
        pull, stress, (low, high) = row["pull"], row["stress"], row["wanted"]
        good = low <= pull["likely"] <= high and stress["likely"] <= row["allowable"]
        box.label(text=row["component"], icon="CHECKMARK" if good else "ERROR")
        wrapped(box, context, f"Pull {_band(pull, 1)} N; wanted {low:.1f} to {high:.1f}")
        wrapped(box, context, f"Stress {_band(stress, 0)} MPa; allowable {row['allowable']:.0f}")

    def _advice(self, box: Any, context: Any, component: str, number: int, advice: dict[str, Any]) -> None:
        if not advice["changes"]:
            wrapped(box, context, f"Or another clasp: {advice['words']}", "INFO")
            return
        text = ", ".join(NAMES[field].format(value) for field, value in advice["changes"].items())
        button = box.operator("claspwright.apply_advice", text=text, icon="CHECKMARK" if advice["good"] else "DOT")
        button.component, button.number = component, number
        effect = advice["words"].split(": ", 1)[-1]
        wrapped(box, context, effect if advice["good"] else f"nearer, not in range: {effect}")


def _band(value: dict[str, Any], digits: int) -> str:
    return f"{value['likely']:.{digits}f} ({value['low']:.{digits}f} to {value['high']:.{digits}f})"

