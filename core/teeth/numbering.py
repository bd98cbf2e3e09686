"""Tooth numbers: the two-digit designation of ISO 3950 (FDI) inside, the Universal numbers for showing.

Source: ISO 3950 (quadrants 1 upper right, 2 upper left, 3 lower left, 4 lower right; position 1 central incisor to 8 third molar).
Universal numbers run 1 to 16 over 18..28 and 17 to 32 over 38..48.
"""

from __future__ import annotations

from ..errors import CaseError

UPPER = (18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28)
"""From the viewer's left to the viewer's right in an occlusal view: the cast frame's -X to +X."""
LOWER = (38, 37, 36, 35, 34, 33, 32, 31, 41, 42, 43, 44, 45, 46, 47, 48)
"""From the viewer's left to the viewer's right in an occlusal view: the cast frame's -X to +X."""
_UNIVERSAL = UPPER + LOWER

NAMES = ("central incisor", "lateral incisor", "canine", "first premolar", "second premolar", "first molar", "second molar", "third molar")
_SIDES = {1: "upper right", 2: "upper left", 3: "lower left", 4: "lower right"}

CROWN_WIDTH_MM = {
    "upper": (8.5, 6.5, 7.5, 7.0, 7.0, 10.0, 9.0, 8.5),
    "lower": (5.0, 5.5, 7.0, 7.0, 7.0, 11.0, 10.5, 10.0),
}
"""Mesiodistal crown width by position 1 to 8, mm. Wheeler's average carving values."""


def check(fdi: int) -> int:
    """The number itself. Raises CaseError when it is no permanent tooth of ISO 3950."""
    if fdi not in _UNIVERSAL:
        raise CaseError(f"{fdi} is no tooth number; write permanent teeth as 11 to 18, 21 to 28, 31 to 38, 41 to 48 (ISO 3950)")
    return int(fdi)


def quadrant(fdi: int) -> int:
    """1 upper right, 2 upper left, 3 lower left, 4 lower right (the patient's sides)."""
    return check(fdi) // 10


def position(fdi: int) -> int:
    """1 central incisor to 8 third molar."""
    return check(fdi) % 10


def arch_of(fdi: int) -> str:
    """ "upper" or "lower"."""
    return "upper" if quadrant(fdi) in (1, 2) else "lower"


def order(arch: str) -> tuple[int, ...]:
    """The sixteen numbers of an arch from -X to +X of the cast frame. Raises CaseError for another word than upper or lower."""
    if arch not in ("upper", "lower"):
        raise CaseError(f"the arch is 'upper' or 'lower', not {arch!r}")
    return UPPER if arch == "upper" else LOWER


def side(fdi: int) -> int:
    """-1 where the tooth stands at -X of the cast frame (quadrants 1 and 3), +1 where it stands at +X (2 and 4)."""
    return -1 if quadrant(fdi) in (1, 3) else 1


def is_anterior(fdi: int) -> bool:
    """Incisors and canines."""
    return position(fdi) <= 3


def is_molar(fdi: int) -> bool:
    """Positions 6 to 8."""
    return position(fdi) >= 6


def neighbours(fdi: int) -> tuple[int | None, int | None]:
    """(mesial, distal) neighbour in the full arch; the mesial neighbour of a central incisor is the other central."""
    row = order(arch_of(fdi))
    i = row.index(fdi)
    left = row[i - 1] if i > 0 else None
    right = row[i + 1] if i < 15 else None
    return (right, left) if side(fdi) < 0 else (left, right)


def universal(fdi: int) -> int:
    """1 to 32."""
    return _UNIVERSAL.index(check(fdi)) + 1 if arch_of(fdi) == "upper" else 17 + LOWER.index(fdi)


def from_universal(number: int) -> int:
    """FDI number of a Universal number. Raises CaseError outside 1 to 32."""
    if not 1 <= number <= 32:
        raise CaseError(f"{number} is no Universal tooth number; they run from 1 to 32")
    return _UNIVERSAL[number - 1]


def name(fdi: int) -> str:
    """Words, for example "lower left first molar"."""
    return f"{_SIDES[quadrant(fdi)]} {NAMES[position(fdi) - 1]}"


def crown_width(fdi: int) -> float:
    """Average mesiodistal crown width, mm (Wheeler)."""
    return CROWN_WIDTH_MM[arch_of(fdi)][position(fdi) - 1]
