"""What would bring an arm's force and stress into range: undercut, width, thickness, taper, material, or the fewest of them together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice, product

import numpy as np

from ..mesh import Floats
from .arm import BentArm, ClaspArm, bend, with_size
from .clasps import ClaspInput, ClaspResult
from .materials import MATERIALS, WIRE_GAUGES, WIRES, Material
from .retention import FRICTION, WANTED_PER_SIDE_N, force_travel
from .sections import gauge_mm

# The trade's gauges, and shallower steps: older tables allow cast Co-Cr 0.1 and 0.2 mm (0.004 and 0.008 in, McCracken's, from memory).
GAUGES = (0.15, 0.20, 0.25, 0.50, 0.75)
WIRE_UNDERCUT_MM = (0.25, 0.50)
FACTORS = (0.8, 0.9, 1.0, 1.1, 1.2, 1.3)
TAPERS = (0.5, 0.6, 0.7, 0.8)
# Base and tip of cast arms, pattern practice, from memory: thinner ones fail in making, larger ones show and gather food.
BASE_THICKNESS_MM = (0.6, 1.6)
LEAST_TIP_MM = 0.4
CIRCUMFERENTIAL_WIDTH_MM = (1.2, 2.3)
QUICK_ELEMENTS = 16
TRIES = 4  # candidates looked at with a beam of their own before one is given up
OVERLOAD = 3.0  # where nothing serves, an arm that is bent for good is worse than one that holds too little by the same share
INSIDE = 1.02  # what is advised lies this far inside the range, so that rounding does not throw it out
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
    """Fields of the arm's component in the case file that can be changed; empty name: cannot."""

    width: str = ""
    thickness: str = ""
    taper: str = ""


# A bar's tip has fields of its own and stays as it is; a wire comes in gauges and metals.
FIELDS = {
    "circumferential": Sizes("base_width_mm", "base_thickness_mm", "taper"),
    "bar": Sizes("base_width_mm", "base_thickness_mm"),
    "wrought": Sizes(),
}


@dataclass(frozen=True)
class Change:
    """A changed arm: factors on width and thickness at the base, taper (None: as it is), undercut in mm, material."""

    width: float
    thickness: float
    taper: float | None
    depth_mm: float
    material: Material


def wanted_pull(clasps_on_side: int) -> tuple[float, float]:
    """Likely peak pull wanted of each clasp: the range for a side shared by its clasps, N."""
    low, high = WANTED_PER_SIDE_N
    return low / max(clasps_on_side, 1), high / max(clasps_on_side, 1)


def in_range(result: ClaspResult, clasps_on_side: int) -> bool:
    """Whether the likely pull and stress of an arm need no advice."""
    low, high = wanted_pull(clasps_on_side)
    return low <= result.peak.likely <= high and result.stress.likely <= result.allowable_mpa


def quick_beam(data: ClaspInput, arm: ClaspArm) -> BentArm:
    """An arm touched at its tip alone, in few elements: for comparing changes."""
    last = slice(data.profile.lead, data.profile.lead + 1)
    at = data.contact_mm[last] * arm.length_mm / data.arm.length_mm
    return bend(arm, at, data.outward[last], data.path, places=data.places[last], elements=QUICK_ELEMENTS)


def lifted(data: ClaspInput, bent: BentArm, depth_ratio: float) -> tuple[float, float]:
    """Likely peak pull (N) and greatest stress (MPa) when the tip lies in another undercut."""
    last = slice(data.profile.lead, data.profile.lead + 1)
    profile = replace(data.profile, bulge=data.profile.bulge[last], slope=data.profile.slope[last]).scaled(depth_ratio)
    lift = force_travel(profile, bent.give, FRICTION.likely)
    return lift.peak, float(bent.stress(lift.normal, -lift.along).max())


@dataclass(frozen=True, eq=False)
class _Search:
    """Every change worth thinking of, and the pull and stress it would bring: (n,) each.

    Stiffness and stress of a changed width, thickness and taper are products of what each does alone, so that a handful of beams serves
    for hundreds of changes; what is advised gets a beam of its own.
    """

    data: ClaspInput
    fit: tuple[float, float]  # full result over quick estimate, pull and stress
    depth_mm: float
    changes: list[Change]
    pull: Floats
    stress: Floats


def _search(data: ClaspInput, result: ClaspResult) -> _Search:
    now = quick_beam(data, data.arm)
    pull0, stress0 = lifted(data, now, 1.0)
    fit = (result.peak.likely / max(pull0, 1e-9), result.stress.likely / max(stress0, 1e-9))

    def alone(width: float = 1.0, thickness: float = 1.0, taper: float | None = None) -> tuple[float, float]:
        if (width, thickness, taper) == (1.0, 1.0, None):
            return 1.0, 1.0
        pull, stress = lifted(data, quick_beam(data, _sized(data, width, thickness, taper)), 1.0)
        return pull / max(pull0, 1e-9), stress / max(stress0, 1e-9)

    if data.kind == "wrought":
        sizes = {(f, f): alone(f, f) for f in _drawn(data)}
    else:
        wide = {f: alone(width=f) for f in _factors(data, "width")}
        thick = {f: alone(thickness=f) for f in _factors(data, "thickness")}
        sizes = {(w, t): (a[0] * b[0], a[1] * b[1]) for (w, a), (t, b) in product(wide.items(), thick.items())}
    tapers = {t: alone(taper=t) for t in _tapers(data)}
    depths = {g: lifted(data, now, g / result.planned_mm) for g in sorted({result.planned_mm, *GAUGES})}
    own = data.arm.material
    names = WIRES if data.kind == "wrought" else FRAMEWORK_METALS
    metals = [own, *(MATERIALS[m] for m in names if m != own.name)]
    changes, rows = [], []
    for ((w, t), b), (s, c), (g, d), m in product(sizes.items(), tapers.items(), depths.items(), metals):
        stiff = m.modulus_mpa / own.modulus_mpa
        changes.append(Change(w, t, s, g, m))
        rows.append((b[0] * c[0] * d[0] * stiff, b[1] * c[1] * d[1] * stiff))
    table = np.array(rows) * fit
    return _Search(data, fit, result.planned_mm, changes, table[:, 0], table[:, 1])


def _sized(data: ClaspInput, width: float, thickness: float, taper: float | None) -> ClaspArm:
    return with_size(data.arm, width, thickness, taper, keep_tip=data.kind == "bar")


def _drawn(data: ClaspInput) -> list[float]:
    """Factors on a wire's diameter that make it one of the gauges; the present one always."""
    now = float(data.arm.width[0])
    return [1.0, *(f for f in (gauge_mm(g) / now for g in WIRE_GAUGES) if abs(f - 1.0) > 1e-3)]


def _factors(data: ClaspInput, what: str) -> list[float]:
    """Factors on the width or thickness that leave a base that can be made; the present one always."""
    if not getattr(FIELDS[data.kind], what):
        return [1.0]
    base = float((data.arm.width if what == "width" else data.arm.thickness)[0])
    low, high = BASE_THICKNESS_MM if what == "thickness" else CIRCUMFERENTIAL_WIDTH_MM if data.kind == "circumferential" else (0.0, np.inf)
    return [f for f in FACTORS if f == 1.0 or low <= base * f <= high]


def _tapers(data: ClaspInput) -> list[float | None]:
    now = float(data.arm.width[-1] / data.arm.width[0])
    return [None, *(t for t in TAPERS if FIELDS[data.kind].taper and abs(t - now) > 0.03)]


def _made(search: _Search, change: Change) -> tuple[tuple[str, float | str], ...]:
    """The fields of the case file that a change alters, and their values."""
    fields, arm = FIELDS[search.data.kind], search.data.arm
    out: list[tuple[str, float | str]] = []
    if change.depth_mm != search.depth_mm:
        out.append(("gauge_mm", change.depth_mm))
    if search.data.kind == "wrought":
        if change.width != 1.0:
            out.append(("wire_gauge", min(WIRE_GAUGES, key=lambda g: abs(gauge_mm(g) - float(arm.width[0]) * change.width))))
        if change.material.name != arm.material.name:
            out.append(("material", change.material.name))
        return tuple(out)
    if change.thickness != 1.0:
        out.append((fields.thickness, round(float(arm.thickness[0]) * change.thickness, 2)))
    if change.width != 1.0:
        out.append((fields.width, round(float(arm.width[0]) * change.width, 2)))
    if change.taper is not None:
        out.append((fields.taper, change.taper))
    if change.material.name != arm.material.name:
        out.append(("alloy", change.material.label))
    return tuple(out)


def _sound(search: _Search, change: Change) -> bool:
    """Whether the tip of a changed arm is thick enough to be made, or as thick as now."""
    arm = search.data.arm
    if search.data.kind != "circumferential" or (change.taper is None and change.thickness >= 1.0):
        return True
    ratio = float(arm.thickness[-1] / arm.thickness[0]) if change.taper is None else change.taper
    return float(arm.thickness[0]) * change.thickness * ratio >= LEAST_TIP_MM


def _effort(search: _Search, change: Change) -> float:
    """How much is changed: first how many fields, then how far."""
    far = abs(np.log(change.width)) + abs(np.log(change.thickness)) + abs(np.log(change.depth_mm / search.depth_mm))
    return float(len(_made(search, change)) + 0.2 * far + (0.1 if change.taper is not None else 0.0))


def _judged(search: _Search, change: Change, wanted: tuple[float, float]) -> Advice:
    """A change with a beam of its own."""
    arm = replace(_sized(search.data, change.width, change.thickness, change.taper), material=change.material)
    pull, stress = lifted(search.data, quick_beam(search.data, arm), change.depth_mm / search.depth_mm)
    pull, stress = pull * search.fit[0], stress * search.fit[1]
    good = wanted[0] <= pull <= wanted[1] and stress <= change.material.allowable_mpa
    changes = _made(search, change)
    return Advice(search.data.id, changes, pull, stress, good, _words(changes, pull, stress, change.material))


def _ways(search: _Search, wanted: tuple[float, float]) -> Iterator[list[int]]:
    """Lists of promising changes, least effort first: of the arm's measures in its own material, and of another framework metal."""
    own = search.data.arm.material.name
    allowable = np.array([c.material.allowable_mpa for c in search.changes])
    good = (search.pull >= wanted[0] * INSIDE) & (search.pull <= wanted[1] / INSIDE) & (search.stress * INSIDE <= allowable)
    mine = np.array([c.material.name == own for c in search.changes])
    for which in (good & mine, good & ~mine):
        picked = [int(i) for i in np.flatnonzero(which) if _sound(search, search.changes[i])]
        yield sorted(picked, key=lambda i: _effort(search, search.changes[i]))


def advise(data: ClaspInput, result: ClaspResult, clasps_on_side: int) -> tuple[Advice, ...]:
    """Changes that bring the likely pull and stress into range, least effort first; none when the arm is in range.

    One of the arm's measures where that can be, one of the framework's metal; where neither serves, the nearest that the measures come, and
    a wrought wire if one would do. Each is an estimate: build again to confirm.
    """
    wanted = wanted_pull(clasps_on_side)
    if in_range(result, clasps_on_side):
        return ()
    search = _search(data, result)
    found = []
    for way in _ways(search, wanted):
        good = next((a for a in (_judged(search, search.changes[i], wanted) for i in islice(way, TRIES)) if a.good), None)
        if good is not None:
            found.append(good)
    if not found or found[0].changes[-1][0] == "alloy":
        wire = _wire(data, result, wanted)
        nearest = None if found else _nearest(search, wanted)
        found += [a for a in (nearest, wire) if a is not None]
    return tuple(found)


def _nearest(search: _Search, wanted: tuple[float, float]) -> Advice | None:
    """The change of measures, in the arm's own material, that misses the range least; None where none comes nearer than no change."""
    own = search.data.arm.material
    pull = np.maximum(search.pull, 1e-6)
    short = np.maximum(np.log(wanted[0] / pull), np.log(pull / wanted[1]))
    over = np.log(np.maximum(search.stress, 1e-6) / own.allowable_mpa)
    miss = np.round(np.maximum(short, 0.0) + OVERLOAD * np.maximum(over, 0.0), 3)
    mine = [i for i, c in enumerate(search.changes) if c.material.name == own.name and _sound(search, c)]
    as_it_is = next(i for i in mine if not _made(search, search.changes[i]))
    best = min(mine, key=lambda i: (float(miss[i]), _effort(search, search.changes[i])))
    return _judged(search, search.changes[best], wanted) if miss[best] < miss[as_it_is] else None


def _wire(data: ClaspInput, result: ClaspResult, wanted: tuple[float, float]) -> Advice | None:
    """The thickest wrought wire on the same line, joined to the framework, that is in range; nothing to press: it is another clasp."""
    if data.kind == "wrought":
        return None
    for gauge in WIRE_GAUGES:
        size = np.full(len(data.arm.width), gauge_mm(gauge))
        bare = replace(data.arm, width=size, thickness=size, shape="round", material=MATERIALS[WIRES[0]])
        bent = quick_beam(data, bare)
        for depth, name in product(WIRE_UNDERCUT_MM, WIRES):
            wire = MATERIALS[name]
            pull, stress = (v * wire.modulus_mpa / bare.material.modulus_mpa for v in lifted(data, bent, depth / result.planned_mm))
            if wanted[0] <= pull <= wanted[1] and stress <= wire.allowable_mpa:
                words = (
                    f"a wrought wire of {gauge} gauge ({size[0]:.2f} mm), {wire.label}, in {depth:.2f} mm of undercut: pull about "
                    f"{pull:.1f} N, stress about {stress:.0f} MPa (allowable {wire.allowable_mpa:.0f})"
                )
                return Advice(data.id, (), pull, stress, True, words)
    return None


_NAMES = {
    "gauge_mm": "an undercut of {:.2f} mm", "base_thickness_mm": "{:.2f} mm thick at the base",
    "base_width_mm": "{:.2f} mm wide at the base", "taper": "a taper to {:.2f}", "alloy": "the whole framework of {}",
    "wire_gauge": "a wire of {} gauge",
}  # fmt: skip


def _words(changes: tuple[tuple[str, float | str], ...], pull: float, stress: float, metal: Material) -> str:
    parts = [MATERIALS[str(v)].label if field == "material" else _NAMES[field].format(v) for field, v in changes]
    what = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{what}: pull about {pull:.1f} N, stress about {stress:.0f} MPa (allowable {metal.allowable_mpa:.0f})"
