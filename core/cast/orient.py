"""The cast frame from the shape alone: which way the teeth point, how the occlusal plane lies, where the front is.

Three steps, each blind to how the scan lies in its file:
1. teeth are the rough part. Curvature (Cohen-Steiner and Morvan 2003: edge length x dihedral angle, summed over 2 mm cells so
   that noise cancels and form stays) times surface normal sums to a vector that leaves the cast through the teeth;
2. the occlusal plane is the plane over the tops of the teeth, found by fitting through local peaks in a narrowing band;
3. the midline is the axis of best mirror symmetry of the rough band, and the arms come together towards the front.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..mesh import Floats, Mesh
from . import topology

CELL_MM = 2.0
TOPS_MM = 2.5
"""Cusps and incisal edges lie this close to the occlusal plane (curve of Spee about 1.5 to 2 mm deep: common textbook value)."""
TRIALS = 3000
MAX_TILT = 30.0
"""degrees between the first guess and the plane: more means that one of the two is wrong"""
BAND_MM = 7.0
"""Depth below the occlusal plane that counts as teeth: about a crown's height (handbook section 10: 7 to 10.5 mm)."""


class Relief(NamedTuple):
    """Cells of rough surface: centre (c, 3) mm, unit normal (c, 3), weight (c,) integrated mean curvature in mm, signed."""

    centre: Floats
    normal: Floats
    curvature: Floats


class Orientation(NamedTuple):
    """Where the cast axes lie in the file's frame, and how sure that is.

    rotation : (3, 3) rows are the cast axes; origin : (3,) where the midline leaves the centre of the arch, on the occlusal plane
    certainty : agreement of the rough surface on one direction, 0 none to 1 all
    mirror_mm : misfit of the two halves of the arch
    arms : how well the arms part towards the back, 0 not at all to 1 like a ruler
    inside_out : the surface is open and its border lies on the side the teeth should point to
    """

    rotation: Floats
    origin: Floats
    certainty: float
    mirror_mm: float
    arms: float
    inside_out: bool


def orient(mesh: Mesh) -> Orientation:
    """The cast frame of a mended surface in mm that faces outward (an open one may be inside-out: then it says so)."""
    rough = relief(mesh)
    up, certainty = occlusal_vector(rough)
    inside_out = _border_above(mesh, rough, up)
    if inside_out:
        up, rough = -up, Relief(rough.centre, -rough.normal, -rough.curvature)
    up, origin, _ = occlusal_plane(rough, up)
    frame = frame_about(up)
    local = (rough.centre - origin) @ frame.T
    band = (local[:, 2] > -BAND_MM) & (local[:, 2] < BAND_MM)
    plan, weight = local[band, :2], np.abs(rough.curvature[band])
    angle, offset, misfit = mirror_axis(plan, weight)
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    arms = _correlation(np.abs(plan @ across - offset), plan @ along, weight)
    forward = -along if arms > 0 else along
    y = forward @ frame[:2]
    x = np.cross(y, up)
    low, high = np.quantile(plan @ forward, (0.02, 0.98))
    centre = origin + (across * offset + forward * (low + high) / 2) @ frame[:2]
    return Orientation(np.stack([x, y, up]), centre, certainty, misfit, abs(arms), inside_out)


def _border_above(mesh: Mesh, rough: Relief, up: Floats) -> bool:
    border = mesh.boundary_edges
    if not len(border):
        return False
    rim = np.median(mesh.vertices[border].mean(axis=1) @ up)
    return bool(rim > np.average(rough.centre @ up, weights=np.abs(rough.curvature)))


def _correlation(a: Floats, b: Floats, weight: Floats) -> float:
    a, b = a - np.average(a, weights=weight), b - np.average(b, weights=weight)
    scale = np.sqrt(np.average(a * a, weights=weight) * np.average(b * b, weights=weight))
    return float(np.average(a * b, weights=weight) / max(scale, 1e-12))


def relief(mesh: Mesh) -> Relief:
    """Signed mean curvature gathered in cells; positive where the surface bulges outward."""
    edges = topology.edges_of(mesh.faces)
    pair = edges.of_count(2)
    f, g = pair[:, 0] // 3, pair[:, 1] // 3
    start, end = (mesh.vertices[edges.half[pair[:, 0], k]] for k in (0, 1))
    along = end - start
    length = np.linalg.norm(along, axis=1)
    normal = mesh.face_normals
    sine = np.einsum("ij,ij->i", np.cross(normal[f], normal[g]), along / np.maximum(length, 1e-9)[:, None])
    bend = np.arctan2(sine, np.einsum("ij,ij->i", normal[f], normal[g])) * length
    middle = (start + end) / 2
    cells = np.floor(middle / CELL_MM).astype(np.int64)
    _, cell = np.unique(cells, axis=0, return_inverse=True)
    cell = cell.reshape(-1)
    mean_normal = _gather(cell, (normal[f] + normal[g]) * length[:, None])
    mean_normal /= np.maximum(np.linalg.norm(mean_normal, axis=1, keepdims=True), 1e-12)
    weight = np.bincount(cell, length)
    return Relief(_gather(cell, middle * length[:, None]) / weight[:, None], mean_normal, np.bincount(cell, bend).astype(np.float64))


def _gather(cell: np.ndarray, values: Floats) -> Floats:
    return np.stack([np.bincount(cell, values[:, k]) for k in range(values.shape[1])], axis=1)


def occlusal_vector(rough: Relief) -> tuple[Floats, float]:
    """Unit vector that leaves through the teeth, and how far the rough surface agrees on it (0 to 1)."""
    weight = np.abs(rough.curvature)
    total = (weight[:, None] * rough.normal).sum(axis=0)
    length = float(np.linalg.norm(total))
    return total / max(length, 1e-12), length / max(float(weight.sum()), 1e-12)


def frame_about(up: Floats) -> Floats:
    """(3, 3) some right-handed frame with `up` as its third row."""
    side = np.eye(3)[np.argmin(np.abs(up))]
    x = np.cross(side, up)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(up, x), up])


def occlusal_plane(rough: Relief, up: Floats) -> tuple[Floats, Floats, float]:
    """Unit normal and a point of the plane over the tops of the teeth, starting from the rough direction `up`; and its score.

    The plane is the one that holds most of the bulging surface (cusps and incisal edges) while next to none lies above it:
    the best of many through three bulging cells each (random sample consensus, Fischler and Bolles 1981), then fitted.
    """
    facing = (rough.normal @ up > 0.3) & (rough.curvature > 0)
    centre, weight = rough.centre[facing], rough.curvature[facing]
    strong = weight >= np.quantile(weight, 0.6)
    height = centre @ up
    # no tooth top lies far below the highest cells even under the greatest tilt that the first guess may have
    pool = np.nonzero(strong & (height > height.max() - 30.0))[0]
    picks = np.random.default_rng(0).choice(pool, (TRIALS, 3))
    a, b, c = (centre[picks[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1)
    spread = np.minimum.reduce([np.linalg.norm(a - b, axis=1), np.linalg.norm(b - c, axis=1), np.linalg.norm(c - a, axis=1)])
    normal = normal / np.maximum(length, 1e-9)[:, None]
    normal *= np.where(normal @ up < 0, -1.0, 1.0)[:, None]
    usable = (spread > 10.0) & (length > 150.0) & (normal @ up > np.cos(np.radians(MAX_TILT)))
    if not usable.any():
        return up, centre[np.argmax(height)], 0.0
    normal, level = normal[usable], np.einsum("ij,ij->i", normal[usable], a[usable])
    score = np.array([_plane_score(centre @ n - d, weight) for n, d in zip(normal, level, strict=True)])
    best = int(np.argmax(score))
    return *_fit_plane(centre, weight, normal[best], float(level[best])), float(score[best] / weight.sum())


def _plane_score(height: Floats, weight: Floats) -> float:
    near = np.maximum(0.0, 1.0 - (height / TOPS_MM) ** 2)
    return float(weight @ near - 2.0 * weight[height > TOPS_MM].sum())


def _fit_plane(centre: Floats, weight: Floats, normal: Floats, level: float) -> tuple[Floats, Floats]:
    origin = normal * level
    for _ in range(10):
        height = centre @ normal - level
        pull = weight * np.maximum(0.0, 1.0 - (height / TOPS_MM) ** 2) ** 2
        origin = np.average(centre, axis=0, weights=pull)
        about = centre - origin
        thin = np.linalg.eigh((about * pull[:, None]).T @ about)[1][:, 0]
        normal = thin * (np.sign(thin @ normal) or 1.0)
        level = float(origin @ normal)
    return normal, origin


def mirror_axis(plan: Floats, weight: Floats) -> tuple[float, float, float]:
    """Best mirror line of weighted points in the plane: its direction (radians), its offset from the origin, the misfit (mm).

    Misfit is the mean distance from mirrored points to their nearest fellow, without the worst quarter: gaps and crowded teeth
    on one side must not turn the axis.
    """
    from scipy.spatial import cKDTree

    tree = cKDTree(plan)

    def misfit(angle: float, offset: float) -> float:
        across = np.array([-np.sin(angle), np.cos(angle)])
        distance = tree.query(plan - 2 * ((plan @ across) - offset)[:, None] * across)[0]
        order = np.argsort(distance)
        share = np.cumsum(weight[order])
        kept = order[: int(np.searchsorted(share, 0.75 * share[-1])) + 1]
        return float(np.average(distance[kept], weights=weight[kept]))

    best = (np.inf, 0.0, 0.0)
    for angle in np.radians(np.arange(0.0, 180.0, 4.0)):
        side = plan @ np.array([-np.sin(angle), np.cos(angle)])
        middle = float(np.quantile(side, 0.03) + np.quantile(side, 0.97)) / 2
        for offset in middle + np.arange(-6.0, 6.1, 2.0):
            best = min(best, (misfit(angle, offset), float(angle), float(offset)))
    for turn, shift in ((2.0, 1.0), (1.0, 0.5), (0.5, 0.25), (0.25, 0.1)):
        _, angle, offset = best
        for a in angle + np.radians([-turn, 0.0, turn]):
            for o in offset + np.array([-shift, 0.0, shift]):
                best = min(best, (misfit(a, o), float(a), float(o)))
    return best[1], best[2], best[0]
