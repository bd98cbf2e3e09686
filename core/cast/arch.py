"""Upper or lower, guessed from what lies between the arms; the caller is asked when that part was not scanned."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh

GRID_MM = 0.5
HALF_WIDTH_MM = 10.0
"""Plan window on the midline: 10 mm to each side stays inside the arms (intercanine width 26 mm or more, handbook section 10)."""
FRONT_MM, BACK_MM = 10.0, 30.0
"""and from behind the incisors to the depth of the arch (23 to 29 mm, handbook section 10)"""
COVERED = 0.6
VAULT_MM = 0.8


def guess_arch(mesh: Mesh) -> tuple[str, bool, str]:
    """`upper` or `lower`, whether that is sure, and the reason in a few words. The mesh is in the cast frame, mm.

    A palate is a vault: deepest on the midline, deeper towards the back. The floor of a lower cast is level or rises there.
    """
    x, y, height = _between_arms(mesh)
    seen = np.isfinite(height)
    if seen.mean() < COVERED:
        if mesh.is_closed and seen.mean() < 0.3:
            return "lower", True, "the cast is open between the arms, where an upper has its palate"
        return "upper", False, "too little was scanned between the arms to tell a palate from a floor of the mouth"
    x, y, height = x[seen], y[seen], height[seen]
    across = _median(height, np.abs(x) > 7.5) - _median(height, np.abs(x) < 2.5)
    along = _median(height, y > np.quantile(y, 0.8)) - _median(height, y < np.quantile(y, 0.2))
    # y runs from the front backward here; the way along is longer than the way across, so it falls more for the same vault
    vault = across - along / 3.0
    if vault > VAULT_MM:
        return "upper", True, "a vault like a palate lies between the arms"
    if vault < 0.0:
        return "lower", True, "the floor between the arms is level or rises towards the midline, as under a tongue"
    return "upper", False, "what lies between the arms is neither a clear palate nor a clear floor of the mouth"


def _median(height: Floats, where: np.ndarray) -> float:
    return float(np.median(height[where])) if where.any() else float(np.median(height))


def _between_arms(mesh: Mesh) -> tuple[Floats, Floats, Floats]:
    """Distance from the midline, distance behind the front teeth, and height of the highest surface (NaN where there is none)."""
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    points = mesh.vertices
    teeth = points[np.abs(points[:, 2]) < 5.0]
    front = float(np.quantile((teeth if len(teeth) else points)[:, 1], 0.99))
    sides, backs = np.arange(-HALF_WIDTH_MM, HALF_WIDTH_MM + 0.1, GRID_MM), np.arange(FRONT_MM, BACK_MM + 0.1, GRID_MM)
    x, y = (g.ravel() for g in np.meshgrid(sides, backs))
    origin = np.c_[x, front - y, np.full(len(x), points[:, 2].max() + 1.0)]
    ray = RayMeshIntersector(mesh.to_trimesh(), scale_to_box=False)
    down = np.tile([0.0, 0.0, -1.0], (len(x), 1))
    _, index, hit = ray.intersects_id(origin, down, multiple_hits=False, return_locations=True)
    height = np.full(len(x), np.nan)
    height[np.asarray(index, dtype=np.int64)] = np.asarray(hit, dtype=np.float64).reshape(-1, 3)[:, 2]
    return x, y, height
