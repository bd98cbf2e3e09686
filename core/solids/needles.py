"""Needles: triangles whose one corner lies on the edge across from it, left along the seam of a boolean.

They have no direction of their own, so that angles and normals there mean nothing. Turning the long edge over to the corner across makes
two sound triangles of the needle and its neighbour; no vertex moves, and the surface by no more than the needle is high.
"""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh

NEEDLE_MM = 5e-4  # a twentieth of what a scan is exact to
_ROUNDS = 12
_LONG = 20.0  # a needle is so much longer than high: small sound triangles are left


def without_needles(mesh: Mesh) -> Mesh:
    """The closed mesh with the long edges of its needles turned over, where that gives sound triangles."""
    faces = mesh.faces.copy()
    for _ in range(_ROUNDS):
        height, longest = _heights(mesh.vertices, faces)
        needles = np.flatnonzero(height < NEEDLE_MM)
        needles = needles[_span(mesh.vertices, faces, needles, longest) > _LONG * height[needles]]
        turned = _turned(mesh.vertices, faces, height, longest, needles[np.argsort(height[needles], kind="stable")])
        if turned == 0:
            break
    return Mesh(mesh.vertices, faces)


def _heights(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """(m,) mm, height over the longest edge, and which edge that is: 0 for the one from the first corner to the second."""
    corners = vertices[faces]
    edges = np.roll(corners, -1, axis=1) - corners
    lengths = np.linalg.norm(edges, axis=2)
    longest = lengths.argmax(axis=1)
    area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    return area / np.maximum(lengths.max(axis=1), 1e-12), longest


def _span(vertices: Floats, faces: Ints, some: Ints, longest: Ints) -> Floats:
    """(k,) length of the longest edges of some faces."""
    start, end = faces[some, longest[some]], faces[some, (longest[some] + 1) % 3]
    return np.asarray(np.linalg.norm(vertices[end] - vertices[start], axis=1))


def _turned(vertices: Floats, faces: Ints, height: Floats, longest: Ints, needles: Ints) -> int:
    """Turn the long edges of the needles over, in place; of needles that share a face only the first. Returns how many were turned."""
    if len(needles) == 0:
        return 0
    n = len(vertices)
    half = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    keys = half[:, 0] * n + half[:, 1]
    order = np.argsort(keys)
    start, end, tip = (faces[needles, (longest[needles] + k) % 3] for k in range(3))
    twin = order[np.searchsorted(keys, end * n + start, sorter=order)]
    beyond, far = twin // 3, faces[twin // 3, (twin % 3 + 2) % 3]
    first, second = np.stack([start, far, tip], axis=1), np.stack([far, end, tip], axis=1)
    good = (tip != far) & ~_known(keys, order, tip * n + far) & ~_known(keys, order, far * n + tip)
    worst = np.minimum(height[needles], height[beyond])
    good &= np.minimum(_heights(vertices, first)[0], _heights(vertices, second)[0]) > 2.0 * worst
    way, other, before = (_normals(vertices[t]) for t in (first, second, faces[beyond]))
    good &= np.einsum("ij,ij->i", way, other) > 0.0
    sound = height[beyond] >= NEEDLE_MM
    good &= ~sound | ((np.einsum("ij,ij->i", way, before) > 0.5) & (np.einsum("ij,ij->i", other, before) > 0.5))
    chosen = np.flatnonzero(good)
    chosen = chosen[_alone(needles[chosen], beyond[chosen], np.minimum(tip, far)[chosen] * n + np.maximum(tip, far)[chosen], len(faces))]
    faces[needles[chosen]], faces[beyond[chosen]] = first[chosen], second[chosen]
    return len(chosen)


def _known(keys: Ints, order: Ints, wanted: Ints) -> Bools:
    at = np.searchsorted(keys, wanted, sorter=order)
    return np.asarray(keys[order[np.minimum(at, len(keys) - 1)]] == wanted)


def _normals(corners: Floats) -> Floats:
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300))


def _alone(faces: Ints, beyond: Ints, edge: Ints, count: int) -> Ints:
    """The places (k,) whose two faces and whose new edge no earlier place has."""
    _, once = np.unique(edge, return_index=True)
    place = np.sort(once)
    first = np.full(count, len(faces))
    np.minimum.at(first, faces[place], place)
    np.minimum.at(first, beyond[place], place)
    return place[(first[faces[place]] == place) & (first[beyond[place]] == place)]
