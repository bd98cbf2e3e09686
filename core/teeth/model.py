"""What is known of the teeth of a cast: one record a crown, one for the arch."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import CaseError
from ..mesh import Bools, Floats, Ints
from . import numbering

Labels = NDArray[np.integer]
"""FDI numbers, 0 for tissue; int16 when one a vertex."""
COLLAR_MM = 1.5


@dataclass(frozen=True, eq=False)
class Tooth:
    """One crown in the cast frame, mm.

    margin : (k, 3) closed polyline on the surface (last point not repeated), counter-clockwise seen from outside
    shared : (k,) FDI number of the crown on the other side of the margin there, 0 where it is tissue
    supported : (k,) False where no groove in the surface shows the margin (shared contacts, worn or fused stretches)
    centre : (3,) centroid of the crown's volume above its margin
    axis : (3,) unit, estimate of the crown's long axis, occlusally
    mesial, facial : (3,) unit, perpendicular to Z and to each other
    cusps : (c, 3) cusp tips (or points of the incisal edge), highest first
    faces : indices into the faces of the cast's mesh
    collar : indices of the tissue faces within about COLLAR_MM of the margin
    flags : plain words on what is unsure
    """

    fdi: int
    margin: Floats
    centre: Floats
    axis: Floats
    mesial: Floats
    facial: Floats
    cusps: Floats
    faces: Ints
    flags: tuple[str, ...] = ()
    collar: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    shared: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    supported: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def direction(self, side: str) -> Floats:
        """(3,) unit vector of "mesial", "distal", "facial" or "lingual". Raises CaseError for another word."""
        table = {"mesial": self.mesial, "distal": -self.mesial, "facial": self.facial, "lingual": -self.facial}
        if side not in table:
            raise CaseError(f"a side of a tooth is mesial, distal, facial or lingual, not {side!r}")
        return table[side]

    def flagged(self, *words: str) -> Tooth:
        """A copy with more flags."""
        return replace(self, flags=self.flags + words)


@dataclass(frozen=True, eq=False)
class Teeth:
    """All crowns of a cast.

    labels : (n,) int16 FDI number a vertex, 0 for tissue
    teeth : by FDI number
    missing : FDI numbers that are known to be missing
    taken_out : crowns that the scan shows and that are to be taken out, by FDI number; they are none of `teeth`
    """

    arch: str
    labels: Labels
    teeth: dict[int, Tooth]
    missing: tuple[int, ...] = ()
    taken_out: dict[int, Tooth] = field(default_factory=dict)

    def __getitem__(self, fdi: int) -> Tooth:
        if fdi not in self.teeth:
            marked = ", ".join(map(str, sorted(self.teeth))) or "none"
            raise CaseError(f"tooth {fdi} is not among the marked teeth ({marked}); mark it first")
        return self.teeth[fdi]

    def __contains__(self, fdi: int) -> bool:
        return fdi in self.teeth

    def without(self, numbers: tuple[int, ...]) -> Teeth:
        """The teeth that stand once these are taken out: their crowns count as tissue, their numbers as missing."""
        gone = [n for n in numbers if n in self.teeth]
        if not gone:
            return self
        labels = np.where(np.isin(self.labels, gone), 0, self.labels).astype(self.labels.dtype)
        left = {n: replace(t, shared=np.where(np.isin(t.shared, gone), 0, t.shared)) for n, t in self.teeth.items() if n not in gone}
        taken_out = {**self.taken_out, **{n: self.teeth[n] for n in gone}}
        return Teeth(self.arch, labels, left, tuple(sorted({*self.missing, *gone})), taken_out)

    @property
    def ordered(self) -> tuple[Tooth, ...]:
        """From -X to +X of the cast frame, along the arch."""
        return tuple(self.teeth[n] for n in numbering.order(self.arch) if n in self.teeth)

    def next_to(self, fdi: int, side: str) -> Tooth | None:
        """The tooth standing directly "mesial" or "distal" of this one, or None where there is a gap or the end of the row."""
        mesial, distal = numbering.neighbours(fdi)
        return self.teeth.get((mesial if side == "mesial" else distal) or 0)
