"""Alloys and wires of the trade, with ranges and sources. Presets: a user may give his own Material from a maker's data sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .ranges import Range

# Proportional limit behind the flexibility tables of McCracken's (60 000 psi); older, cautious default for cast Co-Cr.
PROPORTIONAL_LIMIT_MPA = 414.0
# Share of the proof stress used as allowable: proposed in this project's handbook, section 8.1; not a published rule.
ALLOWABLE_SHARE = 0.6

# Least 0.2 % proof stress, MPa, and elongation, %, by type: ISO 22674 (types 0 to 5). Elongations from memory of the standard.
ISO_22674_PROOF_MPA = (0.0, 80.0, 180.0, 270.0, 360.0, 500.0)
ISO_22674_ELONGATION_PCT = (0.0, 18.0, 10.0, 5.0, 2.0, 2.0)
ISO_22674_TYPE5_MODULUS_GPA = 150.0


@dataclass(frozen=True)
class Material:
    """Elastic and strength data of one material. proof: 0.2 % proof stress."""

    name: str
    label: str
    modulus: Range  # GPa
    proof: Range  # MPa
    elongation: Range  # %
    density: Range  # g/cm3
    source: str
    poisson: float = 0.3
    metal: bool = True

    @property
    def modulus_mpa(self) -> float:
        """Likely modulus in MPa (N/mm2)."""
        return self.modulus.likely * 1000.0

    @property
    def allowable_mpa(self) -> float:
        """Stress a clasp may see at every insertion: 0.6 of the likely proof stress, for Co-Cr not above 414 MPa."""
        share = ALLOWABLE_SHARE * self.proof.likely
        return min(share, PROPORTIONAL_LIMIT_MPA) if self.name.startswith("cocr") else share

    def iso_22674_type(self, end: str = "low") -> int:
        """Highest type whose least proof stress, elongation (and modulus, type 5) the "low" ends or the "likely" figures reach."""
        return max(kind for kind in range(6) if not self.short_of(kind, end))

    def short_of(self, kind: int, end: str = "low") -> tuple[str, ...]:
        """What the "low" ends or the "likely" figures lack for a type of ISO 22674, in words; empty when they meet it."""
        proof, elongation, modulus = (float(getattr(r, end)) for r in (self.proof, self.elongation, self.modulus))
        wants = [
            ("proof stress", proof, ISO_22674_PROOF_MPA[kind], "MPa"),
            ("elongation", elongation, ISO_22674_ELONGATION_PCT[kind], "%"),
            ("modulus", modulus, ISO_22674_TYPE5_MODULUS_GPA if kind == 5 else 0.0, "GPa"),
        ]
        return tuple(f"{what} {has:g} {unit}, type {kind} wants {least:g}" for what, has, least, unit in wants if has < least)


_Three = tuple[float, float, float]


def material(
    name: str, label: str, e: _Three, proof: _Three, strain: _Three, rho: _Three, source: str, poisson: float = 0.3, metal: bool = True
) -> Material:
    """A material from (lowest, likely, highest) modulus GPa, proof stress MPa, elongation % and density g/cm3. Raises ValueError."""
    (e0, e1, e2), (p0, p1, p2), (s0, s1, s2), (d0, d1, d2) = e, proof, strain, rho
    modulus, strength = Range(e0, e1, e2, "GPa"), Range(p0, p1, p2, "MPa")
    return Material(name, label, modulus, strength, Range(s0, s1, s2, "%"), Range(d0, d1, d2, "g/cm3"), source, poisson, metal)


_MEMORY = "from memory of Phillips' Science of Dental Materials"
_LASER = "published tensile tests: proof 695 +/- 55 MPa, elongation 9.88 +/- 1.08 %; modulus 213 GPa by nanoindentation"

MATERIALS: dict[str, Material] = {
    m.name: m
    for m in (
        material("cocr_cast", "cast cobalt-chromium", (200, 220, 230), (500, 600, 700), (2, 4, 12), (8.3, 8.35, 8.4), _MEMORY),
        material("cocr_laser", "laser-melted Co-Cr", (200, 213, 246), (640, 695, 750), (8.8, 9.9, 11.0), (8.3, 8.4, 8.5), _LASER),
        material("cpti", "commercially pure titanium", (103, 107, 110), (275, 380, 480), (15, 20, 25), (4.5, 4.51, 4.52), _MEMORY, 0.34),
        material(
            "ti64", "titanium alloy Ti-6Al-4V", (110, 114, 117), (830, 880, 1100), (5, 9, 12), (4.42, 4.43, 4.44),
            f"{_MEMORY}; ASM data sheets, from memory", 0.34,
        ),
        material("gold_iv", "type IV gold, hardened", (91, 95, 100), (340, 420, 500), (4, 8, 20), (15, 15.5, 16), _MEMORY, 0.4),
        material("wire_ptaupd", "Pt-Au-Pd wire", (105, 110, 115), (550, 700, 850), (8, 11, 15), (14.5, 15, 15.5), _MEMORY, 0.38),
        material("wire_stainless", "stainless steel wire", (180, 190, 200), (1000, 1250, 1500), (1, 3, 6), (7.8, 7.9, 8.0), _MEMORY),
        material("wire_cocrni", "cobalt-chromium-nickel wire", (190, 195, 200), (700, 1050, 1400), (1, 5, 10), (8.2, 8.3, 8.4), _MEMORY),
        material(
            "peek", "PEEK", (3.6, 3.74, 5.1), (90, 95, 110), (20, 30, 45), (1.28, 1.30, 1.32), "Materials 2021;14:408; makers", 0.4, False,
        ),
        material(
            "acetal", "acetal (POM)", (2.6, 3.15, 3.2), (60, 65, 70), (15, 30, 60), (1.40, 1.41, 1.42), "same table as PEEK; makers", 0.37,
            False,
        ),
        material(
            "polyamide", "polyamide", (1.2, 1.44, 1.8), (40, 50, 60), (30, 60, 100), (1.0, 1.1, 1.15), "same table as PEEK; makers", 0.4,
            False,
        ),
    )
}  # fmt: skip

# Words of the case file's `alloy` that mean a preset, beside each preset's name and label.
ALIASES = {
    "cobalt-chromium, laser-melted": "cocr_laser", "cobalt-chromium, cast": "cocr_cast", "cobalt-chromium": "cocr_cast",
    "titanium": "cpti", "titanium alloy": "ti64", "gold, type iv": "gold_iv",
}  # fmt: skip
WIRE_GAUGES = (18, 19, 20)  # American wire gauge: 1.02, 0.91 and 0.81 mm; what wrought arms are made of (standard texts)
WIRES = ("wire_ptaupd", "wire_stainless", "wire_cocrni")


def find_material(words: str, own: Mapping[str, Material]) -> Material | None:
    """The material that words mean: the case's own by name or label first, then a preset by name, label or alias."""
    wanted = words.strip().lower()
    for table in (own, MATERIALS):
        for m in table.values():
            if wanted in (m.name.lower(), m.label.lower()):
                return m
    return MATERIALS.get(ALIASES.get(wanted, ""))


BROKE = "fracture"


@dataclass(frozen=True)
class FatigueResult:
    """A published bending-fatigue life of clasps at a constant deflection. until : what ended the test."""

    material: str
    deflection_mm: float
    cycles: float
    build_angle_deg: float | None
    source: str
    until: str = BROKE


_VALLITTU = "Vallittu and Kokkonen, J Prosthet Dent 1995;74:412"
_KAJIMA = "Kajima et al., J Mech Behav Biomed Mater: laser-melted clasps by build angle"
_RECYCLED = "CU Dental Journal: cast clasps of new and recycled alloy"
FATIGUE: tuple[FatigueResult, ...] = (
    FatigueResult("cocr_cast", 0.6, 25_000, None, _VALLITTU),
    FatigueResult("cpti", 0.6, 4_500, None, _VALLITTU),
    FatigueResult("ti64", 0.6, 20_000, None, _VALLITTU),
    FatigueResult("gold_iv", 0.6, 21_000, None, _VALLITTU),
    FatigueResult("cocr_laser", 0.5, 205_418, 90.0, _KAJIMA),
    FatigueResult("cocr_cast", 0.5, 112_770, None, _KAJIMA),
    FatigueResult("cocr_laser", 0.5, 43_465, 45.0, _KAJIMA),
    FatigueResult("cocr_laser", 0.5, 28_484, 0.0, _KAJIMA),
    FatigueResult("cocr_cast", 0.25, 8_457, None, _RECYCLED, "0.1 mm of set, new alloy"),
    FatigueResult("cocr_cast", 0.25, 5_479, None, _RECYCLED, "0.1 mm of set, half of it cast before"),
    FatigueResult("cocr_cast", 0.25, 2_880, None, _RECYCLED, "0.1 mm of set, all of it cast before"),
)
# Smooth bars of laser-melted Co-Cr-Mo, MPa borne 10^7 times, by build angle (90: upright): Materials 2019;12:4039. Clasps of Kajima et al.
# order the other way round: there the marks of layers and supports decide.
BAR_FATIGUE_MPA = {90.0: 500.0, 45.0: 560.0, 0.0: 600.0}
# Four insertions a day make 15 000 in ten years: Alvarez et al., Open J Dent Oral Med 2017;5(2).
CYCLES_PER_YEAR = 1500.0


def mass(volume_mm3: float, material: Material) -> Range:
    """Mass of a volume of the material, grams."""
    return material.density.scaled(volume_mm3 / 1000.0, "g", f"density of {material.label}")
