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

from .errors import GeometryError
from .mesh import Floats, Ints, Mesh

Field = Callable[[Floats], Floats]

# Even permutations of a tetrahedron's corners that bring the inside corners to the front, by mask of inside corners.
_ONE = {1: (0, 1, 2, 3), 2: (1, 0, 3, 2), 4: (2, 0, 1, 3), 8: (3, 0, 2, 1)}
_TWO = {3: (0, 1, 2, 3), 5: (0, 2, 3, 1), 9: (0, 3, 1, 2), 6: (1, 2, 0, 3), 10: (1, 3, 2, 0), 12: (2, 3, 0, 1)}
_MAX_CELLS = 400_000_000


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


def _relax(mesh: Mesh, field: Field, spacing: float, rounds: int) -> Mesh:
    """Tangential smoothing, each round followed by a step of at most half a cell back onto the field."""
    points = mesh.vertices.copy()
    i, j = mesh.edges.T
    degree = np.bincount(np.r_[i, j], minlength=len(points))[:, None]
    for _ in range(rounds):
        ends, others = np.r_[i, j], np.r_[j, i]
        mean = np.stack([np.bincount(ends, points[others, k], minlength=len(points)) for k in range(3)], axis=1) / degree
        normal = Mesh(points, mesh.faces).vertex_normals
        shift = mean - points
        points = points + 0.6 * (shift - normal * np.einsum("ij,ij->i", shift, normal)[:, None])
        points = _project(points, field, spacing)
    return _unfolded(points, mesh)


def _unfolded(points: Floats, cut: Mesh) -> Mesh:
    """Moved vertices (n, 3) on the faces of the mesh as it was cut, drawn back towards their old places where faces have folded over.

    At a sharp edge of the field neighbouring vertices can be projected past each other. The mesh as cut cannot fold: each of its
    faces lies in a tetrahedron of its own.
    """
    before = cut.face_normals
    pairs = _face_pairs(cut.faces)
    pulled = np.zeros(len(points), dtype=np.int64)
    out = points.copy()
    for _ in range(12):
        normal = Mesh(out, cut.faces).face_normals
        bad = np.einsum("ij,ij->i", normal, before) < 0.25
        sharp = np.einsum("ij,ij->i", normal[pairs[:, 0]], normal[pairs[:, 1]]) < -0.4
        bad[pairs[sharp].ravel()] = True
        if not bad.any():
            break
        touched = np.unique(cut.faces[bad])
        pulled[touched] += 1
        share = np.clip(pulled[touched] / 4.0, 0.0, 1.0)[:, None]
        out[touched] = points[touched] * (1 - share) + cut.vertices[touched] * share
    return Mesh(out, cut.faces)


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
    return _relax(cut, field, spacing, relax) if relax else cut


def sample_sparsely(field: Field, low: Floats, shape: Ints, spacing: float, lipschitz: float) -> tuple[np.ndarray, np.ndarray]:
    """Corner and centre samples, float32; cells far from the surface only get the sign of a coarse sample.

    low : (3,) position of the first corner node; shape : (3,) corner nodes an axis
    """
    block = 6
    count = np.maximum(np.ceil((shape - 1) / block).astype(int), 1)
    index = np.indices(tuple(count)).reshape(3, -1).T
    coarse = field(low + (index + 0.5) * block * spacing)
    reach = lipschitz * spacing * (0.5 * block + 1.0) * np.sqrt(3.0)
    far = np.where(coarse > 0, reach, -reach).astype(np.float32).reshape(tuple(count))
    padded = far.repeat(block, 0).repeat(block, 1).repeat(block, 2)
    padded = np.pad(padded, [(0, 1)] * 3, mode="edge")
    corner = padded[: shape[0], : shape[1], : shape[2]].copy()
    centre = padded[: shape[0] - 1, : shape[1] - 1, : shape[2] - 1].copy()
    near = index[np.abs(coarse) <= reach]
    inner = np.indices((block,) * 3).reshape(3, -1).T  # nodes on a far block's border are more than a cell from the surface
    for start in range(0, len(near), 2000):
        at = (near[start : start + 2000, None] * block + inner[None]).reshape(-1, 3)
        for grid, shift in ((corner, 0.0), (centre, 0.5)):
            keep = at[np.all(at < grid.shape, axis=1)]
            grid[tuple(keep.T)] = field(low + (keep + shift) * spacing)
    return corner, centre


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
    mesh = _relax(cut, field, spacing, relax) if relax else cut
    if exact is None:
        return mesh
    points = mesh.vertices
    for _ in range(2):
        points = _project(points, field, spacing, exact(points))
    return _unfolded(points, cut)


def isosurface_grid(corner: np.ndarray, low: Floats, spacing: float, *, relax: int = 3) -> Mesh:
    """As `isosurface`, from samples on a plain grid: corner (nx, ny, nz), node (0, 0, 0) at `low`; trilinear between nodes."""
    values = np.asarray(corner, dtype=np.float32)
    nx, ny, nz = values.shape
    centre = sum(values[i : nx - 1 + i, j : ny - 1 + j, k : nz - 1 + k] for i in (0, 1) for j in (0, 1) for k in (0, 1)) / np.float32(8)
    return isosurface_samples(values.copy(), np.asarray(centre), low, spacing, relax=relax)
