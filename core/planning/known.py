"""What is known before a draft is written: what trials on the cast have shown, and what the scan does not."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from .option import Key


@dataclass(frozen=True)
class Known:
    """barred : clasps that were tried and cannot be, with the reason; denied : other parts, by id, that could not be built, with the reason

    slight : clasps whose cast arm is made slighter, because the usual one was strained too far
    palate : the scan shows a palate for a connector to cross; stouter : steps by which a U-shaped plate is thickened
    """

    barred: Mapping[Key, str] = field(default_factory=dict)
    denied: Mapping[str, str] = field(default_factory=dict)
    slight: Collection[Key] = ()
    palate: bool = True
    stouter: int = 0


NOTHING = Known()
