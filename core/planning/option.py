"""What is weighed when a clasp is chosen: a kind at a place with what speaks for and against it, and what the arch asks for."""

from __future__ import annotations

from dataclasses import dataclass

from .abutment import REACH_DEG, Abutment

CIRCLET, REVERSE, I_BAR, RING, WIRE = "cast circumferential", "reverse circumferential", "I-bar", "ring with auxiliary rest", "wrought wire"
T_BAR, EXTENDED, BACK_ACTION, EMBRASURE = "half T-bar", "extended arm", "back-action", "embrasure"
TIP_MARGIN_MM = 1.0
SHORT_CROWN_MM = 5.0  # own limit: arm, tip and their distances hardly find room on less

Key = tuple[int, str, str, str]


@dataclass(frozen=True)
class Option:
    """kind; origin and face of the retentive arm; points, the higher the better; reasons in words; vetoes : why it cannot be

    reach_deg : how far round the crown the arm goes
    """

    kind: str
    origin: str
    face: str
    points: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    vetoes: tuple[str, ...] = ()
    reach_deg: float = REACH_DEG

    @property
    def possible(self) -> bool:
        """Nothing forbids it on this tooth."""
        return not self.vetoes

    def key(self, tooth: int) -> Key:
        """What names it among all options of a draft."""
        return tooth, self.kind, self.origin, self.face


@dataclass(frozen=True)
class Setting:
    """What the arch asks of an abutment: towards : proximal side of the space; extension : it bears a free end; sulcus_mm : None unknown

    lattice : the base beside it is a lattice, which a bar, a wire or a strut can come from
    beyond : measured crown that stands on the side away from the space, None where none does
    shows : the chart says that the place shows; frenum : one is charted beside the tooth
    """

    towards: str
    extension: bool
    sulcus_mm: float | None
    lattice: bool = True
    beyond: Abutment | None = None
    shows: bool = False
    frenum: bool = False

    @property
    def away(self) -> str:
        """The other proximal side."""
        return "mesial" if self.towards == "distal" else "distal"
