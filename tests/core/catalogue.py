"""Every kind of component on every tooth where it is legal, on made-up arches: what the matrix and the random designs are made of.

Legal, by the standard texts (handbook, sections 2 to 5): occlusal rests on premolars and molars, cingulum and incisal rests on front teeth,
guide plates beside a gap, arms on canines and behind, ring arms on molars, bars and wires beside a base of metal mesh or lattice.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from claspwright.core import case as doc
from claspwright.core.blockout import block_out
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.components import Site
from claspwright.core.phantom import PhantomSpec, make_phantom
from claspwright.core.survey import Path, survey
from claspwright.core.teeth import find_teeth
from claspwright.core.teeth.numbering import is_anterior, is_molar, neighbours, order, position

PROXIMAL, FACES = ("mesial", "distal"), ("facial", "lingual")
THIRDS = {"upper": (18, 28), "lower": (38, 48)}
# Four arches: bounded gaps, free ends, single teeth, front teeth; between them every tooth stands somewhere.
ARCHES = {
    "lower bounded": ("lower", (35, 36, 46)),
    "lower free ends": ("lower", (31, 41, 36, 37, 44, 45, 46, 47)),
    "upper bounded": ("upper", (14, 25, 26)),
    "upper free end": ("upper", (12, 11, 21, 22, 15, 16, 26, 27)),
}


@dataclass(frozen=True)
class Item:
    """A part and what it leans on or joins, which stands in the case beside it."""

    part: doc.Component
    others: tuple[doc.Component, ...] = ()

    @property
    def name(self) -> str:
        return self.part.id


def gaps_of(arch: str, missing: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Missing teeth that stand side by side, third molars left out."""
    row = [t for t in order(arch) if position(t) < 8]
    runs = itertools.groupby(row, key=lambda t: t in missing)
    return [tuple(teeth) for gone, teeth in runs if gone]


def beside(tooth: int, gaps: list[tuple[int, ...]]) -> dict[str, tuple[int, ...]]:
    """Gaps that a tooth stands beside, by its own proximal side."""
    found = zip(PROXIMAL, neighbours(tooth), strict=True)
    return {side: gap for side, n in found for gap in gaps if n in gap}


def connector(arch: str, teeth: list[int]) -> doc.Component:
    """The usual major connector."""
    if arch == "upper":
        return doc.PalatalPlate("connector", complete=True)
    first = [t for t in teeth if position(t) <= 6]
    return doc.LingualBar("connector", start=next(t for t in reversed(first) if t < 40), end=next(t for t in reversed(first) if t >= 40))


def items(arch: str, missing: tuple[int, ...]) -> Iterator[Item]:
    """All of them for one arch."""
    teeth = sorted(t for t in order(arch) if t not in missing and t not in THIRDS[arch])
    gaps = gaps_of(arch, missing)
    bases = tuple(doc.LatticeBase(f"base {gap[0]}", teeth=gap) for gap in gaps)
    frame = (connector(arch, teeth), *bases)
    for tooth in teeth:
        yield from _rests(tooth, frame, teeth)
        yield from _plates(tooth, frame, gaps)
        if position(tooth) >= 3:
            yield from _arms(tooth, frame, teeth, gaps)
            yield from _bars(tooth, frame, gaps)
    for gap in gaps:
        for form in ("lattice", "mesh"):
            yield Item(doc.LatticeBase(f"{form} {gap[0]}", teeth=gap, form=form, stop=True), frame[:1])
        for form in ("beads", "posts"):
            yield Item(doc.BeadPlate(f"{form} {gap[0]}", teeth=gap, form=form), frame[:1])
    yield from _connectors(arch, teeth, frame)


def _rests(tooth: int, frame: tuple[doc.Component, ...], teeth: list[int]) -> Iterator[Item]:
    def with_strut(rest: doc.Component, side: str) -> Iterator[Item]:
        yield Item(rest)
        yield Item(doc.MinorConnector(f"minor connector {rest.id}", tooth, side), (*frame, rest))

    if position(tooth) >= 4:
        for side, form in itertools.product(PROXIMAL, ("short", "long")):
            yield from with_strut(doc.OcclusalRest(f"{form} rest {tooth} {side}", tooth, side, form=form, depth_mm=1.0), side)
        behind = neighbours(tooth)[1]
        if behind in teeth:
            pair = (
                doc.OcclusalRest(f"embrasure rest {tooth} distal", tooth, "distal", form="embrasure"),
                doc.OcclusalRest(f"embrasure rest {behind} mesial", behind, "mesial", form="embrasure"),
            )
            yield Item(pair[0], pair[1:])
            yield Item(pair[1], pair[:1])
        return
    for form in ("chevron", "ball"):
        yield from with_strut(doc.CingulumRest(f"{form} rest {tooth}", tooth, form=form), "lingual")
    for side in PROXIMAL:
        yield from with_strut(doc.IncisalRest(f"incisal rest {tooth} {side}", tooth, side), "lingual")


def _plates(tooth: int, frame: tuple[doc.Component, ...], gaps: list[tuple[int, ...]]) -> Iterator[Item]:
    for side in beside(tooth, gaps):
        yield Item(doc.GuidePlate(f"guide plate {tooth} {side}", tooth, side), frame)


def _carried(tooth: int, origin: str, gaps: list[tuple[int, ...]]) -> tuple[doc.Component, ...]:
    """What an arm leaves from: a guide plate beside a gap, else a rest with its strut."""
    if origin in beside(tooth, gaps):
        return (doc.GuidePlate("plate", tooth, origin),)
    if position(tooth) < 4:
        return ()
    return (doc.OcclusalRest("rest", tooth, origin), doc.MinorConnector("strut", tooth, origin))


def _arms(tooth: int, frame: tuple[doc.Component, ...], teeth: list[int], gaps: list[tuple[int, ...]]) -> Iterator[Item]:
    far = {"mesial": "distal", "distal": "mesial"}
    for origin, face in itertools.product(PROXIMAL, FACES):
        if origin not in beside(tooth, gaps) and (position(tooth) < 4 or neighbours(tooth)[PROXIMAL.index(origin)] not in teeth):
            continue  # a canine takes no occlusal rest for an arm to come from; nothing but a ring comes to the far side of a last molar
        carried = _carried(tooth, origin, gaps)
        yield Item(doc.RetentiveArm(f"retentive arm {tooth} {origin} {face}", tooth, origin, face), (*frame, *carried))
        yield Item(doc.ReciprocalArm(f"reciprocal arm {tooth} {origin} {face}", tooth, origin, face), (*frame, *carried))
        rests = tuple(doc.OcclusalRest(f"rest {s}", tooth, s) for s in (origin, far[origin]))
        if is_molar(tooth):
            yield Item(doc.RingArm(f"ring arm {tooth} {origin} {face}", tooth, origin, face), (*frame, *rests))
        if not is_anterior(tooth):
            strut = doc.MinorConnector("strut", tooth, origin)
            yield Item(doc.BackActionArm(f"back-action arm {tooth} {origin} {face}", tooth, origin, face), (*frame, *rests, strut))
    for side in beside(tooth, gaps):
        onto = neighbours(tooth)[1 if side == "mesial" else 0]
        if onto in teeth:
            plate = doc.GuidePlate("plate", tooth, side)
            yield from (Item(doc.ExtendedArm(f"extended arm {tooth} {side} {face}", tooth, onto, face), (*frame, plate)) for face in FACES)


def _bars(tooth: int, frame: tuple[doc.Component, ...], gaps: list[tuple[int, ...]]) -> Iterator[Item]:
    for side, gap in beside(tooth, gaps).items():
        base = f"base {gap[0]}"
        yield Item(doc.IBar(f"I-bar {tooth} {side}", tooth, base), frame)
        for modified in (False, True):
            yield Item(doc.TBar(f"{'half ' if modified else ''}T-bar {tooth} {side}", tooth, base, side, modified), frame)
        for face in FACES:
            yield Item(doc.WireArm(f"wire {tooth} {side} {face}", tooth, base, side, face), frame)


def _connectors(arch: str, teeth: list[int], frame: tuple[doc.Component, ...]) -> Iterator[Item]:
    """Each kind from every pair of like teeth of both sides, as far as they stand."""
    if arch == "upper":
        yield from (Item(doc.PalatalPlate(f"palatal plate {c}", complete=c), frame[1:]) for c in (False, True))
        yield Item(doc.PalatalStraps("palatal straps"), frame[1:])
    lower = (doc.LingualBar, doc.LingualPlate, doc.SublingualBar, doc.LabialBar, doc.ContinuousBar)
    kinds = (doc.UShapedPlate,) if arch == "upper" else lower
    right, left = (1, 2) if arch == "upper" else (3, 4)
    for place, kind in itertools.product(range(3, 8), kinds):
        start, end = right * 10 + place, left * 10 + place
        if start in teeth and end in teeth and not (kind is doc.ContinuousBar and place > 4):
            rests = tuple(doc.OcclusalRest(f"rest {t}", t) if place > 3 else doc.CingulumRest(f"rest {t}", t) for t in (start, end))
            yield Item(kind(f"{kind.kind} {start} {end}", start=start, end=end), (*frame[1:], *rests))


def site_of(arch: str, missing: tuple[int, ...], triangles: int = 60_000, seed: int = 41) -> Site:
    """A made-up cast, surveyed along the occlusal normal and blocked out; no seat is cut."""
    made = make_phantom(PhantomSpec(arch, missing, THIRDS[arch], seed=seed, triangles=triangles))
    teeth = find_teeth(made.mesh, arch, {k: np.atleast_2d(p) for k, p in made.seeds.items()}, missing)
    path = Path(0.0, 0.0)
    found = survey(made.mesh, path, np.asarray(teeth.labels, dtype=np.int64))
    charts = {fdi: CrownChart(made.mesh, t, found) for fdi, t in teeth.teeth.items()}
    return Site(made.mesh, made.mesh, block_out(made.mesh, path, step_mm=0.25), teeth, charts, ArchChart(made.mesh, teeth, path), path)
