"""Fins: metal that ran into a crevice of the master cast. Nobody could cast, print or finish it, so it is cut off, as at the bench.

Block-out walls run along the path, so where two of them stand close together the crevice between them does too, and one cut along the
path takes a fin off. What is left of a crevice wider than that is a form of the cast and stays.
"""

from __future__ import annotations

import manifold3d
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..crossings import thin_faces
from ..mesh import Floats, Ints, Mesh

THIN_MM = 0.004  # thinner than any process can make: powder is 0.01 to 0.045 mm
HALF_MM = 0.02  # of a cut, to each side of the fin's faces
ALONG_MM = 0.4  # a cut goes as high as the fin does within such a length
UPRIGHT = 0.3  # sine of the angle between a face and the path: steeper faces are no walls of a block-out
_CORNER_MM = 0.004  # outlines of cuts are simplified by so much: their rectangles meet at slight angles


def without_fins(metal: Mesh, rotation: Floats) -> manifold3d.Manifold | None:
    """The metal without its fins, None where it has none.

    metal : closed; rotation : (3, 3) into a frame with the path of placement upright
    """
    fins = upright_fins(metal, rotation)
    if len(fins) == 0:
        return None
    turn = np.hstack([rotation.T, np.zeros((3, 1))])
    return metal.to_manifold() - _cuts(metal, fins, rotation).transform(turn)


def upright_fins(metal: Mesh, rotation: Floats) -> Ints:
    """(k,) faces on both sides of metal thinner than THIN_MM that stands along the path."""
    faces = thin_faces(metal, THIN_MM)
    return faces[np.abs(metal.face_normals[faces] @ rotation[2]) < UPRIGHT]


def _cuts(metal: Mesh, fins: Ints, rotation: Floats) -> manifold3d.Manifold:
    """Upright prisms over all fins, in the frame with the path upright."""
    corners = metal.triangles[fins] @ rotation.T
    cell = np.floor(corners[:, :, :2].mean(axis=1) / ALONG_MM).astype(np.int64)
    _, which = np.unique(np.column_stack([_pieces(metal, fins), cell]), axis=0, return_inverse=True)
    which = which.reshape(-1)
    prisms = []
    for k in range(int(which.max()) + 1):
        some = corners[which == k]
        outline = manifold3d.CrossSection.batch_boolean([_strip(t[:, :2]) for t in some], manifold3d.OpType.Add)
        low, high = some[..., 2].min() - HALF_MM, some[..., 2].max() + HALF_MM
        prisms.append(manifold3d.Manifold.extrude(outline.simplify(_CORNER_MM), high - low).translate((0.0, 0.0, low)))
    return manifold3d.Manifold.batch_boolean(prisms, manifold3d.OpType.Add)


def _pieces(metal: Mesh, faces: Ints) -> Ints:
    """(k,) number of the piece that each of the faces belongs to; pieces share no corner."""
    corners, at = np.unique(metal.faces[faces], return_inverse=True)
    at = at.reshape(-1, 3)
    links = coo_matrix((np.ones(at.size), (at.reshape(-1), np.roll(at, 1, axis=1).reshape(-1))), shape=(len(corners), len(corners)))
    return np.asarray(connected_components(links, directed=False)[1])[at[:, 0]]


def _strip(flat: Floats) -> manifold3d.CrossSection:
    """A rectangle along an upright triangle seen from above (3, 2), HALF_MM wider all round."""
    edges = np.roll(flat, -1, axis=0) - flat
    lengths = np.linalg.norm(edges, axis=1)
    longest = int(lengths.argmax())
    along = edges[longest] / lengths[longest] if lengths[longest] > 0 else np.array([1.0, 0.0])
    across = np.array([-along[1], along[0]])
    s, o = flat @ along, flat @ across
    left, right, near, far = s.min() - HALF_MM, s.max() + HALF_MM, o.min() - HALF_MM, o.max() + HALF_MM
    ring = np.array([[left, near], [right, near], [right, far], [left, far]]) @ np.stack([along, across])
    return manifold3d.CrossSection([ring], manifold3d.FillRule.NonZero)
