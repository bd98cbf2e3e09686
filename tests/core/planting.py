"""How faults are planted in a good framework: each function takes what the checks look at and gives it back with one thing wrong."""

from dataclasses import replace

import numpy as np
from claspwright.core.checks import CheckInput
from claspwright.core.mesh import Mesh
from scipy.spatial import cKDTree


def with_vertices(data: CheckInput, vertices: np.ndarray) -> CheckInput:
    return replace(data, framework=Mesh(vertices, data.framework.faces))


def with_faces(data: CheckInput, vertices: np.ndarray, faces: np.ndarray) -> CheckInput:
    """Masks of regions follow the old vertices; new ones belong to none."""
    extra = len(vertices) - len(data.framework.vertices)
    regions = tuple(replace(r, mask=np.r_[r.mask, np.zeros(extra, bool)]) for r in data.regions) if extra > 0 else data.regions
    return replace(data, framework=Mesh(vertices, faces), regions=regions)


def mask_of(data: CheckInput, part: str) -> np.ndarray:
    return next(r.mask for r in data.regions if r.id == part)


def moved(data: CheckInput, shift) -> CheckInput:
    return with_vertices(data, data.framework.vertices + np.asarray(shift, float))


def turned(data: CheckInput, axis: int, degrees: float) -> CheckInput:
    """About an axis through the middle of the framework."""
    a, b = [k for k in range(3) if k != axis]
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    v = data.framework.vertices
    about = v - v.mean(axis=0)
    out = about.copy()
    out[:, a], out[:, b] = c * about[:, a] - s * about[:, b], s * about[:, a] + c * about[:, b]
    return with_vertices(data, out + v.mean(axis=0))


def scaled(data: CheckInput, factor: float) -> CheckInput:
    v = data.framework.vertices
    return with_vertices(data, (v - v.mean(axis=0)) * factor + v.mean(axis=0))


def fade(data: CheckInput, chosen: np.ndarray, over_mm: float) -> np.ndarray:
    """(n,) 1 on the chosen vertices, falling to 0 within some distance of them."""
    distance, _ = cKDTree(data.framework.vertices[chosen]).query(data.framework.vertices, distance_upper_bound=over_mm)
    return np.clip(1.0 - np.minimum(distance, over_mm) / over_mm, 0.0, 1.0)


def part_moved(data: CheckInput, part: str, shift, over_mm: float = 1.5) -> CheckInput:
    """A part bent away; what joins it follows softly."""
    weight = fade(data, mask_of(data, part), over_mm)
    return with_vertices(data, data.framework.vertices + weight[:, None] * np.asarray(shift, float))


def fitting_normal(data: CheckInput, part: str) -> np.ndarray:
    """(3,) mean direction off the cast of a part's fitting side."""
    faces = np.all(mask_of(data, part)[data.framework.faces], axis=1) & data.fitting
    mean = -(data.framework.face_normals[faces] * data.framework.face_areas[faces, None]).sum(axis=0)
    return mean / np.linalg.norm(mean)


def part_lifted(data: CheckInput, part: str, by_mm: float) -> CheckInput:
    """A part bent off the cast (or, below zero, into it)."""
    return part_moved(data, part, by_mm * fitting_normal(data, part))


def _pulled(data: CheckInput, chosen: np.ndarray, share: float) -> CheckInput:
    """Polished vertices among the chosen, and less so those beside them, drawn towards the fitting side to a share of their height."""
    on_cast = np.unique(data.framework.faces[data.fitting])
    weight = fade(data, chosen, 1.2)
    weight[on_cast] = 0.0
    polished = np.flatnonzero(weight)
    v = data.framework.vertices.copy()
    _, near = cKDTree(v[on_cast]).query(v[polished])
    foot = v[on_cast][near]
    v[polished] = foot + (1.0 - (1.0 - share) * weight[polished, None]) * (v[polished] - foot)
    return with_vertices(data, v)


def part_thinned(data: CheckInput, part: str, share: float) -> CheckInput:
    return _pulled(data, mask_of(data, part), share)


def ground_down(data: CheckInput, part: str, left_mm: float) -> CheckInput:
    """Ground from above, until so much is left over the cast along the path; the grinding wheel does not spare the neighbours."""
    v, up = data.framework.vertices.copy(), data.path
    x = np.cross(up, [1.0, 0, 0])
    plan = v @ np.column_stack([x, np.cross(up, x)])
    on_cast = np.unique(data.framework.faces[data.fitting])
    near_part = np.flatnonzero(fade(data, mask_of(data, part), 2.5))
    work = np.setdiff1d(near_part, on_cast)
    _, near = cKDTree(plan[on_cast]).query(plan[work])
    too_high = np.maximum(v[work] @ up - (v[on_cast[near]] @ up + left_mm), 0.0)
    v[work] -= too_high[:, None] * up
    return with_vertices(data, v)


def part_necked(data: CheckInput, part: str, share: float, reach_mm: float = 2.6) -> CheckInput:
    """Thinned only round the middle of the part."""
    mask, v = mask_of(data, part), data.framework.vertices
    middle = v[mask][np.linalg.norm(v[mask] - np.median(v[mask], axis=0), axis=1).argmin()]
    return _pulled(data, mask & (np.linalg.norm(v - middle, axis=1) < reach_mm), share)


def tip_mask(data: CheckInput, k: int) -> np.ndarray:
    return data.tips[k].mask(data.framework)


def tip_moved(data: CheckInput, k: int, outward_mm: float) -> CheckInput:
    """A retentive tip bent away from the tooth (or, below zero, towards it)."""
    tip = data.tips[k]
    away = np.reshape(tip.centre, (-1, 3)).mean(axis=0) - data.teeth[tip.tooth]
    away = away - (away @ data.path) * data.path
    shift = outward_mm * away / np.linalg.norm(away)
    weight = fade(data, tip_mask(data, k), 1.5)
    return with_vertices(data, data.framework.vertices + weight[:, None] * shift)


def tip_lost(data: CheckInput, k: int) -> CheckInput:
    """The tip's metal drawn back along the arm, as if it had been cut off."""
    mask, v = tip_mask(data, k), data.framework.vertices.copy()
    rest = cKDTree(v[~mask])
    ring = v[~mask][rest.query(v[mask])[1]]
    v[mask] = ring
    moved_tips = tuple(replace(t, region=None) for t in data.tips)
    return replace(with_vertices(data, v), tips=moved_tips)


def faces_near(data: CheckInput, part: str, count: int) -> np.ndarray:
    """Numbers of the `count` faces nearest to the middle of a part's metal."""
    v = data.framework.vertices[mask_of(data, part)]
    at = v[np.linalg.norm(v - np.median(v, axis=0), axis=1).argmin()]
    return np.argsort(np.linalg.norm(data.framework.triangles.mean(axis=1) - at, axis=1), kind="stable")[:count]


def holed(data: CheckInput, part: str, count: int) -> CheckInput:
    gone = faces_near(data, part, count)
    return with_faces(data, data.framework.vertices, np.delete(data.framework.faces, gone, axis=0))


def flipped(data: CheckInput, which: np.ndarray | slice) -> CheckInput:
    faces = data.framework.faces.copy()
    faces[which] = faces[which][:, ::-1]
    return with_faces(data, data.framework.vertices, faces)


def doubled(data: CheckInput, which: np.ndarray) -> CheckInput:
    return with_faces(data, data.framework.vertices, np.vstack([data.framework.faces, data.framework.faces[which]]))


_TETRA = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
_SIDES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def with_shell(data: CheckInput, at, size: float, inside_out: bool = False) -> CheckInput:
    """A stray closed shell: a speck beside the metal, or a void in it."""
    n = len(data.framework.vertices)
    sides = _SIDES[:, ::-1] if inside_out else _SIDES
    v = np.vstack([data.framework.vertices, _TETRA * size + np.asarray(at, float)])
    return with_faces(data, v, np.vstack([data.framework.faces, sides + n]))


def inside_point(data: CheckInput, part: str) -> np.ndarray:
    """A point a little below the polished side of a part."""
    face = next(f for f in faces_near(data, part, 2000) if not data.fitting[f])
    return data.framework.triangles[face].mean(axis=0) - 0.25 * data.framework.face_normals[face]


def split(data: CheckInput, axis: int) -> CheckInput:
    """Sawn in two, both halves closed: two bodies."""
    import manifold3d

    normal = np.eye(3)[axis]
    middle = data.framework.vertices.mean(axis=0) @ normal
    whole = data.framework.to_manifold()
    a, b = whole.split_by_plane(tuple(normal), float(middle) + 0.2)[0], whole.split_by_plane(tuple(normal), float(middle))[1]
    return replace(data, framework=Mesh.from_manifold(manifold3d.Manifold.compose([a, b])), regions=())


def pierced(data: CheckInput, part: str) -> CheckInput:
    """One vertex of the polished side pushed out through the other side."""
    face = next(f for f in faces_near(data, part, 2000) if not data.fitting[f])
    v = data.framework.vertices.copy()
    v[data.framework.faces[face, 0]] -= 12.0 * data.framework.face_normals[face]
    return with_vertices(data, v)


def crowded(data: CheckInput, part: str) -> CheckInput:
    """Two corners of a face at one place: a file without joints makes them one."""
    face = data.framework.faces[faces_near(data, part, 1)[0]]
    v = data.framework.vertices.copy()
    v[face[1]] = v[face[0]]
    return with_vertices(data, v)


def not_a_number(data: CheckInput) -> CheckInput:
    v = data.framework.vertices.copy()
    v[0] = np.nan
    return with_vertices(data, v)


def closing_plane(data: CheckInput, part: str, into_mm: float) -> CheckInput:
    """An opposing arch, flat for the purpose, that closes so far into the highest metal of a part."""
    points = data.framework.vertices[mask_of(data, part)]
    low = (points @ data.path).max() - into_mm
    x = np.cross(data.path, [1.0, 0, 0])
    x /= np.linalg.norm(x)
    y = np.cross(data.path, x)
    corners = np.array([[-60, -60], [60, -60], [60, 60], [-60, 60]]) @ np.array([x, y]) + low * data.path
    return replace(data, opposing=Mesh(corners, np.array([[0, 2, 1], [0, 3, 2]])))


def tilted(data: CheckInput, degrees: float, toward_deg: float) -> CheckInput:
    """The path of placement turned: the case says another one than the framework was made for."""
    x = np.cross(data.path, [1.0, 0, 0])
    x /= np.linalg.norm(x)
    side = np.cos(np.radians(toward_deg)) * x + np.sin(np.radians(toward_deg)) * np.cross(data.path, x)
    return replace(data, path=np.cos(np.radians(degrees)) * data.path + np.sin(np.radians(degrees)) * side)


def other_cast(data: CheckInput, change) -> CheckInput:
    """The framework on another cast: prepared and master cast both changed."""
    return replace(data, prepared=change(data.prepared), master=change(data.master))
