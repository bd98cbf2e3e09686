"""What the metal is fitted to: the cast in all its triangles, scored where a connector has a bead."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d

from ..blockout import block_out
from ..cast import WITHIN_MM, Cast, full_solid
from ..mesh import Mesh, pieces_of
from ..preparation import Prepared, cut_with
from ..survey import Path


def whole_scan(cast: Cast, prepared: Prepared, blocked: Mesh, path: Path, *, taper_deg: float, step_mm: float) -> tuple[Mesh, Mesh]:
    """The prepared and the blocked-out cast that the metal is fitted to: of the full scan where the cast was reduced for work.

    The block-out is that of the reduced cast, put on the full one. taper_deg, step_mm : as in block_out.
    """
    full = full_solid(cast)
    if full is None:
        return prepared.mesh, blocked
    body = cut_with(full, prepared.tools)
    return body, block_out(prepared.mesh, path, taper_deg=taper_deg, step_mm=step_mm, onto=body, into_mm=2.0 * WITHIN_MM)


def scored(mesh: Mesh, scores: Sequence[Mesh]) -> Mesh:
    """A closed cast with what is scored out of it for beading: on such a cast the framework is made, and tried."""
    if not scores:
        return mesh
    tools = manifold3d.Manifold.batch_boolean([s.to_manifold() for s in scores], manifold3d.OpType.Add)
    return Mesh.from_manifold(max(pieces_of(mesh.to_manifold() - tools), key=lambda p: p.volume()))
