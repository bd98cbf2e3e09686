"""The margin of a crown: the border of its part of the surface, as a smooth closed line that lies on the surface."""

from __future__ import annotations

import numpy as np
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .model import Labels
from .surface import Projector, grow_faces, length_of, level_lines, link_matrix, resample, rim_edges, smooth_field, smooth_ring
from .valley import into_valley

SPACING_MM = 0.2
SMOOTH_MM = 0.3


def largest_part(mesh: Mesh, mask: Bools) -> Bools:
    """(n,) the largest edge-connected part of a vertex mask, its small enclosed holes filled."""
    if not mask.any():
        return mask
    link = link_matrix(mesh.faces, len(mask))
    inside = np.flatnonzero(mask)
    _, part = connected_components(link[inside][:, inside], directed=False)
    keep = np.zeros_like(mask)
    keep[inside[part == np.bincount(part).argmax()]] = True
    outside = np.flatnonzero(~keep)
    if len(outside) == 0:
        return keep
    _, part = connected_components(link[outside][:, outside], directed=False)
    count = np.bincount(part)
    # what lies outside, touches the crown and hangs together with little is a hole in it; specks elsewhere never touch it
    holes = count < 0.2 * keep.sum()
    holes[count.argmax()] = False
    touches = np.zeros(len(count), dtype=bool)
    touches[part[(link @ keep.astype(float))[outside] > 0]] = True
    keep[outside[(holes & touches)[part]]] = True
    return keep


def patch_of(mesh: Mesh, mask: Bools, reach_mm: float) -> tuple[Mesh, Ints]:
    """The surface round a vertex mask, out to reach_mm beyond its box: the submesh and its vertices' indices in the mesh."""
    points = mesh.vertices[mask]
    low, high = points.min(axis=0) - reach_mm, points.max(axis=0) + reach_mm
    near = ((mesh.vertices >= low) & (mesh.vertices <= high)).all(axis=1)
    return mesh.submesh(near[mesh.faces].all(axis=1) | grow_faces(mesh, mask))


def margin_line(patch: Mesh, inside: Floats, smooth_mm: float = SMOOTH_MM, *, snap: bool = False) -> tuple[Floats, Bools, tuple[str, ...]]:
    """The closed line round a crown on its patch of surface.

    inside : (n,) 1 in the crown, 0 outside it (fractions allowed)
    snap : draw the line into the valley beside it
    Returns (k, 3) points about SPACING_MM apart, on the surface, (k,) where a valley shows it, and flags.
    Raises GeometryError where there is no border at all.
    """
    field = smooth_field(patch, inside, 0.5 * smooth_mm)
    lines = level_lines(patch, field, 0.5)
    if not lines:  # a crown of a few triangles is smoothed away
        field = np.asarray(inside, dtype=np.float64)
        lines = level_lines(patch, field, 0.5)
    if not lines:
        lines = rim_lines(patch, inside)
    if not lines:
        raise GeometryError("the crown has no border: the whole patch belongs to it; mark the tissue or the neighbours")
    points, closed = max(lines, key=lambda line: length_of(line[0], False))
    flags: tuple[str, ...] = ()
    if snap:
        smooth_mm *= 0.5  # the valley itself keeps the line smooth
    if not closed:
        flags = ("the scan ends within the crown: its margin is closed by a straight line there",)
    ring = resample(points, SPACING_MM)
    band = grow_faces(patch, (field > 0.02) & (field < 0.98))
    project = Projector(patch, band if band.any() else None)
    for _ in range(2):
        ring, _ = project.closest(smooth_ring(ring, SPACING_MM, smooth_mm))
    ring = resample_on(project, ring)
    drawn, supported = into_valley(patch, ring, SPACING_MM)
    if not snap:
        return ring, supported, flags
    whole = Projector(patch)
    for _ in range(2):
        drawn, _ = whole.closest(smooth_ring(drawn, SPACING_MM, smooth_mm))
    even = resample(drawn, SPACING_MM)
    nearest = cKDTree(drawn).query(even)[1]
    return whole.closest(even)[0], supported[nearest], flags


def rim_lines(patch: Mesh, inside: Floats) -> list[tuple[Floats, bool]]:
    """Borders of the scan itself round a crown that lies on a piece of its own."""
    faces = patch.faces[(inside[patch.faces] >= 0.5).all(axis=1)]
    if len(faces) == 0:
        return []
    following = {int(a): int(b) for a, b in rim_edges(faces)}
    lines = []
    while following:
        chain = [next(iter(following))]
        while chain[-1] in following:
            chain.append(following.pop(chain[-1]))
        if len(chain) > 3:
            lines.append((patch.vertices[chain[:-1]], False))
    return lines


def resample_on(project: Projector, ring: Floats) -> Floats:
    """Even spacing again, on the surface."""
    return project.closest(resample(ring, SPACING_MM))[0]


def shared_with(margin: Floats, patch: Mesh, labels: Labels, fdi: int) -> Ints:
    """(k,) which crown lies on the other side of the margin, 0 for tissue. labels : (n,) a vertex of the patch."""
    result = np.zeros(len(margin), dtype=np.int64)
    others = np.flatnonzero((labels != 0) & (labels != fdi))
    tissue = np.flatnonzero(labels == 0)
    if len(others) == 0:
        return result
    to_other, which = cKDTree(patch.vertices[others]).query(margin)
    to_tissue = cKDTree(patch.vertices[tissue]).query(margin)[0] if len(tissue) else np.full(len(margin), np.inf)
    close = to_other < to_tissue
    result[close] = labels[others[which[close]]]
    return result
