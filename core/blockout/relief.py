"""Relief: a slab of even thickness over the blocked-out cast within a footprint drawn across the path, with a square edge.

The top of the slab is a surface at a constant distance from a calmed copy of the cast (a level set, so it cannot fold over
itself); its edge is cut by the footprint as an exact prism along the path. That edge is the internal finish line. Holes in the
footprint are tissue stops.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import manifold3d
import numpy as np

from ..errors import GeometryError
from ..isosurface import isosurface
from ..mesh import Floats, Mesh
from ..solids.distance import SurfaceDistance
from ..survey.path import Path

SINK_MM = 0.3
"""How far a relief solid reaches into the cast, so that the two never merely touch."""
CALM_MM = 0.4
SPACING_MM = 0.25


@dataclass(frozen=True, eq=False)
class ReliefSpec:
    """A slab of relief.

    polygon : (k, 2) footprint across the path, mm, in the path frame (points @ path.rotation.T, first two coordinates)
    thickness_mm : normal to the surface; holes : (k, 2) polygons left open, for tissue stops
    low_mm, high_mm : heights along the path between which the surface counts, None for all; needed where the footprint also
        lies over or under another part of the cast
    """

    polygon: Floats
    thickness_mm: float
    holes: tuple[Floats, ...] = field(default=())
    low_mm: float | None = None
    high_mm: float | None = None

    def __post_init__(self) -> None:
        if not 0.05 <= self.thickness_mm <= 3.0:
            raise GeometryError(f"relief thickness of {self.thickness_mm:g} mm is out of range; use 0.05 to 3")
        outline = np.asarray(self.polygon, dtype=np.float64)
        if outline.ndim != 2 or outline.shape[1] != 2 or len(outline) < 3:
            raise GeometryError(f"a relief footprint needs at least three points (k, 2), not {outline.shape}")
        object.__setattr__(self, "polygon", outline)


def relief_solid(blocked: Mesh, path: Path, spec: ReliefSpec, *, spacing_mm: float = SPACING_MM) -> Mesh:
    """The relief as a closed solid in the cast frame, reaching SINK_MM into the cast.

    blocked : closed, the blocked-out cast. Raises GeometryError where the footprint does not lie on the cast.
    """
    turned = Mesh(blocked.vertices @ path.rotation.T, blocked.faces)
    footprint = manifold3d.CrossSection([spec.polygon], manifold3d.FillRule.NonZero)
    for hole in spec.holes:
        footprint -= manifold3d.CrossSection([np.asarray(hole, dtype=np.float64)], manifold3d.FillRule.NonZero)
    if footprint.is_empty():
        raise GeometryError("a relief footprint is empty: its outline has no area or its stops cover it")
    x0, y0, x1, y1 = footprint.bounds()
    pad = spec.thickness_mm + 1.0
    corners = turned.triangles
    below = -np.inf if spec.low_mm is None else spec.low_mm
    above = np.inf if spec.high_mm is None else spec.high_mm
    inside = (
        np.all((corners[:, :, :2].max(axis=1) >= [x0 - pad, y0 - pad]) & (corners[:, :, :2].min(axis=1) <= [x1 + pad, y1 + pad]), axis=1)
        & (corners[:, :, 2].max(axis=1) >= below)
        & (corners[:, :, 2].min(axis=1) <= above)
        & (turned.face_normals[:, 2] > -0.01)
    )
    if not inside.any():
        raise GeometryError("a relief footprint does not lie on the cast; check its frame (across the path) and its heights")
    patch = turned.submesh(inside)[0]
    distance = SurfaceDistance(patch, smoothing=CALM_MM)
    z = patch.vertices[:, 2]
    floor, ceiling = max(float(z.min()), below) - SINK_MM, min(float(z.max()), above) + pad
    reach = 2.0 * spacing_mm

    def slab(points: Floats) -> Floats:
        away = distance(points)
        return np.maximum(away - spec.thickness_mm, -away - SINK_MM)

    box = np.array([[x0 - reach, y0 - reach, floor], [x1 + reach, y1 + reach, ceiling]])
    sheet = isosurface(lambda p: np.maximum(slab(p), _outside(p, box)), box, spacing_mm).to_manifold()
    prism = footprint.extrude(ceiling - floor + 2.0).translate((0.0, 0.0, floor - 1.0))
    cut = sheet ^ prism
    if cut.is_empty() or cut.volume() < 1e-3:
        raise GeometryError("a relief came out empty; its footprint does not lie on the cast")
    return Mesh.from_manifold(cut.transform(np.hstack([path.rotation.T, np.zeros((3, 1))])))


def _outside(points: Floats, box: Floats) -> Floats:
    """Signed distance (Chebyshev) to a box, negative inside: closes the sheet beyond the footprint."""
    return np.asarray(np.maximum(box[0] - points, points - box[1]).max(axis=1))
