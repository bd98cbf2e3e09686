"""Does the solid outlive being written? STL and many readers keep 32-bit numbers and join corners that became equal."""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Mesh
from .result import NO_LANDMARKS, Check, Landmarks, as_place
from .topology import edge_faults

NUDGE_MM = 1.6e-5  # four steps of a 32-bit number at 60 mm: apart after rounding, and a thousandth of any tolerance of the trade
STORED_SOURCE = "binary STL holds 32-bit numbers and no joints (readers join equal corners)"


def _repeated(vertices: np.ndarray) -> Bools:
    """(n,) is there an earlier vertex at the same 32-bit place."""
    rounded = np.ascontiguousarray(vertices.astype(np.float32) + np.float32(0.0))
    _, first = np.unique(rounded, axis=0, return_index=True)
    later = np.ones(len(vertices), dtype=bool)
    later[first] = False
    return later


def joined(mesh: Mesh) -> Mesh:
    """Equal corners become one, as every reader of STL has to do; nothing else changes, collapsed faces are kept."""
    places, inverse = np.unique(mesh.vertices + 0.0, axis=0, return_inverse=True)
    return Mesh(places, inverse.reshape(-1)[mesh.faces])


def rounded_and_joined(mesh: Mesh) -> Mesh:
    """What a reader makes of the mesh written as binary STL: 32-bit corners, equal ones joined."""
    return joined(Mesh(mesh.vertices.astype(np.float32), mesh.faces))


def as_stored(mesh: Mesh, tries: int = 24) -> Mesh:
    """The same mesh with corners that would become one in a 32-bit file set apart by hundredths of a micrometre.

    Faces are untouched, so a closed solid stays closed when read back. Coordinates are exactly those of the file.
    """
    vertices = mesh.vertices.astype(np.float32).astype(np.float64)
    later = _repeated(vertices)
    for k in range(tries):
        if not later.any():
            break
        # Inward along the corner's normal; where that fails to part them, aside in turning directions.
        turn = np.array([np.cos(2.4 * k), np.sin(2.4 * k), np.cos(1.7 * k)])
        step = -mesh.vertex_normals[later] * (k < 4) + turn * (0.5 + (k >= 4))
        vertices[later] = mesh.vertices[later] + NUDGE_MM * (1 + k) * step
        vertices = vertices.astype(np.float32).astype(np.float64)
        later = _repeated(vertices)
    return Mesh(vertices, mesh.faces)


def check_stored(mesh: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """Written with 32-bit numbers and read back, the solid is still closed."""
    again = rounded_and_joined(mesh)
    open_, shared, turned = edge_faults(again)
    faults = len(open_) + len(shared) + len(turned)
    ordered = np.sort(again.faces, axis=1)
    collapsed = int(np.any(ordered[:, 1:] == ordered[:, :-1], axis=1).sum())
    place = again.vertices[np.concatenate([open_, shared, turned])[0]].mean(axis=0) if faults else None
    words = f"{faults} edges would no longer join two faces, {collapsed} faces would collapse"
    if not faults and not collapsed:
        words = "stays closed when written with 32-bit numbers and read back"
    return Check(
        "solid.stored",
        "fail" if faults or collapsed else "pass",
        float(faults + collapsed),
        0.0,
        "edges",
        landmarks.describe(place),
        STORED_SOURCE,
        words,
        as_place(place),
    )
