"""Triangles with all that shading needs, and their refinement where light changes quickly: beside another part.

Light is worked out at vertices. A cast has large triangles where it is flat; under a bar their few vertices cannot hold its shadow, which
would then look like a comb. So edges near other parts are halved until they are short. The surface itself does not change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Ints, Mesh
from .materials import Singles
from .normals import corner_normals

LONGEST_MM = 0.4
NEAR_MM = 4.0
ROUNDS = 5


@dataclass(frozen=True, eq=False)
class Facets:
    """vertices (n, 3) mm, faces (m, 3), normals (n, 3) and colours (n, 3) of vertices, corners (m, 3, 3) normals for shading."""

    vertices: Floats
    faces: Ints
    normals: Singles
    colours: Singles
    corners: Singles

    @staticmethod
    def of(mesh: Mesh, colours: Singles) -> Facets:
        """A mesh as it is. colours: (n, 3) linear."""
        return Facets(mesh.vertices, mesh.faces, mesh.vertex_normals.astype(np.float32), colours, corner_normals(mesh))


def refine(facets: Facets, others: Floats, *, longest: float = LONGEST_MM, near: float = NEAR_MM) -> Facets:
    """Halve edges longer than `longest` mm that may come within `near` mm of the points `others`, a few times over."""
    if not len(others):
        return facets
    tree = cKDTree(_thinned(others, 0.1 * near))
    for _ in range(ROUNDS):
        corner = facets.vertices[facets.faces]
        length = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
        coarse = (length > longest).any(axis=1)  # both faces beside a long edge are among these
        ends, edge_of = _edges(facets.faces[coarse])
        a, b = facets.vertices[ends[:, 0]], facets.vertices[ends[:, 1]]
        half = np.linalg.norm(b - a, axis=1) / 2
        marked = half > longest / 2
        long = np.flatnonzero(marked)
        reach = near + half[long]  # some point of the edge may then be near
        marked[long] = tree.query((a[long] + b[long]) / 2, distance_upper_bound=float(reach.max(initial=0.0)) + 1e-9)[0] < reach
        if not marked.any():
            break
        facets = _halved(facets, coarse, ends, edge_of, marked)
    return facets


def _thinned(points: Floats, cell: float) -> Floats:
    """Of points (k, 3) one in each cell of a grid: enough to tell what is near."""
    place = np.floor((points - points.min(axis=0)) / cell).astype(np.int64)
    size = place.max(axis=0) + 1
    return points[np.unique((place[:, 0] * size[1] + place[:, 1]) * size[2] + place[:, 2], return_index=True)[1]]


def _edges(faces: Ints) -> tuple[Ints, Ints]:
    """Each edge once (e, 2); and for each face the edges from corner k to corner k + 1 (m, 3)."""
    if not len(faces):
        return np.zeros((0, 2), dtype=np.int64), np.zeros((0, 3), dtype=np.int64)
    half = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, first, inverse = np.unique(half[:, 0] * (int(faces.max()) + 1) + half[:, 1], return_index=True, return_inverse=True)
    return half[first], inverse.reshape(-1, 3)


def _halved(facets: Facets, coarse: Bools, ends: Ints, edge_of: Ints, marked: Bools) -> Facets:
    chosen = ends[marked]
    number = np.full(len(ends), -1, dtype=np.int64)
    number[marked] = len(facets.vertices) + np.arange(len(chosen))
    flags = marked[edge_of]
    count = flags.sum(axis=1)
    # Turn each face so that its marked edges come first: one marked edge at 0; of two the unmarked one last.
    turn = np.where(count == 1, np.argmax(flags, axis=1), np.where(count == 2, (np.argmin(flags, axis=1) + 1) % 3, 0))
    order = (turn[:, None] + np.arange(3)) % 3
    corner = np.take_along_axis(facets.faces[coarse], order, axis=1)
    middle = np.take_along_axis(number[edge_of], order, axis=1)
    normal = np.take_along_axis(facets.corners[coarse], order[:, :, None], axis=1)
    between = _unit(normal + np.roll(normal, -1, axis=1))
    points, normals = np.hstack([corner, middle]), np.concatenate([normal, between], axis=1)
    # Positions 0 1 2 are corners, 3 4 5 the middles of edges 0-1, 1-2, 2-0.
    patterns = {
        0: [(0, 1, 2)],
        1: [(0, 3, 2), (3, 1, 2)],
        2: [(3, 1, 4), (0, 3, 4), (0, 4, 2)],
        3: [(0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)],
    }
    faces, corners = [facets.faces[~coarse]], [facets.corners[~coarse]]
    for many, triples in patterns.items():
        rows = count == many
        for triple in triples:
            faces.append(points[rows][:, triple])
            corners.append(normals[rows][:, triple])
    mean = facets.vertices[chosen].mean(axis=1), _unit(facets.normals[chosen].sum(axis=1)), facets.colours[chosen].mean(axis=1)
    return Facets(
        np.vstack([facets.vertices, mean[0]]), np.concatenate(faces), np.vstack([facets.normals, mean[1]]),
        np.vstack([facets.colours, mean[2]]), np.concatenate(corners),
    )


def _unit(v: NDArray) -> Singles:
    return (v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)).astype(np.float32)
