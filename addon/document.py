"""The case document inside the scene: JSON text in a property, so that undo, save and reopen carry it.

What is parsed or computed from it is kept here too, but only as a cache keyed by that text: undo changes the text and never asks Python.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import bpy

from ..core.case import Case, case_from_json, case_to_json
from ..core.errors import CaseError

if TYPE_CHECKING:
    from ..core.cast import Cast
    from ..core.pipeline import Build


@dataclasses.dataclass
class Cache:
    """Heavy results of this session; every one names the input it belongs to."""

    cast_key: str = ""
    cast: Cast | None = None
    build_key: str = ""
    build: Build | None = None

    def clear(self) -> None:
        """Forget everything."""
        self.cast_key, self.cast, self.build_key, self.build = "", None, "", None


cache = Cache()


def settings(scene: bpy.types.Scene) -> Any:
    """The add-on's property group of a scene."""
    return scene.claspwright  # type: ignore[attr-defined]


@lru_cache(maxsize=16)
def _parsed(text: str, folder: str) -> Case:
    return case_from_json(json.loads(text), folder=folder)


def find_case(scene: bpy.types.Scene) -> Case | None:
    """The scene's case, or None where no cast is open."""
    own = settings(scene)
    if not own.case_text:
        return None
    return _parsed(own.case_text, bpy.path.abspath(own.folder))


def need_case(scene: bpy.types.Scene) -> Case:
    """The scene's case. Raises CaseError where no cast is open."""
    case = find_case(scene)
    if case is None:
        raise CaseError("no cast is open in this scene; open a scan or a case file first")
    return case


def store(scene: bpy.types.Scene, case: Case) -> None:
    """Validate and write the case into the scene. Raises CaseError before anything is written."""
    text = json.dumps(case_to_json(case), ensure_ascii=False, allow_nan=False)
    _parsed(text, case.folder)
    own = settings(scene)
    if own.case_text != text:
        own.case_text = text
    if own.folder != case.folder:
        own.folder = case.folder


def case_key(scene: bpy.types.Scene) -> str:
    """Digest of everything that a build depends on."""
    own = settings(scene)
    return hashlib.sha256(f"{own.case_text}\n{bpy.path.abspath(own.folder)}".encode()).hexdigest()


def cast_key(case: Case) -> str:
    """Digest of everything that the cast in the view depends on."""
    return hashlib.sha256(repr((case.cast, case.folder)).encode()).hexdigest()


def teeth_key(case: Case) -> str:
    """Digest of everything that the crowns depend on."""
    marks = [(t.fdi, t.seeds) for t in case.chart.teeth]
    return hashlib.sha256(repr((case.cast, marks, case.chart.missing)).encode()).hexdigest()
