"""The height of contour as smooth, ordered lines: where a marker parallel to the path, brought in from outside, would draw."""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh
from .lines import Contour, LevelLines, chains, even, level_lines, runs, steady, stiff_line
from .normals import SMOOTHING_MM
from .path import Path
from .scene import RayScene

# A marker this far outside the surface must pass freely above the line (mm). Larger than the bumps of scan noise (0.0125 to 0.02 mm
# RMS), smaller than any undercut that a clasp uses.
_MARKER_CLEAR_MM = 0.05
# A marker lead is about half a millimetre thick: shorter breaks are bridged and shorter islands dropped (common practice).
_MARKER_MM = 0.5
# Lines are given at this spacing and freed of the zigzag from face to face over this length (standard deviation along the line, mm);
# the marker's own thickness hides as much.
STEP_MM, LINE_MM = 0.15, 0.3
# Where a wall is flat or nearly parallel to the path, noise of the normals shifts the line far: there it is drawn stiffer, in proportion
# to the shift that is to be expected, from this shift on and up to this length (mm; tried on noisy spheres, ellipsoids and cylinders).
_SHIFT_MM, _STIFFEST_MM = 0.025, 1.6
# A line is dropped as the bottom of a hollow only where the turn of the surface is beyond so many standard deviations of its noise.
_SURE = 2.0
# A line that is kept must be at least this long (mm): no crown is so small.
_SHORTEST_MM = 1.5


def contour_lines(scene: RayScene, path: Path, labels: Ints | None = None) -> tuple[Contour, ...]:
    """Height of contour of a mesh for a path: zero set of normal . path, the reachable parts, split by tooth.

    labels : (n,) FDI per vertex, 0 tissue
    """
    mesh, direction = scene.mesh, path.vector
    value = scene.normals @ direction
    lines = level_lines(mesh, scene.edges, value, 0.0)
    if not len(lines.segments):
        return ()
    rising, steep = _slope(mesh, lines, value, direction)
    noise = scene.normal_noise
    # A bulge is where the normal turns downward going down; where it turns upward is the bottom of a hollow.
    keep = rising > -_SURE * noise / SMOOTHING_MM
    keep[keep] = _reachable(scene, lines, direction, np.flatnonzero(keep))
    tag = _node_labels(scene, lines, labels)
    result: list[Contour] = []
    for nodes, closed in chains(lines.segments, len(lines.points)):
        drawn = keep[nodes]
        # Breaks may be bridged and ends trimmed, but not more than half of a line made of that.
        if np.linalg.norm(np.diff(lines.points[nodes], axis=0), axis=1)[drawn[1:] & drawn[:-1]].sum() > 0.5 * _SHORTEST_MM:
            result += _split(lines.points[nodes], keep[nodes], tag[nodes], closed, noise / np.maximum(steep[nodes], 1e-9))
    return tuple(sorted(result, key=lambda c: (c.label, -c.length)))


def _slope(mesh: Mesh, lines: LevelLines, value: Floats, direction: Floats) -> tuple[Floats, Floats]:
    """Of a vertex scalar (n,) at the nodes of its level line: how fast it grows along a direction, and how fast at most, 1/mm."""
    corners = mesh.triangles[lines.faces]
    v = value[mesh.faces[lines.faces]]
    e1, e2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(e1, e2)
    # Gradient of the linear scalar on the face.
    gradient = np.cross(normal, (v[:, 2] - v[:, 0])[:, None] * e1 - (v[:, 1] - v[:, 0])[:, None] * e2)
    gradient /= np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-18)[:, None]
    spot, count = lines.segments.reshape(-1), len(lines.points)
    faces = np.maximum(np.bincount(spot, minlength=count), 1)
    rising, steep = (
        np.bincount(spot, np.repeat(each, 2), minlength=count) / faces for each in (gradient @ direction, np.linalg.norm(gradient, axis=1))
    )
    return rising, steep


def _reachable(scene: RayScene, lines: LevelLines, direction: Floats, nodes: Ints) -> Bools:
    a, b = scene.edges.vertices[lines.edge[nodes]].T
    t = lines.fraction[nodes, None]
    normal = (1.0 - t) * scene.normals[a] + t * scene.normals[b]
    outward = normal - (normal @ direction)[:, None] * direction
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-9)
    return ~scene.occluded(lines.points[nodes] + _MARKER_CLEAR_MM * outward, direction)


def _node_labels(scene: RayScene, lines: LevelLines, labels: Ints | None) -> Ints:
    if labels is None:
        return np.zeros(len(lines.points), dtype=np.int64)
    a, b = scene.edges.vertices[lines.edge].T
    return np.asarray(labels, dtype=np.int64)[np.where(lines.fraction < 0.5, a, b)]


def _split(points: Floats, keep: Bools, tag: Ints, closed: bool, shift: Floats) -> list[Contour]:
    """Cut one chain into its kept parts, each on one tooth; shift (k,) is what noise may have moved its points by, mm."""
    if len(points) < 3:
        return []
    points, near = even(points, closed, STEP_MM)
    keep, tag = keep[near], tag[near]
    points = stiff_line(points, closed, STEP_MM, np.clip(LINE_MM * shift[near] / _SHIFT_MM, LINE_MM, _STIFFEST_MM))
    drawn = steady(keep.astype(np.int64), points, closed, _MARKER_MM)
    tag = steady(tag, points, closed, _MARKER_MM)
    state = np.where(drawn == 1, tag, -1)
    parts = runs(state, closed)
    result = []
    for part in parts:
        label = int(state[part[0]])
        whole = closed and len(part) == len(points)
        if label < 0:
            continue
        if not whole:
            part = _reach_over(part, state, closed)
        line = Contour(points[part], whole, label)
        if line.length >= _SHORTEST_MM:
            result.append(line)
    return result


def _reach_over(part: Ints, state: Ints, closed: bool) -> Ints:
    """Add the next node when the line goes on there on another tooth, so that drawn lines meet."""
    onward = int(part[-1]) + 1
    if onward >= len(state):
        onward = 0 if closed else -1
    return np.r_[part, onward] if onward >= 0 and state[onward] >= 0 else part
