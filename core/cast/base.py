"""A trimmed flat base under an open scan: walls straight down from the border, as a plane saw would leave them."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from . import topology
from .holes import MAX_RING, fill_rings

BASE_MM = 5.0
"""Base below the lowest point of the scan. Stone needs 10 mm for strength (common practice); a digital cast only has to carry."""
ROUNDS = 40
FLAP_MM = 2.0
"""Ragged flaps at the border of a scan are about this wide (seen on the scans tried: up to 1.1 mm)."""
CLEAR_MM = 0.02


def as_solid(mesh: Mesh, *, base_mm: float = BASE_MM) -> Mesh:
    """A closed solid with a flat base at `base_mm` under the lowest point, from an open surface in the cast frame.

    A closed mesh comes back as it is. Kept points stay bit for bit where they were; new ones lie in the base and in closed holes.
    Where the border folds over itself or hangs over the surface it is trimmed back, triangle by triangle, until straight walls
    fit. Raises GeometryError when nothing is left to stand on.
    """
    return build_base(mesh, base_mm)[0]


def build_base(mesh: Mesh, base_mm: float = BASE_MM) -> tuple[Mesh, list[str]]:
    """As `as_solid`, with what was done in plain words."""
    if mesh.is_closed:
        return mesh, []
    floor = float(mesh.bounds[0, 2]) - base_mm
    count, label = topology.face_pieces(mesh.faces)
    solids, trimmed, filled = [], 0.0, 0
    for piece in range(count):
        part = mesh.submesh(label == piece)[0]
        if part.is_closed:
            solids.append(part)
            continue
        solid, lost, holes = _piece_solid(part, floor)
        trimmed, filled = trimmed + lost, filled + holes
        if solid is not None:
            solids.append(solid)
    if not solids:
        raise GeometryError("no part of the scan can be given a base; scan again with more of the gum around the teeth")
    words = [f"base added, flat, {base_mm:.0f} mm below the lowest point of the scan"]
    words += [f"{filled} holes inside the border closed for the base"] if filled else []
    words += [f"border trimmed back for the base where it folded or overhung ({trimmed:.1f} mm2)"] if trimmed >= 0.05 else []
    return (solids[0] if len(solids) == 1 else _united(solids)), words


def _united(solids: list[Mesh]) -> Mesh:
    import manifold3d

    return Mesh.from_manifold(manifold3d.Manifold.batch_boolean([s.to_manifold() for s in solids], manifold3d.OpType.Add))


def _piece_solid(part: Mesh, floor: float) -> tuple[Mesh | None, float, int]:
    """The solid under one connected piece (None when trimming leaves nothing), mm2 trimmed, holes filled."""
    vertices, faces = part.vertices, part.faces
    filled_total = 0
    for turn in range(ROUNDS):
        vertices, faces, filled = _fill_inner(vertices, faces)
        filled_total += filled
        rings = topology.border_loops(faces)
        bad = _bad_faces(vertices, faces, rings, FLAP_MM * min(1.0, (turn + 1) / 10))
        if not bad.any():
            solid = _walls(vertices, faces, rings, floor)
            lost = float(part.face_areas.sum()) - float(Mesh(vertices, faces).face_areas.sum())
            return solid, max(lost, 0.0), filled_total
        faces = _largest(vertices, faces[~bad])
        if len(faces) < 4:
            return None, float(part.face_areas.sum()), filled_total
        vertices, faces, _ = topology.split_fans(*topology.compact(vertices, faces))
        faces = _largest(vertices, faces)
        vertices, faces = topology.compact(vertices, faces)
    raise GeometryError("the border of the scan is too tangled for a base; trim it in a mesh editor, or scan again")


def _largest(vertices: Floats, faces: Ints) -> Ints:
    if not len(faces):
        return faces
    count, label = topology.face_pieces(faces)
    area, _ = topology.piece_sizes(vertices, faces, label, count)
    return faces[label == np.argmax(area)]


def _fill_inner(vertices: Floats, faces: Ints) -> tuple[Floats, Ints, int]:
    """Close every border ring but the outer one: the ring that spans most in the plan."""
    rings = topology.border_loops(faces)
    if len(rings) < 2:
        return vertices, faces, 0
    span = [abs(topology.ring_area_vector(vertices[ring])[2]) for ring in rings]
    outer = int(np.argmax(span))
    return fill_rings(vertices, faces, [r for i, r in enumerate(rings) if i != outer and len(r) <= MAX_RING])


def _bad_faces(vertices: Floats, faces: Ints, rings: list[Ints], reach: float) -> Bools:
    """Faces to give up where straight walls would cut each other or the surface.

    Nearly always two ragged flaps of one border lie over each other there: the border points of both, within `reach` mm of the
    place, lose their faces. Where the surface below is no flap, the border above it has to go back.
    """
    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1) for ring in rings])
    a, b = vertices[start], vertices[end]
    first, second = crossing_pairs(a[:, :2], b[:, :2])
    edge, hit_face, hit = _overhangs(vertices, faces, a, b)
    bad = np.zeros(len(vertices), dtype=bool)
    for index in (first, second, edge):
        bad[start[index]] = bad[end[index]] = True
    tree = cKDTree(a)
    flap = np.asarray(tree.query(hit)[0] < FLAP_MM, dtype=np.bool_) if len(hit) else np.zeros(0, dtype=np.bool_)
    places = np.concatenate([(a[first] + b[first]) / 2, (a[second] + b[second]) / 2, hit[flap]])
    if len(places):
        bad[start[np.unique(np.concatenate(tree.query_ball_point(places, reach)).astype(np.int64))]] = True
    result = np.asarray(bad[faces].any(axis=1), dtype=np.bool_)
    result[hit_face[flap]] = True
    return result


def _overhangs(vertices: Floats, faces: Ints, start: Floats, end: Floats) -> tuple[Ints, Ints, Floats]:
    """Border edges with surface under them, looked for at three points of each edge: edge, face hit, point hit."""
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    origins = np.concatenate([start * (1 - t) + end * t for t in (0.02, 0.5, 0.98)])
    origins[:, 2] -= CLEAR_MM
    ray = RayMeshIntersector(Mesh(vertices, faces).to_trimesh(), scale_to_box=False)
    face, index, point = ray.intersects_id(
        origins, np.tile([0.0, 0.0, -1.0], (len(origins), 1)), multiple_hits=False, return_locations=True
    )
    return np.asarray(index, np.int64) % len(start), np.asarray(face, np.int64), np.asarray(point, np.float64).reshape(-1, 3)


def crossing_pairs(a: Floats, b: Floats) -> tuple[Ints, Ints]:
    """Indices (i, j), i < j, of segments (k, 2)-(k, 2) in the plane that cross properly; neighbours that share an end never do."""
    middle, reach = (a + b) / 2, np.linalg.norm(b - a, axis=1) / 2
    pairs = cKDTree(middle).query_pairs(float(2 * reach.max()) + 1e-9, output_type="ndarray").astype(np.int64)
    if not len(pairs):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    i, j = pairs.T

    def side(p: Floats, q: Floats, r: Floats) -> Floats:
        return (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])

    crossing = (side(a[i], b[i], a[j]) * side(a[i], b[i], b[j]) < 0) & (side(a[j], b[j], a[i]) * side(a[j], b[j], b[i]) < 0)
    return i[crossing], j[crossing]


def _walls(vertices: Floats, faces: Ints, rings: list[Ints], floor: float) -> Mesh:
    import manifold3d

    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1) for ring in rings])
    foot = np.full(len(vertices), -1, np.int64)
    foot[start] = len(vertices) + np.arange(len(start))
    feet = vertices[start].copy()
    feet[:, 2] = floor
    sides = np.concatenate([np.stack([end, start, foot[start]], axis=1), np.stack([end, foot[start], foot[end]], axis=1)])
    plan = manifold3d.triangulate([vertices[ring, :2] for ring in rings], 1e-9)
    bottom = foot[start][np.asarray(plan, dtype=np.int64)][:, ::-1]
    return Mesh(np.concatenate([vertices, feet]), np.concatenate([faces, sides, bottom]))
