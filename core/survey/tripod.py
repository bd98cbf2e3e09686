"""Tripod marks: three marks in one plane square to the path, so that a cast can be put back on the surveyor as it stood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, cKDTree

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .lines import level_lines
from .measure import Survey
from .path import Path

# Marks keep this far (mm) from teeth, the border of a scan and whatever is to be kept clear (common practice: on tissue that stays).
_CLEAR_MM = 3.0
# Widest triangles need no finer choice of plane than this (mm), nor of place along it.
_PLANE_STEP_MM = 1.0
_PLACES = 36
# Uncertainty of placing a mark by hand, one standard deviation (mm): from memory of bench practice, half a pencil line.
_HAND_MM = 0.1


@dataclass(frozen=True, eq=False)
class Tripod:
    """Three marks on tissue in one plane square to the path.

    marks : (3, 3) mm; height_mm : of their plane along the path from the origin of the cast frame
    uncertainty_deg : what a mark placed by hand with 0.1 mm leaves open in the path
    """

    marks: Floats
    height_mm: float
    uncertainty_deg: float


def propose_tripod(result: Survey, labels: Ints | None = None, keep_clear: Floats | None = None) -> Tripod:
    """Propose three marks, as far apart as the tissue allows.

    labels : (n,) FDI a vertex, 0 tissue (default those of the survey); keep_clear : (k, 3) points to stay away from, mm
    Raises GeometryError when no plane square to the path meets enough tissue that the path can see.
    """
    labels = labels if labels is not None else result.labels
    if labels is None:
        raise GeometryError("tripod: teeth are not marked yet; mark the teeth first, so that no mark lands on one")
    mesh, path = result.mesh, result.path
    allowed = _tissue(result, np.asarray(labels), keep_clear)
    if not allowed.any():
        raise GeometryError("tripod: no free tissue to mark; free some by moving what is to be kept clear, or mark by hand")
    height = mesh.vertices @ path.vector
    good = height[np.unique(mesh.faces[allowed])]
    best, found = 0.0, None
    for level in np.arange(good.min() + 0.5 * _PLANE_STEP_MM, good.max(), _PLANE_STEP_MM):
        lines = level_lines(mesh, result.scene.edges, height, float(level), allowed)
        size, marks = _widest(lines.points, path)
        if size > best and marks is not None:
            best, found = size, (marks, float(level))
    if found is None:
        raise GeometryError("tripod: no plane square to the path meets tissue in three places; tilt less, or mark by hand")
    return Tripod(found[0], found[1], marks_uncertainty_deg(found[0], _HAND_MM))


def _tissue(result: Survey, labels: Ints, keep_clear: Floats | None) -> Bools:
    """(m,) faces of tissue that a mark can be drawn on."""
    mesh = result.mesh
    centre = mesh.triangles.mean(axis=1)
    allowed = (labels[mesh.faces] == 0).all(axis=1) & result.visible[mesh.faces].all(axis=1)
    # A mark is drawn by the side of a lead: steep enough to cut the plane sharply, and not on the trimmed base's wall.
    lean = mesh.face_normals @ result.path.vector
    allowed &= (lean > 0.1) & (lean < 0.985)
    shun = [mesh.vertices[labels > 0], mesh.vertices[np.unique(mesh.boundary_edges)]]
    if keep_clear is not None:
        shun.append(np.asarray(keep_clear, dtype=np.float64).reshape(-1, 3))
    crowd = np.vstack([points for points in shun if len(points)] or [np.zeros((0, 3))])
    if len(crowd):
        spots = np.flatnonzero(allowed)
        far = cKDTree(crowd).query(centre[spots], distance_upper_bound=_CLEAR_MM)[0] > _CLEAR_MM
        allowed[spots[~far]] = False
    return allowed


def _widest(points: Floats, path: Path) -> tuple[float, Floats | None]:
    """Of (k, 3) points in a plane square to the path, the three whose triangle has the greatest least height, and that height."""
    if len(points) < 3:
        return 0.0, None
    flat = points @ path.rotation[:2].T
    if np.linalg.matrix_rank(flat - flat.mean(axis=0), tol=0.5) < 2:
        return 0.0, None
    hull = ConvexHull(flat).vertices
    pick = hull[np.linspace(0, len(hull) - 1, min(_PLACES, len(hull))).astype(int)]
    p = flat[pick]
    i, j, k = np.array([(a, b, c) for a in range(len(p)) for b in range(a) for c in range(b)]).reshape(-1, 3).T
    u, v = p[j] - p[i], p[k] - p[i]
    area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    longest = np.max([np.linalg.norm(u, axis=1), np.linalg.norm(v, axis=1), np.linalg.norm(p[k] - p[j], axis=1)], axis=0)
    least = area / np.maximum(longest, 1e-9)
    choice = int(np.argmax(least)) if len(least) else 0
    if not len(least):
        return 0.0, None
    return float(least[choice]), points[pick[[i[choice], j[choice], k[choice]]]]


def path_from_marks(marks: Floats) -> Path:
    """The path square to the plane of three marks (3, 3); up is the side of the teeth.

    Raises GeometryError when the marks lie on one line or too close together to fix a plane.
    """
    marks = np.asarray(marks, dtype=np.float64).reshape(3, 3)
    if least_height(marks) < 5.0:
        raise GeometryError(
            f"tripod: the marks lie within {least_height(marks):.1f} mm of one line; three marks at least 5 mm off it fix a plane"
        )
    normal = np.cross(marks[1] - marks[0], marks[2] - marks[0])
    return Path.from_vector(normal if normal[2] > 0.0 else -normal)


def least_height(marks: Floats) -> float:
    """Least height of the triangle of three marks (3, 3), mm: how well they fix a plane."""
    sides = np.linalg.norm(marks - np.roll(marks, 1, axis=0), axis=1)
    area = np.linalg.norm(np.cross(marks[1] - marks[0], marks[2] - marks[0]))
    return float(area / max(sides.max(), 1e-12))


def marks_uncertainty_deg(marks: Floats, each_mm: float) -> float:
    """What an error of each mark (standard deviation, mm, along the path) leaves open in the direction of the path, degrees RMS.

    A plane through three heights tilts by the sum of error times opposite side over twice the area.
    """
    marks = np.asarray(marks, dtype=np.float64)
    squares = float(((marks - np.roll(marks, 1, axis=0)) ** 2).sum())
    twice_area = float(np.linalg.norm(np.cross(marks[1] - marks[0], marks[2] - marks[0])))
    return float(np.degrees(np.arctan2(each_mm * np.sqrt(squares), max(twice_area, 1e-9))))


def place_marks(mesh: Mesh, path: Path, picked: Floats) -> Floats:
    """Move three picked marks (3, 3) along the surface into one plane square to the path (the mean of their heights).

    Each goes to the nearest place of the surface at that height. Raises GeometryError when one would move over 3 mm.
    """
    from .topology import edge_table

    picked = np.asarray(picked, dtype=np.float64).reshape(3, 3)
    level = float((picked @ path.vector).mean())
    lines = level_lines(mesh, edge_table(mesh), mesh.vertices @ path.vector, level)
    if not len(lines.points):
        raise GeometryError("tripod: the plane of the marks does not meet the cast; pick the marks again")
    gap, index = cKDTree(lines.points).query(picked)
    if gap.max() > 3.0:
        raise GeometryError(f"tripod: mark {int(np.argmax(gap)) + 1} is {gap.max():.1f} mm from the plane of the others; pick it again")
    return lines.points[index]
