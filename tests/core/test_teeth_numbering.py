"""Tooth numbers against ISO 3950 and the published Universal table (1 to 16 over the upper, 17 to 32 over the lower arch)."""

from __future__ import annotations

import pytest
from claspwright.core.errors import CaseError
from claspwright.core.teeth import numbering

# Universal number by FDI number, written out from the published tables of both systems.
UNIVERSAL = {18: 1, 14: 5, 11: 8, 21: 9, 24: 12, 28: 16, 38: 17, 36: 19, 31: 24, 41: 25, 46: 30, 48: 32}


@pytest.mark.parametrize(("fdi", "universal"), UNIVERSAL.items())
def test_universal(fdi: int, universal: int) -> None:
    assert numbering.universal(fdi) == universal
    assert numbering.from_universal(universal) == fdi


def test_all_numbers_once() -> None:
    every = numbering.UPPER + numbering.LOWER
    assert sorted(every) == [10 * q + p for q in (1, 2, 3, 4) for p in range(1, 9)]
    assert sorted(numbering.universal(n) for n in every) == list(range(1, 33))


@pytest.mark.parametrize("wrong", [0, 10, 19, 29, 51, 85, 90])
def test_wrong_numbers_are_named(wrong: int) -> None:
    with pytest.raises(CaseError, match=str(wrong)):
        numbering.quadrant(wrong)


@pytest.mark.parametrize(
    ("fdi", "mesial", "distal"),
    [(11, 21, 12), (21, 11, 22), (16, 15, 17), (26, 25, 27), (31, 41, 32), (46, 45, 47), (18, 17, None), (28, 27, None), (38, 37, None)],
)
def test_neighbours(fdi: int, mesial: int, distal: int | None) -> None:
    assert numbering.neighbours(fdi) == (mesial, distal)


def test_sides_follow_the_cast_frame() -> None:
    """X is the viewer's right in an occlusal view: the patient's right of a lower cast, the patient's left of an upper one."""
    assert [numbering.side(n) for n in (11, 21, 31, 41)] == [-1, 1, -1, 1]
