"""Upper or lower, guessed from what lies between the arms; never certain, so the caller is asked unless the palate is plain."""

from __future__ import annotations

import numpy as np

from ..mesh import Mesh

GRID_MM = 1.0
FLAT_MM = 0.6
"""A trimmed tongue space is flat to about half a millimetre; a palate falls by 10 to 20 mm (common practice)."""


def guess_arch(mesh: Mesh) -> tuple[str, bool, str]:
    """`upper` or `lower`, whether that is sure, and the reason in a few words. The mesh is in the cast frame."""
    heights = _between_arms(mesh)
    seen = np.isfinite(heights)
    if seen.mean() > 0.8:
        rows = heights[seen]
        flat = np.mean(np.abs(rows - np.median(rows)) < FLAT_MM)
        if flat > 0.6:
            return "lower", True, "the floor between the arms is flat, like a trimmed tongue space"
        return "upper", True, "a vaulted palate lies between the arms"
    if mesh.is_closed and seen.mean() < 0.2:
        return "lower", True, "the cast is open between the arms, where an upper has its palate"
    return "upper", False, "the scan shows nothing between the arms"


def _between_arms(mesh: Mesh) -> np.ndarray:
    """Height of the highest surface on a grid over the middle of the arch, NaN where there is none."""
    points = mesh.vertices
    teeth = points[(points[:, 2] > -5.0) & (points[:, 2] < 5.0)]
    front, back = np.quantile(teeth[:, 1], (0.98, 0.02))
    half = 0.3 * float(np.quantile(np.abs(teeth[:, 0]), 0.9))
    xs = np.arange(-half, half, GRID_MM)
    ys = np.arange(back + 0.1 * (front - back), back + 0.6 * (front - back), GRID_MM)
    x, y = (g.ravel() for g in np.meshgrid(xs, ys))
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    down = np.tile([0.0, 0.0, -1.0], (len(x), 1))
    origin = np.c_[x, y, np.full(len(x), points[:, 2].max() + 1.0)]
    ray = RayMeshIntersector(mesh.to_trimesh(), scale_to_box=False)
    face = ray.intersects_first(origin, down)
    heights = np.where(face >= 0, mesh.triangles.mean(axis=1)[:, 2][np.maximum(face, 0)], np.nan)
    return heights
