"""The major connector as the mechanics look at it: its line, and its sections measured from the built solid less the cast.

A bar or a ring of straps brings its own line. A plate with a first and a last tooth is cut across the arch, any other one across the way
from one side to the other; the centroids of those cuts are its line, and it is cut again square to that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..case import Case
from ..case.connectors import ConnectorPart
from ..components import Assembly, Built, Site
from ..errors import GeometryError
from ..mechanics import ConnectorInput, Run
from ..mechanics.connector import Form
from ..mechanics.measured import measured_sections
from ..mechanics.sections import Sections
from ..mesh import Floats
from ..solids.curves import smooth, tangents
from ..solids.sweep import Rail

STEP_MM = 0.15  # of the grid in a section: a strap of 0.64 mm has four steps, and the border is met between them
COARSE = 4  # steps of the coarse grid that says where metal is
APART_MM = 1.8  # between planes
CALM_MM = 4.0  # a centre line has no smaller bends
ARCH_HALF_MM = (16.0, 16.0)  # half the window of a plane across the arch, outward and upward
ACROSS_HALF_MM = (32.0, 24.0)
SOUND_SHARE = 0.5  # planes at either end that cut less than this of the median area belong to the rounded border
FAR_MM = 2.0

Metal = Callable[[Floats], Floats]


@dataclass(frozen=True, eq=False)
class Planes:
    """Planes across a line: origin (k, 3), along, away (k, 3) unit; half (2,) mm of the window, across and away."""

    origin: Floats
    along: Floats
    away: Floats
    half: Floats

    @property
    def across(self) -> Floats:
        """(k, 3) unit."""
        return np.cross(self.away, self.along)


def connector_run(case: Case, assembly: Assembly, site: Site, ends: tuple[Floats, Floats]) -> tuple[str, Form, Run] | None:
    """Id, form and measured run of the major connector; ends (3,) the middles of what it joins. None where the case has none.

    Raises GeometryError where no plane across it meets metal.
    """
    found = [(c, assembly.built[c.id]) for c in case.components if isinstance(c, ConnectorPart) and c.id in assembly.built]
    if not found:
        return None
    spec, built = found[0]
    metal = metal_of(built, site)
    for name, form in (("bar", "bar"), ("ring", "ring")):
        if name in built.rails:
            return spec.id, "bar" if form == "bar" else "ring", _on_rail(metal, built.rails[name], form == "ring")
    if hasattr(spec, "start") and hasattr(spec, "end"):
        return spec.id, "bar" if case.cast.arch == "lower" else "plate", _along_arch(metal, site, int(spec.start), int(spec.end))
    return spec.id, "plate", _across(metal, site, ends)


def metal_of(built: Built, site: Site) -> Metal:
    """Signed field of a component's metal: its shapes less the blocked-out and relieved cast."""

    def field(points: Floats) -> Floats:
        out = np.full(len(points), FAR_MM)
        for shape in built.shapes:
            low, high = np.asarray(shape.bounds)
            near = np.flatnonzero(np.all((points >= low) & (points <= high), axis=1))
            if len(near):
                out[near] = np.minimum(out[near], shape.field(points[near]))
        near = np.flatnonzero(out < 1.2 * COARSE * STEP_MM)
        clear = site.skin(points[near])
        for relief in built.reliefs:
            clear = np.where(relief.zone.field(points[near]) < 0, clear - relief.thickness_mm, clear)
        out[near] = np.maximum(out[near], -clear)
        return out

    return field


def cut(metal: Metal, planes: Planes) -> Floats:
    """(k, n, m) samples of the field on planes; places that a coarse grid says are far from metal are counted as outside."""
    n, m = (COARSE * int(np.ceil(2.0 * h / (COARSE * STEP_MM))) for h in planes.half)
    u, v = (np.asarray((np.arange(c) - 0.5 * (c - 1)) * STEP_MM, dtype=np.float64) for c in (n, m))

    def places(us: Floats, vs: Floats) -> Floats:
        flat = us[:, None, None] * planes.across[:, None, None] + vs[:, None] * planes.away[:, None, None]
        return planes.origin[:, None, None] + flat

    middle = COARSE // 2  # a quarter of a coarse cell off its middle, which the reach below allows for
    coarse = places(u[middle::COARSE], v[middle::COARSE])
    near = metal(coarse.reshape(-1, 3)).reshape(coarse.shape[:3]) < 1.1 * COARSE * STEP_MM
    near = near.repeat(COARSE, axis=1).repeat(COARSE, axis=2)
    out = np.full(near.shape, FAR_MM)
    out[near] = metal(places(u, v)[near])
    return out


def _on_rail(metal: Metal, rail: Rail, closed: bool) -> Run:
    """Sections square to a rail, in a window round its drawn section."""
    count = max(int(rail.length / APART_MM), 8)
    pick = np.unique(np.linspace(0, len(rail.points) - 1, count).round().astype(int))
    along, away = _square(rail.points, rail.normals)
    half = np.array([0.5 * rail.width.max() + 1.2, rail.thickness.max() + 1.2])
    planes = Planes((rail.points + 0.5 * rail.thickness[:, None] * rail.normals)[pick], along[pick], away[pick], half)
    return _run(metal, planes, closed)[0]


def _along_arch(metal: Metal, site: Site, first: int, last: int) -> Run:
    low, high = sorted(site.arch.station(t) for t in (first, last))
    stations = np.linspace(low, high, max(int((high - low) / APART_MM), 8))
    frames = [site.arch.frame(float(s)) for s in stations]
    origin = np.array([site.arch.margin(float(s), "lingual") for s in stations])
    return _twice(metal, Planes(origin, np.array([f.tangent for f in frames]), np.tile(site.up, (len(frames), 1)), np.array(ARCH_HALF_MM)))


def _across(metal: Metal, site: Site, ends: tuple[Floats, Floats]) -> Run:
    way = ends[1] - ends[0]
    level = way - (way @ site.up) * site.up
    share = np.linspace(0.0, 1.0, max(int(np.linalg.norm(level) / APART_MM), 8))
    origin = ends[0] + share[:, None] * way - 0.5 * ACROSS_HALF_MM[1] * site.up  # the vault lies below the ridges
    along = np.tile(level / np.linalg.norm(level), (len(share), 1))
    return _twice(metal, Planes(origin, along, np.tile(site.up, (len(share), 1)), np.array(ACROSS_HALF_MM)))


def _twice(metal: Metal, planes: Planes) -> Run:
    """Sections square to the line through the centroids of the cuts by the given planes."""
    first, reach = _run(metal, planes, closed=False)
    line = smooth(first.nodes, CALM_MM)
    along, away = _square(line, first.away)
    run = _run(metal, Planes(line, along, away, np.full(2, reach + 1.5)), closed=False)[0]
    # As a plate lies, so lie the straps it is compared with: flat side along its stiff axis.
    found, turn = run.sections.turned()
    across = np.cross(run.away, tangents(run.nodes))
    flat = np.cos(turn)[:, None] * run.away - np.sin(turn)[:, None] * across
    return Run(run.nodes, flat / np.linalg.norm(flat, axis=1, keepdims=True), found)


def _square(line: Floats, away: Floats) -> tuple[Floats, Floats]:
    """Unit tangents of a line and the directions `away` (k, 3) made square to them."""
    along = tangents(line)
    out = away - along * np.einsum("ij,ij->i", along, away)[:, None]
    return along, out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)


def _run(metal: Metal, planes: Planes, closed: bool) -> tuple[Run, float]:
    """A run of measured sections, and how far they reach from their centroids, mm. The middle stretch of planes that cut enough metal."""
    field = cut(metal, planes)
    cover = (field < 0).sum(axis=(1, 2)).astype(float)
    if not cover.any():
        raise GeometryError("no plane across the major connector meets metal; it cannot be judged as a beam")
    sound = cover >= SOUND_SHARE * np.median(cover[cover > 0])
    middle = int(np.flatnonzero(sound)[np.abs(np.flatnonzero(sound) - len(sound) // 2).argmin()])
    first = middle - int(np.argmin(np.r_[sound[: middle + 1][::-1], False])) + 1
    last = middle + int(np.argmin(np.r_[sound[middle:], False]))
    keep = np.flatnonzero(sound) if closed else np.arange(first, last)
    if len(keep) < 3:
        raise GeometryError("fewer than three planes across the major connector meet metal; it cannot be judged as a beam")
    found, centre = measured_sections(field[keep], STEP_MM)
    nodes = planes.origin[keep] + centre[:, :1] * planes.across[keep] + centre[:, 1:] * planes.away[keep]
    return Run(nodes, planes.away[keep], found, closed), _reach(found)


def _reach(found: Sections) -> float:
    return float(np.linalg.norm(found.fibres, axis=2).max())


def connector_input(
    case: Case, assembly: Assembly, site: Site, rests: tuple[Floats, np.ndarray], loads: tuple[Floats, Floats], borne: tuple[float, float]
) -> ConnectorInput | None:
    """What the mechanics need of the major connector. rests : places (r, 3) and sides (r,); loads, borne : as in `ConnectorInput`."""
    found = connector_run(case, assembly, site, loads)
    if found is None:
        return None
    name, form, run = found
    ends = tuple(run.nodes[int(np.linalg.norm(run.nodes - p, axis=1).argmin())] for p in loads)
    return ConnectorInput(name, form, run, site.up, (ends[0], ends[1]), *rests, loads, borne)
