"""The sheet of a mesh base: even metal over the relieved ridge, pierced by round holes in staggered rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..case import LatticeBase
from ..mesh import Floats
from ..solids.curves import arc_length, resample, smooth
from ..solids.fields import Footprint, Shape, round_max
from .gaps import ridge_line
from .site import Site

DEPTH_MM = 0.5
EDGE_MM = 0.3  # edges of sheet and holes are rounded by so much: resin cracks from sharp ones (common practice)
END_MM = 0.6  # more room at the ends: the foot of a guide plate lies there
ROW = 0.866  # rows of staggered round holes stand this share of their spacing apart
CROWDED = 0.8  # holes nearer than this share of their spacing, where the ridge is bent, would leave too thin a web


@dataclass(frozen=True, eq=False)
class MeshSheet:
    """shape : of the metal; holes, axes : (k, 3) their middles on the sheet's lower side and their directions"""

    shape: Shape
    holes: Floats
    axes: Floats


def mesh_sheet(spec: LatticeBase, site: Site, stations: Floats, borders: tuple[Floats, Floats], reach: float) -> MeshSheet:
    """The sheet between two borders (k, 3) on the facial and lingual slope of the ridge, `reach` mm from its crest each."""
    flat = site.path.rotation[:2].T
    outline = np.vstack([borders[0], borders[1][::-1]])
    plan = Footprint(outline @ flat)
    thick = 0.75 * spec.cross_mm
    holes, axes = _holes(spec, site, stations, reach)
    calm, tree, radius = site.calm, cKDTree(holes) if len(holes) else None, 0.5 * spec.hole_mm

    def field(points: Floats) -> Floats:
        edge = plan(points @ flat)
        out = edge.copy()
        near = edge < 1.5
        if not near.any():
            return out
        p = points[near]
        height = calm(p) - spec.relief_mm
        sheet = np.maximum(round_max(edge[near], height - thick, EDGE_MM), -height - DEPTH_MM)
        if tree is not None:
            found = tree.query(p)[1]
            rel = p - holes[found]
            along = np.einsum("ij,ij->i", rel, axes[found])
            inside = radius - np.linalg.norm(rel - along[:, None] * axes[found], axis=1)
            # Rounded above; below, where the master cast cuts the metal off, the hole keeps its size.
            sheet = np.maximum(round_max(sheet, inside, EDGE_MM), inside)
        out[near] = sheet
        return out

    pad = np.array([1.0, 1.0, 3.0])
    shape = Shape(field, np.array([outline.min(axis=0) - pad, outline.max(axis=0) + pad]), f"{spec.id} mesh")
    return MeshSheet(shape, holes, axes)


SIDES = ("facial", "lingual")


def _holes(spec: LatticeBase, site: Site, stations: Floats, reach: float) -> tuple[Floats, Floats]:
    """Middles (k, 3) and directions (k, 3) of the holes, clear of the frame on all sides and of each other."""
    pitch = spec.hole_mm + spec.cross_mm
    frame = 0.5 * spec.strut_mm + 0.5 * spec.hole_mm
    low, high = frame - reach, reach - frame
    count = int(round(max(high - low, 0.0) / (ROW * pitch))) + 1
    rows = np.linspace(low, high, count) if count > 1 else np.array([0.5 * (low + high)])
    points, normals = [], []
    for k, off in enumerate(rows):
        line = ridge_line(site, stations, SIDES[int(off > 0)], abs(float(off)))
        line = smooth(resample(line, 0.25), 3.0)
        along = arc_length(line)
        first = frame + END_MM + (0.5 * pitch if k % 2 else 0.0)
        places = np.arange(first, along[-1] - frame - END_MM + 1e-6, pitch)
        if len(places) == 0:
            continue
        at = np.stack([np.interp(places, along, line[:, i]) for i in range(3)], axis=1)
        p, n = site.calm.project(at, height=spec.relief_mm)
        points.append(p)
        normals.append(n)
    if not points:
        return np.zeros((0, 3)), np.zeros((0, 3))
    found, ways = np.concatenate(points), np.concatenate(normals)
    kept: list[int] = []
    for i, p in enumerate(found):
        if all(np.linalg.norm(p - found[j]) > CROWDED * pitch for j in kept):
            kept.append(i)
    return found[kept], ways[kept]
