"""Survey of a cast for one path: what is seen, how deep the rest is undercut, and where the height of contour runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import numpy as np

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from ..parallel import side_by_side
from .contour import contour_lines
from .lines import Contour
from .nearest import barycentric
from .path import Path, into_path_frame
from .scene import CLEAR_MM, RayScene, scene_of
from .shadow import Shadow, find_rims
from .slopes import Seen
from .visible import visible_vertices


@dataclass(frozen=True, eq=False)
class Survey:
    """A surveyed cast.

    path : path of placement
    visible : (n,) bool, vertices that a viewer along the path can see
    undercut : (n,) mm, depth in the shadow of everything above; 0 where visible
    convergence : (n,) degrees between path and surface, in the vertical plane of the depth; 0 where visible
    """

    path: Path
    visible: Bools
    undercut: Floats
    convergence: Floats
    scene: RayScene = field(repr=False)
    shadow: Shadow = field(repr=False)
    labels: Ints | None = field(repr=False, default=None)

    @property
    def mesh(self) -> Mesh:
        """The surveyed mesh."""
        return self.scene.mesh

    @cached_property
    def contours(self) -> tuple[Contour, ...]:
        """The height of contour, one polyline a stretch, by tooth; drawn when first asked for."""
        return contour_lines(self.scene, self.path, self.labels)


@dataclass(frozen=True, eq=False)
class Reading:
    """Gauge readings at points.

    depth : (k,) mm, 0 where seen; convergence : (k,) degrees; line : (k, 3) foot of the free line at the point's own height, mm
    """

    depth: Floats
    convergence: Floats
    line: Floats


def survey(mesh: Mesh, path: Path, labels: Ints | None = None, *, scene: RayScene | None = None) -> Survey:
    """Survey a mesh (open surface or closed solid, cast frame, mm) for a path.

    labels : (n,) FDI number a vertex, 0 on tissue; only names the contours
    scene : rays of the same mesh, when the caller keeps them; otherwise the last few meshes are remembered
    Raises GeometryError for a mesh without triangles or labels of another length.
    """
    if labels is not None and len(labels) != len(mesh.vertices):
        raise GeometryError(f"survey: {len(labels)} labels for {len(mesh.vertices)} vertices; label this very mesh")
    scene = scene if scene is not None else scene_of(mesh)
    visible, undercut, convergence, shadow = _depths(scene, path)
    return Survey(path, visible, undercut, convergence, scene, shadow, labels)


def local_undercut(mesh: Mesh, path: Path, labels: Ints) -> Floats:
    """(n,) mm: the undercut of each tooth taken alone, as if its neighbours and the tissue were not there; 0 on tissue.

    labels : (n,) FDI a vertex, 0 tissue. Beside a tilted neighbour or below a bulge of tissue this is less than Survey.undercut.
    """
    labels = np.asarray(labels)
    if len(labels) != len(mesh.vertices):
        raise GeometryError(f"local undercut: {len(labels)} labels for {len(mesh.vertices)} vertices; label this very mesh")
    depth = np.zeros(len(mesh.vertices))
    corner = labels[mesh.faces]
    for fdi in np.unique(labels[labels > 0]):
        whole = (corner == fdi).all(axis=1)
        if whole.any():
            crown, kept = mesh.submesh(whole)
            depth[kept] = _depths(RayScene(crown), path)[1]
    return depth


def _depths(scene: RayScene, path: Path) -> tuple[Bools, Floats, Floats, Shadow]:
    points = into_path_frame(scene.mesh.vertices, path)
    facing = np.einsum("ij,j->i", scene.mesh.face_normals, path.vector)  # threads of a matrix product take longer to wake than this
    scene.ready()
    jobs: list[Callable[[], Any]] = [partial(job, scene, path, points, facing) for job in (visible_vertices, find_rims)]
    visible, rims = side_by_side(lambda job: job(), jobs)
    shadow = Shadow(rims, Seen(scene, path, points, facing, visible))
    undercut, convergence = np.zeros(len(points)), np.zeros(len(points))
    hidden = np.flatnonzero(~visible)
    undercut[hidden], line = shadow.depth(points[hidden])
    convergence[hidden] = _convergence(into_path_frame(scene.normals[hidden], path), points[hidden], line)
    return visible, undercut, convergence, shadow


def _hidden(scene: RayScene, points: Floats, normals: Floats, path: Path) -> Bools:
    """Whether something stands above points on the surface; the ray starts just outside it."""
    return scene.occluded(points + CLEAR_MM * normals, path.vector)


def _convergence(normals: Floats, points: Floats, line: Floats) -> Floats:
    """Angle between path and surface in the plane of path and depth; normals, points (k, 3) and line (k, 2) in the path frame."""
    towards = line - points[:, :2]
    depth = np.linalg.norm(towards, axis=1, keepdims=True)
    flat = np.linalg.norm(normals[:, :2], axis=1, keepdims=True)
    own = normals[:, :2] / np.maximum(flat, 1e-9)
    # Within a few hundredths of the line its direction is noise: there the surface's own slope stands in.
    towards = np.where(depth > 0.03, towards / np.maximum(depth, 1e-9), own)
    across = np.einsum("ij,ij->i", normals[:, :2], towards)
    return np.clip(np.degrees(np.arctan2(-normals[:, 2], across)), 0.0, 90.0)


def read_gauge(result: Survey, points: Floats) -> Reading:
    """Readings at any points (k, 3) on the surface, exact on the triangles."""
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    rotation = result.path.rotation
    local = points @ rotation.T
    face = result.scene.nearest(points)[1]
    normals = result.mesh.face_normals[face]
    hidden = np.flatnonzero(_hidden(result.scene, points, normals, result.path))
    depth, convergence, line = np.zeros(len(points)), np.zeros(len(points)), local.copy()
    depth[hidden], line[hidden, :2] = result.shadow.depth(local[hidden])
    share = barycentric(result.mesh.triangles[face[hidden]], points[hidden])
    smooth = np.einsum("ij,ijk->ik", share, result.scene.normals[result.mesh.faces[face[hidden]]])
    convergence[hidden] = _convergence(smooth @ rotation.T, local[hidden], line[hidden, :2])
    return Reading(depth, convergence, line @ rotation)


def depth_at(result: Survey, points: Floats) -> Floats:
    """(k,) undercut depth in mm at points (k, 3) on the surface; 0 where the path sees them."""
    return read_gauge(result, points).depth
