"""Casts with a planted path of placement: barrel-shaped crowns on a flat floor, their proximal faces planes parallel to hidden directions.

Around its own axis every crown is the same on all sides but for those planes, so along that axis guide planes cost nothing, the undercut is
equal all round, and no other direction can do better.
"""

from __future__ import annotations

from collections.abc import Mapping

import manifold3d
import numpy as np
from claspwright.core.mesh import Mesh
from claspwright.core.planning.path_search_grid import vectors
from claspwright.core.teeth import Teeth, teeth_from_labels
from claspwright.core.teeth.numbering import order

HEIGHT = 7.5
PLACES = {  # (x, y, direction along the arch in degrees) of a lower arch, mm
    33: (-11.0, -4.0, 40.0), 34: (-16.0, -11.0, 62.0), 35: (-19.5, -18.5, 72.0), 37: (-24.5, -37.0, 80.0),
    43: (11.0, -4.0, -40.0), 44: (16.0, -11.0, -62.0), 45: (19.5, -18.5, -72.0), 47: (24.5, -37.0, -80.0),
}  # fmt: skip


def turned_to(axis: np.ndarray) -> np.ndarray:
    """(3, 3) rotation that takes Z to a unit vector by the shortest way."""
    v = np.cross([0.0, 0.0, 1.0], axis)
    k = np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])
    return np.eye(3) + k + k @ k / (1.0 + axis[2])


def barrel(axis: np.ndarray, at: tuple[float, float, float], *, planes: bool = True, edge: float = 0.4) -> manifold3d.Manifold:
    """A crown of revolution about `axis`, on a round collar square to it, its proximal faces two planes parallel to it, 3 mm either way.

    planes=False : a round wall parallel to it instead, radius 3.6 mm, over the 3.9 mm where the crown is wider than that.
    Widest (3.9 mm) at 3.6 of 7.5 mm; 1 mm over the collar it is undercut by 0.88 mm all round, more than any clasp can use.
    """
    z = np.linspace(-1.0, HEIGHT, 40)
    radius = 3.9 - np.where(z < 3.6, 0.13, 0.05) * (z - 3.6) ** 2
    outline = np.vstack([[0.0, z[0]], np.column_stack([radius, z]), [0.0, z[-1]]])
    slab = manifold3d.Manifold.cube((6.0, 30.0, 30.0), True).rotate((0.0, 0.0, at[2]))
    between = slab if planes else manifold3d.Manifold.cylinder(30.0, 3.6, 3.6, 96, True)
    crown = manifold3d.CrossSection([outline]).revolve(96) ^ between
    collar = manifold3d.Manifold.cylinder(8.0, 5.2, 5.2, 64).translate((0.0, 0.0, -8.0))
    x, y, _ = at
    return (crown.refine_to_length(edge) + collar.refine_to_length(1.0)).transform(np.column_stack([turned_to(axis), [x, y, 0.0]]))


def planted_cast(axes: Mapping[int, np.ndarray], *, planes: bool = True, edge: float = 0.4) -> tuple[Mesh, Teeth]:
    """The cast, closed, and its teeth; `axes` holds the hidden direction of each standing tooth. No two of them may stand together."""
    floor = manifold3d.Manifold.cube((70.0, 60.0, 8.0), True).translate((0.0, -20.0, -6.5)).refine_to_length(2.0)
    crowns = [barrel(axis, PLACES[fdi], planes=planes, edge=edge) for fdi, axis in axes.items()]
    mesh = Mesh.from_manifold(manifold3d.Manifold.batch_boolean([floor, *crowns], manifold3d.OpType.Add))
    labels = np.zeros(len(mesh.vertices), dtype=np.int64)
    for fdi, axis in axes.items():
        local = (mesh.vertices - [*PLACES[fdi][:2], 0.0]) @ axis
        beside = np.linalg.norm(np.cross(mesh.vertices - [*PLACES[fdi][:2], 0.0], axis), axis=1)
        labels[(beside < 4.2) & (local > 0.02)] = fdi
    missing = tuple(n for n in order("lower") if n not in axes and n % 10 < 8)
    return mesh, teeth_from_labels(mesh, "lower", labels, missing)


def direction(lateral: float, anteroposterior: float) -> np.ndarray:
    """(3,) unit vector of a place in the tilt plane, degrees."""
    return vectors(np.array([[lateral, anteroposterior]]))[0]
