"""The prepared cast: rest seats sunk and guide planes planed, with what each takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import manifold3d
import numpy as np

from ..errors import GeometryError
from ..mesh import Floats, Mesh, pieces_of
from ..survey.enamel import proximal_enamel_mm
from ..survey.nearest import Finder
from ..survey.path import Path
from ..teeth import Teeth, Tooth
from .planes import GuidePlaneSpec, plan, plane_solid
from .seats import ON_LEDGE, ON_TOP, RestSeatSpec, floor_angle_deg, seat_solid

SPENDABLE = 0.5
"""Share of the local enamel beyond which a cut is warned of (project default)."""
PLANE_MOST_MM = 0.5
"""Orthodontic stripping takes 0.25 to 0.5 mm a surface (Am J Orthod Dentofacial Orthop 2015;147:435)."""
PAIR_MM = 0.3
"""An embrasure seat goes this far over the rim of its crown: between the two seats of a pair no wall is left standing."""
NEIGHBOUR_MM = 0.05
"""How far a seat may come over the outline of the crown beside it: where two crowns touch they share this much in a scan."""
PREMOLAR_SEAT_MM = 1.0
PREMOLAR_DENTINE_MM = 1.5
"""Seats of 1.5 mm reach dentine in over half of premolars, 1.0 mm is usually safe (premolar enamel data; handbook, section 3)."""

LEDGE_SHALLOW_MM = 0.7
"""Ledges that were judged adequate were 0.74 mm deep on the mean, 1.0 is wanted (Int J Prosthodont 1992;5:227)."""
SEAT_WORDS = {
    "occlusal": "occlusal", "long": "long occlusal", "embrasure": "embrasure", "cingulum": "cingulum", "ball": "ball", "incisal": "incisal",
}  # fmt: skip


@dataclass(frozen=True)
class Cut:
    """What one preparation takes.

    what : in words; deepest_mm : deepest cut under the old surface, along its normal; volume_mm3
    enamel_mm : usual local enamel, None where no figure is known; warning : in words, "" when nothing speaks against it
    """

    what: str
    tooth: int
    deepest_mm: float
    volume_mm3: float
    enamel_mm: float | None = None
    warning: str = ""


@dataclass(frozen=True, eq=False)
class Prepared:
    """mesh : the cast with all cuts made, closed; cuts : in the order of the specifications, seats first; tools : what cut them, closed

    whole : the same cuts in the full scan, where the cast was reduced for work; None where `mesh` is that
    """

    mesh: Mesh
    cuts: tuple[Cut, ...]
    tools: tuple[Mesh, ...] = ()
    whole: Mesh | None = None


def prepare(
    mesh: Mesh, teeth: Teeth, path: Path, seats: Sequence[RestSeatSpec] = (), guide_planes: Sequence[GuidePlaneSpec] = ()
) -> Prepared:
    """Sink the seats and plane the planes, each measured on the unprepared cast.

    mesh : closed, the one that the teeth were found on. Raises GeometryError for an open mesh or a cut that misses its tooth,
    CaseError for a tooth that is not marked.
    """
    cuts, tools = _measured(mesh, teeth, seats, guide_planes)
    return Prepared(cut_with(mesh, tools), tuple(cuts), tuple(tools))


def cut_with(mesh: Mesh, tools: Sequence[Mesh]) -> Mesh:
    """A closed cast less all tools. Raises GeometryError when nothing is left."""
    left = manifold3d.Manifold.batch_boolean([mesh.to_manifold(), *(t.to_manifold() for t in tools)], manifold3d.OpType.Subtract)
    parts = [p for p in pieces_of(left) if p.volume() > 0.01]  # a grain cut loose from a crown is not part of the cast
    if not parts:
        raise GeometryError("the preparations leave nothing of the cast; check their positions")
    return Mesh.from_manifold(parts[0] if len(parts) == 1 else max(parts, key=lambda p: p.volume()))


def measure_planes(mesh: Mesh, teeth: Teeth, guide_planes: Sequence[GuidePlaneSpec]) -> tuple[Cut, ...]:
    """What each plane would take of the closed cast that the teeth were found on, without cutting it."""
    return tuple(_measured(mesh, teeth, (), guide_planes)[0])


def _measured(
    mesh: Mesh, teeth: Teeth, seats: Sequence[RestSeatSpec], guide_planes: Sequence[GuidePlaneSpec]
) -> tuple[list[Cut], list[Mesh]]:
    """The cuts and the tools that make them."""
    solid = mesh.to_manifold()
    cuts: list[Cut] = []
    tools = []
    for seat in seats:
        tooth = teeth[seat.tooth]
        tool = _beside_neighbours(seat_solid(fit_reach(seat, tooth, mesh)), seat, teeth, mesh)
        cuts.append(_seat_cut(seat, *_taken(mesh, solid, tool, tooth, f"{SEAT_WORDS[seat.kind]} rest seat")))
        tools.append(tool)
    for plane in guide_planes:
        tooth = teeth[plane.tooth]
        where = plan(plane, tooth, mesh)
        tool = plane_solid(plane, tooth, where)
        found = _taken(mesh, solid, tool, tooth, f"{plane.side} guide plane", needed=False)
        cuts.append(_plane_cut(plane, *found))
        tools.append(tool)
    return cuts, tools


def fit_reach(seat: RestSeatSpec, tooth: Tooth, mesh: Mesh) -> RestSeatSpec:
    """The same seat, reaching outward just over the rim of its own crown. mesh: the unprepared cast, mm."""
    return replace(seat, reach_mm=_outward_reach(seat, tooth, mesh))


def _outward_reach(seat: RestSeatSpec, tooth: Tooth, mesh: Mesh) -> float:
    """How far a seat may go beyond its landmark: over the rim of its own crown."""
    if seat.kind == "incisal":
        return seat.reach_mm
    local = (mesh.vertices[np.unique(mesh.faces[tooth.faces])] - seat.point) @ seat.axes.T
    near = (np.abs(local[:, 1]) < 0.5 * seat.width_mm) & (local[:, 2] > -seat.depth_mm - 0.8)
    over = PAIR_MM if seat.kind == "embrasure" else 0.05
    return float(np.clip(-local[near, 0].min() + over, 0.1, 2.5)) if near.any() else seat.reach_mm


def _beside_neighbours(tool: Mesh, seat: RestSeatSpec, teeth: Teeth, mesh: Mesh) -> Mesh:
    """A seat's tool without what lies over another crown, seen along the path: the neighbour keeps its surface."""
    solid = tool.to_manifold()
    reach = float(np.linalg.norm(np.ptp(tool.bounds, axis=0)))
    for other in teeth.teeth.values():
        if other.fdi == seat.tooth or np.linalg.norm(other.margin - seat.point, axis=1).min() > reach:
            continue
        local = (mesh.vertices[np.unique(mesh.faces[other.faces])] - seat.point) @ seat.axes.T
        high = local[local[:, 2] > -seat.depth_mm - 0.8]
        if len(high) < 3:
            continue
        inside = PAIR_MM if seat.kind == "embrasure" and (other.centre - seat.point) @ seat.inward < 0 else NEIGHBOUR_MM
        plan_view = manifold3d.CrossSection.hull_points(high[:, :2]).offset(-inside, manifold3d.JoinType.Round, 2.0, 32)
        if plan_view.is_empty():
            continue
        prism = plan_view.extrude(40.0).translate((0.0, 0.0, -20.0))
        solid = solid - prism.transform(np.column_stack([seat.axes.T, seat.point]))
    parts = [p for p in pieces_of(solid) if p.volume() > 0.05]
    if not parts:
        raise GeometryError(f"rest seat on {seat.tooth} lies wholly over its neighbour; check the landmark")
    # What is left beyond the neighbour is no longer the seat.
    own = min(parts, key=lambda p: float(np.linalg.norm(Mesh.from_manifold(p).vertices - seat.point, axis=1).min()))
    return Mesh.from_manifold(own)


def _taken(mesh: Mesh, solid: manifold3d.Manifold, tool: Mesh, tooth: Tooth, what: str, *, needed: bool = True) -> tuple[float, float]:
    """Deepest cut (mm) and volume (mm3) of a tool on the unprepared cast."""
    low, high = tool.bounds[0] - 0.5, tool.bounds[1] + 0.5
    near = np.all((mesh.triangles.max(axis=1) >= low) & (mesh.triangles.min(axis=1) <= high), axis=1)
    removed = solid ^ tool.to_manifold()
    volume = float(removed.volume())
    if volume < 1e-4 or not near.any():
        if needed:
            raise GeometryError(f"{what} on {tooth.fdi} does not meet its tooth; check the landmark and the direction inward")
        return 0.0, 0.0
    old = Finder(mesh.submesh(near)[0])
    points = Mesh.from_manifold(removed.refine_to_length(0.2)).vertices
    return float(_distances(old, points).max()), volume


def _distances(old: Finder, points: Floats) -> Floats:
    return np.asarray(np.linalg.norm(old(points)[0] - points, axis=1))


def _seat_cut(seat: RestSeatSpec, deepest: float, volume: float) -> Cut:
    words = []
    premolar = seat.kind in ON_TOP and seat.tooth % 10 in (4, 5)
    if premolar and seat.depth_mm > PREMOLAR_SEAT_MM:
        words.append(f"{seat.depth_mm:g} mm at the ridge; over {PREMOLAR_SEAT_MM:g} mm dentine is often reached in premolars")
    elif premolar and deepest >= PREMOLAR_DENTINE_MM:
        words.append(f"{deepest:.1f} mm at its deepest, under the old surface: in over half of premolars that reaches dentine")
    if seat.kind in ON_TOP and floor_angle_deg(seat) >= 90.0:
        words.append("its floor does not fall inward: the rest could slide off")
    if seat.kind in ON_LEDGE and seat.depth_mm < LEDGE_SHALLOW_MM:
        words.append(f"this steep face allows a ledge of {seat.depth_mm:.2f} mm; 0.7 to 1.0 mm are wanted: add metal or resin, or a notch")
    size = f"{seat.width_mm:g} mm wide" if seat.kind in ("ball", "incisal") else f"{seat.width_mm:.2g} x {seat.length_mm:.2g} mm"
    what = f"{SEAT_WORDS[seat.kind]} rest seat, {size}, {seat.depth_mm:.2g} mm deep"
    return Cut(what, seat.tooth, deepest, volume, None, "; ".join(words))


def _plane_cut(plane: GuidePlaneSpec, deepest: float, volume: float) -> Cut:
    enamel = proximal_enamel_mm(plane.tooth, plane.side) if plane.side in ("mesial", "distal") else None
    words = []
    if enamel is not None and deepest > SPENDABLE * enamel:
        words.append(f"takes {deepest:.2f} mm, over half of the {enamel:.2f} mm of enamel usual there")
    elif deepest > PLANE_MOST_MM:
        words.append(f"takes {deepest:.2f} mm, more than {PLANE_MOST_MM:g} mm")
    return Cut(f"{plane.side} guide plane, {plane.height_mm:g} mm high", plane.tooth, deepest, volume, enamel, "; ".join(words))
