"""One component at once, and where to take hold of it: for a window that shows what a number does while it is dragged.

A handle is not written down for each kind: it is where the metal moves most when a number of the component grows, found by building it
with the number a little larger. So a new kind of component has its handles as soon as it can be built.
"""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..case import Case, Component
from ..case.keys import named
from ..components import Built, Site
from ..components.assemble import ORDER, build_part
from ..errors import ComponentError, GeometryError
from ..mesh import Floats, Mesh
from ..solids.fields import Blend
from .build import Clock, footing_of, surveyed
from .kept import Kept

SPACING_MM = 0.3  # of the mesh that is shown
STEP = {"mm": 0.15, "deg": 4.0}  # by which a number grows to see what moves
BY_NUMBER = ("thickness", "relief", "taper")  # felt in the hand, not seen in the view: edited as numbers
LEAST_MOVE_MM = 0.03
APART_MM = 1.2
OUTSIDE_MM = 0.05
SHARE = 0.75  # a place that moves this much of the most will do, if the most is taken by another handle


@dataclass(frozen=True)
class Handle:
    """A place of the metal to drag. field : of the component; value, low, high : its number and limits, in its own unit

    point : mm; way : unit, in which the metal goes when the number grows; per_mm : by which the number grows for a millimetre of it
    """

    field: str
    value: float
    low: float | None
    high: float | None
    point: tuple[float, float, float]
    way: tuple[float, float, float]
    per_mm: float


@dataclass(frozen=True, eq=False)
class Part:
    """A component by itself. mesh : None where it cannot be built; refused : why"""

    mesh: Mesh | None
    facts: dict[str, float]
    warnings: tuple[str, ...]
    handles: tuple[Handle, ...]
    refused: str


class LiveBench:
    """Builds single components of a case, and keeps the site between them.

    kept : of the process, so that the cast and its crowns are found once
    """

    def __init__(self, kept: Kept) -> None:
        self._kept = kept
        self._site: tuple[str, Site] | None = None

    def site(self, case: Case, *, fresh: bool, tell: Callable[[str, float], None]) -> Site:
        """What the components stand on. fresh: with the cuts that the case asks for now; else those of the last site on this path do."""
        clock = Clock(tell, None, self._kept)
        seen = surveyed(case, clock)
        if self._site is None or self._site[0] != seen.key or fresh:
            self._site = (seen.key, footing_of(case, seen, clock, quick=True).site)
        return self._site[1]

    def part(self, case: Case, name: str, *, handles: bool, fresh: bool, tell: Callable[[str, float], None]) -> Part:
        """One component by itself. Raises CaseError, CastError, GeometryError."""
        return part_of(case, name, self.site(case, fresh=fresh, tell=tell), handles=handles)


def part_of(case: Case, name: str, site: Site, *, handles: bool) -> Part:
    """Build one component of a case on its site; handles: find them too. Raises CaseError where the case has no such component."""
    chosen = named(case, name)
    under = _leant_on(case, chosen, site)
    try:
        built = build_part(chosen, case, site, under)
        mesh = Blend(built.shapes, 0.0).mesh(SPACING_MM)
    except (ComponentError, GeometryError) as error:
        return Part(None, {}, (), (), str(error))
    facts = {k: float(v) for k, v in built.facts.items() if not isinstance(v, str)}
    return Part(mesh, facts, built.warnings, _handles(case, chosen, site, under, mesh) if handles else (), "")


def _leant_on(case: Case, chosen: Component, site: Site) -> dict[str, Built]:
    """The parts before it that a component may join: connectors and bases, as far as they can be built."""
    out: dict[str, Built] = {}
    needs = chosen.kind in ("minor_connector", "lattice_base", "bead_plate") or hasattr(chosen, "base")
    kinds = [c for c in case.components if needs and not hasattr(c, "tooth") and ORDER.index(type(c)) < ORDER.index(type(chosen))]
    for part in sorted(kinds, key=lambda c: ORDER.index(type(c))):
        try:
            out[part.id] = build_part(part, case, site, out)
        except (ComponentError, GeometryError):
            continue
    return out


def _handles(case: Case, chosen: Component, site: Site, under: dict[str, Built], mesh: Mesh) -> tuple[Handle, ...]:
    points = mesh.vertices
    shown = site.skin(points) > OUTSIDE_MM
    if not shown.any():
        return ()
    hints, found = typing.get_type_hints(type(chosen)), list[Handle]()
    for field in dataclasses.fields(chosen):
        unit = field.name.rpartition("_")[2]
        if hints[field.name] is not float or unit not in STEP or any(word in field.name for word in BY_NUMBER):
            continue
        low, high, value = field.metadata.get("low"), field.metadata.get("high"), float(getattr(chosen, field.name))
        for step in (STEP[unit], -STEP[unit]):  # a number at the end of what can be built is seen by making it smaller
            inside = (high is None or value + step <= high) and (low is None or value + step >= low)
            moved = _moved(case, chosen, {field.name: value + step}, site, under, points) if inside else None
            if moved is not None:
                break
        else:
            continue
        spot = _spot(np.where(shown, moved, 0.0), points, [np.array(h.point) for h in found])
        if spot is None:
            continue
        way = mesh.vertex_normals[spot] * np.sign(moved[spot]) * np.sign(step)
        per_mm = abs(step) / abs(float(moved[spot]))
        found.append(Handle(field.name, value, low, high, _three(points[spot]), _three(way), per_mm))
    return tuple(found)


def _moved(case: Case, chosen: Component, change: dict[str, Any], site: Site, under: dict[str, Built], points: Floats) -> Floats | None:
    """(n,) mm by which the surface moves outward at points on it when a number changes; None where it cannot be built so."""
    try:
        other = build_part(dataclasses.replace(chosen, **change), case, site, under)
    except (ComponentError, GeometryError):
        return None
    return np.clip(-Blend(other.shapes, 0.0).field(points), -3.0, 3.0)


def _spot(moved: Floats, points: Floats, taken: list[Floats]) -> int | None:
    size = np.abs(moved)
    best = int(size.argmax())
    if size[best] < LEAST_MOVE_MM:
        return None
    good = np.flatnonzero(size >= SHARE * size[best])
    if taken:
        gap = np.linalg.norm(points[good][:, None] - np.array(taken)[None], axis=2).min(axis=1)
        if gap[good == best] < APART_MM:
            return int(good[gap.argmax()])
    return best


def _three(vector: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in vector)
    return x, y, z
