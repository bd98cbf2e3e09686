"""Sections of a cast: the ordered profile in a plane across the arch, and walking along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from ..teeth.surface import level_lines

BASE_MM = 0.3


@dataclass(frozen=True, eq=False)
class Section:
    """points (k, 3) from the facial end to the lingual end, mm; top : index of the point on the arch's own ridge or crown."""

    points: Floats
    top: int

    def side(self, name: str) -> Floats:
        """(j, 3) the profile from the top outward, "facial" or "lingual"."""
        return self.points[: self.top + 1][::-1] if name == "facial" else self.points[self.top :]


def plane_section(mesh: Mesh, origin: Floats, tangent: Floats, outward: Floats, up: Floats, top: Floats) -> Section:
    """Cut a mesh with the plane through the origin square to the tangent, and open it at its base.

    top : (3,) point of the surface in the plane from which "facial" and "lingual" part
    Raises GeometryError when the plane misses the surface.
    """
    lines = level_lines(mesh, (mesh.vertices - origin) @ tangent, 0.0)
    best = min(((float(np.linalg.norm(p - top, axis=1).min()), k) for k, (p, _) in enumerate(lines) if len(p) > 2), default=None)
    if best is None or best[0] > 3.0:
        raise GeometryError(f"no tissue in the section at ({origin[0]:.1f}, {origin[1]:.1f}) mm; the scan does not reach there")
    points, closed = lines[best[1]]
    seed = int(np.linalg.norm(points - top, axis=1).argmin())
    if closed:
        points, seed = np.roll(points, -seed, axis=0), 0
        forward, backward = points, np.vstack([points[:1], points[:0:-1]])
        floor = (points @ up).min() + BASE_MM
        forward, backward = _until(forward, up, floor), _until(backward, up, floor)
    else:
        forward, backward = points[seed:], points[seed::-1]
    if _lean(forward, outward) > _lean(backward, outward):
        forward, backward = backward, forward
    # backward is now the facial half, forward the lingual half
    return Section(np.vstack([backward[:0:-1], forward]), len(backward) - 1)


def _until(points: Floats, up: Floats, floor: float) -> Floats:
    """The part of a walk before it comes to the base."""
    low = np.flatnonzero(points @ up < floor)
    return points[: max(int(low[0]), 2)] if len(low) else points


def _lean(points: Floats, outward: Floats, within_mm: float = 8.0) -> float:
    """Mean outward shift of the first stretch of a walk."""
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    near = points[along <= within_mm]
    return float(((near - points[0]) @ outward).mean())


def walk_along(points: Floats, start: Floats, distance_mm: float) -> tuple[Floats, float]:
    """The point of a polyline at a distance beyond the place nearest to start, and how far it falls short (0 when it does not)."""
    a, d = points[:-1], np.diff(points, axis=0)
    length = np.linalg.norm(d, axis=1)
    t = np.clip(np.einsum("ij,ij->i", start - a, d) / np.maximum(length**2, 1e-18), 0.0, 1.0)
    gap = np.linalg.norm(a + t[:, None] * d - start, axis=1)
    i = int(gap.argmin())
    along = np.r_[0.0, np.cumsum(length)]
    target = along[i] + t[i] * length[i] + distance_mm
    at = float(np.clip(target, 0.0, along[-1]))
    point = np.array([np.interp(at, along, points[:, k]) for k in range(3)])
    return point, max(target - float(along[-1]), 0.0)
