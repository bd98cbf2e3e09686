"""Block-out: everything that lies below a cast along the path, with walls exactly parallel to it.

The shadow of a solid is the solid itself together with all that its downward faces cover on their way to the floor. Sweeping
those faces keeps every wall on the cast's own edges, so nothing is resampled. Tapered walls are built in layers (taper.py).
"""

from __future__ import annotations

import manifold3d
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh, pieces_of
from ..survey.path import Path
from .sheets import sheets, swept_down
from .taper import tapered_layers

_LIFT_MM = 1e-4
"""Swept faces start this far inside the cast: two bodies that only touch are what a boolean does worst."""
_BEHIND_MM = 5e-4
_HORIZONTAL_MM = 1e-6
_STEEPEST = -1e-6
"""Faces within a millionth of parallel cast no shadow worth a solid."""
SKIN_MM = 0.004
"""A patch of faces that look down by less than this on the mean is noise on an upright wall: under scan noise (0.005 mm and more,
methods 1d) and a fifth of what a rigid part may catch. Swept one by one, the patches of a whole wall would be a million bodies."""
MANY = 1500
"""Patches up to so many are all swept, however thin: a clean cast has some hundreds, one with noise on upright walls thousands."""
DUST_MM3 = 1e-6


def block_out(
    solid: Mesh, path: Path, *, step_mm: float = 0.1, taper_deg: float = 0.0, floor_mm: float | None = None, onto: Mesh | None = None,
    into_mm: float = _LIFT_MM,
) -> Mesh:  # fmt: skip
    """The cast united with its shadow along the path, in the cast frame.

    solid : closed mesh, mm
    step_mm : layer height of tapered walls; parallel walls are exact and have no layers
    taper_deg : how much the walls flare downward from the path; 0 is parallel
    floor_mm : height along the path (mm, dot product with its vector) of a floor across it; default the cast's own base
        plane, the lowest horizontal plane of the cast frame
    onto, into_mm : the same cast in all its triangles where `solid` was reduced for work: the shadow of `solid` is put on it instead, and
        reaches into it by more than the two lie apart, mm, so that no slit is left between them

    Raises GeometryError for an open mesh, a path that is not upward or numbers out of range. Check values: a sphere on a floor
    takes pi R^3 / 3 of block-out, an inverted frustum the rest of its cylinder (closed forms).
    """
    _accept(path, step_mm, taper_deg)
    cast = solid.to_manifold()
    shadow = _shadow(solid, cast, path, floor_mm, taper_deg, step_mm, into_mm)
    body = solid if onto is None else onto
    if shadow is None:
        return body
    whole = _without_dust((body.to_manifold() + shadow).simplify(2.0 * _LIFT_MM))
    return Mesh.from_manifold(whole)


def _shadow(
    solid: Mesh, cast: manifold3d.Manifold, path: Path, floor_mm: float | None, taper_deg: float, step_mm: float, into_mm: float
) -> manifold3d.Manifold | None:
    """The bodies below the cast's downward faces, united, in the cast frame. All work is done with the path upright: seen so,
    walls have thin bounding boxes, which is what makes the boolean quick."""
    turned = cast.transform(np.hstack([path.rotation, np.zeros((3, 1))]))
    base = float(solid.vertices[:, 2].min())
    upright = path.tilt_deg < 1e-9
    if floor_mm is not None:
        low = float(floor_mm)
        turned = turned.trim_by_plane((0.0, 0.0, 1.0), low)
    else:
        low = base if upright else _under_base(solid, path, base)
    if turned.is_empty():
        raise GeometryError(f"the block-out floor at {low:.2f} mm lies above the whole cast; choose a lower one")
    parts = _swept(Mesh.from_manifold(turned), low, into_mm)
    if taper_deg > 0.0:
        parts += tapered_layers(turned, low, taper_deg, step_mm)
    if not parts:
        return None
    shadow = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)
    shadow = shadow.transform(np.hstack([path.rotation.T, np.zeros((3, 1))]))
    if floor_mm is None and not upright:
        shadow = shadow.trim_by_plane((0.0, 0.0, 1.0), base)
    return shadow


def _under_base(solid: Mesh, path: Path, base: float) -> float:
    """A height along the path below the base plane wherever a shadow of this cast can meet it."""
    drop = (solid.vertices[:, 2] - base) / path.vector[2]
    return float((solid.vertices @ path.vector - drop).min()) - 1.0


def undercut_volume(solid: Mesh, blocked: Mesh) -> float:
    """mm3 of wax that the block-out took: what lies below the cast along the path."""
    return max(blocked.volume - solid.volume, 0.0)


def _accept(path: Path, step_mm: float, taper_deg: float) -> None:
    if path.vector[2] < 0.5:
        raise GeometryError(f"path of placement tilted {path.tilt_deg:.0f} degrees; block-out needs 60 or less")
    if not 0.0 <= taper_deg <= 15.0:
        raise GeometryError(f"block-out taper of {taper_deg:g} degrees is out of range; use 0 to 15")
    if not 0.01 <= step_mm <= 2.0:
        raise GeometryError(f"block-out step of {step_mm:g} mm is out of range; use 0.01 to 2")


def _swept(mesh: Mesh, low: float, into_mm: float) -> list[manifold3d.Manifold]:
    """The bodies below all downward faces above the floor z = low; the path is +z."""
    above = mesh.triangles[:, :, 2].max(axis=1) > low + _HORIZONTAL_MM
    down = (mesh.face_normals[:, 2] < _STEEPEST) & above
    down &= ~_skin(mesh, down)
    if not down.any():
        return []
    faces, places = mesh.faces[down], _into_walls(mesh, down)
    top = places + np.array([0.0, 0.0, into_mm])
    bottom = places.copy()
    bottom[:, 2] = low
    return [swept_down(faces[chosen], top, bottom).to_manifold() for chosen in sheets(faces, places)]


def _skin(mesh: Mesh, down: Bools) -> Bools:
    """(m,) faces that look down in patches which stand out by less than SKIN_MM on the mean, seen along +z; none where patches are few.

    A patch hangs together over its edges. What it stands out by is the area it covers in plan, over its length in plan.
    """
    first, second, face, beyond = _joints(mesh)
    linked = down[face] & down[beyond]
    rows = np.flatnonzero(down)
    number = np.full(len(mesh.faces), -1, dtype=np.int64)
    number[rows] = np.arange(len(rows))
    pairs = number[face[linked]], number[beyond[linked]]
    link = coo_matrix((np.ones(len(pairs[0]), dtype=bool), pairs), shape=(len(rows), len(rows)))
    count, patch = connected_components(link, directed=False)
    skin = np.zeros(len(mesh.faces), dtype=np.bool_)
    if count <= MANY:
        return skin
    covered = np.bincount(patch, mesh.face_areas[rows] * -mesh.face_normals[rows, 2], minlength=count)
    plan = mesh.triangles[rows][:, :, :2]
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, patch, plan.min(axis=1))
    np.maximum.at(high, patch, plan.max(axis=1))
    length = np.linalg.norm(high - low, axis=1)
    skin[rows] = (covered < SKIN_MM * length)[patch]
    return skin


def _into_walls(mesh: Mesh, down: Bools) -> Floats:
    """(n, 3) vertices, those at the head of an upright wall of the cast moved half a micrometre behind it.

    down : (m,) faces that are swept. Such a wall (of a base, of a guide plane) and the wall of the swept sheet in front of it would lie
    in one plane, face to face, and a boolean leaves a slit without width between them.
    """
    first, second, face, beyond = _joints(mesh)
    wall = np.abs(mesh.face_normals[:, 2]) <= -_STEEPEST
    at = down[face] & wall[beyond]
    first, second, face, behind = first[at], second[at], face[at], -mesh.face_normals[beyond[at]]
    middle = mesh.triangles[face].mean(axis=1) - mesh.vertices[first]
    front = np.einsum("ij,ij->i", middle, behind) < 0.0  # the sheet lies before the wall, not under it
    move = np.zeros_like(mesh.vertices)
    for end in (first[front], second[front]):
        np.add.at(move, end, behind[front] * (1.0, 1.0, 0.0))
    size = np.linalg.norm(move, axis=1, keepdims=True)
    return np.asarray(mesh.vertices + _BEHIND_MM * move / np.maximum(size, 1e-9))


def _joints(mesh: Mesh) -> tuple[Ints, Ints, Ints, Ints]:
    """For each half edge of a closed mesh: its two vertices, its face and the face beyond it."""
    half = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    n = len(mesh.vertices)
    forward, backward = half[:, 0] * n + half[:, 1], half[:, 1] * n + half[:, 0]
    order = np.argsort(forward)
    beyond = order[np.searchsorted(forward, backward, sorter=order)] // 3
    return half[:, 0], half[:, 1], np.arange(len(half)) // 3, beyond


def _without_dust(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """Drop enclosed voids and grains: a shadow has none (what is below something is filled), rounding leaves a few."""
    parts = [p for p in pieces_of(solid) if p.volume() > DUST_MM3]
    if not parts:
        raise GeometryError("the block-out came out empty; check the cast for faces turned inside out")
    return parts[0] if len(parts) == 1 else manifold3d.Manifold.compose(parts)
