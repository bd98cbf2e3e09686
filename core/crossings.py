"""Where a surface crosses itself, and how it is drawn apart. A tree of boxes finds the near pairs, then edges are tested against faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mesh import Bools, Floats, Ints, Mesh, once_a_mesh
from .parallel import side_by_side

# A crossing less deep than this is the rounding of coordinates (32-bit STL numbers: 8e-6 mm at 100 mm), not a fault of form.
ROUNDING_MM = 1e-4
# A determinant below this share of its own terms cannot be told from zero in 64-bit arithmetic (Shewchuk 1997, static filter).
SIGN_EPS = 1e-14
PLANE_MM = 1e-9  # faces in one plane, such as those of a floor, to the rounding of 64-bit numbers
_CHUNK = 100_000
_FLAT_MM = 1e-7  # far above the rounding of heights of triangles in 64-bit numbers
_FACING = 0.05
_OPPOSED = 0.9  # cosine between two faces that lie against each other


@dataclass(frozen=True, eq=False)
class _Tree:
    """A full binary tree of boxes over triangles sorted along a space-filling curve, root first.

    boxes[k] : (6, 2**k) float32, lowest x y z then the highest with its sign turned, both rounded outward
    order : (2**depth,) leaf -> triangle, -1 for padding
    """

    boxes: tuple[np.ndarray, ...]
    order: Ints


def _morton(points: Floats) -> Ints:
    """(n,) interleaved bits of 21-bit cell numbers."""
    low, high = points.min(axis=0), points.max(axis=0)
    cell = ((points - low) / np.maximum(high - low, 1e-12).max() * (2**21 - 1)).astype(np.uint64)
    code = np.zeros(len(points), dtype=np.uint64)
    for axis in range(3):
        x = cell[:, axis]
        for shift, mask in (
            (32, 0x1F00000000FFFF),
            (16, 0x1F0000FF0000FF),
            (8, 0x100F00F00F00F00F),
            (4, 0x10C30C30C30C30C3),
            (2, 0x1249249249249249),
        ):
            x = (x | (x << np.uint64(shift))) & np.uint64(mask)
        code |= x << np.uint64(axis)
    return code.astype(np.int64)


def _tree(triangles: Floats) -> _Tree:
    m = len(triangles)
    depth = int(np.ceil(np.log2(max(m, 1))))
    order = np.full(2**depth, -1, dtype=np.int64)
    order[:m] = np.argsort(_morton(triangles.mean(axis=1)), kind="stable")
    sides = np.concatenate([triangles.min(axis=1), -triangles.max(axis=1)], axis=1)[order[:m]].T
    leaves = np.full((6, 2**depth), np.inf, dtype=np.float32)
    leaves[:, :m] = np.nextafter(sides.astype(np.float32), np.float32(-np.inf))
    levels = [leaves]
    while levels[-1].shape[1] > 1:
        levels.append(np.minimum(levels[-1][:, ::2], levels[-1][:, 1::2]))
    return _Tree(tuple(reversed(levels)), order)


def _touching(boxes: np.ndarray, i: Ints, j: Ints) -> tuple[Ints, Ints]:
    """The pairs whose boxes overlap; one axis after the other, so that most pairs cost one axis only."""
    for axis in range(3):
        low, high = boxes[axis], boxes[axis + 3]
        keep = np.flatnonzero((low[i] <= -high[j]) & (low[j] <= -high[i]))
        i, j = i[keep], j[keep]
    return i, j


def near_pairs(triangles: Floats) -> Ints:
    """(k, 2) pairs i < j of triangles (m, 3, 3) whose boxes overlap, neighbours included."""
    tree = _tree(triangles)
    i = j = np.zeros(1, dtype=np.int64)
    for boxes in tree.boxes[1:]:
        found = []
        for k in range(0, len(i), _CHUNK):
            a, b = 2 * i[k : k + _CHUNK], 2 * j[k : k + _CHUNK]
            apart = a != b
            for left, right, wanted in ((0, 0, None), (1, 1, None), (0, 1, None), (1, 0, apart)):
                p, q = (a, b) if wanted is None else (a[wanted], b[wanted])
                found.append(_touching(boxes, p + left, q + right))
        i, j = (np.concatenate(side) for side in zip(*found, strict=True))
    i, j = tree.order[i[i != j]], tree.order[j[i != j]]
    return np.stack([np.minimum(i, j), np.maximum(i, j)], axis=1)


def _sign(u: Floats, v: Floats, w: Floats) -> Ints:
    """(k,) sign of the determinant of three (k, 3) rows; 0 where 64-bit arithmetic cannot tell."""
    t = np.stack(
        [
            u[:, 0] * (v[:, 1] * w[:, 2]),
            u[:, 1] * (v[:, 2] * w[:, 0]),
            u[:, 2] * (v[:, 0] * w[:, 1]),
            -u[:, 2] * (v[:, 1] * w[:, 0]),
            -u[:, 0] * (v[:, 2] * w[:, 1]),
            -u[:, 1] * (v[:, 0] * w[:, 2]),
        ]
    )
    value = t.sum(axis=0)
    return np.where(np.abs(value) > SIGN_EPS * np.abs(t).sum(axis=0), np.sign(value), 0).astype(np.int64)


def _pierces(p: Floats, q: Floats, tri: Floats) -> Bools:
    """(k,) does the open segment p-q cross the open triangle (k, 3, 3)? Touching does not count."""
    a, b, c = tri[:, 0] - p, tri[:, 1] - p, tri[:, 2] - p
    d = q - p
    s1, s2, s3 = _sign(d, a, b), _sign(d, b, c), _sign(d, c, a)
    through = (s1 == s2) & (s2 == s3) & (s1 != 0)
    result = np.zeros(len(p), dtype=bool)
    k = np.flatnonzero(through)
    if len(k):
        e1, e2 = tri[k, 1] - tri[k, 0], tri[k, 2] - tri[k, 0]
        side_p = _sign(e1, e2, p[k] - tri[k, 0])
        side_q = _sign(e1, e2, q[k] - tri[k, 0])
        result[k] = side_p * side_q < 0
    return result


def _open_fans(mesh: Mesh) -> Bools:
    """(n,) vertices whose faces cannot cross each other: seen along the vertex's normal they lie round it once, none turned over.

    Their far edges form closed rings (every edge at the vertex has one face on each side); all faces seen from their outer side and angles
    that sum to one turn leave room for one ring that winds once, which is star-shaped: its faces lie beside each other.
    """
    n, tri = len(mesh.vertices), mesh.triangles
    good = np.ones(n, dtype=bool)
    if not mesh.is_closed:
        half = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        there, count = np.unique(half[:, 0] * n + half[:, 1], return_counts=True)
        odd = np.concatenate([np.setxor1d(there, half[:, 1] * n + half[:, 0]), there[count > 1]])
        good[odd // n], good[odd % n] = False, False
    longest = np.sqrt(max(float(((tri - np.roll(tri, 1, axis=1)) ** 2).sum(axis=2).max(initial=0.0)), 1e-300))
    flat = mesh.face_areas < _FLAT_MM * longest  # its normal may be mere rounding
    turn = np.zeros(n)
    for k in range(3):
        v = mesh.faces[:, k]
        axis = mesh.vertex_normals[v]
        good[v[flat | (np.einsum("ij,ij->i", axis, mesh.face_normals) < _FACING)]] = False
        e, f = tri[:, (k + 1) % 3] - tri[:, k], tri[:, (k + 2) % 3] - tri[:, k]
        high_e, high_f = np.einsum("ij,ij->i", e, axis), np.einsum("ij,ij->i", f, axis)
        across = np.einsum("ij,ij->i", axis, mesh._face_cross)
        turn += np.bincount(v, np.arctan2(across, np.einsum("ij,ij->i", e, f) - high_e * high_f), minlength=n)
    return good & (np.abs(turn - 2 * np.pi) < 0.1)


@dataclass(frozen=True, eq=False)
class _Planes:
    """Corners and planes of all faces, one array for each number: gathering from these is several times quicker than from rows."""

    corner: Ints  # (3, m) vertex numbers
    x: Floats  # (3 corners, 3 axes, m), about the middle of the mesh
    normal: Floats  # (3 axes, m)
    offset: Floats  # (m,)
    open_fan: Bools  # (n,) vertices whose faces, seen along the vertex's normal, lie beside each other

    @staticmethod
    def of(mesh: Mesh) -> _Planes:
        x = np.ascontiguousarray((mesh.triangles - mesh.bounds.mean(axis=0)).transpose(1, 2, 0))
        normal = np.ascontiguousarray(mesh.face_normals.T)
        corner: Ints = np.ascontiguousarray(mesh.faces.T).astype(np.int32)
        return _Planes(corner, x, normal, np.einsum("am,am->m", normal, x[0]), _open_fans(mesh))

    def can_cross(self, pairs: Ints) -> Ints:
        """The pairs (k, 2) without faces that lie side by side: in one open fan, or with a common edge and alike in where they look."""
        i, j = pairs.T
        shared, beside = np.zeros(len(pairs), dtype=np.int8), np.zeros(len(pairs), dtype=bool)
        second = [self.corner[b][j] for b in range(3)]
        for a in range(3):
            v = self.corner[a][i]
            same = [v == w for w in second]
            for one in same:
                shared += one
            beside |= (same[0] | same[1] | same[2]) & self.open_fan[v]
        edge = np.flatnonzero((shared == 2) & ~beside)
        alike = sum(self.normal[axis][i[edge]] * self.normal[axis][j[edge]] for axis in range(3)) > 0.0
        beside[edge[alike]] = True
        return pairs[~beside]

    def sides(self, i: Ints, j: Ints) -> tuple[Floats, Floats]:
        """Lowest and highest signed distance (k,), mm, of the corners of face j to the plane of face i; a shared corner counts as 0."""
        nx, ny, nz, offset = self.normal[0][i], self.normal[1][i], self.normal[2][i], self.offset[i]
        a, b, c = (self.corner[k][i] for k in range(3))
        low, high = np.full(len(i), np.inf), np.full(len(i), -np.inf)
        for k in range(3):
            x, y, z = (self.x[k, axis][j] for axis in range(3))
            side = nx * x + ny * y + nz * z - offset
            v = self.corner[k][j]
            side[(v == a) | (v == b) | (v == c)] = 0.0
            np.minimum(low, side, out=low)
            np.maximum(high, side, out=high)
        return low, high


def _straddling(planes: _Planes, pairs: Ints) -> tuple[Ints, Floats, Bools]:
    """The pairs where each face has corners on both sides of the other's plane, or both lie in one plane.

    Returns the pairs (k, 2), how far one must move along a normal to be all on one side (k,) mm, and whether they lie in one plane (k,).
    """
    depth, flat = np.full(len(pairs), np.inf), np.ones(len(pairs), dtype=bool)
    for first, second in ((0, 1), (1, 0)):
        low, high = planes.sides(pairs[:, first], pairs[:, second])
        depth = np.minimum(depth, np.minimum(high, -low))
        flat &= np.maximum(high, -low) < ROUNDING_MM
        keep = (depth > 0) | flat
        pairs, depth, flat = pairs[keep], depth[keep], flat[keep]
    return pairs, np.maximum(depth, 0.0), flat


def _reach(corners: Floats, axis: Floats) -> tuple[Floats, Floats]:
    """(k,) lowest and highest place of triangles (k, 3, 2) along axes (k, 2)."""
    a, b, c = (corners[:, k, 0] * axis[:, 0] + corners[:, k, 1] * axis[:, 1] for k in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _coplanar_overlap(first: Floats, second: Floats, normal: Floats) -> Bools:
    """(k,) do two triangles in one plane overlap in area? Separating axes over the six edges, with a rounding margin."""
    drop = np.abs(normal).argmax(axis=1)
    rows = np.arange(len(first))[:, None]
    keep = np.stack([(drop + 1) % 3, (drop + 2) % 3], axis=1)
    a = first[rows[:, :, None], np.arange(3)[None, :, None], keep[:, None, :]]
    b = second[rows[:, :, None], np.arange(3)[None, :, None], keep[:, None, :]]
    overlap = np.ones(len(first), dtype=bool)
    for tri in (a, b):
        for k in range(3):
            edge = tri[:, (k + 1) % 3] - tri[:, k]
            axis = np.stack([-edge[:, 1], edge[:, 0]], axis=1)
            axis /= np.maximum(np.linalg.norm(axis, axis=1, keepdims=True), 1e-300)
            (low, high), (other_low, other_high) = _reach(a, axis), _reach(b, axis)
            overlap &= np.minimum(high, other_high) - np.maximum(low, other_low) > ROUNDING_MM
    return overlap


def _crossing(mesh: Mesh, planes: _Planes, pairs: Ints) -> tuple[Ints, Floats]:
    """Those of the pairs (k, 2) of faces that cross, or lie doubled in one plane, and how deep in mm."""
    pairs, depth, flat = _straddling(planes, planes.can_cross(pairs))
    tri = mesh.triangles
    crossed = np.zeros(len(pairs), dtype=bool)
    askew = np.flatnonzero(depth > PLANE_MM)
    for a, b in ((0, 1), (1, 0)):
        first, second = tri[pairs[askew, a]], tri[pairs[askew, b]]
        for k in range(3):
            # An edge that ends in a corner shared with the other face only touches it there, and tests so.
            crossed[askew] |= _pierces(first[:, k], first[:, (k + 1) % 3], second)
    doubled = np.flatnonzero(flat & (mesh.face_areas[pairs].min(axis=1) > 0))
    if len(doubled):
        i, j = pairs[doubled].T
        over = _coplanar_overlap(tri[i], tri[j], mesh.face_normals[i])
        crossed[doubled] |= over
        depth[doubled[over]] = np.sqrt(mesh.face_areas[pairs[doubled[over]]].min(axis=1))
    return pairs[crossed], depth[crossed]


@once_a_mesh
def self_crossings(mesh: Mesh) -> tuple[Ints, Floats]:
    """Pairs (k, 2) of faces that cross each other, or lie doubled in one plane, and (k,) the depth of each crossing in mm.

    The depth is how far one face must be moved along a face normal to part the pair (for doubled faces: the side of the smaller one).
    Faces that only touch, or share an edge at any angle but zero, are not listed.
    """
    if len(mesh.faces) < 2:
        return np.zeros((0, 2), dtype=np.int64), np.zeros(0)
    pairs = near_pairs(mesh.triangles)
    planes = _Planes.of(mesh)
    chunks = [pairs[k : k + _CHUNK] for k in range(0, max(len(pairs), 1), _CHUNK)]
    mesh.face_normals, mesh.face_areas  # noqa: B018 worked out once, before the threads ask for them
    parts = list(side_by_side(lambda some: _crossing(mesh, planes, some), chunks))
    return np.concatenate([p for p, _ in parts]), np.concatenate([d for _, d in parts])


def thin_faces(mesh: Mesh, thin_mm: float) -> Ints:
    """(k,) faces that lie against another one back to back, or front to front, within `thin_mm`: both sides of a film or of a slit."""
    corners = mesh.triangles
    pairs = near_pairs(np.concatenate([corners - 0.5 * thin_mm, corners + 0.5 * thin_mm], axis=1))
    normals, areas = mesh.face_normals, mesh.face_areas
    pairs = pairs[np.einsum("ij,ij->i", normals[pairs[:, 0]], normals[pairs[:, 1]]) < -_OPPOSED]
    planes = _Planes.of(mesh)
    reach = np.full(len(pairs), np.inf)
    for a, b in ((0, 1), (1, 0)):
        low, high = planes.sides(pairs[:, a], pairs[:, b])
        reach = np.minimum(reach, np.maximum(high, -low))
    pairs = pairs[(reach < thin_mm) & (areas[pairs].min(axis=1) > 0)]
    small = np.where(areas[pairs[:, 0]] < areas[pairs[:, 1]], pairs[:, 0], pairs[:, 1])
    large = pairs.sum(axis=1) - small
    over = _coplanar_overlap(corners[large], corners[small], normals[large])
    return np.unique(pairs[over])


def _patch_round(mesh: Mesh, faces: Bools) -> tuple[Mesh, Ints]:
    """The chosen faces with two rings of neighbours, and for each vertex of the patch its number in the mesh."""
    near = np.zeros(len(mesh.vertices), dtype=bool)
    near[mesh.faces[faces]] = True
    near[mesh.faces[np.any(near[mesh.faces], axis=1)]] = True
    return mesh.submesh(np.asarray(np.any(near[mesh.faces], axis=1)))


def uncrossed(mesh: Mesh, rounds: int = 12) -> Mesh:
    """The mesh with its vertices moved toward the middle of their neighbours where faces cross, until none do.

    Moves what it mends, so not for a fitting side once a framework is to sit on it. Looks everywhere once, then only where it moved.
    """
    pairs, depth = self_crossings(mesh)
    bad = np.unique(mesh.faces[pairs[depth > ROUNDING_MM]])
    for _ in range(rounds):
        if len(bad) == 0:
            break
        near = np.asarray(np.isin(mesh.faces, bad).any(axis=1))
        patch, kept = _patch_round(mesh, near)
        inner = np.flatnonzero(np.isin(kept, bad))
        linked = patch.adjacency.copy()
        linked.data = 1.0 / linked.data  # near neighbours count most: a base wall is 20 mm long, its upper border must stay
        weight = np.maximum(np.asarray(linked.sum(axis=1)).reshape(-1), 1e-12)
        vertices = mesh.vertices.copy()
        vertices[kept[inner]] = 0.5 * (patch.vertices[inner] + (linked @ patch.vertices / weight[:, None])[inner])
        mesh = Mesh(vertices, mesh.faces)
        patch, kept = _patch_round(mesh, near)
        pairs, depth = self_crossings(patch)
        bad = np.unique(kept[patch.faces[pairs[depth > ROUNDING_MM]]])
    return mesh
