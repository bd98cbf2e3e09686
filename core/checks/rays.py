"""Ray queries for the checks. Kept apart from the survey room on purpose: a check must not share the code it checks."""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh

# Ray arithmetic is 32-bit: at 60 mm from the origin one step is 4e-6 mm. The scene is centred on its mesh to keep that small.
MISS = -1


class Rays:
    """A mesh made ready for ray queries. Immutable after construction; mm."""

    def __init__(self, mesh: Mesh) -> None:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh

        self.mesh = mesh
        self._origin = mesh.bounds.mean(axis=0) if len(mesh.vertices) else np.zeros(3)
        self._scene = rtcore_scene.EmbreeScene()
        self._empty = len(mesh.faces) == 0
        if not self._empty:
            self._surface = TriangleMesh(
                self._scene,
                np.ascontiguousarray(mesh.vertices - self._origin, dtype=np.float32),
                np.ascontiguousarray(mesh.faces, dtype=np.int32),
            )

    def _prepared(self, origins: Floats, directions: Floats) -> tuple[np.ndarray, np.ndarray]:
        points = np.ascontiguousarray(np.reshape(origins, (-1, 3)) - self._origin, dtype=np.float32)
        return points, np.ascontiguousarray(np.broadcast_to(directions, points.shape), dtype=np.float32)

    def hits(self, origins: Floats, directions: Floats) -> Bools:
        """(k,) does the ray from (k, 3) origins along (k, 3) or (3,) directions meet the mesh at all."""
        if self._empty or len(origins) == 0:
            return np.zeros(len(origins), dtype=bool)
        found = self._scene.run(*self._prepared(origins, directions), query="OCCLUDED")
        return np.asarray(found) != MISS

    def first(self, origins: Floats, directions: Floats) -> tuple[Floats, Ints]:
        """(k,) distance to the first face met (infinite where none) and (k,) that face's index (-1 where none)."""
        if self._empty or len(origins) == 0:
            return np.full(len(origins), np.inf), np.full(len(origins), MISS, dtype=np.int64)
        out = self._scene.run(*self._prepared(origins, directions), output=True)
        face = np.asarray(out["primID"]).astype(np.int64)
        distance = np.where(face == MISS, np.inf, np.asarray(out["tfar"], dtype=np.float64))
        return distance, face

    def inside(self, points: Floats) -> Bools:
        """(k,) is the point in the solid: majority of three rays whose first face is met from behind. The mesh must be closed."""
        votes = np.zeros(len(points), dtype=np.int64)
        for direction in ((0.5377, 0.3133, 0.7827), (-0.6711, 0.2989, -0.6785), (0.1893, -0.9101, 0.3687)):
            d = np.asarray(direction)
            _, face = self.first(points, d)
            votes += (face != MISS) & (self.mesh.face_normals[face] @ d > 0)
        return votes >= 2
