"""Takes teeth out of a complete cast, for tests: the crowns go, and a smooth ridge closes the gap.

No real scan in hand is both dense and partly toothless. What is left standing is the scan itself, face for face.
"""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np
import shapely
from claspwright.core.mesh import Mesh
from claspwright.core.teeth import Teeth, Tooth
from scipy.interpolate import RBFInterpolator

STEP_MM = 0.35
SKIN_MM = 0.25  # the cut goes this far beyond the crown's outline, so that no skin of it is left
DOME_MM = 1.0  # a healed ridge stands about so much over a plane through the margins (common practice)
DOME_REACH_MM = 2.5
SINK_MM = 0.4  # below the margins: the socket's rim goes with the crown


def without_teeth(cast: Mesh, teeth: Teeth, groups: Sequence[Sequence[int]]) -> Mesh:
    """The cast without some teeth. cast : closed, mm, Z occlusal; groups : FDI numbers, those of one gap together."""
    solid = cast.to_manifold()
    for group in groups:
        gone = [teeth[n] for n in group]
        outline = _outline(cast, teeth, gone)
        solid = solid - _above(_ridge(gone), outline, float(cast.bounds[1, 2]) + 1.0)
    return Mesh.from_manifold(max(solid.decompose(), key=lambda part: part.volume()))


def _hull(cast: Mesh, members: Sequence[Tooth]) -> manifold3d.CrossSection:
    """Convex outline of crowns seen from above."""
    faces = np.concatenate([t.faces for t in members])
    return manifold3d.CrossSection.hull_points(cast.vertices[np.unique(cast.faces[faces])][:, :2])


def _outline(cast: Mesh, teeth: Teeth, gone: Sequence[Tooth]) -> np.ndarray:
    """(k, 2) outline of what is cut away: the crowns that go, less those that stay."""
    section = _hull(cast, gone).offset(SKIN_MM, manifold3d.JoinType.Round)
    numbers = {t.fdi for t in gone}
    for other in teeth.teeth.values():
        if other.fdi not in numbers:
            section -= _hull(cast, [other])
    return np.asarray(max(section.simplify(0.02).to_polygons(), key=len), dtype=np.float64)


def _ridge(gone: Sequence[Tooth]) -> RBFInterpolator:
    """Height of the ridge over the plan: a thin plate through the facial and lingual margins, where they meet no neighbour."""
    rim = np.vstack([t.margin[(t.shared == 0) & _facing(t)] for t in gone])
    chosen = rim[np.linspace(0, len(rim) - 1, min(len(rim), 90)).astype(int)]
    return RBFInterpolator(chosen[:, :2], chosen[:, 2], kernel="thin_plate_spline", smoothing=1.0)


def _facing(tooth: Tooth) -> np.ndarray:
    """(k,) whether a point of the margin faces the cheek or the palate rather than a neighbour."""
    away = tooth.margin - tooth.centre
    return np.abs(away @ tooth.facial) > 0.8 * np.abs(away @ tooth.mesial)


def _above(ridge: RBFInterpolator, outline: np.ndarray, top: float) -> manifold3d.Manifold:
    """All that lies over the ridge within the outline, as a solid."""
    low, high = outline.min(axis=0) - 1.0, outline.max(axis=0) + 1.0
    counts = np.ceil((high - low) / STEP_MM).astype(int) + 1
    plan = np.stack(np.meshgrid(*(np.arange(n) for n in counts), indexing="ij"), axis=-1).reshape(-1, 2) * STEP_MM + low
    region, places = shapely.Polygon(outline), shapely.points(plan)
    inside = np.where(shapely.contains(region, places), shapely.distance(region.exterior, places), 0.0)
    dome = DOME_MM * (1.0 - (1.0 - np.minimum(inside / DOME_REACH_MM, 1.0)) ** 2)
    floor = np.column_stack([plan, ridge(plan) - SINK_MM + dome])
    block = _block(floor, counts, top)
    return block ^ manifold3d.CrossSection([outline], manifold3d.FillRule.NonZero).extrude(80.0).translate((0.0, 0.0, top - 60.0))


def _block(floor: np.ndarray, counts: np.ndarray, top: float) -> manifold3d.Manifold:
    """A closed block over a grid of floor points (a * b, 3) up to a level top."""
    a, b = (int(n) for n in counts)
    index = np.arange(a * b).reshape(a, b)
    p, q, r, s = index[:-1, :-1].ravel(), index[1:, :-1].ravel(), index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    under = np.vstack([np.column_stack([p, r, q]), np.column_stack([p, s, r])])
    over = under[:, ::-1] + a * b
    ring = np.r_[index[:, 0], index[-1, 1:], index[-2::-1, -1], index[0, -2:0:-1]]
    after = np.roll(ring, -1)
    sides = np.vstack([np.column_stack([ring, after, after + a * b]), np.column_stack([ring, after + a * b, ring + a * b])])
    ceiling = floor.copy()
    ceiling[:, 2] = top
    return Mesh(np.vstack([floor, ceiling]), np.vstack([under, over, sides])).to_manifold()
