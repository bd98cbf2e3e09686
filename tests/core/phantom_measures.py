"""Measuring made-up casts with general-purpose tools: level rays and exact distances. Each cast is made once for all tests."""

from dataclasses import replace
from functools import cache

import numpy as np
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, Phantom, make_phantom
from claspwright.core.phantom.arch import Placed
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from scipy.spatial import cKDTree


@cache
def made(name: str, triangles: int = 30_000, **options: float) -> Phantom:
    """A sample at a fineness that is quick to make; the lower free-end sample always as fine as it is given to users."""
    as_given = name == "lower_class_i" and not options
    return make_phantom(SAMPLES[name] if as_given else replace(SAMPLES[name], triangles=triangles, **options))


class Rays:
    """First hits on a mesh."""

    def __init__(self, mesh: Mesh) -> None:
        self._scene = EmbreeScene()
        self._keep = TriangleMesh(self._scene, mesh.triangles.astype(np.float32))

    def reach(self, origins: np.ndarray, direction: np.ndarray) -> np.ndarray:
        """(k,) distance from each origin along one direction, nan where nothing is hit."""
        where = np.asarray(origins, dtype=np.float32)
        along = np.broadcast_to(np.asarray(direction, dtype=np.float32), where.shape).copy()
        hit = self._scene.run(where, along, output=True)
        return np.where(hit["primID"] >= 0, hit["tfar"], np.nan)


def distance(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """(k,) exact distance from points to the mesh's nearest triangles."""
    centres = mesh.triangles.mean(axis=1)
    _, near = cKDTree(centres).query(points, k=24)
    corners = mesh.triangles[near.ravel()]
    closest = trimesh.triangles.closest_point(corners, np.repeat(points, 24, axis=0))
    away = np.linalg.norm(closest - np.repeat(points, 24, axis=0), axis=1)
    return away.reshape(len(points), 24).min(axis=1)


def horizontal_frame(tooth: Placed) -> tuple[np.ndarray, np.ndarray]:
    """Unit mesial and facial directions of a placed tooth in the occlusal plane."""
    mesial = tooth.frame[0] * [1, 1, 0]
    mesial /= np.linalg.norm(mesial)
    facial = tooth.frame[1] * [1, 1, 0]
    facial -= mesial * (facial @ mesial)
    return mesial, facial / np.linalg.norm(facial)
