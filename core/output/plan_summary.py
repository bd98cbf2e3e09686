"""The plan in a few sentences, for the first page beside the drawing: what is replaced, what bears it, what holds it, what is left open."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from ..case import BackActionArm, BeadPlate, Component, ExtendedArm, GuidePlate, IBar, RetentiveArm, RingArm, TBar, WireArm
from ..planning import Design
from ..planning.design import tip_face
from ..survey import Path
from ..teeth.numbering import neighbours
from .wording import describe, tilt_words

_CLASPS: tuple[tuple[type, str], ...] = (
    (RetentiveArm, "cast arm"), (IBar, "I-bar"), (TBar, "T-bar"), (WireArm, "wrought wire with a cast arm against it"),
    (RingArm, "ring clasp"), (ExtendedArm, "extended arm"), (BackActionArm, "back-action arm"),
)  # fmt: skip


def in_short(design: Design, path: Path, left_open: Sequence[str], foretold: Sequence[str]) -> str:
    """A paragraph a group of parts; HTML, all text escaped."""
    rows = [
        ("Path", tilt_words(path.anteroposterior_deg, path.lateral_deg, design.arch)),
        ("Bases", "; ".join(_base(design, b) for b in design.bases)),
        ("Support", _support(design)),
        ("Retention", "; ".join(_clasp(design, kind, word) for kind, word in _CLASPS if any(isinstance(a, kind) for a in design.arms))),
        ("Turning", _turning(design)),
        ("Guidance", f"guide planes on {_list(f'{p.tooth} {p.side}' for p in design.all(GuidePlate))}"),
        ("Connector", "; ".join(describe(c).part.lower() for c in design.connectors)),
        ("Not settled", "; ".join((*left_open, *(f"a build will find: {w}" for w in foretold)))),
    ]  # fmt: skip
    body = "".join(f"<tr><th>{name}</th><td>{escape(words)}</td></tr>" for name, words in rows if words)
    return f'<table class="short"><colgroup><col style="width:14%"><col></colgroup>{body}</table>'


def _base(design: Design, base: Component) -> str:
    teeth = getattr(base, "teeth", ())
    space = next((s for s in design.classification.spaces if set(s.teeth) & set(teeth)), None)
    borne = f", borne by {space.support}" if space is not None else ""
    return f"{_list(teeth)} ({'metal base' if isinstance(base, BeadPlate) else 'lattice'}{borne})"


def _support(design: Design) -> str:
    named = [f"{r.tooth} {getattr(r, 'side', 'cingulum')}" for r in design.rests]
    return f"rests on {_list(named)}" if named else ""


def _clasp(design: Design, kind: type, word: str) -> str:
    own = [a for a in design.arms if isinstance(a, kind)]
    named = []
    for arm in own:
        words = f"{arm.tooth} {tip_face(arm)}"
        beside = dict(zip(("mesial", "distal"), neighbours(arm.tooth), strict=True)).get(getattr(arm, "origin", ""))
        if isinstance(arm, RetentiveArm) and beside in design.standing:
            words += f" (through the embrasure to {beside})"
        named.append(f"{words}, {arm.gauge_mm:g} mm")
    return f"{word}{'s' if len(own) > 1 and ' ' not in word else ''} on {_list(named)}"


def _turning(design: Design) -> str:
    if not design.fulcrums:
        return "none: borne by teeth at both ends of every space"
    lines = _list(f"{f.first} to {f.second}" for f in design.fulcrums)
    ends = {t for f in design.fulcrums for t in (f.first, f.second)}
    against = [str(t) for t in design.rested if t not in ends]
    return f"about the line {lines}; rests off it on {_list(against)}" if against else f"about the line {lines}; no rest stands off it"


def _list(items: Iterable[object]) -> str:
    return ", ".join(str(i) for i in items)
