"""The cast frame from the shape alone: which way the teeth point, how the occlusal plane lies, where the front is.

Three steps, each blind to how the scan lies in its file:
1. teeth are the rough part. Curvature (Cohen-Steiner and Morvan 2003: edge length x dihedral angle, summed over 2 mm cells so
   that noise cancels and form stays) times surface normal sums to a vector that leaves the cast through the teeth;
2. the occlusal plane is the plane over the tops of the teeth, found by fitting through local peaks in a narrowing band;
3. the midline is the axis of best mirror symmetry of the rough band, and the arms come together towards the front.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..errors import CastError
from ..mesh import Floats, Mesh
from . import topology

CELL_MM = 2.0
TOPS_MM = 2.5
"""Cusps and incisal edges lie this close to the occlusal plane (curve of Spee about 1.5 to 2 mm deep: common textbook value)."""
TOP_SCATTER_MM = 1.0
EVEN_MM = 6.0
"""About a crown's width"""
FEWEST_CELLS = 20
"""A single molar has more sharp cells (about 30 on the scans tried)"""
TRIALS, FITTED = 3000, 20
LEAN_BASE, LEAN_FORM = 6.0, 9.0
"""degrees, standard deviation taken for the lean of the occlusal plane against the trimmed base and against the thin direction of
the whole surface (0.6 to 4.7 on the labelled scans tried, 10 on a stone cast with a domed underside)"""
MAX_TILT = 30.0
"""degrees between the first guess and the plane: more means that one of the two is wrong"""
SHARP_PER_MM = 0.7
"""Curvature of a crest of 1.4 mm radius. Healed ridges are blunter, cusps and incisal edges sharper: on the labelled scans tried
this leaves 90 % or more of the weight on teeth."""
OUTLINE_MM = 2.5
MIRROR_CELLS = 1200
MISFIT_MM = 5.0
MIRROR_STARTS = 2
BAND_MM = 7.0
"""Depth below the occlusal plane that counts as teeth: about a crown's height (handbook section 10: 7 to 10.5 mm)."""


class Relief(NamedTuple):
    """Cells of rough surface: centre (c, 3) mm, unit normal (c, 3), integrated curvature (c,) mm, signed, and area (c,) mm2."""

    centre: Floats
    normal: Floats
    curvature: Floats
    area: Floats

    @property
    def sharp(self) -> Floats:
        """(c,) mm, what bulges more than a ridge or the edge of a palate does: cusps and incisal edges."""
        return np.maximum(self.curvature - SHARP_PER_MM * self.area, 0.0)

    def turned(self) -> Relief:
        """Of the same surface faced the other way."""
        return Relief(self.centre, -self.normal, -self.curvature, self.area)


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
    """The cast frame of a mended surface in mm that faces outward (an open one may be inside-out: then it says so).

    Raises CastError when nothing on the surface is as sharp as teeth are.
    """
    rough = relief(mesh)
    if (rough.sharp > 0).sum() < FEWEST_CELLS and (rough.turned().sharp > 0).sum() < FEWEST_CELLS:
        raise CastError("no teeth can be made out on the surface; check that it is a scan of an arch, or keep the file's own frame")
    up, certainty = occlusal_vector(rough)
    inside_out = _border_above(mesh, rough, up)
    if inside_out:
        up, rough = -up, rough.turned()
    up, origin, _ = occlusal_plane(rough, up, *lie(mesh, up))
    frame = frame_about(up)
    local = (rough.centre - origin) @ frame.T
    angle, offset, misfit = mirror_axis(local, np.abs(rough.curvature))
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    band = np.abs(local[:, 2]) < BAND_MM
    plan, weight = local[band, :2], np.abs(rough.curvature[band])
    rim = outline(local[:, :2])
    arms = _correlation(np.abs(plan @ across - offset), plan @ along, weight)
    arms = (arms + _correlation(np.abs(rim @ across - offset), rim @ along, np.ones(len(rim)))) / 2
    forward = -along if arms > 0 else along
    y = forward @ frame[:2]
    x = np.cross(y, up)
    low, high = np.quantile(plan @ forward, (0.02, 0.98))
    centre = origin + (across * offset + forward * (low + high) / 2) @ frame[:2]
    return Orientation(np.stack([x, y, up]), centre, certainty, misfit, abs(arms), inside_out)


def _border_above(mesh: Mesh, rough: Relief, up: Floats) -> bool:
    edges = topology.edges_of(mesh.faces)
    border = edges.half[edges.of_count(1)[:, 0]]
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
    if not len(pair):
        raise CastError("its triangles do not hang together, so there is no surface; export the scan again")
    f, g = pair[:, 0] // 3, pair[:, 1] // 3
    start, end = (mesh.vertices[edges.half[pair[:, 0], k]] for k in (0, 1))
    along = end - start
    length = np.linalg.norm(along, axis=1)
    normal = mesh.face_normals
    sine = np.einsum("ij,ij->i", np.cross(normal[f], normal[g]), along / np.maximum(length, 1e-9)[:, None])
    bend = np.arctan2(sine, np.einsum("ij,ij->i", normal[f], normal[g])) * length
    middle = (start + end) / 2
    cells = np.floor((middle - middle.min(axis=0)) / CELL_MM).astype(np.int64)
    sides = cells.max(axis=0) + 1
    _, cell = np.unique((cells[:, 0] * sides[1] + cells[:, 1]) * sides[2] + cells[:, 2], return_inverse=True)
    mean_normal = _gather(cell, (normal[f] + normal[g]) * length[:, None])
    mean_normal /= np.maximum(np.linalg.norm(mean_normal, axis=1, keepdims=True), 1e-12)
    weight = np.bincount(cell, length)
    centre = _gather(cell, middle * length[:, None]) / weight[:, None]
    area = (mesh.face_areas[f] + mesh.face_areas[g]) / 3.0
    return Relief(centre, mean_normal, np.bincount(cell, bend).astype(np.float64), np.bincount(cell, area).astype(np.float64))


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


def lie(mesh: Mesh, up: Floats) -> tuple[Floats, float]:
    """How the whole cast lies: a unit vector near `up` square to it, and how far the occlusal plane may lean from that (degrees).

    A trimmed base is cut about parallel to the occlusal plane; without one, the thin direction of the whole surface must do.
    """
    below = mesh.face_normals @ up < -0.5
    if mesh.is_closed and below.any():
        area, normal = mesh.face_areas[below], mesh.face_normals[below]
        mean = -up
        for cone in (60.0, 30.0, 15.0, 6.0, 3.0):
            near = normal @ mean > np.cos(np.radians(cone))
            if not near.any():
                break
            mean = (normal[near] * area[near, None]).sum(axis=0)
            mean /= np.linalg.norm(mean)
        if area[normal @ mean > np.cos(np.radians(3.0))].sum() > 0.5 * area.sum():
            return -mean, LEAN_BASE
    centre, area = mesh.triangles.mean(axis=1), mesh.face_areas
    about = centre - np.average(centre, axis=0, weights=area)
    thin = np.linalg.eigh((about * area[:, None]).T @ about)[1][:, 0]
    thin *= np.sign(thin @ up) or 1.0
    return (thin, LEAN_FORM) if thin @ up > np.cos(np.radians(MAX_TILT)) else (up, LEAN_FORM)


def occlusal_plane(rough: Relief, up: Floats, level: Floats, lean: float) -> tuple[Floats, Floats, float]:
    """Unit normal and a point of the plane over the tops of the teeth, starting from the rough direction `up`; and its score.

    level, lean : where the plane is expected, and how far it may lean from that (see `lie`).

    The plane is the one that holds most of the bulging surface (cusps and incisal edges) while next to none lies above it:
    the best of many through three bulging cells each (random sample consensus, Fischler and Bolles 1981), then fitted.
    """
    weight = rough.sharp
    facing = (rough.normal @ up > 0.3) & (weight > 0)
    centre, weight = rough.centre[facing], weight[facing]
    weight = _even(centre, weight)
    strong = weight >= np.quantile(weight, 0.5)
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
    normal, height = normal[usable], np.einsum("ij,ij->i", normal[usable], a[usable])
    tilt = np.degrees(np.arccos(np.clip(normal @ level, -1.0, 1.0)))
    raw = np.array([_plane_score(centre @ n - d, weight) for n, d in zip(normal, height, strict=True)]) / weight.sum()
    expected = np.maximum(raw, 1e-3) * np.exp(-0.5 * (tilt / lean) ** 2)
    best = (-1.0, up, centre[0], 0.0)
    for i in np.argsort(-expected)[:FITTED].tolist():
        fitted, origin = _fit_plane(centre, weight, normal[i], float(height[i]), level, lean)
        held = _plane_score((centre - origin) @ fitted, weight) / float(weight.sum())
        value = held * float(np.exp(-0.5 * (np.degrees(np.arccos(min(1.0, float(fitted @ level)))) / lean) ** 2))
        if value > best[0]:
            best = (value, fitted, origin, held)
    return best[1:]


def _even(centre: Floats, weight: Floats) -> Floats:
    """Weights scaled so that each stretch of the arch counts alike, however sharp or dense its teeth are."""
    from scipy.spatial import cKDTree

    near = cKDTree(centre).sparse_distance_matrix(cKDTree(centre), EVEN_MM, output_type="coo_matrix")
    around = np.bincount(near.row, weight[near.col], minlength=len(weight)) + weight
    return weight / np.maximum(around, 0.5 * np.median(around))


def _plane_score(height: Floats, weight: Floats) -> float:
    near = np.maximum(0.0, 1.0 - (height / TOPS_MM) ** 2)
    return float(weight @ near - 2.0 * weight[height > TOPS_MM].sum())


def _fit_plane(centre: Floats, weight: Floats, normal: Floats, height: float, level: Floats, lean: float) -> tuple[Floats, Floats]:
    """Weighted fit to the cells near the plane. The lean that is expected pulls as hard as its own uncertainty allows:
    not at all over a whole arch, clearly where only front teeth are left and the plane would hang on a short base."""
    origin = normal * height
    frame = frame_about(level)
    for _ in range(10):
        pull = weight * np.maximum(0.0, 1.0 - ((centre @ normal - height) / TOPS_MM) ** 2) ** 2
        if pull.sum() <= 0:
            break
        origin = np.average(centre, axis=0, weights=pull)
        local = (centre - origin) @ frame.T
        # information of the tops: each EVEN_MM stretch of arch is one reading of the plane, good to TOP_SCATTER_MM
        scale = (pull.sum() / np.pi) / TOP_SCATTER_MM**2
        spread = (local[:, :2] * pull[:, None]).T @ local[:, :2] / pull.sum() * scale
        slope = np.linalg.solve(
            spread + np.eye(2) / np.radians(lean) ** 2, (local[:, :2] * pull[:, None]).T @ local[:, 2] / pull.sum() * scale
        )
        normal = np.array([-slope[0], -slope[1], 1.0]) @ frame
        normal /= np.linalg.norm(normal)
        height = float(origin @ normal)
    return normal, origin


def outline(plan: Floats) -> Floats:
    """(k, 2) middles of the plan's occupied cells that have an empty neighbour: its outline, inner borders too."""
    cell = np.unique(np.floor((plan - plan.min(axis=0)) / OUTLINE_MM).astype(np.int64), axis=0) + 1
    taken = np.zeros(cell.max(axis=0) + 2, dtype=bool)
    taken[cell[:, 0], cell[:, 1]] = True
    full = taken[2:, 1:-1] & taken[:-2, 1:-1] & taken[1:-1, 2:] & taken[1:-1, :-2]
    edge = np.argwhere(taken[1:-1, 1:-1] & ~full)
    return (edge + 0.5) * OUTLINE_MM + plan.min(axis=0)


def mirror_axis(local: Floats, weight: Floats) -> tuple[float, float, float]:
    """Best upright mirror plane: direction of its line in the plan (radians), its offset from the origin, the misfit (mm).

    local : (c, 3) rough cells in a frame with Z occlusal; weight : (c,). Misfit is the mean distance from mirrored cells to their
    nearest fellow, counted up to MISFIT_MM, plus the same for the outline: gaps and crowded teeth on one side must not turn it.
    """
    from scipy.spatial import cKDTree

    strong = np.argsort(-weight, kind="stable")[:MIRROR_CELLS]
    cells, weight, rim = local[strong], weight[strong], outline(local[:, :2])
    rim = np.c_[rim, np.zeros(len(rim))]
    sets = [(cells, weight, cKDTree(cells)), (rim, np.ones(len(rim)), cKDTree(rim))]

    def misfit(angle: float, offset: float) -> float:
        across = np.array([-np.sin(angle), np.cos(angle), 0.0])
        total = 0.0
        for points, share, tree in sets:
            mirrored = points - 2 * ((points @ across) - offset)[:, None] * across
            distance = tree.query(mirrored, distance_upper_bound=MISFIT_MM)[0]
            total += float(np.average(np.minimum(distance, MISFIT_MM), weights=share))
        return total

    coarse = []
    for angle in np.radians(np.arange(0.0, 180.0, 5.0)):
        side = rim[:, :2] @ np.array([-np.sin(angle), np.cos(angle)])
        middle = float(np.quantile(side, 0.03) + np.quantile(side, 0.97)) / 2
        for offset in middle + np.array([-3.0, 0.0, 3.0]):
            coarse.append((misfit(angle, offset), float(angle), float(offset)))
    best = min(_refined(misfit, start) for start in sorted(coarse)[:MIRROR_STARTS])
    return best[1], best[2], best[0]


def _refined(misfit: Callable[[float, float], float], best: tuple[float, float, float]) -> tuple[float, float, float]:
    for turn, shift in ((2.5, 1.5), (1.2, 0.8), (0.6, 0.4), (0.3, 0.2), (0.3, 0.1)):
        _, angle, offset = best
        for a in angle + np.radians([-turn, 0.0, turn]):
            for o in offset + np.array([-shift, 0.0, shift]):
                best = min(best, (misfit(a, o), float(a), float(o)))
    return best
