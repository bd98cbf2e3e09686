"""Mending of scan surfaces: weld, drop what is no surface, agree on the winding, close pin-holes. Every change is told."""

from __future__ import annotations

import numpy as np

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from . import topology
from .holes import fill_rings

WELD_MM = 1e-4
"""Points closer than this are one point: a hundredth of the best scanner noise (5 micrometres, methods 1d)."""
SPECK_AREA = 0.02
SPECK_MM = 10.0
"""A loose piece goes when it has under 2 % of the largest piece's area and is smaller than 10 mm: an incisor crown is larger."""
PINHOLE_MM = 3.0
"""Border rings up to this perimeter are closed. A hole 1 mm wide on a surface of 4 mm radius hides a bulge of
e^2 / 8R = 0.03 mm, about the scanner's own error and a tenth of the finest gauge; a wider one could hide what matters."""
BAD_POINTS_SHARE = 0.01
FARTHEST = 1e8
"""Coordinates beyond this are damage in any unit: a bit that falls over in a float shows as a huge number as often as infinity."""


def clean(mesh: Mesh) -> tuple[Mesh, list[str]]:
    """A mended copy and what was changed, in plain words. Vertices in mm. Raises CastError when nothing usable is left."""
    changes: list[str] = []
    vertices, faces = finite(mesh.vertices, mesh.faces, changes)
    vertices, faces = weld(vertices, faces, changes)
    faces = _distinct(faces, changes)
    vertices, faces = _flat_corners(vertices, faces, changes)
    faces = _uncrowd(faces, changes)
    if not len(faces):
        raise CastError("no triangle with an area is left; export the scan again")
    vertices, faces = topology.compact(vertices, faces)
    vertices, faces = _drop_specks(vertices, faces, changes)
    faces, turned, one_sided = topology.wind_alike(faces)
    if one_sided:
        raise CastError("the surface is one-sided (it turns over on itself); mend it in a mesh editor or scan again")
    vertices, faces, split = topology.split_fans(vertices, faces)
    if turned:
        changes.append(f"{turned} triangles turned over to face like their neighbours")
    if split:
        changes.append(f"{split} points split where surfaces only touched")
    vertices, faces = _fill_pinholes(vertices, faces, changes)
    vertices, faces = topology.compact(vertices, faces)
    faces = _outward(vertices, faces, changes)
    return Mesh(vertices, faces), changes


def finite(vertices: Floats, faces: Ints, changes: list[str]) -> tuple[Floats, Ints]:
    """Without the triangles whose coordinates are no usable numbers. Raises CastError when they are many."""
    good = np.isfinite(vertices).all(axis=1) & (np.abs(np.nan_to_num(vertices)) < FARTHEST).all(axis=1)
    bad = np.asarray(~np.asarray(good)[faces].all(axis=1), dtype=np.bool_)
    if bad.any():
        if bad.mean() > BAD_POINTS_SHARE:
            raise CastError(f"{int(bad.sum()):,} of {len(faces):,} triangles have coordinates that are no numbers; export the scan again")
        changes.append(f"{int(bad.sum())} triangles with coordinates that are no numbers removed")
        faces = faces[~bad]
    return np.where(np.asarray(good)[:, None], vertices, 0.0), faces


def weld(vertices: Floats, faces: Ints, changes: list[str]) -> tuple[Floats, Ints]:
    """One vertex for all that coincide within WELD_MM. First the exact ones, then near ones at borders and short edges."""
    vertices, faces = topology.compact(vertices, faces)
    before = len(vertices)
    vertices, faces = _weld_near(*_weld_exact(vertices, faces))
    if before - len(vertices):
        changes.append(f"{before - len(vertices):,} points welded to others at the same place")
    return vertices, faces


def _weld_exact(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    order = np.lexsort(vertices.T)
    ordered = vertices[order] + 0.0  # turns -0.0 into 0.0
    new = np.r_[True, (ordered[1:] != ordered[:-1]).any(axis=1)]
    if new.all():
        return vertices, faces
    group = np.empty(len(vertices), np.int64)
    group[order] = np.cumsum(new) - 1
    first = np.full(int(new.sum()), len(vertices))
    np.minimum.at(first, group, np.arange(len(vertices)))
    rank = np.argsort(first, kind="stable")  # the file's own order of points is kept
    number = np.empty(len(rank), np.int64)
    number[rank] = np.arange(len(rank))
    return vertices[first[rank]], number[group][faces]


def _weld_near(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    from scipy.spatial import cKDTree

    edges = topology.edges_of(faces)
    half = edges.half
    short = half[np.linalg.norm(vertices[half[:, 0]] - vertices[half[:, 1]], axis=1) < WELD_MM]
    border = np.unique(half[edges.of_count(1)[:, 0]])
    pairs = [short]
    if len(border):
        near = cKDTree(vertices[border]).query_pairs(WELD_MM, output_type="ndarray")
        pairs.append(border[near.astype(np.int64)])
    links = np.concatenate(pairs)
    if not len(links):
        return vertices, faces
    _, label = topology.components(links, len(vertices))
    first = np.full(label.max() + 1, len(vertices))
    np.minimum.at(first, label, np.arange(len(vertices)))
    return topology.compact(vertices, first[label][faces])


def _distinct(faces: Ints, changes: list[str]) -> Ints:
    """Without faces that name a point twice, and without doubles; a face and its own reverse cancel."""
    proper = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    result = faces[proper]
    if len(result):
        turn = np.argmin(result, axis=1)
        rolled = np.take_along_axis(result, (turn[:, None] + np.arange(3)) % 3, axis=1)
        n = int(faces.max()) + 1
        ordered = np.sort(rolled, axis=1)
        order = np.lexsort(ordered.T)
        new = np.r_[True, (ordered[order][1:] != ordered[order][:-1]).any(axis=1)]
        if not new.all():
            group = np.empty(len(order), np.int64)
            group[order] = np.cumsum(new) - 1
            sense = np.where(rolled[:, 1] < rolled[:, 2], 1, -1)
            total = np.bincount(group, sense)
            size = np.bincount(group)
            first = np.full(len(size), n * 3)
            np.minimum.at(first, group, np.arange(len(result)))
            cancels = (size > 1) & (total == 0)
            result = result[np.sort(first[~cancels])]
    if len(faces) - len(result):
        changes.append(f"{len(faces) - len(result)} triangles without area or doubled removed")
    return result


def _flat_corners(vertices: Floats, faces: Ints, changes: list[str]) -> tuple[Floats, Ints]:
    """Swap the long edge of triangles whose three points lie in one line, which no merging of points can cure."""
    swapped = 0
    for _ in range(4):
        corner = vertices[faces]
        length = np.linalg.norm(corner - np.roll(corner, -1, axis=1), axis=2)
        height = 2 * Mesh(vertices, faces).face_areas / np.maximum(length.max(axis=1), 1e-12)
        flat = np.nonzero(height < WELD_MM / 10)[0]
        if not len(flat):
            break
        edges = topology.edges_of(faces)
        twin = np.full(3 * len(faces), -1, np.int64)
        pair = edges.of_count(2)
        twin[pair[:, 0]], twin[pair[:, 1]] = pair[:, 1], pair[:, 0]
        known = _edges_beside(faces, edges.half, flat, twin) if len(flat) < 20000 else set()
        faces, done = _swap(faces.copy(), flat, np.argmax(length, axis=1), twin, known)
        swapped += done
        if not done:
            break
    if swapped:
        changes.append(f"{swapped} edges swapped to mend triangles without height")
    return vertices, faces


def _edges_beside(faces: Ints, half: Ints, flat: Ints, twin: Ints) -> set[tuple[int, int]]:
    """All edges that end at the flat faces or at those beside them: the ones that a swap could double."""
    beside = twin[(3 * flat[:, None] + np.arange(3)).reshape(-1)]
    near = np.zeros(int(faces.max()) + 1, dtype=bool)
    near[faces[flat]] = True
    near[faces[beside[beside >= 0] // 3]] = True
    return set(map(tuple, np.sort(half[near[half].any(axis=1)], axis=1).tolist()))


def _swap(faces: Ints, flat: Ints, longest: Ints, twin: Ints, known: set[tuple[int, int]]) -> tuple[Ints, int]:
    touched: set[int] = set()
    for f in flat.tolist():
        h = 3 * f + int(longest[f])
        t = int(twin[h])
        g = t // 3
        if t < 0 or f in touched or g in touched:
            continue
        a, b, c = (int(faces[f, (h + k) % 3]) for k in range(3))
        if int(faces[g, t % 3]) != b:
            continue  # neighbours wound against each other: left for a later pass
        d = int(faces[g, (t + 2) % 3])
        if c == d or (min(c, d), max(c, d)) in known:
            continue
        faces[f], faces[g] = (c, a, d), (d, b, c)
        known.add((min(c, d), max(c, d)))
        touched |= {f, g}
    return faces, len(touched) // 2


def _uncrowd(faces: Ints, changes: list[str]) -> Ints:
    """Take away the faces at edges with more than two faces; the pin-holes left are closed afterwards."""
    removed = 0
    for _ in range(8):
        crowded = topology.edges_of(faces).crowded
        if not len(crowded):
            break
        keep = topology.keep_mask(len(faces), np.unique(crowded // 3))
        removed += int((~keep).sum())
        faces = faces[keep]
    if removed:
        changes.append(f"{removed} triangles at edges with three or more faces removed")
    return faces


def _drop_specks(vertices: Floats, faces: Ints, changes: list[str]) -> tuple[Floats, Ints]:
    count, label = topology.face_pieces(faces)
    if count == 1:
        return vertices, faces
    area, diagonal = topology.piece_sizes(vertices, faces, label, count)
    speck = (area < SPECK_AREA * area.max()) & (diagonal < min(SPECK_MM, 0.2 * diagonal.max()))
    if speck.any():
        changes.append(
            f"{int(speck.sum())} loose specks removed ({int(speck[label].sum())} triangles, the largest {diagonal[speck].max():.1f} mm)"
        )
        vertices, faces = topology.compact(vertices, faces[~speck[label]])
    return vertices, faces


def pinholes(vertices: Floats, faces: Ints) -> list[Ints]:
    """Border rings up to PINHOLE_MM round, or up to six edges as long as those about them (a triangle or two lost on a coarse part)."""
    loops = topology.border_loops(faces)
    if not loops:
        return []
    half = topology.edges_of(faces).half
    length = np.linalg.norm(vertices[half[:, 0]] - vertices[half[:, 1]], axis=1)
    total = np.bincount(half[:, 0], length, minlength=len(vertices))
    count = np.bincount(half[:, 0], minlength=len(vertices))
    small = []
    for ring in loops:
        around = float(total[ring].sum() / count[ring].sum())
        if topology.perimeter(vertices, ring) <= max(PINHOLE_MM, 6.0 * around if len(ring) <= 6 else 0.0):
            small.append(ring)
    return small


def _fill_pinholes(vertices: Floats, faces: Ints, changes: list[str]) -> tuple[Floats, Ints]:
    small = pinholes(vertices, faces)
    # a lone triangle's own outline is no hole in anything
    outline = {len(faces), 2 * len(faces)}
    if not small or outline & {1, 2}:
        return vertices, faces
    vertices, faces, filled = fill_rings(vertices, faces, small)
    if filled:
        longest = max(topology.perimeter(vertices, ring) for ring in small)
        changes.append(f"{filled} pin-holes closed (up to {longest:.1f} mm round)")
    return vertices, faces


def _outward(vertices: Floats, faces: Ints, changes: list[str]) -> Ints:
    """Closed pieces face outward, except cavities inside another piece, which face into the cavity. Open ones are left."""
    count, label = topology.face_pieces(faces)
    edges = topology.edges_of(faces)
    is_open = np.zeros(count, dtype=bool)
    is_open[label[edges.of_count(1)[:, 0] // 3]] = True
    corner = vertices[faces] - vertices.mean(axis=0)
    volume = np.bincount(label, np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])), minlength=count) / 6
    closed = [p for p in np.argsort(-np.abs(volume)).tolist() if not is_open[p]]
    turn = np.zeros(count, dtype=bool)
    for i, piece in enumerate(closed):
        probe = vertices[faces[label == piece][0, 0]]
        nest = sum(topology.inside(vertices, faces[label == outer], probe) for outer in closed[:i]) if i < 50 else 0
        turn[piece] = (volume[piece] < 0) != (nest % 2 == 1)
    if turn.any():
        changes.append(f"{int(turn.sum())} inside-out surfaces turned to face outward")
        faces = np.where(turn[label][:, None], faces[:, ::-1], faces)
    return faces
