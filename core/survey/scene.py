"""Rays against a cast: one embree scene for each mesh, built once and shared by every survey of it."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .nearest import Finder
from .normals import normal_noise, smooth_normals
from .topology import EdgeTable, edge_table, oriented_closed

# Embree works in single precision. About the centre of an 80 mm cast its spacing is below 4e-6 mm, so this shift of an origin is
# far above the rounding and far below anything a gauge can read.
_JITTER_MM = 1e-4
# A ray that runs exactly along an edge can slip between the two triangles, and in a regular mesh rays along an axis of symmetry do
# just that; a fixed tiny shift takes them off the edges and keeps results repeatable.
_TURN = np.arange(8191)
_JITTER = _JITTER_MM * np.column_stack([np.sin(1.0 + 12.9898 * _TURN), np.sin(2.0 + 78.233 * _TURN), np.zeros(len(_TURN))])
# Rays from a surface start this far outside it (mm): above single precision, below any gauge. It is also the depth under which a
# point counts as seen.
CLEAR_MM = 2e-3
# A face counts as turned under when its normal leans below the horizontal by more than this: vertical walls do not hide anything.
VERTICAL = 1e-5
# Embree's loop runs outside the interpreter's lock; below this many rays a second thread does not pay.
_THREADS, _SHARE = 2, 8_000

# Spots on faces lie so dense that none of a face is farther than this from its nearest spot (mm): faces of scans have one, those of
# bases many. A search is only as fast as its largest piece is small.
_SMALL_MM, _LARGE_MM = 0.35, 1.0
# Sizes by which faces are told apart when those near some points are looked for (mm).
_TIERS_MM = (0.2, 0.6, 1.8)
_CHUNK = 4_000_000  # numbers at a time

Rays = NDArray[np.float32]


class Spots:
    """Spots on the faces of a mesh.

    faces : (s,) whose each spot is; at : (s, 3) mm; reach : no place of a face is farther than this from one of its spots, mm
    one_a_face : the spots are the centres of small faces
    """

    def __init__(self, faces: Ints, at: Floats, reach: float, one_a_face: bool) -> None:
        self.faces, self.at, self.reach, self.one_a_face = faces, at, reach, one_a_face


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
    def corners(self) -> Ints:
        """(3, m) the faces' corners, each in one piece of memory: what loops over all faces read fastest."""
        return np.ascontiguousarray(self.mesh.faces.T)

    @cached_property
    def normals(self) -> Floats:
        """(n, 3) unit vertex normals smoothed over a fixed length."""
        return smooth_normals(self.mesh, self.edges)

    @cached_property
    def normal_noise(self) -> float:
        """What noise of the scan is left in the smoothed normals, radians."""
        return normal_noise(self.mesh, self.edges, self.normals)

    @cached_property
    def nearest(self) -> Finder:
        """Finds the nearest surface point and face."""
        return Finder(self.mesh)

    @cached_property
    def spots(self) -> tuple[Spots, ...]:
        """Spots on all faces that could stand above something, those of small faces first."""
        corners = self.mesh.triangles
        centre, reach = reach_of(corners)
        small = np.flatnonzero(reach <= _SMALL_MM)
        found = [Spots(small, centre[small], float(reach[small].max()), True)] if len(small) else []
        large = np.flatnonzero(reach > _SMALL_MM)
        large = np.setdiff1d(large, self.outermost)
        if len(large):
            owner, at = halved(corners[large], _LARGE_MM)
            found.append(Spots(large[owner], at, _LARGE_MM, False))
        return tuple(found)

    @cached_property
    def outermost(self) -> Ints:
        """Large faces that nothing of the mesh lies beyond (flat bases, trimmed walls): they are above nothing but their own corners."""
        large = np.flatnonzero(reach_of(self.mesh.triangles)[1] > _SMALL_MM)
        hull = self.mesh.vertices[ConvexHull(self.mesh.vertices).vertices] if len(large) else np.zeros((0, 3))
        found = [np.zeros(0, dtype=np.int64)]
        for some in np.array_split(large, 1 + len(large) * len(hull) // _CHUNK):
            normal = self.mesh.face_normals[some]
            own = np.einsum("ij,ij->i", normal, self.mesh.vertices[self.mesh.faces[some, 0]])
            found.append(some[(normal @ hull.T).max(axis=1, initial=-np.inf) <= own + 0.1 * CLEAR_MM])
        return np.concatenate(found)

    @cached_property
    def tiers(self) -> tuple[tuple[float, Ints], ...]:
        """Faces by size: how far any place of them is at most from the nearest of their corners, mm, and which."""
        reach = reach_of(self.mesh.triangles)[1]
        step = np.searchsorted(_TIERS_MM, reach)
        return tuple((far, np.flatnonzero(step == k)) for k, far in enumerate((*_TIERS_MM, np.inf)))

    @cached_property
    def lifted(self) -> Rays:
        """(n, 3) where the rays of the vertices start: just outside the surface, about the scene's centre."""
        return self._origins(self.mesh.vertices + CLEAR_MM * self.mesh.vertex_normals)

    @cached_property
    def inside(self) -> Bools | None:
        """(n,) vertices that lie inside the solid (where shells overlap); None for an open or badly wound mesh, which has no inside.

        From outside a solid a ray enters it before it leaves it: only a face seen from within is met first by a buried vertex.
        """
        if not oriented_closed(self.mesh, self.edges):
            return None
        up = np.array([0.0, 0.0, 1.0])
        _, face = self._hits(self.lifted, up)
        return np.asarray((face >= 0) & (self.mesh.face_normals[face, 2] > 0.0))

    def _origins(self, points: Floats) -> Rays:
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        shift = np.resize(_JITTER, points.shape) if len(points) > len(_JITTER) else _JITTER[: len(points)]
        return np.asarray(points - self._centre + shift, dtype=np.float32)

    def occluded(self, points: Floats, direction: Floats) -> Bools:
        """(k,) whether anything lies beyond each of (k, 3) points in a direction, (3,) or (k, 3), unit."""
        return self._occluded(self._origins(points), direction)

    def vertices_occluded(self, chosen: Ints, direction: Floats) -> Bools:
        """The same for vertices by number, from just outside the surface, all in one direction (3,)."""
        return self._occluded(self.lifted[chosen], direction)

    def _occluded(self, origins: Rays, direction: Floats) -> Bools:
        parts = self._run(origins, direction, query="OCCLUDED")
        return np.concatenate(parts) >= 0 if parts else np.zeros(0, dtype=bool)

    def first_hit(self, origins: Floats, directions: Floats) -> tuple[Floats, Ints]:
        """Distance in mm (infinite where nothing is met) and face (-1) along unit directions, (3,) or (k, 3)."""
        return self._hits(self._origins(origins), directions)

    def _hits(self, origins: Rays, directions: Floats) -> tuple[Floats, Ints]:
        parts = self._run(origins, directions, output=True)
        if not parts:
            return np.zeros(0), np.zeros(0, dtype=np.int64)
        face = np.concatenate([part["primID"] for part in parts]).astype(np.int64)
        far = np.concatenate([part["tfar"] for part in parts]).astype(np.float64)
        return np.where(face >= 0, far, np.inf), face

    def ready(self) -> None:
        """Build what rays need, once, before threads meet it."""
        self._scene.run(np.zeros((1, 3), dtype=np.float32), np.array([[0.0, 0.0, 1.0]], dtype=np.float32), query="OCCLUDED")

    def _run(self, origins: Rays, directions: Floats, **how: Any) -> list[Any]:
        d = np.asarray(directions, dtype=np.float32).reshape(-1, 3)
        if not len(origins):
            return []
        count = min(_THREADS, 1 + len(origins) // _SHARE)
        jobs = [
            (rays, d if len(d) == 1 else np.ascontiguousarray(part))
            for rays, part in zip(np.array_split(origins, count), [d] * count if len(d) == 1 else np.array_split(d, count), strict=True)
        ]
        if count == 1:
            return [self._scene.run(*jobs[0], **how)]
        self.ready()
        others = [_pool().submit(self._scene.run, *job, **how) for job in jobs[1:]]
        return [self._scene.run(*jobs[0], **how), *(other.result() for other in others)]


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    """Threads that stay: to start one takes as long as many a run of rays."""
    return ThreadPoolExecutor(_THREADS, thread_name_prefix="rays")


if hasattr(os, "register_at_fork"):  # threads do not come along into a forked process
    os.register_at_fork(after_in_child=_pool.cache_clear)


def reach_of(corners: Floats) -> tuple[Floats, Floats]:
    """Centres of triangles (k, 3, 3), and how far the farthest corner is from each."""
    centre = corners.mean(axis=1)
    square = [np.einsum("ij,ij->i", corners[:, k] - centre, corners[:, k] - centre) for k in range(3)]
    return centre, np.sqrt(np.maximum(np.maximum(square[0], square[1]), square[2]))


def halved(corners: Floats, most_mm: float) -> tuple[Ints, Floats]:
    """Halve triangles (k, 3, 3) across their longest edge until none reaches farther: whose each part is, and the parts' centres."""
    owner = np.arange(len(corners))
    owners, centres = [np.zeros(0, dtype=np.int64)], [np.zeros((0, 3))]
    while len(corners):
        centre, reach = reach_of(corners)
        done = reach <= most_mm
        owners.append(owner[done])
        centres.append(centre[done])
        corners, owner = corners[~done], owner[~done]
        edge = np.argmax([np.linalg.norm(corners[:, k] - corners[:, k - 2], axis=1) for k in range(3)], axis=0)
        row = np.arange(len(corners))
        a, b, c = (corners[row, (edge + k) % 3] for k in range(3))  # the longest edge runs from a to b
        middle = 0.5 * (a + b)
        corners = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
        owner = np.concatenate([owner, owner])
    return np.concatenate(owners), np.concatenate(centres)


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
