"""What a made-up cast should be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ..errors import CaseError


@dataclass(frozen=True)
class PhantomSpec:
    """A made-up cast. Teeth are FDI numbers.

    missing : lost teeth, whose place is a gap with a healed ridge
    absent : teeth that never stood there, so that the arch ends before them (third molars)
    tilts : extra lean of single crowns, degrees (toward mesial, toward the face)
    turns : turn of single crowns about their long axis, degrees, mesial side toward the face positive
    scales : size of single crowns over the average; crowns vary by about 7 % (standard deviation, handbook section 10)
    noise_mm : standard deviation of scan noise along the surface normal
    triangles : wished number of triangles, kept within about a fifth
    open_surface : only what an intra-oral scanner sees, without trimmed walls and base
    variation : 0 for average teeth in an even arch, 1 for the small irregularities of a real one
    seed : same seed, same cast
    """

    arch: str
    missing: tuple[int, ...] = ()
    absent: tuple[int, ...] = ()
    tilts: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    turns: Mapping[int, float] = field(default_factory=dict)
    scales: Mapping[int, float] = field(default_factory=dict)
    noise_mm: float = 0.0
    triangles: int = 200_000
    open_surface: bool = False
    variation: float = 1.0
    seed: int = 1

    def __post_init__(self) -> None:
        if self.arch not in ("upper", "lower"):
            raise CaseError(f'phantom: arch must be "upper" or "lower", not {self.arch!r}')
        known = self.sites
        for name in ("missing", "absent", "tilts", "turns", "scales"):
            wrong = [fdi for fdi in getattr(self, name) if fdi not in known]
            if wrong:
                raise CaseError(f"phantom: {name} names tooth {wrong[0]}, which is not in the {self.arch} arch")
        if any(fdi % 10 != 8 for fdi in self.absent):
            raise CaseError("phantom: only third molars may be absent; list other teeth as missing")
        if any(not 0.7 <= scale <= 1.4 for scale in self.scales.values()):
            raise CaseError("phantom: scales must be 0.7 to 1.4, the range of sizes of whole crowns")
        if not 0.0 <= self.noise_mm <= 0.5:
            raise CaseError(f"phantom: noise_mm must be 0 to 0.5, not {self.noise_mm}")
        if not 5_000 <= self.triangles <= 2_000_000:
            raise CaseError(f"phantom: triangles must be 5,000 to 2,000,000, not {self.triangles}")
        if not self.standing:
            raise CaseError("phantom: no tooth is left standing")

    @property
    def sites(self) -> tuple[int, ...]:
        """Every FDI number of the arch."""
        return tuple(q * 10 + k for q in ((1, 2) if self.arch == "upper" else (3, 4)) for k in range(1, 9))

    @property
    def standing(self) -> tuple[int, ...]:
        """Teeth that stand."""
        return tuple(fdi for fdi in self.sites if fdi not in self.missing and fdi not in self.absent)


_NO_UPPER_THIRDS = (18, 28)
_NO_LOWER_THIRDS = (38, 48)

SAMPLES: dict[str, PhantomSpec] = {
    "lower_full": PhantomSpec("lower", absent=_NO_LOWER_THIRDS, seed=11),
    "upper_full": PhantomSpec("upper", absent=_NO_UPPER_THIRDS, seed=12),
    "lower_class_i": PhantomSpec("lower", missing=(35, 36, 37, 45, 46, 47), absent=_NO_LOWER_THIRDS, seed=13),
    "upper_class_iii_mod_1": PhantomSpec("upper", missing=(15, 16, 25, 26), absent=_NO_UPPER_THIRDS, scales={14: 1.12, 24: 1.12}, seed=14),
}
