"""What the mechanics say, as checks: estimates with a band, so that only what is out of range at its kindest reading fails."""

from __future__ import annotations

from ..mechanics.case import SIDES, CaseMechanics
from ..mechanics.clasps import ClaspResult
from ..mechanics.connector import ConnectorResult
from ..mechanics.levers import FOOD_PULL_N
from ..mechanics.materials import Material
from ..mechanics.retention import TOUCHING_MM, WANTED_PER_SIDE_N, WANTED_SOURCE
from .result import Check, Status

# Cast Co-Cr circumferential arms at 0.25 mm: 15 mm (Bates; Davenport et al., Br Dent J 2001, from memory); under 10 refused (own limit).
ARM_LENGTH_MM = (10.0, 15.0)
UNEVEN_SHARE = 0.65  # own limit: of the whole pull on one side
LIFT_SOURCE = "sticky food pulls with 1.7 to 12.2 N a tooth (Alageel et al., J Prosthet Dent); rigid lever about the rests"


def check_mechanics(found: CaseMechanics) -> list[Check]:
    """Every arm, both sides, levers and the connector."""
    checks: list[Check] = [check_material(found.material)]
    for clasp in found.clasps:
        checks += check_clasp(clasp)
    if found.clasps:
        checks += _sides(found)
    checks += _turning(found)
    if found.connector is not None:
        checks += _connector(found.connector, found)
    return checks


def check_material(material: Material) -> Check:
    """Does the framework's material reach type 5 of ISO 22674 with the low ends of its figures?"""
    source = "ISO 22674, types by proof stress, elongation and, for type 5, modulus (elongations and modulus from memory)"
    if not material.metal:
        words = f"{material.label} is no metal: ISO 22674 does not apply, and thin parts of a framework need other sizes"
        return Check("material.type", "warn", None, 5.0, "", "", source, words)
    kind = material.iso_22674_type()
    words = f"{material.label}: type {kind} by the lowest of its figures, type {material.iso_22674_type('likely')} by the likely ones"
    if kind < 5:
        words += f"; short of type 5: {', '.join(material.short_of(5))}"
    return Check("material.type", "pass" if kind == 5 else "warn", float(kind), 5.0, "", "", source, words)


def short(name: str) -> str:
    """A component's name as part of a check id: no spaces."""
    return "-".join(name.split())


def check_clasp(clasp: ClaspResult) -> list[Check]:
    """Length, stress, and whether a rigid part bears while the tip flexes."""
    found = [_length(clasp), _stress(clasp)]
    if clasp.reciprocation is not None:
        found.append(_reciprocation(clasp))
    return found


def _length(clasp: ClaspResult) -> Check:
    least, wanted = ARM_LENGTH_MM
    name, where, length = f"arm.length.{short(clasp.id)}", f"tooth {clasp.tooth}", clasp.length_mm
    bends = f"{length:.1f} mm from the start of the taper to the tip, of which {clasp.bending_mm:.1f} mm are free to bend"
    if clasp.kind != "circumferential" or not clasp.material.name.startswith("cocr"):
        return Check(name, "pass", length, None, "mm", where, "no least length for bar clasps and softer metals", bends)
    status: Status = "fail" if length < least else "warn" if length < wanted else "pass"
    if status != "pass":
        bends += "; a bar clasp or a wire would be more flexible"
    source = "Davenport et al., Br Dent J 2001 (from memory): 15 mm for cast Co-Cr at 0.25 mm; under 10 mm: own limit"
    return Check(name, status, length, least if status == "fail" else wanted, "mm", where, source, bends)


def _stress(clasp: ClaspResult) -> Check:
    stress, proof = clasp.stress, clasp.material.proof
    # Fail only when even the kindest reading of the band takes a set; the likely value alone is an estimate.
    status: Status = "fail" if stress.low > proof.low else "warn" if stress.likely > clasp.allowable_mpa else "pass"
    words = (
        f"greatest stress {stress}, {clasp.stress_at_mm:.1f} mm from the rigid part; force on the tooth {clasp.force}; pull {clasp.peak}"
    )
    if clasp.set_mm.high >= 0.001:
        words += f"; set after the first lift {clasp.set_mm}"
    words += f"; would bear {clasp.allowable} of undercut at the allowable stress"
    limit = proof.low if status == "fail" else clasp.allowable_mpa
    source = f"{clasp.material.label}: {clasp.material.source}; {stress.assumption}"
    return Check(f"arm.stress.{short(clasp.id)}", status, stress.likely, limit, "MPa", f"tooth {clasp.tooth}", source, words)


def _reciprocation(clasp: ClaspResult) -> Check:
    found = clasp.reciprocation
    assert found is not None
    status: Status = "pass" if found.gap_mm <= TOUCHING_MM else "warn"
    words = f"the rigid part bears over {found.held_mm:.1f} of the {found.flexing_mm:.1f} mm over which the tip is bent"
    if status == "warn":
        words += f"; it has left the tooth by {found.gap_mm:.2f} mm when the tip presses most, so the tooth alone takes that force"
    source = "reciprocation during the whole flexing (standard texts); nearer than 0.05 mm counts as touching: own limit"
    return Check(f"reciprocation.{short(clasp.id)}", status, found.gap_mm, TOUCHING_MM, "mm", f"tooth {clasp.tooth}", source, words)


def _sides(found: CaseMechanics) -> list[Check]:
    low, high = WANTED_PER_SIDE_N
    checks: list[Check] = []
    for side, hold, friction in zip(SIDES, (found.balance.right, found.balance.left), found.hold, strict=True):
        status: Status = "pass" if low <= hold.likely <= high else "warn"
        limit = high if hold.likely > high else low
        words = f"clasps hold {hold}; guide planes may add {friction} by friction"
        checks.append(Check(f"retention.{side}", status, hold.likely, limit, "N", f"{side} side", WANTED_SOURCE, words))
    share = found.balance.share
    uneven: Status = "warn" if not share <= UNEVEN_SHARE else "pass"
    words = f"the stronger side holds {share:.0%} of the whole" if share == share else "no clasp holds"
    checks.append(
        Check("retention.balance", uneven, share, UNEVEN_SHARE, "share", "", "both sides alike (common practice); 65 %: own limit", words)
    )
    return checks


def _turning(found: CaseMechanics) -> list[Check]:
    checks: list[Check] = []
    teeth = "" if found.fulcrum_teeth is None else f"line through the rests on {found.fulcrum_teeth[0]} and {found.fulcrum_teeth[1]}"
    for base, without, with_it in found.lifts:
        best = with_it or without
        name = f"lever.lift.{short(base)}"
        if best is None:
            words = "no clasp tip lies on the base's side of the line: nothing but weight and friction keeps the base down"
            checks.append(Check(name, "warn", None, None, "N", teeth, LIFT_SOURCE, words))
            continue
        words = f"clasps let go when the base is lifted with {best.holds_n} at its middle, {best.lever_mm:.0f} mm from the line"
        if with_it is not None and without is not None:
            line = " and ".join(str(t) for t in dict.fromkeys(found.indirect_teeth))
            words += f" through the rests on {line}; without them {without.holds_n}"
        elif with_it is None:
            words += "; no rest lies far enough on the other side of the line to act as an indirect retainer"
        status: Status = "pass" if best.holds_n.likely >= FOOD_PULL_N[0] else "warn"
        checks.append(Check(name, status, best.holds_n.likely, FOOD_PULL_N[0], "N", teeth, LIFT_SOURCE, words))
    for sinking in found.sinkings:
        pressing = [t for t in sinking.tips if t.word == "presses"]
        told = "; ".join(f"{t.id} {t.word} ({t.away_mm.likely:+.2f} mm)" for t in sinking.tips)
        words = f"when the base sinks by {sinking.angle_deg}: {told}"
        source = f"{sinking.angle_deg.assumption}; mucosa 0.4 to 2 mm, tooth 0.02 to 0.1 mm (Wills and Manderson; Picton, from memory)"
        status = "warn" if pressing else "pass"
        value = min((t.away_mm.likely for t in sinking.tips), default=None)
        checks.append(Check(f"lever.sinking.{short(sinking.base)}", status, value, 0.0, "mm", teeth, source, words))
    return checks


def _connector(part: ConnectorResult, found: CaseMechanics) -> list[Check]:
    proof = found.material.proof
    status: Status = "fail" if part.stress.low > proof.low else "warn" if part.stress.likely > part.allowable_mpa else "pass"
    name = short(part.id)
    words = f"greatest stress {part.stress} with 100 N on one side; that side sinks {part.sag_mm} farther than the other"
    limit = proof.low if status == "fail" else part.allowable_mpa
    source = part.stress.assumption
    stress = Check(f"connector.stress.{name}", status, part.stress.likely, limit, "MPa", part.id, source, words, part.stress_at)
    own, others = part.stiffness, part.references
    compared = "; ".join(f"{label}: {own.lift / other.lift:.2f} times" for label, other in others)
    words = (
        f"one side against the other: {own.spread:.0f} N/mm to spread, {own.lift:.0f} N/mm to shift, "
        f"{own.twist:.0f} N mm a degree to turn; stiffness in shift compared with {compared}"
    )
    softest = min(other.lift for _, other in others)
    stiff: Status = "pass" if own.lift >= softest else "warn"
    source = "no agreed limit; compared with sections of tests (Ben-Ur et al. 1989, 1999; Green and Hondrum 2003) on the same line"
    return [stress, Check(f"connector.stiffness.{name}", stiff, own.lift, softest, "N/mm", part.id, source, words)]
