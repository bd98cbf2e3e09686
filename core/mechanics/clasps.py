"""Each retentive arm of a case from beam to numbers: force, stress along it, pull over travel, set, life; always as ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .arm import BentArm, ClaspArm, Making, bend, set_after
from .materials import BROKE, CYCLES_PER_YEAR, FATIGUE, Material
from .ranges import Range
from .retention import FRICTION, ForceTravel, Profile, Reciprocation, force_travel, reciprocation

# Metal may come out this much thinner or thicker than drawn (blasting and polishing take some hundredths: pattern practice, from memory).
THICKNESS_BAND_MM = 0.05
SET_FELT_MM = 0.02  # own limit: a smaller set is within what polishing changes


@dataclass(frozen=True, eq=False)
class ClaspInput:
    """One retentive arm as built, with what it touches.

    arm : line, sections, material; undercut_mm : planned gauge
    contact_mm : (c,) stations of the contacts along the arm; places, outward : (c, 3) on the tooth, and its outward unit normal square to
        the path there; profile : of the tooth above them
    rigid_travel, rigid_gap : (m,) mm, of the rigid parts opposite; empty where there are none
    fillet_mm : radius of the blend where the arm leaves the rigid part
    """

    id: str
    tooth: int
    kind: str  # "circumferential" or "bar"
    side: str  # "right" or "left" of the patient
    arm: ClaspArm
    undercut_mm: float
    path: Floats
    contact_mm: Floats
    places: Floats
    outward: Floats
    profile: Profile
    rigid_travel: Floats
    rigid_gap: Floats
    fillet_mm: float = 0.5
    build_angle_deg: float | None = None


@dataclass(frozen=True)
class Life:
    """Published bending tests of the material, and what they say here. cycles : None where nothing was published."""

    cycles: Range | None
    words: str


@dataclass(frozen=True, eq=False)
class ClaspResult:
    """What one arm does.

    stiffness : N/mm at its tip, square to the tooth; force : N there at the planned undercut; reached_mm : undercut measured on the tooth
    travel : (m,) mm; pull : (3, m) N low, likely, high; peak : the peak pull; peak_travel_mm : likely
    stress : greatest, MPa, while it is lifted; station : (e,) mm from the rigid part; along : (e,) MPa likely
    along_band : (2, e) MPa lowest and highest; line : (e, 3) mm places; width : (e,) mm
    set_mm : permanent set after the first lift; allowable, yields : tip travel, mm, at the allowable and at the proof stress
    """

    id: str
    tooth: int
    kind: str
    side: str
    material: Material
    length_mm: float
    bending_mm: float
    planned_mm: float
    reached_mm: float
    stiffness: Range
    force: Range
    travel: Floats
    pull: Floats
    peak: Range
    peak_travel_mm: float
    stress: Range
    stress_at_mm: float
    station: Floats
    along: Floats
    along_band: Floats
    line: Floats
    width: Floats
    set_mm: Range
    allowable: Range
    yields: Range
    life: Life
    reciprocation: Reciprocation | None

    @property
    def allowable_mm(self) -> float:
        """Likely undercut at the allowable stress."""
        return self.allowable.likely

    @property
    def allowable_mpa(self) -> float:
        """Of the material."""
        return self.material.allowable_mpa


def _makings(data: ClaspInput) -> tuple[tuple[Making, float], ...]:
    """Softest, likely and stiffest arm that the same drawing gives: making and modulus, MPa."""
    e = data.arm.material.modulus
    root = 0.5 * float(np.interp(data.arm.free_mm, data.arm.station, data.arm.width))
    return (
        (Making(-THICKNESS_BAND_MM, root), e.low * 1000.0),
        (Making(), e.likely * 1000.0),
        (Making(THICKNESS_BAND_MM, -min(data.fillet_mm, 0.2 * data.arm.bending_mm)), e.high * 1000.0),
    )


def band_words(data: ClaspInput) -> str:
    """Why the stiffness is a range."""
    e = data.arm.material.modulus
    return (
        f"spatial beam of {data.arm.material.label}, modulus {e.low:g} to {e.high:g} GPa, thickness ±{THICKNESS_BAND_MM:g} mm; "
        "root gives over half its width (low) or is held by its fillet (high)"
    )


def analyse_clasp(data: ClaspInput) -> ClaspResult:
    """All numbers of one arm."""
    bent = [
        bend(data.arm, data.contact_mm, data.outward, data.path, places=data.places, making=making, modulus_mpa=modulus,
             lead=data.profile.lead)
        for making, modulus in _makings(data)
    ]
    words = band_words(data)
    low, likely, high = (b.tip_stiffness for b in bent)
    stiffness = Range(low, likely, high, "N/mm", words)
    frictions = (FRICTION.low, FRICTION.likely, FRICTION.high)
    lifts = [force_travel(data.profile, b.give, mu) for b, mu in zip(bent, frictions, strict=True)]
    fields = [_worst_stress(b, lift) for b, lift in zip(bent, lifts, strict=True)]
    peaks = [float(f.max()) for f in fields]
    middle = bent[1]
    per_mm = [float(b.tip_stress(1.0).max()) for b in bent]
    line = middle.frame.nodes[middle.frame.ends].mean(axis=1)
    material = data.arm.material
    rigid = reciprocation(lifts[1], data.rigid_travel, data.rigid_gap) if len(data.rigid_travel) else None
    return ClaspResult(
        data.id, data.tooth, data.kind, data.side, material, data.arm.length_mm, data.arm.bending_mm, data.undercut_mm, data.profile.depth,
        stiffness, stiffness.scaled(data.undercut_mm, "N"), data.profile.travel, np.stack([lift.force for lift in lifts]),
        Range(lifts[0].peak, lifts[1].peak, lifts[2].peak, "N", f"friction {FRICTION.low:g} to {FRICTION.high:g}; {words}"),
        lifts[1].peak_travel,
        Range(
            min(peaks), sorted(peaks)[1], max(peaks), "MPa",
            f"bending and torsion, with friction; {words}; notches and casting faults come on top",
        ),
        float(middle.middle[fields[1].argmax()] - data.arm.free_mm), middle.middle - data.arm.free_mm, fields[1],
        _along_band(bent, fields), line,
        middle.frame.sections.width,
        _sets(bent, data), _travel(material.allowable_mpa, per_mm, f"{material.allowable_mpa:.0f} MPa; {words}"),
        _travel(material.proof.likely, per_mm, f"{material.proof.likely:.0f} MPa; {words}"), life_of(data), rigid,
    )  # fmt: skip


def _along_band(bent: list[BentArm], fields: list[Floats]) -> Floats:
    """(2, e) lowest and highest stress, MPa, at the stations of the likely arm."""
    every = np.stack([np.interp(bent[1].middle, b.middle, f) for b, f in zip(bent, fields, strict=True)])
    return np.stack([every.min(axis=0), every.max(axis=0)])


def _travel(stress_mpa: float, per_mm: list[float], words: str) -> Range:
    """Tip travel, without friction, at which an arm reaches a stress. per_mm : MPa a millimetre, soft, likely, stiff."""
    low, likely, high = sorted(stress_mpa / p for p in per_mm)
    return Range(low, likely, high, "mm", words)


def _worst_stress(bent: BentArm, lift: ForceTravel) -> Floats:
    """(e,) stress, MPa, at the step of the lift where it is greatest."""
    pressed = np.flatnonzero(lift.normal.sum(axis=1) > 0)
    if len(pressed) == 0:
        return np.zeros(len(bent.middle))
    along = np.where(np.isfinite(lift.along[pressed]), lift.along[pressed], 0.0)
    stress = bent.stress(lift.normal[pressed], -along)  # the tooth holds the arm back against the path
    return np.asarray(stress[stress.max(axis=1).argmax()])


def _sets(bent: list[BentArm], data: ClaspInput) -> Range:
    """Set at the measured undercut: none at the kindest reading, the lowest proof stress with the stiffest arm at the worst."""
    proof, depth = data.arm.material.proof, data.profile.depth
    values = [round(set_after(b, depth, p), 4) for b, p in zip(bent, (proof.high, proof.likely, proof.low), strict=True)]
    low, likely, high = sorted(values)
    return Range(low, likely, high, "mm", f"proof stress {proof.low:g} to {proof.high:g} MPa, ideally plastic beyond")


def life_of(data: ClaspInput) -> Life:
    """Cycles in published tests of the same material at a like or greater deflection, nothing extrapolated."""
    tests = [f for f in FATIGUE if f.material == data.arm.material.name and f.until == BROKE]
    if not tests:
        return Life(None, f"no published bending test of {data.arm.material.label} clasps is known here")
    if data.build_angle_deg is not None and any(f.build_angle_deg is not None for f in tests):
        nearest = min(abs((f.build_angle_deg or 0.0) - data.build_angle_deg) for f in tests)
        tests = [f for f in tests if abs((f.build_angle_deg or 0.0) - data.build_angle_deg) == nearest]
    cycles = sorted(f.cycles for f in tests)
    deflections = sorted({f.deflection_mm for f in tests})
    at = " and ".join(f"{d:g}" for d in deflections)
    sense = "here it is bent less, so it should last longer" if data.profile.depth < deflections[0] else "here it is bent as far or farther"
    years = cycles[0] / CYCLES_PER_YEAR
    words = f"broke after {cycles[0]:.0f} to {cycles[-1]:.0f} bends by {at} mm ({'; '.join(sorted({f.source for f in tests}))})"
    if cycles[0] == cycles[-1]:
        words = words.replace(f"{cycles[0]:.0f} to {cycles[-1]:.0f}", f"{cycles[0]:.0f}")
    angles = sorted({f.build_angle_deg for f in tests if f.build_angle_deg is not None})
    if len(angles) > 1:
        words += f", by build angle ({angles[0]:g}° least, {angles[-1]:g}° most)"
    words += f"; {sense}; {years:.0f} years at four insertions a day"
    middle = float(np.clip(np.exp(np.mean(np.log(cycles))), cycles[0], cycles[-1]))
    return Life(Range(cycles[0], middle, cycles[-1], "cycles", words), words)
