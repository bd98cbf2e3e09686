"""The trimmed base of a stone cast: flat bottom, flat walls set around the arch, as off a model trimmer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse.csgraph import connected_components

from ..mesh import Floats, Mesh
from .anatomy import Anatomy
from .shapes import smooth_max

if TYPE_CHECKING:
    import manifold3d

THICKNESS = 11.0  # mm of stone below the deepest tissue (10 to 13; common practice)
_BEVEL = 1.4  # reach of the rounding where tissue meets wall, mm
_SHAVE = 0.03  # the flat walls are cut this much inside the bevelled body, mm
_WALL = 9.5  # the trimmed walls stand this far facially of the arch curve, mm
_FRONTS = {"upper": (62.0, 118.0), "lower": (50.0, 70.0, 90.0, 110.0, 130.0)}  # directions of the front walls, degrees from +X


@dataclass(frozen=True, eq=False)
class Base:
    """Half-spaces direction . (x, y) <= reach, and the bottom's height."""

    directions: Floats  # (w, 2)
    reaches: Floats  # (w,)
    bottom: float
    bounds: Floats  # (2, 3) box that holds everything before trimming
    triangle_load: float  # triangles times squared spacing, mm2, of what is meshed finely (measured)

    @staticmethod
    def around(arch: str, anatomy: Anatomy) -> Base:
        """Walls around an arch: back, two heels, two sides, and the front, pointed for an upper and rounded for a lower cast."""
        first, last = anatomy.shape.end
        inside = (anatomy.curve.station >= first) & (anatomy.curve.station <= last)
        points = anatomy.curve.points[inside]
        angles = np.radians([*_FRONTS[arch], 12.0, 168.0, -52.0, 232.0, -90.0])
        directions = np.stack([np.cos(angles), np.sin(angles)], axis=1)
        reaches = (points @ directions.T).max(axis=0) + _WALL
        reaches[-1] -= _WALL - 1.5
        reaches[-3:-1] -= 4.5
        floor = anatomy.tissue.lowest()
        bottom = floor - THICKNESS
        load = ((67_700.0 + 1_670.0 * len(anatomy.teeth)) if arch == "upper" else (53_600.0 + 2_680.0 * len(anatomy.teeth)))
        low = np.r_[points.min(axis=0), floor - 2.5]
        high = np.r_[points.max(axis=0), 3.0]
        base = Base(directions, reaches, bottom, np.array([low, high]), load)
        corners = base.outline(0.0)
        low[:2], high[:2] = corners.min(axis=0) - 1.0, corners.max(axis=0) + 1.0
        return replace(base, bounds=np.array([low, high]))

    def outline(self, inset: float) -> Floats:
        """(w, 2) corners of the walls, counter-clockwise, `inset` mm further in."""
        order = np.argsort(np.arctan2(self.directions[:, 1], self.directions[:, 0]))
        d, r = self.directions[order], self.reaches[order] - inset
        corners = [np.linalg.solve(np.stack([d[k - 1], d[k]]), np.array([r[k - 1], r[k]])) for k in range(len(d))]
        return np.array(corners)

    def outside(self, points: Floats) -> Floats:
        """(k,) distance beyond the walls, negative within."""
        return np.asarray((points[:, :2] @ self.directions.T - self.reaches).max(axis=1))

    def bevel(self, field: Floats, points: Floats) -> Floats:
        """The anatomy cut off at the walls with a slightly rounded edge, as if broken with a knife."""
        return smooth_max(field, self.outside(points), _BEVEL)

    def clip(self, field: Floats, points: Floats) -> Floats:
        """The bevelled body closed below, a little beyond where it will be trimmed."""
        return np.maximum(self.bevel(field, points), self.bounds[0, 2] + 0.6 - points[:, 2])


def _thin(solid: manifold3d.Manifold, triangles: int) -> manifold3d.Manifold:
    """Take edges out where the surface is flattest until about the wished number of triangles is left."""
    tolerance, best = 0.005, solid  # mm
    for _ in range(8):
        best = solid.simplify(tolerance)
        share = best.num_tri() / triangles
        if abs(share - 1.0) < 0.1:
            break
        tolerance *= float(np.clip(share, 0.4, 2.5)) ** 1.6
    return best


def trim(mesh: Mesh, base: Base, triangles: int, *, keep_walls: bool) -> Mesh:
    """Cut the walls flat and stand the cast on its base; without walls only the anatomical surface is left, open."""
    import manifold3d

    level = base.bounds[0, 2] + 1.2
    size = np.ptp(base.bounds, axis=0)[:2] + 4.0
    below = manifold3d.Manifold.cube((size[0], size[1], level - base.bottom)).translate((*(base.bounds[0, :2] - 2.0), base.bottom))
    high = base.bounds[1, 2] - base.bottom + 5.0
    walls = manifold3d.Manifold.extrude(manifold3d.CrossSection([base.outline(_SHAVE)]), high).translate((0, 0, base.bottom))
    solids = ((mesh.to_manifold() + below) ^ walls).decompose()  # air caught between neighbours' contacts comes out as further pieces
    whole = Mesh.from_manifold(_thin(max(solids, key=lambda solid: solid.volume()), triangles))
    if keep_walls:
        return whole
    return _without_walls(whole, base, level)


def _without_walls(whole: Mesh, base: Base, level: float) -> Mesh:
    """The largest connected part of the surface that lies neither on a wall nor near the bottom."""
    centre = whole.triangles.mean(axis=1)
    on_wall = (np.abs(centre[:, :2] @ base.directions.T - base.reaches + _SHAVE) < 0.01).any(axis=1)
    kept = whole.submesh(~on_wall & (whole.triangles[:, :, 2].min(axis=1) > level + 0.5))[0]
    _, piece = connected_components(kept.adjacency, directed=False)
    return kept.submesh(piece[kept.faces[:, 0]] == np.argmax(np.bincount(piece)))[0]
