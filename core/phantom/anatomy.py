"""All of a mouth as one field: crowns, collars and lining, and which of them the surface belongs to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats, Ints
from .arch import ArchCurve, Placed, arch_curve, place, stations
from .crowns import ROOT, make_crown
from .gingiva import Collar, rises
from .shapes import Ripple, smooth_min
from .spec import PhantomSpec
from .tissue import Sections, Tissue, sections

_WEB = 0.85  # the impression tears in the narrow gaps beside a contact, so the stone fills them; mm
CREASE = 0.25  # fills the finest clefts between crown and gum, as stone does; mm
_FAR = 6.0  # value of the field of a part that is out of reach, mm


@dataclass(frozen=True, eq=False)
class Anatomy:
    """The mouth of one specification. row : the arch before any tooth was lost (without those that never stood there)."""

    curve: ArchCurve
    shape: Sections
    tissue: Tissue
    teeth: dict[int, Placed]
    row: dict[int, Placed]
    collars: dict[int, Collar]
    ripple: Ripple

    def parts(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Field of the nearest crown, its FDI number, and field of the gum, (k,) each at (k, 3) points."""
        crown, nearest = np.full(len(points), _FAR), np.full(len(points), _FAR)
        owner = np.zeros(len(points), dtype=np.int64)
        gum = self.tissue.ridge(points)
        for fdi, tooth in self.teeth.items():
            size = tooth.crown.size
            reach = 0.5 * max(size.mesiodistal, size.faciolingual) + 4.5
            near = np.flatnonzero(np.abs(points[:, 0] - tooth.origin[0]) + np.abs(points[:, 1] - tooth.origin[1]) < 1.45 * reach)
            local = tooth.to_local(points[near])
            inside = (np.hypot(local[:, 0], local[:, 1]) < reach) & (local[:, 2] > -ROOT - 6.0) & (local[:, 2] < size.height + 3.0)
            near, local = near[inside], local[inside]
            own = tooth.crown(local)
            gum[near] = smooth_min(gum[near], self.collars[fdi](local, own), 1.3)
            owner[near] = np.where(own < nearest[near], fdi, owner[near])
            nearest[near] = np.minimum(nearest[near], own)
            crown[near] = smooth_min(crown[near], own, _WEB)
        gum = self.tissue.join(gum, points)
        gum = gum + 0.06 * self.ripple(points)
        return crown, owner, gum

    def field(self, points: Floats) -> Floats:
        """(k,) field of everything, negative inside."""
        crown, _, gum = self.parts(points)
        return smooth_min(crown, gum, CREASE)


def make_anatomy(spec: PhantomSpec) -> Anatomy:
    """Build the mouth; small irregularities come from the seed."""
    rng = np.random.default_rng(spec.seed)
    crowns = {fdi: make_crown(fdi, spec.scales.get(fdi, 1.0)) for fdi in spec.sites}
    where = stations(crowns)
    curve = arch_curve(spec.arch)
    row: dict[int, Placed] = {}
    for fdi in spec.sites:
        jitter = rng.normal(size=5) * spec.variation  # drawn for every site, so that a gap does not change the other teeth
        if fdi in spec.absent:
            continue
        tilt = spec.tilts.get(fdi, (0.0, 0.0))
        lean = (tilt[0] + 1.2 * jitter[0], tilt[1] + 1.2 * jitter[1])
        turn = spec.turns.get(fdi, 0.0) + 2.0 * jitter[2]
        row[fdi] = place(crowns[fdi], spec.arch, curve, where[fdi], lean, turn, 0.15 * jitter[3:])
    teeth = {fdi: row[fdi] for fdi in spec.standing}
    collars = {}
    for fdi, tooth in teeth.items():
        mesial = fdi - 1 if fdi % 10 > 1 else {1: 21, 2: 11, 3: 41, 4: 31}[fdi // 10]
        collars[fdi] = Collar(tooth, *rises(tooth, teeth.get(mesial), teeth.get(fdi + 1)))
    shape = sections(spec.arch, curve, where, set(spec.missing), set(spec.absent))
    tissue = Tissue(spec.arch, curve, shape, rng)
    return Anatomy(curve, shape, tissue, teeth, row, collars, Ripple(rng, 9.0))
