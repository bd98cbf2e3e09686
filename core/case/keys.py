"""Digests of what a shape hangs on: two documents with the same key give the same shape. Cheap, for a window that asks at every move."""

from __future__ import annotations

import hashlib

from ..errors import CaseError
from .components import Component
from .document import Case

CUT_KINDS = ("occlusal_rest", "cingulum_rest", "incisal_rest", "guide_plate")  # for these something is cut into the teeth


def key_of(*parts: object) -> str:
    """A digest of parts that are told apart by their text: frozen dataclasses of numbers and words, tuples, other keys."""
    return hashlib.sha256("\x1f".join(repr(p) for p in parts).encode("utf-8")).hexdigest()


def named(case: Case, name: str) -> Component:
    """The component of this id. Raises CaseError where the case has none."""
    chosen = next((c for c in case.components if c.id == name), None)
    if chosen is None:
        raise CaseError(f"there is no component {name[:40]!r} in this case")
    return chosen


def part_key(case: Case, name: str) -> str:
    """Digest of what one component's shape hangs on beside the cuts in the cast. Raises CaseError where there is no such component.

    What stands on a tooth looks at its neighbours' numbers and at the connectors; a connector only asks which parts stand where.
    """
    chosen = named(case, name)
    tooth: int | None = getattr(chosen, "tooth", None)
    stands = [(c.kind, c.id, getattr(c, "tooth", 0), getattr(c, "side", "")) for c in case.components]
    wide = [c for c in case.components if not hasattr(c, "tooth") or (tooth is not None and _beside(tooth, c.tooth))]
    return key_of(case.cast, case.chart, case.path, chosen, wide, stands)


def cuts_key(case: Case) -> str:
    """Digest of what is cut into the cast for the components: seats and guide planes."""
    return key_of(case.cast, case.chart, case.path, [c for c in case.components if c.kind in CUT_KINDS], case.manufacture)


def _beside(a: int, b: int) -> bool:
    return abs(a - b) <= 1 or a % 10 == b % 10 == 1
