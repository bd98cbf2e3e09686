"""Forms to edit a component: one property group a kind, made from the case document's own fields and limits.

The values are not kept here: each property reads from the component that is selected in the list, and writes the case document.
"""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Callable
from typing import Any

import bpy

from ..core.case import KINDS, Component
from ..core.case.edit import put_component
from ..core.errors import CaseError
from . import document

props: Any = bpy.props  # its functions are called with limits that are known only when the program runs
UNITS = {"mm": "mm", "deg": "°"}
WORDS = {
    "tooth": "Tooth (FDI)",
    "teeth": "Missing teeth (FDI)",
    "start": "From tooth (FDI)",
    "end": "To tooth (FDI)",
    "base": "Joined to base",
}


def field_words(name: str) -> str:
    """The label of a field, its unit in brackets."""
    if name in WORDS:
        return WORDS[name]
    stem, _, unit = name.rpartition("_")
    return f"{stem.replace('_', ' ').capitalize()} ({UNITS[unit]})" if unit in UNITS else name.replace("_", " ").capitalize()


def selected(scene: bpy.types.Scene) -> Component | None:
    """The component that is selected in the list."""
    case = document.find_case(scene)
    chosen = document.settings(scene).component
    return next((c for c in case.components if c.id == chosen), None) if case else None


def _hints(kind: str) -> dict[str, Any]:
    return typing.get_type_hints(KINDS[kind])


def form_fields(kind: str) -> list[str]:
    """Names of the fields that the form of a kind shows."""
    hints = _hints(kind)
    return [f.name for f in dataclasses.fields(KINDS[kind]) if f.name != "id" and _known(hints[f.name])]


def _known(hint: Any) -> bool:
    return hint in (str, bool, int, float) or (typing.get_origin(hint) is tuple and set(typing.get_args(hint)) <= {int, Ellipsis})


def write_field(scene: bpy.types.Scene, name: str, value: Any) -> None:
    """Store one field of the selected component. A value that the document refuses is said in the panel and not stored."""
    case, chosen = document.find_case(scene), selected(scene)
    if case is None or chosen is None or getattr(chosen, name) == value:
        return
    change: dict[str, Any] = {name: value}
    document.notice(scene, "")
    try:
        document.store(scene, put_component(case, dataclasses.replace(chosen, **change)))
    except CaseError as error:
        document.notice(scene, str(error))


def _access(field: dataclasses.Field, show: Callable[[Any], Any], read: Callable[[Any], Any]) -> dict[str, Callable]:
    """Blender's get and set for one field."""
    fallback = None if field.default is dataclasses.MISSING else field.default

    def get(self: bpy.types.PropertyGroup) -> Any:
        chosen = selected(self.id_data)
        return show(getattr(chosen, field.name, fallback) if chosen is not None else fallback)

    def put(self: bpy.types.PropertyGroup, value: Any) -> None:
        try:
            write_field(self.id_data, field.name, read(value))
        except ValueError:
            document.notice(self.id_data, f"{field_words(field.name)}: write whole numbers with spaces between, such as 35 36 37")

    return {"get": get, "set": put}


def _inside(value: Any, low: Any, high: Any) -> Any:
    """A number held to its limits: Blender does that for a hand's value, not for a script's."""
    value = value if low is None else max(value, low)
    return value if high is None else min(value, high)


def _property(field: dataclasses.Field, hint: Any) -> Any:
    meta, label = field.metadata, field_words(field.name)
    low, high, choices = meta.get("low"), meta.get("high"), meta.get("choices") or ()
    limits = {k: v for k, v in (("min", low), ("max", high)) if v is not None}
    if choices:
        items = [(str(c), str(c).capitalize(), "") for c in choices]
        access = _access(field, lambda v: choices.index(v) if v in choices else 0, lambda k: choices[k])
        return props.EnumProperty(name=label, items=items, **access)
    if hint is bool:
        return props.BoolProperty(name=label, **_access(field, bool, bool))
    if hint is int:
        access = _access(field, lambda v: v or int(low or 0), lambda v: _inside(int(v), low, high))
        return props.IntProperty(name=label, **limits, **access)
    if hint is float:
        # Blender keeps single precision: 4 decimals are what a person typed.
        access = _access(field, lambda v: float(v or 0.0), lambda v: _inside(round(float(v), 4), low, high))
        return props.FloatProperty(name=label, **limits, step=5, precision=2, **access)
    if typing.get_origin(hint) is tuple:
        access = _access(field, lambda v: " ".join(map(str, v or ())), lambda v: tuple(int(w) for w in v.replace(",", " ").split()))
        return props.StringProperty(name=label, description="Numbers with spaces between, such as 35 36 37", **access)
    return props.StringProperty(name=label, **_access(field, lambda v: v or "", str))


def _form(kind: str) -> type:
    cls, hints = KINDS[kind], _hints(kind)
    fields = {f.name: f for f in dataclasses.fields(cls)}
    annotations = {name: _property(fields[name], hints[name]) for name in form_fields(kind)}
    body = {"__annotations__": annotations, "__doc__": (cls.__doc__ or "").strip().splitlines()[0], "__module__": __name__}
    return type(f"CLASPWRIGHT_PG_{kind}", (bpy.types.PropertyGroup,), body)


def form_of(scene: bpy.types.Scene, kind: str) -> Any:
    """The form of a kind in this scene."""
    return getattr(document.settings(scene), f"form_{kind}")


FORMS: dict[str, type] = {}


def register() -> None:
    for kind in KINDS:
        FORMS[kind] = _form(kind)
        bpy.utils.register_class(FORMS[kind])


def unregister() -> None:
    for made in reversed(FORMS.values()):
        bpy.utils.unregister_class(made)
    FORMS.clear()
