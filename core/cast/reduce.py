"""A scan of millions of triangles reduced for work, with a bound on the error that is measured and kept.

Edges are collapsed by quadric error (Garland and Heckbert, "Surface simplification using quadric error metrics", 1997) by a library of
its own. That bounds nothing, so every point of both surfaces is held against the other by rays, and where the bound is passed the scan's
own points are put back.
"""

from __future__ import annotations

import numpy as np

from ..errors import CastError
from ..mesh import Bools, Floats, Ints, Mesh
from .gap import fans, gap
from .repair import clean

WORK_MOST = 2_000_000
"""Triangles up to which a scan is worked on as it is; a build of half that was measured (README, limits)."""
WITHIN_MM = 0.01
"""Under the best scanners' own error; half of what a fit is judged by (0.02 mm)."""
_TARGETS = (600_000, 1_000_000, 1_600_000, 2_000_000)
_PATIENCE = 4  # the library's measure of how soon it takes what is not best: its default, 7, folds creases over
_MENDED = 0.003  # share of points beyond the bound up to which they are put back one by one; beyond it more triangles are kept
_ROUNDS = 8  # what is not within the bound by then lies in a crease that needs more triangles
_NEAR_MM = 0.15  # how far about a spot that spans a crease the scan's points are put back
_ON_EDGE = 0.12  # a point put back this near to an edge, as a share of the height over it, goes into the edge: no slivers


def reduced(mesh: Mesh) -> tuple[Mesh, float] | None:
    """A surface of fewer triangles and its greatest distance from `mesh`, mm, at most WITHIN_MM, each measured from the other.

    mesh : mended (no edge with three faces), mm. None when the surface is so rough that it cannot be said with much fewer triangles.
    """
    for target in _TARGETS:
        if 2 * target > len(mesh.faces):
            break
        found = _mended(mesh, _collapsed(mesh, target))
        if found is not None:
            return found
    return None


def _collapsed(mesh: Mesh, target: int) -> Mesh:
    import fast_simplification

    centre = mesh.bounds.mean(axis=0)  # the library counts in 32 bits
    points, faces = fast_simplification.simplify(
        (mesh.vertices - centre).astype(np.float32), mesh.faces.astype(np.int32), target_count=target, agg=_PATIENCE
    )
    return Mesh(points.astype(np.float64) + centre, faces)


def _mended(mesh: Mesh, small: Mesh) -> tuple[Mesh, float] | None:
    """The reduced surface with the points of the scan put back that lie further off than WITHIN_MM; None if that does not help."""
    try:
        small, _ = clean(small)
    except CastError:  # the library folded it up
        return None
    if small.is_closed != mesh.is_closed:
        return None
    for turn in range(_ROUNDS):
        off = gap(mesh.vertices, mesh.vertex_normals, small, WITHIN_MM)
        far = np.flatnonzero(off > WITHIN_MM)
        if len(far) > _MENDED * len(mesh.vertices):
            return None
        if not len(far):
            back = gap(_spots(small), _spot_normals(small), mesh, WITHIN_MM)
            far = np.flatnonzero(back > WITHIN_MM)
            if not len(far):
                return small, float(max(off.max(), back.max()))
            # it spans a crease there: the points of the scan round about are put back, too
            back_in = _round_about(mesh, _spots(small)[far], off)
            small = _with_points(small, mesh.vertices[back_in], off[back_in], move=turn % 2 == 0)
            continue
        small = _with_points(small, mesh.vertices[far], off[far], move=turn % 2 == 0)
    return None


def _spots(mesh: Mesh) -> Floats:
    """Corners and middles of all faces: where the reduced surface is held against the scan."""
    return np.vstack([mesh.vertices, mesh.triangles.mean(axis=1)])


def _spot_normals(mesh: Mesh) -> Floats:
    return np.vstack([mesh.vertex_normals, mesh.face_normals])


def _round_about(mesh: Mesh, places: Floats, off: Floats) -> Ints:
    """The vertices of the scan near to (k, 3) places that lie off the reduced surface by something, by number."""
    from scipy.spatial import cKDTree

    near = cKDTree(places).query(mesh.vertices, distance_upper_bound=_NEAR_MM)[0] < _NEAR_MM
    return np.flatnonzero(near & (off > 0.25 * WITHIN_MM))


def _with_points(mesh: Mesh, points: Floats, off: Floats, *, move: bool) -> Mesh:
    """The surface drawn through points (k, 3) that lie beside it, the farthest first, no face touched twice.

    off : (k,) how far each lies off, mm. A point over the middle of a face divides it in three, one over an edge both faces there in two;
    one next to a corner takes that corner along, if `move`, else divides its face all the same.
    """
    from scipy.spatial import cKDTree
    from trimesh.triangles import closest_point

    order = np.argsort(-off, kind="stable")
    points = points[order]
    count = min(8, len(mesh.vertices))
    near = cKDTree(mesh.vertices).query(points, k=count)[1].reshape(len(points), count)
    fan = fans(mesh)
    split = _Split(mesh.vertices.copy(), mesh.faces.copy(), np.zeros(len(mesh.faces), dtype=bool))
    for point, close in zip(points, near, strict=True):
        around = np.unique(np.concatenate([fan[0][fan[1][v] : fan[1][v + 1]] for v in close]))
        at = closest_point(mesh.triangles[around], np.broadcast_to(point, (len(around), 3)))
        best = int(np.argmin(np.linalg.norm(at - point, axis=1)))
        face = int(around[best])
        share = _shares(mesh.triangles[face], at[best])
        k = int(np.argmin(share))
        a, b, c = (int(mesh.faces[face, (k + i) % 3]) for i in range(3))  # the edge b-c is the nearest to the point
        if max(share) > 1.0 - _ON_EDGE and move:
            split.move(int(mesh.faces[face, int(np.argmax(share))]), fan, point)
        elif share[k] > _ON_EDGE or max(share) > 1.0 - _ON_EDGE:
            split.face(face, a, b, c, point)
        else:
            split.edge(face, b, c, fan, point)
    return split.mesh()


def _shares(corners: Floats, point: Floats) -> Floats:
    """(3,) barycentric shares of a point in a triangle (3, 3)."""
    whole = np.linalg.norm(np.cross(corners[1] - corners[0], corners[2] - corners[0]))
    part = [np.linalg.norm(np.cross(corners[k - 2] - point, corners[k - 1] - point)) for k in range(3)]
    return np.array(part) / max(float(whole), 1e-30)


class _Split:
    """Faces being divided; one that was touched once is left alone."""

    def __init__(self, vertices: Floats, faces: Ints, touched: Bools) -> None:
        self.vertices, self.faces, self.touched = vertices, faces, touched
        self.points: list[Floats] = []
        self.more: list[tuple[int, int, int]] = []

    def _add(self, point: Floats) -> int:
        self.points.append(point)
        return len(self.vertices) + len(self.points) - 1

    def move(self, corner: int, fans: tuple[Ints, Ints], point: Floats) -> None:
        fan = fans[0][fans[1][corner] : fans[1][corner + 1]]
        if not self.touched[fan].any():
            self.touched[fan] = True
            self.vertices[corner] = point

    def face(self, face: int, a: int, b: int, c: int, point: Floats) -> None:
        if not self.touched[face]:
            self.touched[face] = True
            new = self._add(point)
            self.faces[face] = a, b, new
            self.more += [(b, c, new), (c, a, new)]

    def edge(self, face: int, b: int, c: int, fans: tuple[Ints, Ints], point: Floats) -> None:
        """Halve the edge from b to c of a face; the faces there are as they were at first, since each is touched once."""
        both = [int(f) for f in fans[0][fans[1][b] : fans[1][b + 1]] if c in self.faces[f]]
        if self.touched[face] or self.touched[both].any() or not 1 <= len(both) <= 2:
            return
        self.touched[both] = True
        new = self._add(point)
        for f in both:
            turn = np.roll(self.faces[f], -int(np.flatnonzero((self.faces[f] != b) & (self.faces[f] != c))[0]))
            d, first, second = (int(v) for v in turn)
            self.faces[f] = d, first, new
            self.more.append((d, new, second))

    def mesh(self) -> Mesh:
        if not self.points:
            return Mesh(self.vertices, self.faces)
        return Mesh(np.vstack([self.vertices, self.points]), np.vstack([self.faces, np.array(self.more, dtype=np.int64)]))
