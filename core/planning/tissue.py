"""What the charted tissue asks of a plan, in words: what to do before the final impression, and what to relieve."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Chart
from ..teeth.numbering import arch_of

_COMMON = "common practice"
_MCCRACKEN = "McCracken's Removable Partial Prosthodontics, from memory"
ASKS: dict[str, tuple[str, str]] = {
    "flabby ridge": ("it gives under load: record it without pressure, relieve the base there, or have it reduced", _MCCRACKEN),
    "sharp ridge": ("it hurts under a base: relieve the base over it, or have it smoothed before the final impression", _MCCRACKEN),
    "bony undercut": ("flanges and bar clasps stand off there or catch: does the path clear it? Else relief or surgery", _MCCRACKEN),
    "sore or inflamed tissue": ("let it heal before the final impression: it changes its form", _MCCRACKEN),
    "other": ("the plan does not weigh it: look whether a part lies there", _COMMON),
}
"""By kind of tissue: what it asks, and the source. A torus and a frenum are weighed where connector and clasps are chosen."""


def tissue_asks(chart: Chart, arch: str) -> Iterator[str]:
    """One line for each charted finding of an arch that no choice of the draft answers."""
    for entry in chart.soft_tissue:
        if entry.kind in ASKS and (not entry.near or any(arch_of(t) == arch for t in entry.near)):
            words, source = ASKS[entry.kind]
            where = f" near {', '.join(map(str, entry.near))}" if entry.near else ""
            note = f" ({entry.notes})" if entry.notes else ""
            yield f"{entry.kind}{where}{note}: {words} ({source})"
