"""The surface of a field, as a closed manifold mesh with well-shaped triangles.

Marching tetrahedra over a body-centred cubic lattice: its tetrahedra are all congruent and nearly regular, and each has a
unique way of being cut, so the result is closed and manifold whatever the field (marching cubes has ambiguous cases).
A few rounds of tangential relaxation, each followed by projection onto the field, then even the triangles out.
Method: marching tetrahedra, Doi and Koide 1991; the lattice, Labelle and Shewchuk, "Isosurface stuffing", 2007 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import map_coordinates

from .crossings import uncrossed
from .errors import GeometryError
from .mesh import Floats, Ints, Mesh

Field = Callable[[Floats], Floats]

# Even permutations of a tetrahedron's corners that bring the inside corners to the front, by mask of inside corners.
_ONE = {1: (0, 1, 2, 3), 2: (1, 0, 3, 2), 4: (2, 0, 1, 3), 8: (3, 0, 2, 1)}
_TWO = {3: (0, 1, 2, 3), 5: (0, 2, 3, 1), 9: (0, 3, 1, 2), 6: (1, 2, 0, 3), 10: (1, 3, 2, 0), 12: (2, 3, 0, 1)}
_MAX_CELLS = 400_000_000
FURTHEST = 0.35  # of a cell: what a vertex may move from where the lattice was cut (own limit)
BLOCKS = (8, 4, 2)  # cells along the edge of the blocks that are sampled once to see whether the surface can be near
AT_A_TIME = 400_000
ONCE_MM = 0.01


def _cut_table() -> dict[int, list[tuple[tuple[int, int], ...]]]:
    """For each mask the triangles, each as three (inside corner, outside corner) edges, outward counter-clockwise."""
    table: dict[int, list[tuple[tuple[int, int], ...]]] = {}
    for mask, (a, b, c, d) in _ONE.items():
        table[mask] = [((a, b), (a, c), (a, d))]
        table[15 - mask] = [((a, c), (a, b), (a, d))]
    for mask, (a, b, c, d) in _TWO.items():
        q = ((a, c), (a, d), (b, d), (b, c))
        table[mask] = [(q[0], q[1], q[2]), (q[0], q[2], q[3])]
    return table


_CUTS = _cut_table()


class _Lattice:
    """A body-centred lattice over a box: corner nodes, then centre nodes, numbered in one sequence."""

    def __init__(self, low: Floats, high: Floats, spacing: float) -> None:
        self.spacing = spacing
        self.low = np.asarray(low, dtype=np.float64) - 1.5 * spacing
        self.shape = np.ceil((np.asarray(high) + 1.5 * spacing - self.low) / spacing).astype(np.int64) + 1
        if np.any(self.shape < 2) or float(np.prod(self.shape.astype(float))) > _MAX_CELLS:
            raise GeometryError(f"isosurface grid of {tuple(self.shape)} nodes at {spacing} mm is out of range; use a larger spacing")
        self.corners = int(np.prod(self.shape))

    def position(self, node: Ints) -> Floats:
        """(k, 3) positions of node numbers."""
        centre = node >= self.corners
        out = np.empty((len(node), 3))
        ijk = np.stack(np.unravel_index(node[~centre], self.shape), axis=1)
        out[~centre] = ijk
        ijk = np.stack(np.unravel_index(node[centre] - self.corners, self.shape - 1), axis=1)
        out[centre] = ijk + 0.5
        return self.low + out * self.spacing


def _active_tetrahedra(corner_in: np.ndarray, centre_in: np.ndarray, lattice: _Lattice) -> Ints:
    """(t, 4) node numbers of tetrahedra that the surface crosses, positively oriented."""
    shape = lattice.shape
    found = []
    for axis in range(3):
        b, c = (axis + 1) % 3, (axis + 2) % 3
        lo: list[slice] = [slice(None)] * 3
        hi: list[slice] = [slice(None)] * 3
        lo[axis], hi[axis] = slice(None, -1), slice(1, None)
        near, far = centre_in[tuple(lo)], centre_in[tuple(hi)]
        face = [slice(None, -1)] * 3
        face[axis] = slice(1, -1)
        any_in, all_in = near | far, near & far
        for db, dc in ((0, 0), (1, 0), (1, 1), (0, 1)):
            pick = list(face)
            pick[b] = slice(db, shape[b] - 1 + db)
            pick[c] = slice(dc, shape[c] - 1 + dc)
            corner = corner_in[tuple(pick)]
            any_in, all_in = any_in | corner, all_in & corner
        cell = np.stack(np.nonzero(any_in & ~all_in), axis=1)
        first = np.ravel_multi_index(tuple(cell.T), tuple(shape - 1)) + lattice.corners
        step = np.zeros(3, dtype=np.int64)
        step[axis] = 1
        second = np.ravel_multi_index(tuple((cell + step).T), tuple(shape - 1)) + lattice.corners
        ring = []
        for db, dc in ((0, 0), (1, 0), (1, 1), (0, 1)):
            at = cell + step
            at[:, b] += db
            at[:, c] += dc
            ring.append(np.ravel_multi_index(tuple(at.T), tuple(shape)))
        found += [np.stack([first, second, ring[k], ring[(k + 1) % 4]], axis=1) for k in range(4)]
    return np.concatenate(found)


def _cut(tetrahedra: Ints, value: Floats, inside: np.ndarray, lattice: _Lattice) -> Mesh:
    """Cut tetrahedra whose corner values are given, (t, 4) each."""
    code = inside @ np.array([1, 2, 4, 8])
    edges, values = [], []
    for mask, triangles in _CUTS.items():
        rows = np.nonzero(code == mask)[0]
        for triangle in triangles if len(rows) else ():
            pair = np.array(triangle)
            edges.append(tetrahedra[rows][:, pair])
            values.append(value[rows][:, pair])
    if not edges:
        raise GeometryError("the field has no surface inside its bounds")
    edge, val = np.concatenate(edges).reshape(-1, 2), np.concatenate(values).reshape(-1, 2)
    swap = edge[:, 0] > edge[:, 1]
    edge[swap], val[swap] = edge[swap][:, ::-1], val[swap][:, ::-1]
    _, first, inverse = np.unique(edge[:, 0] * (2 * lattice.corners) + edge[:, 1], return_index=True, return_inverse=True)
    edge, val = edge[first], val[first]
    # Cuts close to a lattice node make slivers; the projection below puts the vertices back on the surface.
    t = np.clip(val[:, 0] / (val[:, 0] - val[:, 1]), 0.12, 0.88)[:, None]
    points = lattice.position(edge[:, 0]) * (1 - t) + lattice.position(edge[:, 1]) * t
    return Mesh(points, inverse.reshape(-1, 3))


def _relax(mesh: Mesh, field: Field, spacing: float, rounds: int) -> Floats:
    """Places (n, 3) of the vertices after tangential smoothing, each round followed by a step, half a cell at most, onto the field."""
    points = mesh.vertices.copy()
    half = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    i, j = half[half[:, 0] < half[:, 1]].T  # each edge once, for the mesh is closed
    degree = np.bincount(np.r_[i, j], minlength=len(points))[:, None]
    for _ in range(rounds):
        ends, others = np.r_[i, j], np.r_[j, i]
        mean = np.stack([np.bincount(ends, points[others, k], minlength=len(points)) for k in range(3)], axis=1) / degree
        normal = _normals(points, mesh.faces)
        shift = mean - points
        points = points + 0.6 * (shift - normal * np.einsum("ij,ij->i", shift, normal)[:, None])
        points = _project(points, field, spacing)
    return points


def _normals(points: Floats, faces: Ints) -> Floats:
    """(n, 3) unit normals of vertices, faces weighted by area: the triangles here are much alike, so that is enough."""
    a = points[faces[:, 0]]
    cross = np.cross(points[faces[:, 1]] - a, points[faces[:, 2]] - a)
    total = np.stack([sum(np.bincount(faces[:, k], cross[:, axis], minlength=len(points)) for k in range(3)) for axis in range(3)], axis=1)
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12))


def _unfolded(points: Floats, cut: Mesh, furthest: float) -> Mesh:
    """Moved vertices (n, 3) on the faces of the mesh as it was cut, drawn back towards their old places where faces have folded over.

    At a sharp edge of the field neighbouring vertices can be projected past each other. The mesh as cut cannot fold: each of its
    faces lies in a tetrahedron of its own. So no vertex goes further than `furthest` mm: where the field has a step, it would wander.
    """
    move = points - cut.vertices
    points = cut.vertices + move * np.minimum(1.0, furthest / np.maximum(np.linalg.norm(move, axis=1, keepdims=True), 1e-12))
    before, faces = cut.face_normals, cut.faces
    pairs = _face_pairs(faces)
    pulled = np.zeros(len(points), dtype=np.int64)
    out = points.copy()
    normal = Mesh(out, faces).face_normals.copy()
    suspect, beside = np.arange(len(faces)), np.arange(len(pairs))  # those that the last round may have changed
    for _ in range(12):
        bad = suspect[np.einsum("ij,ij->i", normal[suspect], before[suspect]) < 0.25]
        sharp = np.einsum("ij,ij->i", normal[pairs[beside, 0]], normal[pairs[beside, 1]]) < -0.4
        bad = np.union1d(bad, pairs[beside[sharp]])
        if not len(bad):
            break
        touched = np.unique(faces[bad])
        pulled[touched] += 1
        share = np.clip(pulled[touched] / 4.0, 0.0, 1.0)[:, None]
        out[touched] = points[touched] * (1 - share) + cut.vertices[touched] * share
        moved = np.zeros(len(points), dtype=bool)
        moved[touched] = True
        changed = np.asarray(moved[faces].any(axis=1))
        suspect, beside = np.flatnonzero(changed), np.flatnonzero(changed[pairs].any(axis=1))
        normal[suspect] = Mesh(out, faces[suspect]).face_normals
    return Mesh(out, faces)


def _face_pairs(faces: Ints) -> Ints:
    """(e, 2) faces that share an edge, of a closed mesh."""
    low, high = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).T
    order = np.argsort(low * (int(faces.max()) + 1) + high, kind="stable")
    return order.reshape(-1, 2) // 3


def _project(points: Floats, field: Field, spacing: float, value: Floats | None = None) -> Floats:
    """One Newton step onto the zero of the field (of `value` where given, the gradient still from `field`).

    The step is capped at half a cell, so that a poor gradient does no harm.
    """
    h = 0.25 * spacing
    offsets = np.concatenate([np.zeros((1, 3)), h * np.eye(3), -h * np.eye(3)])
    sample = field((points[None] + offsets[:, None]).reshape(-1, 3)).reshape(7, -1)
    gradient = (sample[1:4] - sample[4:7]).T / (2 * h)
    squared = np.maximum(np.einsum("ij,ij->i", gradient, gradient), 0.05)
    move = -gradient * ((sample[0] if value is None else value) / squared)[:, None]
    length = np.linalg.norm(move, axis=1, keepdims=True)
    return points + move * np.minimum(1.0, 0.5 * spacing / np.maximum(length, 1e-12))


def isosurface(field: Field, bounds: Floats, spacing: float, *, relax: int = 3, lipschitz: float = 1.0) -> Mesh:
    """The zero surface of `field`, negative inside, as a closed manifold mesh.

    field : (k, 3) mm -> (k,) ; changes by at most `lipschitz` per mm (a distance does by 1)
    bounds : (2, 3) mm, must hold the whole surface; what leaves it is closed off at the boundary
    spacing : edge of the lattice's cubes, mm; edges of the mesh come out a little shorter

    Only cells that can hold the surface are sampled finely. Raises GeometryError when there is no surface.
    """
    lattice = _Lattice(bounds[0], bounds[1], spacing)
    corner, centre = sample_sparsely(field, lattice.low, lattice.shape, spacing, lipschitz)
    cut = _mesh_grid(corner, centre, lattice)
    return uncrossed(_unfolded(_relax(cut, field, spacing, relax), cut, FURTHEST * spacing)) if relax else cut


def sample_sparsely(
    field: Field, low: Floats, shape: Ints, spacing: float, lipschitz: float, margin: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Corner and centre samples, float32; nodes far from the surface only get the sign of a coarse sample.

    low : (3,) position of the first corner node; shape : (3,) corner nodes an axis
    margin : mm round the surface within which every node is sampled, two cells at the least
    """
    root3 = np.sqrt(3.0)
    margin = max(margin, root3 * lipschitz * spacing)
    count = np.ceil(shape / BLOCKS[0]).astype(int)
    blocks = np.indices(tuple(count)).reshape(3, -1).T * BLOCKS[0]
    padded = tuple(count * BLOCKS[0])
    corner, centre = np.empty(padded, dtype=np.float32), np.empty(padded, dtype=np.float32)
    for size in BLOCKS:  # a block holds the corner nodes and, half a cell on, the centre nodes of its cells
        if not len(blocks):
            break
        value = np.concatenate([field(low + (blocks[i : i + AT_A_TIME] + 0.5 * (size - 0.5)) * spacing) for i in _starts(blocks)])
        reach = lipschitz * spacing * 0.5 * root3 * (size - 0.5) + margin
        _fill(corner, centre, blocks, size, np.where(value > 0, reach, -reach))
        blocks = blocks[np.abs(value) <= reach]
        half = size // 2
        blocks = (blocks[:, None] + np.indices((2,) * 3).reshape(3, -1).T * half).reshape(-1, 3)  # at the last size these are nodes
    for grid, shift, most in ((corner, 0.0, shape), (centre, 0.5, shape - 1)):
        nodes = blocks[np.all(blocks < most, axis=1)]
        for i in _starts(nodes):
            at = nodes[i : i + AT_A_TIME]
            grid[tuple(at.T)] = field(low + (at + shift) * spacing)
    return corner[: shape[0], : shape[1], : shape[2]], centre[: shape[0] - 1, : shape[1] - 1, : shape[2] - 1]


def _starts(rows: Ints) -> range:
    return range(0, len(rows), AT_A_TIME)


def _fill(corner: np.ndarray, centre: np.ndarray, blocks: Ints, size: int, value: Floats) -> None:
    """Give all nodes of blocks (k, 3) of a size the block's value (k,)."""
    for grid in (corner, centre):
        pieces = grid.reshape(grid.shape[0] // size, size, grid.shape[1] // size, size, grid.shape[2] // size, size)
        x, y, z = (blocks // size).T
        pieces[x, :, y, :, z, :] = value[:, None, None, None]


def _mesh_grid(corner: np.ndarray, centre: np.ndarray, lattice: _Lattice) -> Mesh:
    for grid in (corner, centre):  # close the surface at the walls of the box
        for axis in range(3):
            for end in (0, -1):
                wall = grid.swapaxes(0, axis)[end]
                np.maximum(wall, np.float32(0.5 * lattice.spacing), out=wall)
    corner_in, centre_in = corner < 0, centre < 0
    tetrahedra = _active_tetrahedra(corner_in, centre_in, lattice)
    flat = np.concatenate([corner.ravel(), centre.ravel()])
    value = flat[tetrahedra].astype(np.float64)
    inside = value < 0
    crossing = inside.any(axis=1) & ~inside.all(axis=1)
    return _cut(tetrahedra[crossing], value[crossing], inside[crossing], lattice)


def isosurface_samples(
    corner: np.ndarray, centre: np.ndarray, low: Floats, spacing: float, exact: Field | None = None, *, relax: int = 3
) -> Mesh:
    """The zero surface of samples on a body-centred lattice.

    corner (nx, ny, nz) and centre (nx-1, ny-1, nz-1) samples, mm; corner node (0, 0, 0) at `low`
    exact : the field itself; when given, the relaxed vertices are put onto it exactly at the end
    """
    lattice = _Lattice(np.asarray(low), np.asarray(low), spacing)
    lattice.low, lattice.shape, lattice.corners = np.asarray(low, dtype=np.float64), np.array(corner.shape), corner.size

    def field(points: Floats) -> Floats:
        return map_coordinates(corner, ((points - low) / spacing).T, order=1, mode="nearest").astype(np.float64)

    cut = _mesh_grid(corner, centre, lattice)
    points = _relax(cut, field, spacing, relax) if relax else cut.vertices
    if exact is not None:
        off = exact(points)
        points = _project(points, field, spacing, off)
        again = np.flatnonzero(np.abs(off) > ONCE_MM)  # one step squares a small error; a large one, at edges, takes two
        points[again] = _project(points[again], field, spacing, exact(points[again]))
    return uncrossed(_unfolded(points, cut, FURTHEST * spacing))


def isosurface_grid(corner: np.ndarray, low: Floats, spacing: float, *, relax: int = 3) -> Mesh:
    """As `isosurface`, from samples on a plain grid: corner (nx, ny, nz), node (0, 0, 0) at `low`; trilinear between nodes."""
    values = np.asarray(corner, dtype=np.float32)
    nx, ny, nz = values.shape
    centre = sum(values[i : nx - 1 + i, j : ny - 1 + j, k : nz - 1 + k] for i in (0, 1) for j in (0, 1) for k in (0, 1)) / np.float32(8)
    return isosurface_samples(values.copy(), np.asarray(centre), low, spacing, relax=relax)
