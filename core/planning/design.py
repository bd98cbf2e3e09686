"""A case seen as a design: who stands where, what lies on which tooth. What the rules of critique ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from ..case import (
    AnyRest,
    BackActionArm,
    BeadPlate,
    Case,
    Component,
    ExtendedArm,
    GuidePlate,
    IBar,
    LatticeBase,
    LingualPlate,
    MinorConnector,
    OcclusalRest,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    TBar,
    UShapedPlate,
    WireArm,
)
from ..case.connectors import ConnectorPart
from ..mesh import Floats
from ..teeth.numbering import neighbours, order, side
from .classification import Classification, classify_chart, replaced_teeth, standing_teeth
from .support import Fulcrum, fulcrum_lines, nominal_positions

T = TypeVar("T", bound=Component)
Retainer = RetentiveArm | IBar | TBar | WireArm | RingArm | BackActionArm | ExtendedArm
Long = RingArm | BackActionArm
"""Arms that begin on one face and end on the other; their rigid part stands against their own tip."""
Major = ConnectorPart
Base = LatticeBase | BeadPlate


@dataclass(frozen=True, eq=False)
class Design:
    """case : the document; measured : middles of crowns (2,) or (3,) mm where a scan gives them, else an average arch stands in."""

    case: Case
    measured: Mapping[int, Floats] = field(default_factory=dict)

    @property
    def arch(self) -> str:
        """upper or lower"""
        return self.case.cast.arch

    @cached_property
    def classification(self) -> Classification:
        """Kennedy's class of the chart."""
        return classify_chart(self.arch, self.case.chart)

    @cached_property
    def standing(self) -> tuple[int, ...]:
        """Teeth that stand when the denture is worn."""
        return standing_teeth(self.case.chart)

    @cached_property
    def replaced(self) -> tuple[int, ...]:
        """Teeth that a base is to carry."""
        return replaced_teeth(self.case.chart)

    @cached_property
    def positions(self) -> dict[int, Floats]:
        """Middles of the crowns: measured ones before those of an average arch."""
        return {**nominal_positions(self.arch), **self.measured}

    def all(self, kind: type[T]) -> list[T]:
        """Components of a kind, in the order of the case."""
        return [c for c in self.case.components if isinstance(c, kind)]

    def on(self, tooth: int, kind: type[T]) -> list[T]:
        """Components of a kind that sit on a tooth."""
        return [c for c in self.all(kind) if getattr(c, "tooth", None) == tooth]

    @cached_property
    def arms(self) -> tuple[Retainer, ...]:
        """What flexes into an undercut."""
        return tuple(c for c in self.case.components if isinstance(c, Retainer))

    @cached_property
    def rests(self) -> tuple[AnyRest, ...]:
        """All rests."""
        return tuple(c for c in self.case.components if isinstance(c, AnyRest))

    @cached_property
    def connectors(self) -> tuple[Major, ...]:
        """All major connectors."""
        return tuple(c for c in self.case.components if isinstance(c, Major))

    @cached_property
    def rested(self) -> tuple[int, ...]:
        """Teeth that bear a rest."""
        return tuple(dict.fromkeys(c.tooth for c in self.rests))

    @cached_property
    def clasped(self) -> tuple[int, ...]:
        """Teeth with a retentive arm or bar."""
        return tuple(dict.fromkeys(c.tooth for c in self.arms))

    @cached_property
    def fulcrums(self) -> tuple[Fulcrum, ...]:
        """Lines about which the design can turn."""
        return fulcrum_lines(self.arch, self.classification, self.rested)

    @cached_property
    def extension_abutments(self) -> tuple[int, ...]:
        """Teeth next to a free end."""
        return tuple(t for s in self.classification.spaces if s.extension for t in s.abutments)

    @cached_property
    def abutments(self) -> tuple[int, ...]:
        """Teeth next to any space."""
        return tuple(dict.fromkeys(t for s in self.classification.spaces for t in s.abutments))

    def towards_space(self, tooth: int) -> tuple[str, ...]:
        """Proximal sides of a tooth that face a space: some of mesial, distal."""
        out = []
        for space in self.classification.spaces:
            if tooth in space.abutments:
                after = tooth == space.after  # the tooth at the +X end of the space: the space lies on its -X side
                faces_left = after
                mesial_is_left = side(tooth) > 0
                out.append("mesial" if faces_left == mesial_is_left else "distal")
        return tuple(dict.fromkeys(out))

    @cached_property
    def bases(self) -> tuple[Base, ...]:
        """All bases."""
        return tuple(c for c in self.case.components if isinstance(c, Base))

    def base_over(self, teeth: tuple[int, ...]) -> list[Base]:
        """Bases that carry any of these teeth."""
        return [b for b in self.bases if set(b.teeth) & set(teeth)]

    def borne(self, tooth: int) -> bool:
        """Whether something joins what lies on the tooth to the major connector or to a base."""
        shared = [n for n in neighbours(tooth) if n is not None and self._joined(tooth, n)]
        return bool(self.on(tooth, MinorConnector) or self.on(tooth, GuidePlate) or shared or self.plated(tooth))

    def plated(self, tooth: int) -> bool:
        """Whether a U-shaped or a lingual plate lies on its lingual face."""
        row = order(self.arch)

        def covers(plate: UShapedPlate | LingualPlate) -> bool:
            first, last = sorted(row.index(t) for t in (plate.start, plate.end))
            return first <= row.index(tooth) <= last

        plates = [c for c in self.case.components if isinstance(c, UShapedPlate | LingualPlate)]
        return any(covers(p) for p in plates if {p.start, p.end, tooth} <= set(row))

    def _joined(self, tooth: int, neighbour: int) -> bool:
        """Whether rests meet in the embrasure of two teeth and the neighbour's is borne, by a minor connector there or by a plate on it."""
        mine, its = ("mesial", "distal") if neighbours(tooth)[0] == neighbour else ("distal", "mesial")
        if neighbours(neighbour)[0] == tooth:
            its = "mesial"
        rests = any(r.side == mine for r in self.on(tooth, OcclusalRest)) and any(r.side == its for r in self.on(neighbour, OcclusalRest))
        return rests and (self.plated(neighbour) or any(m.side == its for m in self.on(neighbour, MinorConnector)))

    def braced(self, tooth: int) -> bool:
        """Whether something rigid stands against a retentive arm: a reciprocal arm, an arm's own rigid half, or plate and strut."""
        alone = any(isinstance(c, ReciprocalArm | Long) and c.tooth == tooth for c in self.case.components)
        return alone or self.plated(tooth) or bool(self.on(tooth, GuidePlate) and self.on(tooth, MinorConnector))


def tip_face(arm: Retainer) -> str:
    """The face on which a retentive tip lies: facial or lingual."""
    if isinstance(arm, IBar | TBar):
        return "facial"
    if isinstance(arm, Long):
        return "lingual" if arm.face == "facial" else "facial"
    return arm.face
