"""What the add-on keeps in a scene. (Blender evaluates the annotations of properties, so they must not be postponed here.)"""

from typing import Any

import bpy

from ..core.case.edit import tilted
from ..core.errors import CaseError
from . import derived, document, forms

props: Any = bpy.props
SCENE: Any = bpy.types.Scene
LIMIT_DEG = 30.0  # as the case document has it
SHADES = [
    ("UNDERCUT", "Undercut", "Colour the cast by the depth of undercut at the present tilt"),
    ("CROWNS", "Crowns", "Colour the crowns that were found at your clicks"),
    ("PLAIN", "Stone", "Show the plain cast"),
]


def _tilt(name: str) -> dict[str, Any]:
    def get(self: Any) -> float:
        case = document.find_case(self.id_data)
        return getattr(case.path, name) if case else 0.0

    def put(self: Any, value: float) -> None:
        case = document.find_case(self.id_data)
        if case is None or getattr(case.path, name) == round(float(value), 3):
            return
        inside = min(max(float(value), -LIMIT_DEG), LIMIT_DEG)  # a script's value is not held to the limits by Blender
        tilt = {"anteroposterior_deg": case.path.anteroposterior_deg, "lateral_deg": case.path.lateral_deg, name: inside}
        try:
            document.store(self.id_data, tilted(case, **tilt))
        except CaseError as error:
            document.notice(self.id_data, str(error))
        if self.shade != "UNDERCUT":
            self.shade = "UNDERCUT"
        derived.mark_stale()

    return {"get": get, "set": put, "min": -LIMIT_DEG, "max": LIMIT_DEG, "step": 50, "precision": 1}


def _stale(_self: Any, _context: Any) -> None:
    derived.mark_stale()


class CLASPWRIGHT_PG_settings(bpy.types.PropertyGroup):
    """Claspwright's part of the scene. The case document is the truth; the rest is what the panels need."""

    case_text: bpy.props.StringProperty(name="Case document", options={"HIDDEN"})
    folder: bpy.props.StringProperty(name="Folder", description="Folder of the scan; // is that of this file", options={"HIDDEN"})
    remarks: bpy.props.StringProperty(name="Remarks of intake", options={"HIDDEN"})
    reasons: bpy.props.StringProperty(name="Reasons of the draft", options={"HIDDEN"})
    component: bpy.props.StringProperty(name="Selected component", options={"HIDDEN"})
    anteroposterior_deg: bpy.props.FloatProperty(
        name="Front down (°)",
        description="Tilt of the cast on the surveying table. Above zero its front is lowered, below zero its back",
        **_tilt("anteroposterior_deg"),
    )
    lateral_deg: bpy.props.FloatProperty(
        name="Right side of the view down (°)",
        description="Tilt of the cast on the surveying table, looked at from above with the front away from you. "
        "Above zero the side at your right is lowered: the patient's right of a lower cast, the patient's left of an upper",
        **_tilt("lateral_deg"),
    )
    shade: bpy.props.EnumProperty(name="Colour the cast by", items=SHADES, default="UNDERCUT", update=_stale)
    rod: bpy.props.BoolProperty(
        name="Rod in the view",
        description="Show the rod that stands along the path of placement. Drag its knob to tilt the cast; the undercut follows",
        default=True,
    )
    map: bpy.props.BoolProperty(
        name="Map in the view",
        description="Show the map of tilts at the foot of the view. Point to read what a tilt costs; click or drag to take it",
        default=True,
    )
    quick: bpy.props.BoolProperty(
        name="Quick look",
        description="Coarser outer side and block-out, in less time: to look at, not for making. The fitting side is cut from the cast",
        default=False,
    )
    follow: bpy.props.BoolProperty(
        name="Keep it up to date",
        description="After an edit build the framework again in the background; the part that was edited is shown at once",
        default=True,
    )
    built_key: bpy.props.StringProperty(options={"HIDDEN"})
    built_quick: bpy.props.BoolProperty(options={"HIDDEN"})
    checks: bpy.props.StringProperty(options={"HIDDEN"})
    arms: bpy.props.StringProperty(options={"HIDDEN"})
    all_checks: bpy.props.BoolProperty(name="Show passed checks", description="List the checks that passed, too", default=False)


def register() -> None:
    for kind, form in forms.FORMS.items():
        CLASPWRIGHT_PG_settings.__annotations__[f"form_{kind}"] = props.PointerProperty(type=form)
    bpy.utils.register_class(CLASPWRIGHT_PG_settings)
    SCENE.claspwright = props.PointerProperty(type=CLASPWRIGHT_PG_settings)


def unregister() -> None:
    del SCENE.claspwright
    bpy.utils.unregister_class(CLASPWRIGHT_PG_settings)
    for kind in forms.FORMS:
        CLASPWRIGHT_PG_settings.__annotations__.pop(f"form_{kind}", None)
    document.notices.clear()
