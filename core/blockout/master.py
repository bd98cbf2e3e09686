"""The master cast: the prepared cast, blocked out along the path except where retentive tips go, and relieved under metal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from ..errors import GeometryError
from ..mesh import Mesh, pieces_of
from ..survey.path import Path
from .relief import ReliefSpec, relief_solid
from .shadow import DUST_MM3, block_out, undercut_volume

GRAIN_MM3 = 0.05
"""Pieces smaller than a grain of wax that cutting and joining leave loose are dropped."""
ROOM_MM = 0.5


@dataclass(frozen=True, eq=False)
class MasterCast:
    """mesh : what metal is fitted to, one closed solid; blocked : prepared cast and its whole shadow, no relief, no open zones

    relief : all relief that stands over `blocked`, None without; undercut_volume_mm3 : below the prepared cast along the path;
    wax_volume_mm3 : all that was added to the prepared cast; relief_volume_mm3 : of that, relief; open_volume_mm3 : block-out
    left open for tips
    """

    mesh: Mesh
    blocked: Mesh
    relief: Mesh | None
    undercut_volume_mm3: float
    wax_volume_mm3: float
    relief_volume_mm3: float
    open_volume_mm3: float


def master_cast(
    prepared: Mesh,
    path: Path,
    *,
    blocked: Mesh | None = None,
    reliefs: Sequence[Mesh | ReliefSpec] = (),
    open_zones: Sequence[Mesh] = (),
    floor_mm: float | None = None,
    taper_deg: float = 0.0,
    step_mm: float = 0.1,
) -> MasterCast:
    """Prepared cast, with its shadow less the open zones, with relief.

    prepared : closed, mm; blocked : its block-out along the same path when that is at hand already
    reliefs : closed solids that reach a little into the cast, or ReliefSpec footprints laid on the blocked-out cast
    open_zones : closed solids in which neither block-out nor relief is put: retentive tips
    floor_mm, taper_deg, step_mm : as in block_out
    Raises GeometryError for open solids or an empty result.
    """
    cast = prepared.to_manifold()
    if blocked is None:
        blocked = block_out(prepared, path, step_mm=step_mm, taper_deg=taper_deg, floor_mm=floor_mm)
    full = blocked.to_manifold()
    solids = [r if isinstance(r, Mesh) else relief_solid(blocked, path, r) for r in reliefs]
    slabs = _united([_closed(s, "a relief") for s in solids])
    gaps = _united([_closed(z, "an open zone") for z in open_zones])
    waxed = full if slabs is None else full + slabs
    # Cutting the zones out and putting the cast back keeps its surface there bit by bit. Only its part beside the zones goes back:
    # a union of two whole casts whose surfaces coincide takes ten times as long and leaves their faces in splinters.
    whole = waxed if gaps is None else (waxed - gaps) + (cast ^ _round_about(open_zones))
    relief = None if slabs is None else _kept(slabs - full)
    whole = _kept(whole)
    if whole is None:
        raise GeometryError("the master cast came out empty; check the open zones")
    relief_mm3 = 0.0 if relief is None else relief.volume()
    open_mm3 = 0.0 if gaps is None else ((full ^ gaps) - cast).volume()
    return MasterCast(
        mesh=Mesh.from_manifold(whole),
        blocked=blocked,
        relief=None if relief is None else Mesh.from_manifold(relief),
        undercut_volume_mm3=undercut_volume(prepared, blocked),
        wax_volume_mm3=max(whole.volume() - cast.volume(), 0.0),
        relief_volume_mm3=relief_mm3,
        open_volume_mm3=max(open_mm3, 0.0),
    )


def _round_about(zones: Sequence[Mesh]) -> manifold3d.Manifold:
    """Boxes that hold the zones with a little room."""
    boxes = [manifold3d.Manifold.cube(np.ptp(z.bounds, axis=0) + 2.0 * ROOM_MM).translate(z.bounds[0] - ROOM_MM) for z in zones]
    return manifold3d.Manifold.batch_boolean(boxes, manifold3d.OpType.Add)


def _closed(mesh: Mesh, what: str) -> manifold3d.Manifold:
    solid = mesh.to_manifold()
    if solid.volume() <= DUST_MM3:
        raise GeometryError(f"{what} is empty or inside out; give a closed solid with its faces outward")
    return solid


def _united(solids: list[manifold3d.Manifold]) -> manifold3d.Manifold | None:
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add) if solids else None


def _kept(solid: manifold3d.Manifold) -> manifold3d.Manifold | None:
    """Without loose grains and enclosed bubbles."""
    parts = [p for p in pieces_of(solid) if p.volume() > GRAIN_MM3]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else manifold3d.Manifold.compose(parts)
