"""Which vertices the path sees: one ray each, but only where something could stand above.

Above a point outside a closed solid nothing can be met but a face that looks down. So a coarse map of how high such faces reach
tells most of a cast free without a ray; the map never decides that a point is hidden.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter

from ..mesh import Bools, Floats, Ints
from .path import Path, into_path_frame
from .scene import CLEAR_MM, VERTICAL, RayScene

# Cells of the map, mm: no small face is wider; and of the map for large faces, which need no such care.
_CELL_MM, _LARGE_CELL_MM = 0.7, 2.0
_ROWS = 512


def visible_vertices(scene: RayScene, path: Path, points: Floats, facing: Floats) -> Bools:
    """(n,) whether a viewer along the path sees each vertex.

    points : (n, 3) vertices in the path frame; facing : (m,) face normals times path
    """
    seen = np.ones(len(points), dtype=bool)
    asked = np.arange(len(points))
    if scene.inside is not None:
        below = scene.inside.copy()
        out = scene.outermost
        below[scene.corners[:, out[facing[out] <= VERTICAL]]] = True
        for spots in scene.spots:
            some = np.flatnonzero(facing[spots.faces] <= VERTICAL)
            if len(some) and spots.one_a_face:
                below |= _below(points, points, scene.corners[:, spots.faces[some]], _CELL_MM, 0)
            elif len(some):
                under = into_path_frame(spots.at[some], path)
                faces = spots.faces[some]
                # So much higher can a face be within reach of a spot, but nowhere higher than its highest corner.
                rise = spots.reach * np.sqrt(np.maximum(1.0 - facing[faces] ** 2, 0.0))
                a, b, c = (points[corner[faces], 2] for corner in scene.corners)
                under[:, 2] = np.minimum(under[:, 2] + rise, np.maximum(np.maximum(a, b), c))
                below |= _below(points, under, np.arange(len(some))[None], _LARGE_CELL_MM, 1)
        asked = np.flatnonzero(below)
    seen[asked] = ~scene.vertices_occluded(asked, path.vector)
    return seen


def _below(points: Floats, over: Floats, corners: Ints, cell_mm: float, ring: int) -> Bools:
    """(n,) whether points lie lower than the highest corner of something over their cell or as many as ring cells beside it.

    corners (c, k) : numbers of the points over (o, 3) that belong together, no more than a cell apart
    """
    # Column by column: numpy goes through narrow arrays along their long side slowly.
    low = [min(points[:, k].min(), over[:, k].min()) - ring * cell_mm for k in (0, 1)]
    high = [max(points[:, k].max(), over[:, k].max()) + ring * cell_mm for k in (0, 1)]
    rows, columns = (int((b - a) / cell_mm) + 1 for a, b in zip(low, high, strict=True))
    shape = min(rows, _ROWS), min(columns, _ROWS)

    def cells(of: Floats) -> list[Ints]:
        found = [((of[:, k] - low[k]) * (1.0 / cell_mm)).astype(np.int64) for k in (0, 1)]
        # Beyond so many, rows share a place: at worst too much is asked.
        return found if max(rows, columns) <= _ROWS else [x % size for x, size in zip(found, shape, strict=True)]

    x, y = cells(over)
    top = over[corners[0], 2]
    ends = [[x[corners[0]]] * 2, [y[corners[0]]] * 2]
    for corner in corners[1:]:
        top = np.maximum(top, over[corner, 2])
        for pair, cell in zip(ends, (x[corner], y[corner]), strict=True):
            pair[:] = np.minimum(pair[0], cell), np.maximum(pair[1], cell)
    ceiling = np.full(shape[0] * shape[1], -np.inf)
    for a in ends[0]:
        for b in ends[1]:
            np.maximum.at(ceiling, a * shape[1] + b, top)
    if ring:
        ceiling = maximum_filter(ceiling.reshape(shape), size=2 * ring + 1, mode="wrap").reshape(-1)
    if points is not over:
        x, y = cells(points)
    return np.asarray(points[:, 2] - 2.0 * CLEAR_MM < ceiling[x * shape[1] + y])
