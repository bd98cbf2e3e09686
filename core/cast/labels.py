"""Carries labels that belong to a scan's own triangles over to the mended cast."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import CastError
from ..mesh import Mesh
from .intake import Cast


def vertex_labels(raw: Mesh, labels: NDArray, cast: Cast, *, reach_mm: float = 0.5) -> NDArray[np.int16]:
    """(n,) label of each vertex of the cast, 0 where the scan has none within reach.

    raw : the surface as read; labels : one a face (m,) or one a vertex of `raw`. Of the faces at a point the most frequent counts.
    """
    from scipy.spatial import cKDTree

    values = np.asarray(labels).reshape(-1)
    if len(values) == len(raw.faces):
        corner, value = raw.faces.reshape(-1), np.repeat(values, 3)
        pairs, count = np.unique(np.stack([corner, value], axis=1), axis=0, return_counts=True)
        order = np.lexsort((count, pairs[:, 0]))
        last = np.r_[pairs[order][1:, 0] != pairs[order][:-1, 0], True]
        owner, value = pairs[order][last].T
    elif len(values) == len(raw.vertices):
        owner, value = np.arange(len(values)), values
    else:
        raise CastError(f"{len(values)} labels fit neither the {len(raw.faces)} triangles nor the {len(raw.vertices)} points of the scan")
    placed = raw.vertices[owner] @ cast.to_cast[:3, :3].T + cast.to_cast[:3, 3]
    distance, nearest = cKDTree(placed).query(cast.mesh.vertices, distance_upper_bound=reach_mm)
    result = np.zeros(len(cast.mesh.vertices), np.int16)
    found = np.isfinite(distance)
    result[found] = value[nearest[found]]
    return result
