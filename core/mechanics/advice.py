"""What would bring an arm's force and stress into range: undercut, width, thickness, taper or material, one change or two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from .arm import ClaspArm, bend, with_size
from .clasps import ClaspInput, ClaspResult
from .materials import MATERIALS, WIRE_GAUGES, WIRES
from .retention import FRICTION, WANTED_PER_SIDE_N, force_travel
from .sections import gauge_mm

# The trade's gauges, and shallower steps: older tables allow cast Co-Cr 0.1 and 0.2 mm (0.004 and 0.008 in, McCracken's, from memory).
GAUGES = (0.10, 0.15, 0.20, 0.25, 0.50, 0.75)
WIRE_UNDERCUT_MM = (0.25, 0.50)
FACTORS = (0.7, 0.8, 0.9, 1.1, 1.2)
TAPERS = (0.4, 0.5, 0.6, 0.7, 0.8)
LEAST_THICKNESS_MM = 0.6  # at the base; thinner cast arms fail in making (pattern practice, from memory)
MOST_THICKNESS_MM = 1.6
QUICK_ELEMENTS = 16
# Metals a framework can be made of in one piece with its arms.
FRAMEWORK_METALS = ("cocr_cast", "cocr_laser", "cpti", "ti64", "gold_iv")


@dataclass(frozen=True)
class Advice:
    """A change that would help. changes : field of the component in the case file and its new value ("alloy" is the framework's).

    peak_n, stress_mpa : likely pull and greatest stress it would bring; good : both in range
    """

    component: str
    changes: tuple[tuple[str, float | str], ...]
    peak_n: float
    stress_mpa: float
    good: bool
    words: str


@dataclass(frozen=True)
class Sizes:
    """Fields of the arm's component in the case file that can be changed, with their present values; empty name: cannot."""

    width: str
    thickness: str
    taper: str


# A bar's tip has fields of its own and stays as it is.
FIELDS = {
    "circumferential": Sizes("base_width_mm", "base_thickness_mm", "taper"),
    "bar": Sizes("base_width_mm", "base_thickness_mm", ""),
}


def wanted_pull(clasps_on_side: int) -> tuple[float, float]:
    """Likely peak pull wanted of each clasp: the range for a side shared by its clasps, N."""
    low, high = WANTED_PER_SIDE_N
    return low / max(clasps_on_side, 1), high / max(clasps_on_side, 1)


def estimate(data: ClaspInput, arm: ClaspArm, depth_ratio: float = 1.0) -> tuple[float, float]:
    """Likely peak pull (N) and greatest stress (MPa) of a changed arm, on the tip alone: quick, for comparing changes."""
    last = slice(data.profile.lead, data.profile.lead + 1)
    at = data.contact_mm[last] * arm.length_mm / data.arm.length_mm
    bent = bend(arm, at, data.outward[last], data.path, places=data.places[last], elements=QUICK_ELEMENTS)
    profile = replace(data.profile, bulge=data.profile.bulge[last], slope=data.profile.slope[last]).scaled(depth_ratio)
    lift = force_travel(profile, bent.give, FRICTION.likely)
    stress = bent.stress(lift.normal, -lift.along)
    return lift.peak, float(stress.max())


def _options(data: ClaspInput, depth: float) -> dict[str, list[tuple[tuple[str, float | str], dict[str, float | str]]]]:
    """By kind of change: (field and value, what it does to the estimate), nearest to the present first."""
    fields = FIELDS[data.kind]
    base = float(data.arm.thickness[0])
    wide = float(data.arm.width[0])
    near = sorted(FACTORS, key=lambda f: abs(f - 1.0))
    out: dict[str, list[tuple[tuple[str, float | str], dict[str, float | str]]]] = {
        "undercut": [
            (("gauge_mm", g), {"depth": g / depth}) for g in sorted(GAUGES, key=lambda g: abs(g - depth)) if abs(g - depth) > 0.02
        ],
        "thickness": [
            ((fields.thickness, round(base * f, 2)), {"thickness": f}) for f in near if LEAST_THICKNESS_MM <= base * f <= MOST_THICKNESS_MM
        ],
        "width": [((fields.width, round(wide * f, 2)), {"width": f}) for f in near],
    }
    if fields.taper:
        now = float(data.arm.width[-1] / data.arm.width[0])
        out["taper"] = [((fields.taper, t), {"taper": t}) for t in sorted(TAPERS, key=lambda t: abs(t - now)) if abs(t - now) > 0.03]
    now_name = data.arm.material.name
    out["material"] = [(("alloy", MATERIALS[m].label), {"material": m}) for m in FRAMEWORK_METALS if m != now_name]
    return out


def _changed(data: ClaspInput, effects: dict[str, float | str]) -> tuple[ClaspArm, float]:
    arm = with_size(
        data.arm, float(effects.get("width", 1.0)), float(effects.get("thickness", 1.0)),
        float(effects["taper"]) if "taper" in effects else None, keep_tip=data.kind == "bar",
    )  # fmt: skip
    if "material" in effects:
        arm = replace(arm, material=MATERIALS[str(effects["material"])])
    return arm, float(effects.get("depth", 1.0))


def advise(data: ClaspInput, result: ClaspResult, clasps_on_side: int) -> tuple[Advice, ...]:
    """Changes that bring the likely pull and stress into range, simplest first; none when the arm is in range.

    Where no single change does: the best pair of a shallower undercut with a thickness or width, and a wrought wire if one would do.
    Each is an estimate: build again to confirm.
    """
    low, high = wanted_pull(clasps_on_side)
    if low <= result.peak.likely <= high and result.stress.likely <= result.allowable_mpa:
        return ()
    # The quick estimate looks at the tip alone; it is brought to the full result of the present arm.
    pull0, stress0 = estimate(data, data.arm)
    pull_fit = result.peak.likely / max(pull0, 1e-9)
    stress_fit = result.stress.likely / max(stress0, 1e-9)
    options = _options(data, result.planned_mm)

    def judged(changes: Sequence[tuple[tuple[str, float | str], dict[str, float | str]]]) -> Advice:
        effects: dict[str, float | str] = {}
        for _, effect in changes:
            effects.update(effect)
        arm, ratio = _changed(data, effects)
        pull, stress = estimate(data, arm, ratio)
        pull, stress = pull * pull_fit, stress * stress_fit
        good = low <= pull <= high and stress <= arm.material.allowable_mpa
        return Advice(data.id, tuple(c for c, _ in changes), pull, stress, good, _words(changes, pull, stress, arm))

    found = []
    for choices in options.values():
        good = next((a for a in (judged([c]) for c in choices) if a.good), None)
        if good is not None:
            found.append(good)
    if found:
        return tuple(found)
    shallower = [c for c in options["undercut"] if float(c[0][1]) < result.planned_mm] or options["undercut"][:1]
    pairs = [judged(pair) for pair in product(shallower[:3], (*options["thickness"], *options["width"]))]
    best = min(pairs, key=lambda a: (not a.good, _miss(a, low, high, result.allowable_mpa)))
    wire = _wire(data, result, low, high)
    return (best,) if wire is None else (best, wire)


def _wire(data: ClaspInput, result: ClaspResult, low: float, high: float) -> Advice | None:
    """The thickest wrought wire on the same line, joined to the framework, that is in range; nothing to press: it is another clasp."""
    for gauge, depth, name in product(WIRE_GAUGES, WIRE_UNDERCUT_MM, WIRES):
        size = np.full(len(data.arm.width), gauge_mm(gauge))
        arm = replace(data.arm, width=size, thickness=size, shape="round", material=MATERIALS[name])
        pull, stress = estimate(data, arm, depth / result.planned_mm)
        if low <= pull <= high and stress <= arm.material.allowable_mpa:
            words = (
                f"a wrought wire of {gauge} gauge ({size[0]:.2f} mm), {arm.material.label}, in {depth:.2f} mm of undercut: pull about "
                f"{pull:.1f} N, stress about {stress:.0f} MPa (allowable {arm.material.allowable_mpa:.0f})"
            )
            return Advice(data.id, (), pull, stress, True, words)
    return None


def _miss(advice: Advice, low: float, high: float, allowable: float) -> float:
    """How far a change stays out of range (0: in range), as a ratio's logarithm."""
    pull = max(np.log(low / max(advice.peak_n, 1e-6)), np.log(max(advice.peak_n, 1e-6) / high), 0.0)
    return float(pull + max(np.log(max(advice.stress_mpa, 1e-6) / allowable), 0.0))


_NAMES = {
    "gauge_mm": "an undercut of {:.2f} mm", "base_thickness_mm": "{:.2f} mm thick at the base",
    "base_width_mm": "{:.2f} mm wide at the base", "taper": "a taper to {:.2f}", "alloy": "the whole framework of {}",
}  # fmt: skip


def _words(changes: Sequence[tuple[tuple[str, float | str], dict[str, float | str]]], pull: float, stress: float, arm: ClaspArm) -> str:
    what = " and ".join(_NAMES[field].format(value) for (field, value), _ in changes)
    return f"{what}: pull about {pull:.1f} N, stress about {stress:.0f} MPa (allowable {arm.material.allowable_mpa:.0f})"
