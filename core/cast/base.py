"""A trimmed flat base under an open scan: walls straight down from the border, as a plane saw would leave them."""

from __future__ import annotations

from dataclasses import dataclass

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
TRIM_FREELY_MM2 = 5.0
"""Flaps of this area in all are not worth a second way: about a tenth of one molar's occlusal surface"""


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
    solids, tally = [], Tally()
    for piece in range(count):
        part = mesh.submesh(label == piece)[0]
        solids += [part] if part.is_closed else _least_trimmed(part, floor, tally)
    if not solids:
        raise GeometryError("no base fits under the scan, its border is too tangled; trim it in a mesh editor, or scan again")
    words = [f"base added, flat, {base_mm:.0f} mm below the lowest point of the scan"]
    words += [f"{tally.filled} holes inside the border closed for the base"] if tally.filled else []
    if tally.trimmed_mm2 >= 0.05:
        words.append(f"border trimmed back for the base where it folded or overhung ({tally.trimmed_mm2:.1f} mm2)")
    return _united(solids), words


@dataclass
class Tally:
    """What was given up or added on the way."""

    trimmed_mm2: float = 0.0
    filled: int = 0


def _united(solids: list[Mesh]) -> Mesh:
    if len(solids) == 1:
        return solids[0]
    import manifold3d

    return Mesh.from_manifold(manifold3d.Manifold.batch_boolean([s.to_manifold() for s in solids], manifold3d.OpType.Add))


def _least_trimmed(part: Mesh, floor: float, tally: Tally) -> list[Mesh]:
    """The solids under one connected open piece, made in the way that gives up less of the scan; none when nothing is left."""
    vertices, faces, filled = _fill_inner(part.vertices, part.faces)
    plain, other = Tally(filled=filled), Tally(filled=filled)
    solid = _walled(vertices, faces, floor, plain)
    solids = [] if solid is None else [solid]
    if plain.trimmed_mm2 > TRIM_FREELY_MM2:
        carved = _carved(vertices, faces, floor, other)
        if carved and other.trimmed_mm2 < plain.trimmed_mm2:
            solids, plain = carved, other
    tally.trimmed_mm2 += plain.trimmed_mm2
    tally.filled += plain.filled
    return solids


def _carved(vertices: Floats, faces: Ints, floor: float, tally: Tally) -> list[Mesh]:
    """For a surface that rolls under itself at the border, where straight walls from the border would run through it.

    The rolled part, which faces down and has nothing below it, is taken off, the rest gets its walls, and the space under the
    rolled part is cut away again: the surface stays exact.
    """
    rolled = _rolled(vertices, faces)
    if not rolled.any():
        return []
    solids = [s for s in (_walled(*piece, floor, tally) for piece in _pieces(vertices, faces[~rolled])) if s is not None]
    spaces = [s for s in (_walled(*piece, floor - 1.0, tally) for piece in _pieces(vertices, faces[rolled][:, ::-1])) if s is not None]
    if not solids:
        return []
    if not spaces:
        return solids
    return [Mesh.from_manifold(_united(solids).to_manifold() - _united(spaces).to_manifold())]


def _pieces(vertices: Floats, faces: Ints) -> list[tuple[Floats, Ints]]:
    vertices, faces, _ = topology.split_fans(*topology.compact(vertices, faces))
    count, label = topology.face_pieces(faces)
    size = np.bincount(label, minlength=count)
    return [topology.compact(vertices, faces[label == k]) for k in range(count) if size[k] > 3]


def _rolled(vertices: Floats, faces: Ints) -> Bools:
    """Faces that look down, have no surface below, hang together up to the border, and are in the way of straight walls."""
    rings = topology.border_loops(faces)
    places = _clashes(vertices, faces, rings)[2]
    down = Mesh(vertices, faces).face_normals[:, 2] < 0.0
    if not len(places) or not down.any():
        return np.zeros(len(faces), dtype=np.bool_)
    index = np.nonzero(down)[0]
    origins = vertices[faces[index]].mean(axis=1) - [0.0, 0.0, CLEAR_MM]
    bare = np.ones(len(index), dtype=bool)
    bare[_hits_below(vertices, faces, origins)[0]] = False
    index = index[bare]
    if not len(index):
        return np.zeros(len(faces), dtype=np.bool_)
    count, label = topology.face_pieces(faces[index])
    near = cKDTree(places).query(vertices[faces[index]].mean(axis=1))[0] < 2 * FLAP_MM
    result = np.zeros(len(faces), dtype=np.bool_)
    result[index[np.bincount(label, near, minlength=count)[label] > 0]] = True
    return result


def _walled(vertices: Floats, faces: Ints, floor: float, tally: Tally) -> Mesh | None:
    """Straight walls from the border to the floor, after trimming the border back as far as it needs; None when nothing is left."""
    before = Mesh(vertices, faces)
    for turn in range(ROUNDS):
        rings = topology.border_loops(faces)
        bad = _bad_faces(vertices, faces, rings, FLAP_MM * min(1.0, (turn + 1) / 10))
        if not bad.any():
            tally.trimmed_mm2 += max(0.0, float(before.face_areas.sum()) - float(Mesh(vertices, faces).face_areas.sum()))
            return _walls(vertices, faces, rings, floor)
        faces = _largest(vertices, faces[~bad])
        if len(faces) < 4:
            tally.trimmed_mm2 += float(before.face_areas.sum())
            return None
        vertices, faces, _ = topology.split_fans(*topology.compact(vertices, faces))
        vertices, faces = topology.compact(vertices, _largest(vertices, faces))
        vertices, faces, filled = _fill_inner(vertices, faces)
        tally.filled += filled
    tally.trimmed_mm2 += float(before.face_areas.sum())
    return None


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


def _clashes(vertices: Floats, faces: Ints, rings: list[Ints]) -> tuple[Ints, Ints, Floats]:
    """Where straight walls would cut each other or the surface: border points concerned, faces under the border, and the places.

    Nearly always two ragged flaps of one border lie over each other there, and both are concerned. Where the surface below is no
    flap, only the border above it is.
    """
    start = np.concatenate(rings)
    end = np.concatenate([np.roll(ring, -1) for ring in rings])
    a, b = vertices[start], vertices[end]
    first, second = crossing_pairs(a[:, :2], b[:, :2])
    origins = np.concatenate([a * (1 - t) + b * t for t in (0.02, 0.5, 0.98)]) - [0.0, 0.0, CLEAR_MM]
    index, hit_face, hit = _hits_below(vertices, faces, origins)
    edge = index % len(start)
    flap = np.asarray(cKDTree(a).query(hit)[0] < FLAP_MM, dtype=np.bool_) if len(hit) else np.zeros(0, dtype=np.bool_)
    concerned = np.concatenate([first, second, edge])
    places = np.concatenate([(a[first] + b[first]) / 2, (a[second] + b[second]) / 2, hit[flap]])
    return np.unique(np.concatenate([start[concerned], end[concerned]])), hit_face[flap], places


def _bad_faces(vertices: Floats, faces: Ints, rings: list[Ints], reach: float) -> Bools:
    """Faces to give up so that straight walls fit: those at the border points concerned and within `reach` mm of the places."""
    points, below, places = _clashes(vertices, faces, rings)
    bad = np.zeros(len(vertices), dtype=bool)
    bad[points] = True
    if len(places):
        border = np.concatenate(rings)
        near = cKDTree(vertices[border]).query_ball_point(places, reach)
        bad[border[np.unique(np.concatenate(near).astype(np.int64))]] = True
    result = np.asarray(bad[faces].any(axis=1), dtype=np.bool_)
    result[below] = True
    return result


def _hits_below(vertices: Floats, faces: Ints, origins: Floats) -> tuple[Ints, Ints, Floats]:
    """What lies straight below points: index of the point, face hit, place of the hit; points above nothing are left out."""
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    ray = RayMeshIntersector(Mesh(vertices, faces).to_trimesh(), scale_to_box=False)
    down = np.tile([0.0, 0.0, -1.0], (len(origins), 1))
    face, index, point = ray.intersects_id(origins, down, multiple_hits=False, return_locations=True)
    return np.asarray(index, np.int64), np.asarray(face, np.int64), np.asarray(point, np.float64).reshape(-1, 3)


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
