"""Facial and lingual walls of a crown in profile: greatest prominence, cingulum."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d, label

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from ..survey.scene import RayScene
from .model import Tooth

UP = np.array([0.0, 0.0, 1.0])
REACH_MM = 20.0
FOOT_MM = 0.6
"""Nearer to the margin than this the fillet of gum or stone at the crown's foot is part of the profile."""
LOW_MM = 0.3
"""Where a wall stands out and falls back again above this, that is its own: a fillet only falls."""
STEP_MM = 0.1
SMOOTH_MM = 0.3
OUT_MM = 0.05
"""What stands out as far as this short of the furthest is as far out: a scanner measures a wall no better."""
LEAST_BORDER_MM = 1.0


def profile(tooth: Tooth, mesh: Mesh, side: Floats) -> tuple[Floats, Floats, Floats]:
    """Heights (k,) from margin to edge over the crown's centre, outermost points (k, 3) and how far out they are (k,) along the unit
    vector `side`, in the middle of that wall mesiodistally and over its middle millimetre; nan where the scan shows nothing."""
    crown, _ = mesh.submesh(tooth.faces)
    local = tooth.margin - tooth.centre
    middle = middle_along(tooth, crown)
    face_side = (local @ side > 0.3 * np.abs(local @ side).max()) & (np.abs(local @ tooth.mesial - middle) < 1.5)
    low = float(local[face_side, 2].mean()) if face_side.any() else float(local[:, 2].min())
    high = float((tooth.cusps[:, 2] - tooth.centre[2]).max())
    heights = np.arange(low + 0.1, high - 0.3, STEP_MM)
    scene = RayScene(crown)
    out = np.full((5, len(heights)), np.nan)
    for k, shift in enumerate((-0.5, -0.25, 0.0, 0.25, 0.5)):
        start = tooth.centre + (middle + shift) * tooth.mesial + REACH_MM * side + heights[:, None] * UP
        distance, face = scene.first_hit(start, -side)
        out[k] = np.where(face >= 0, REACH_MM - distance, np.nan)
    count = np.isfinite(out).sum(axis=0)
    bulge = np.where(count > 0, np.nansum(out, axis=0) / np.maximum(count, 1), np.nan)
    points = tooth.centre + middle * tooth.mesial + bulge[:, None] * side + heights[:, None] * UP
    return heights, points, bulge


def ends_along(tooth: Tooth, crown: Mesh) -> tuple[float, float]:
    """Mesial coordinates from the crown's centre, mm, of its distal and mesial end: where the border with a neighbour crosses its middle,
    or, beside a gap, the furthest place. The border's own ends flare into the embrasures and say nothing of the contact."""
    along = (crown.vertices - tooth.centre) @ tooth.mesial
    ends = [float(along.min()), float(along.max())]
    local = tooth.margin - tooth.centre
    for other in np.unique(tooth.shared[tooth.shared != 0]) if len(tooth.shared) == len(tooth.margin) else ():
        border = local[tooth.shared == other]
        if len(border) >= 3 and np.ptp(border @ tooth.facial) > LEAST_BORDER_MM:
            place = float(np.polyfit(border @ tooth.facial, border @ tooth.mesial, 1)[1])
            ends[int(place > 0.5 * (ends[0] + ends[1]))] = place
    return ends[0], ends[1]


def middle_along(tooth: Tooth, crown: Mesh) -> float:
    """Mesial coordinate from the crown's centre, mm, midway between its ends."""
    return 0.5 * sum(ends_along(tooth, crown))


def facial_prominence(tooth: Tooth, mesh: Mesh) -> Floats:
    """(3,) where the facial wall stands out furthest, midway mesiodistally: its height of contour seen along the occlusal direction.

    A wall that widens all the way down to the margin has it at its foot. Raises GeometryError where the wall is not in the scan.
    """
    return _crest(tooth, *profile(tooth, mesh, tooth.facial))


def _crest(tooth: Tooth, heights: Floats, points: Floats, bulge: Floats) -> Floats:
    """(3,) the middle of the stretch of a wall that stands out furthest, above its foot."""
    known = np.flatnonzero(np.isfinite(bulge))
    if len(known) < 5:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show the middle of its wall")
    height = heights[known] - heights[known[0]] + 0.1
    smooth = gaussian_filter1d(bulge[known], SMOOTH_MM / STEP_MM, mode="nearest")
    rise = np.flatnonzero((smooth[1:-1] >= smooth[:-2]) & (smooth[1:-1] > smooth[2:]) & (height[1:-1] > LOW_MM)) + 1
    best = int(rise[smooth[rise].argmax()]) if len(rise) else int(np.where(height > FOOT_MM, smooth, -np.inf).argmax())
    depth = np.maximum(smooth - smooth[best] + OUT_MM, 0.0)
    part, _ = label(depth > 0.0)
    depth = np.where(part == part[best], depth, 0.0)
    return np.asarray(points[known[int(round(depth @ np.arange(len(depth)) / depth.sum()))]])


def _lingual(tooth: Tooth, mesh: Mesh) -> tuple[Floats, Floats, Floats]:
    heights, points, bulge = profile(tooth, mesh, -tooth.facial)
    known = np.isfinite(bulge)
    if known.sum() < 20:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its lingual face; the cingulum cannot be placed")
    return heights[known], points[known], bulge[known]


def _bend(heights: Floats, bulge: Floats, arm: float) -> Floats:
    """(k,) how far a profile stands out over the chord between the places one arm above and below, mm."""
    return bulge - 0.5 * (np.interp(heights - arm, heights, bulge) + np.interp(heights + arm, heights, bulge))


def cingulum(tooth: Tooth, mesh: Mesh) -> Floats:
    """(3,) where a rest lies on the cingulum, in the middle of the lingual face: where that bends most between lower and middle third.

    Raises GeometryError where the lingual face is not in the scan.
    """
    h, p, b = _lingual(tooth, mesh)
    share = (h - h[0]) / (h[-1] - h[0])
    bend = _bend(h, b, 0.18 * (h[-1] - h[0]))
    # a smooth face has no marked shoulder: then the junction of gingival and middle third, where the ledge is cut (common practice)
    score = np.where((share >= 0.18) & (share <= 0.5), bend - 0.05 * ((share - 1.0 / 3.0) / 0.12) ** 2, -np.inf)
    return np.asarray(p[int(score.argmax())])


def cingulum_crest(tooth: Tooth, mesh: Mesh) -> Floats:
    """(3,) the crest of the cingulum: the height of contour of a front tooth's lingual face, in its middle.

    Raises GeometryError where the lingual face is not in the scan.
    """
    return _crest(tooth, *profile(tooth, mesh, -tooth.facial))
