"""Rays against a cast: one embree scene for each mesh, built once and shared by every survey of it."""

from __future__ import annotations

from functools import cached_property, lru_cache

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .nearest import Finder
from .normals import smooth_normals
from .topology import EdgeTable, edge_table

# Embree works in single precision. About the centre of an 80 mm cast its spacing is below 4e-6 mm, so this shift of an origin is
# far above the rounding and far below anything a gauge can read.
_JITTER_MM = 1e-4


class RayScene:
    """Embree scene of one mesh, with the parts of a survey that do not depend on the path.

    mesh : what the rays meet, mm
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.faces):
            raise GeometryError("a mesh without triangles cannot be surveyed; check the file that it came from")
        self.mesh = mesh
        self._centre = mesh.bounds.mean(axis=0)
        self._scene = EmbreeScene()
        vertices = np.ascontiguousarray(mesh.vertices - self._centre, dtype=np.float32)
        self._triangles = TriangleMesh(self._scene, vertices, np.ascontiguousarray(mesh.faces, dtype=np.int32))

    @cached_property
    def edges(self) -> EdgeTable:
        """Each edge with the faces on its two sides."""
        return edge_table(self.mesh)

    @cached_property
    def normals(self) -> Floats:
        """(n, 3) unit vertex normals smoothed over a fixed length."""
        return smooth_normals(self.mesh, self.edges)

    @cached_property
    def nearest(self) -> Finder:
        """Finds the nearest surface point and face."""
        return Finder(self.mesh)

    def _rays(self, points: Floats, directions: Floats) -> tuple[Floats, Floats]:
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        origins = points - self._centre
        # A ray that runs exactly along an edge can slip between the two triangles, and in a regular mesh rays along an axis of
        # symmetry do just that; a fixed tiny shift takes them off the edges and keeps results repeatable.
        k = np.arange(len(origins))
        origins[:, 0] += _JITTER_MM * np.sin(1.0 + 12.9898 * k)
        origins[:, 1] += _JITTER_MM * np.sin(2.0 + 78.233 * k)
        d = np.broadcast_to(np.asarray(directions, dtype=np.float32), origins.shape)
        return np.ascontiguousarray(origins, dtype=np.float32), np.ascontiguousarray(d)

    def occluded(self, points: Floats, direction: Floats) -> Bools:
        """(k,) whether anything lies beyond each of (k, 3) points in a direction, (3,) or (k, 3), unit."""
        if not len(points):
            return np.zeros(0, dtype=bool)
        return np.asarray(self._scene.run(*self._rays(points, direction), query="OCCLUDED")) >= 0

    def first_hit(self, origins: Floats, directions: Floats) -> tuple[Floats, Ints]:
        """Distance in mm (infinite where nothing is met) and face (-1) along unit directions, (3,) or (k, 3)."""
        if not len(origins):
            return np.zeros(0), np.zeros(0, dtype=np.int64)
        hit = self._scene.run(*self._rays(origins, directions), output=True)
        face = np.asarray(hit["primID"], dtype=np.int64)
        return np.where(face >= 0, hit["tfar"].astype(np.float64), np.inf), face


class _Key:
    """A mesh compared by content, so that two equal casts share one scene."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh

    def __hash__(self) -> int:
        return hash(self.mesh.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.mesh.digest == self.mesh.digest


@lru_cache(maxsize=4)
def _scene(key: _Key) -> RayScene:
    return RayScene(key.mesh)


def scene_of(mesh: Mesh) -> RayScene:
    """The scene of a mesh; the last four are kept."""
    return _scene(_Key(mesh))
