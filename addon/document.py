"""The case document inside the scene: JSON text in a property, so that undo, save and reopen carry it.

What is parsed or computed from it is kept outside only as a cache keyed by that text: undo changes the text and never asks Python.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from functools import lru_cache
from typing import Any

import bpy

from ..core.case import Case, case_from_json, case_to_json
from ..core.errors import CaseError

notices: dict[str, str] = {}  # scene name: one line for the panel; of this session only


def settings(scene: bpy.types.Scene) -> Any:
    """The add-on's property group of a scene."""
    return scene.claspwright  # type: ignore[attr-defined]


@lru_cache(maxsize=16)
def _parsed(text: str, folder: str) -> Case:
    return case_from_json(json.loads(text), folder=folder)


def find_case(scene: bpy.types.Scene) -> Case | None:
    """The scene's case, or None where no cast is open. Raises CaseError for a document that this release cannot read."""
    own = settings(scene)
    if not own.case_text:
        return None
    try:
        return _parsed(own.case_text, bpy.path.abspath(own.folder))
    except ValueError as error:
        raise CaseError("the case in this file is damaged; open the case file again") from error


def need_case(scene: bpy.types.Scene) -> Case:
    """The scene's case. Raises CaseError where no cast is open."""
    case = find_case(scene)
    if case is None:
        raise CaseError("no cast is open in this scene; open a scan or a case file first")
    return case


def as_json(case: Case) -> dict[str, Any]:
    """The document as plain values, for a working process."""
    return case_to_json(case)


def store(scene: bpy.types.Scene, case: Case) -> None:
    """Validate and write the case into the scene. Raises CaseError before anything is written."""
    text = json.dumps(case_to_json(case), ensure_ascii=False, allow_nan=False)
    _parsed(text, case.folder)
    own = settings(scene)
    if own.case_text != text:
        own.case_text = text
    if bpy.path.abspath(own.folder) != case.folder:
        own.folder = case.folder


def notice(scene: bpy.types.Scene, words: str) -> None:
    """One line for the panel; empty takes it away."""
    notices[scene.name] = words


def _digest(*parts: Any) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def case_key(case: Case, quick: bool) -> str:
    """Digest of everything that the shape of a build depends on: a person's judgement of its checks does not."""
    return _digest(json.dumps(case_to_json(dataclasses.replace(case, overrules=())), sort_keys=True), quick)


def search_key(case: Case) -> str:
    """Digest of everything that a search for a path depends on: the case but for the tilt that it has now."""
    bare = dataclasses.replace(case, path=dataclasses.replace(case.path, anteroposterior_deg=0.0, lateral_deg=0.0), overrules=())
    return _digest(json.dumps(case_to_json(bare), sort_keys=True))


def teeth_key(case: Case) -> str:
    """Digest of everything that the crowns depend on."""
    marks = [(t.fdi, t.seeds) for t in case.chart.teeth if t.seeds]
    return _digest(case.cast, marks, case.chart.missing, case.chart.not_here) if marks else "none"
