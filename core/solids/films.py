"""Slits without width in a solid, and films without thickness on it: what a boolean leaves where two surfaces lie in one plane."""

from __future__ import annotations

from typing import Literal

import manifold3d
import numpy as np

from ..crossings import ROUNDING_MM, self_crossings
from ..mesh import Floats, Ints, Mesh

LEAF_MM = 2e-3
"""Half the thickness of what is put in or taken off, and how far it goes past the faces: as much as a fitting side may be off."""
ROUNDS = 4
MERGE_MM = (1e-4, 2e-4, 5e-4, 1e-3)
"""Folded slivers go when corners closer than one of these are merged; at which, is chance."""


def without_films(solid: manifold3d.Manifold, how: Literal["fill", "strip"]) -> manifold3d.Manifold:
    """The solid without faces that cross or lie doubled, closer together than the rounding of a file.

    how : "fill" puts thin leaves over such faces into a cast (nothing is taken from it), "strip" cuts them out of metal (nothing is added).
    Only faces that cross are touched, within LEAF_MM; a solid without any comes back as it is. Of all tries the one with the fewest
    crossings is given, for the checks to tell of.
    """
    best, mesh, bad = solid, Mesh.from_manifold(solid), crossing_faces(Mesh.from_manifold(solid))
    fewest = len(bad)
    for k in range(ROUNDS if fewest else 0):
        if k:
            leaves = manifold3d.Manifold.batch_boolean([_leaf(mesh.triangles[i], mesh.face_normals[i]) for i in bad], manifold3d.OpType.Add)
            solid = solid + leaves if how == "fill" else solid - leaves
        for within in MERGE_MM:
            merged = solid.simplify(within)
            mesh = Mesh.from_manifold(merged)
            bad = crossing_faces(mesh)
            if len(bad) < fewest:
                best, fewest = merged, len(bad)
            if not len(bad):
                return merged
    return best


def crossing_faces(mesh: Mesh) -> Ints:
    """(k,) faces that cross others deeper than rounding."""
    pairs, depth = self_crossings(mesh)
    return np.unique(pairs[depth > ROUNDING_MM])


def _leaf(triangle: Floats, normal: Floats) -> manifold3d.Manifold:
    """A plate about a triangle (3, 3), a little wider than it. normal : (3,), zero for a face without area."""
    middle = triangle.mean(axis=0)
    out = triangle - middle
    out = LEAF_MM * out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)
    side = LEAF_MM * (normal if normal.any() else np.array([0.0, 0.0, 1.0]))
    return manifold3d.Manifold.hull_points(np.concatenate([triangle + out + side, triangle + out - side]))
