"""What only the dentist knows and the chart does not say yet, as questions in the words of the trade.

What the scan gives is measured; the rest is asked for. A design can be drafted without the answers, so nothing here stops anything.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from .clasps import IBar, TBar
from .document import Case, ToothEntry


@dataclass(frozen=True)
class Question:
    """field : of the chart; teeth : FDI numbers that it is asked of, none where it is asked of the whole mouth"""

    field: str
    words: str
    teeth: tuple[int, ...] = ()

    def __str__(self) -> str:
        return f"{self.words} ({', '.join(map(str, self.teeth))})" if self.teeth else self.words


_OF_TEETH: tuple[tuple[str, str, Callable[[ToothEntry], bool]], ...] = (
    ("mobility", "How mobile is each tooth: degree 0, 1, 2 or 3?", lambda t: t.mobility is None),
    ("root_support", "How well is each root supported by bone: good, fair or poor?", lambda t: not t.root_support),
    (
        "restoration_material", "What would a rest or an arm lie on: enamel, or a restoration of which material?",
        lambda t: not t.restoration_material,
    ),
)  # fmt: skip


def open_questions(case: Case) -> tuple[Question, ...]:
    """In the order in which a mouth is charted; the facial sulcus only where a bar clasp comes out of it."""
    chart = case.chart
    stay = [t for t in chart.teeth if not t.to_extract]
    asked = [Question(field, words, tuple(t.fdi for t in stay if unknown(t))) for field, words, unknown in _OF_TEETH]
    found = [q for q in asked if q.teeth]
    lingual = any(e.side == "lingual" for e in chart.sulcus)
    if case.cast.arch == "lower" and chart.sulcus_mm is None and not lingual:
        found.append(Question("sulcus_mm", "How deep is the lingual sulcus at its shallowest, in mm from the gingival margin?"))
    charted = {e.fdi for e in chart.sulcus if e.side == "facial"}
    bare = tuple(sorted({c.tooth for c in case.components if isinstance(c, IBar | TBar)} - charted))
    if bare:
        found.append(Question("sulcus", "How deep is the facial sulcus beside each tooth, in mm from the gingival margin?", bare))
    if not chart.aesthetic and "aesthetic" not in chart.nothing_found:
        found.append(Question("aesthetic", "Which teeth and spaces show when the patient speaks and smiles?"))
    if not chart.soft_tissue and "soft_tissue" not in chart.nothing_found:
        found.append(Question("soft_tissue", "Where is there a torus, a frenum, a flabby or sharp ridge, a bony undercut or sore tissue?"))
    return tuple(found)
