"""From JSON to frozen dataclasses and back, with errors that name the field. Small on purpose: only what a case file uses."""

from __future__ import annotations

import dataclasses
import types
import typing
from typing import Any, TypeVar, Union, get_args, get_origin

from ..errors import CaseError

T = TypeVar("T")
PROXIMAL = ("mesial", "distal")
FACES = ("facial", "lingual")
_LARGEST = 1e12
"""Beyond any length, price or strength in any unit; whole numbers of any size are compared with it, infinity and NaN fail."""


def option(default: Any = dataclasses.MISSING, *, low: float | None = None, high: float | None = None, choices: tuple = ()) -> Any:
    """A dataclass field with the limits that `parse` enforces; numbers are in the unit the field's name ends with."""
    return dataclasses.field(default=default, metadata={"low": low, "high": high, "choices": choices})


def fdi() -> Any:
    """A field that holds a tooth's FDI number (ISO 3950)."""
    return option(low=11, high=48)


def parse(cls: type[T], data: Any, where: str) -> T:
    """Build the dataclass `cls` from a JSON object. Raises CaseError that names `where` and the field."""
    if not isinstance(data, dict):
        raise CaseError(f"{where}: an object is needed, not {_kind(data)}")
    fields = {f.name: f for f in dataclasses.fields(cls)}  # type: ignore[arg-type]
    hints = typing.get_type_hints(cls)
    unknown = sorted(set(data) - set(fields))
    if unknown:
        raise CaseError(f"{where}.{unknown[0]}: no such field; known are {', '.join(sorted(fields))}")
    values = {}
    for name, field in fields.items():
        if name in data:
            values[name] = _value(hints[name], data[name], f"{where}.{name}", field.metadata)
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise CaseError(f"{where}.{name}: missing; add it")
    return cls(**values)


def _kind(data: Any) -> str:
    names = {dict: "an object", list: "a list", str: "text", bool: "true/false", int: "a number", float: "a number", type(None): "null"}
    return names.get(type(data), type(data).__name__)


def _value(hint: Any, data: Any, where: str, meta: Any) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        inner = [a for a in get_args(hint) if a is not type(None)]
        return None if data is None else _value(inner[0], data, where, meta)
    if origin is tuple:
        return _sequence(hint, data, where, meta)
    if origin is dict:
        if not isinstance(data, dict):
            raise CaseError(f"{where}: an object is needed, not {_kind(data)}")
        return {str(k): _value(get_args(hint)[1], v, f"{where}.{k}", meta) for k, v in data.items()}
    if dataclasses.is_dataclass(hint):
        return parse(typing.cast(type, hint), data, where)
    return _scalar(hint, data, where, meta)


def _sequence(hint: Any, data: Any, where: str, meta: Any) -> tuple:
    inner = get_args(hint)
    if not isinstance(data, list | tuple):
        raise CaseError(f"{where}: a list is needed, not {_kind(data)}")
    if inner[-1] is Ellipsis:
        return tuple(_value(inner[0], item, f"{where}[{k}]", meta) for k, item in enumerate(data))
    if len(data) != len(inner):
        raise CaseError(f"{where}: {len(inner)} entries are needed, not {len(data)}")
    return tuple(_value(h, item, f"{where}[{k}]", meta) for k, (h, item) in enumerate(zip(inner, data, strict=True)))


def _scalar(hint: Any, data: Any, where: str, meta: Any) -> Any:
    if hint is float:
        if isinstance(data, bool) or not isinstance(data, int | float) or not abs(data) <= _LARGEST:
            raise CaseError(f"{where}: a finite number is needed, not {_kind(data)}")
        data = float(data)
    elif hint is int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise CaseError(f"{where}: a whole number is needed, not {_kind(data)}")
    elif not isinstance(data, hint):
        raise CaseError(
            f"{where}: {'text' if hint is str else 'true or false' if hint is bool else hint.__name__} is needed, not {_kind(data)}"
        )
    if isinstance(data, str) and not _writable(data):
        raise CaseError(f"{where}: the text holds a control character or half a character; take it out")
    low, high, choices = meta.get("low"), meta.get("high"), meta.get("choices")
    if choices and data not in choices:
        raise CaseError(f"{where}: {str(data)[:40]!r} is not one of {', '.join(map(str, choices))}")
    if (
        isinstance(data, int | float)
        and not isinstance(data, bool)
        and ((low is not None and data < low) or (high is not None and data > high))
    ):
        raise CaseError(f"{where}: {str(data)[:40]} is outside {low} to {high}")
    return data


def _writable(text: str) -> bool:
    """Whether every file that is made can hold it: the characters of XML 1.0 (section 2.2), which UTF-8 can all write."""
    return all(c >= " " or c in "\t\n\r" for c in text) and not any("\ud800" <= c <= "\udfff" or c in "\ufffe\uffff" for c in text)


def unparse(value: Any) -> Any:
    """The JSON form of a dataclass tree; fields that hold their default are left out, so files stay short."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        out = {}
        for f in dataclasses.fields(value):
            item = getattr(value, f.name)
            default = (
                f.default
                if f.default is not dataclasses.MISSING
                else f.default_factory()
                if callable(f.default_factory)
                else dataclasses.MISSING
            )
            if default is dataclasses.MISSING or item != default:
                out[f.name] = unparse(item)
        return out
    if isinstance(value, dict):
        return {str(k): unparse(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [unparse(v) for v in value]
    return value
