"""What the add-on keeps in a scene."""

import dataclasses
from typing import Any

import bpy

from ..core.errors import CaseError
from . import document, forms, shading

SHADES = [
    ("UNDERCUT", "Undercut", "Colour the cast by the depth of undercut at the present tilt; the lines are contour and gauges"),
    ("CROWNS", "Crowns", "Colour the crowns that were found at your marks"),
    ("PLAIN", "Stone", "Show the plain cast"),
]


def _tilt(name: str) -> dict[str, Any]:
    def get(self: bpy.types.PropertyGroup) -> float:
        case = document.find_case(self.id_data)
        return getattr(case.path, name) if case else 0.0

    def put(self: bpy.types.PropertyGroup, value: float) -> None:
        case = document.find_case(self.id_data)
        rounded = round(float(value), 3)
        if case is None or getattr(case.path, name) == rounded:
            return
        try:
            document.store(self.id_data, dataclasses.replace(case, path=dataclasses.replace(case.path, **{name: rounded})))
        except CaseError as error:
            self.notice = str(error)  # type: ignore[attr-defined]
        shading.mark_stale()

    return {"get": get, "set": put, "min": -30.0, "max": 30.0, "step": 50, "precision": 1}


def _shade_changed(_self: bpy.types.PropertyGroup, _context: bpy.types.Context) -> None:
    shading.mark_stale()


class CLASPWRIGHT_PG_settings(bpy.types.PropertyGroup):
    """Claspwright's part of the scene. The case document is the truth; the rest is what the panels need."""

    case_text: bpy.props.StringProperty(name="Case document", options={"HIDDEN"})
    folder: bpy.props.StringProperty(name="Folder", description="Folder of the scan", subtype="DIR_PATH")
    remarks: bpy.props.StringProperty(name="Remarks of intake", options={"HIDDEN"})
    notice: bpy.props.StringProperty(name="Notice", options={"HIDDEN"})
    component: bpy.props.StringProperty(name="Selected component", options={"HIDDEN"})
    next_fdi: bpy.props.IntProperty(
        name="Next tooth (FDI)", description="Number that the next click gets (FDI, ISO 3950)", default=34, min=11, max=48
    )
    last_fdi: bpy.props.IntProperty(options={"HIDDEN"})
    anteroposterior_deg: bpy.props.FloatProperty(
        name="Front down (°)", description="Tilt of the cast: its front lowered is positive, its back lowered negative", **_tilt("anteroposterior_deg")
    )
    lateral_deg: bpy.props.FloatProperty(
        name="Right side down (°)",
        description="Tilt of the cast: the side at the right of the view from above lowered is positive",
        **_tilt("lateral_deg"),
    )
    shade: bpy.props.EnumProperty(name="Show", items=SHADES, default="UNDERCUT", update=_shade_changed)
    quick: bpy.props.BoolProperty(
        name="Quick look", description="Coarser outer side, several times faster; the fitting side stays exact", default=False
    )
    built_key: bpy.props.StringProperty(options={"HIDDEN"})
    checks: bpy.props.StringProperty(options={"HIDDEN"})


def register() -> None:
    for kind, form in forms.FORMS.items():
        CLASPWRIGHT_PG_settings.__annotations__[f"form_{kind}"] = bpy.props.PointerProperty(type=form)
    bpy.utils.register_class(CLASPWRIGHT_PG_settings)
    bpy.types.Scene.claspwright = bpy.props.PointerProperty(type=CLASPWRIGHT_PG_settings)  # type: ignore[attr-defined]


def unregister() -> None:
    del bpy.types.Scene.claspwright  # type: ignore[attr-defined]
    bpy.utils.unregister_class(CLASPWRIGHT_PG_settings)
    for kind in forms.FORMS:
        CLASPWRIGHT_PG_settings.__annotations__.pop(f"form_{kind}", None)
    document.cache.clear()
