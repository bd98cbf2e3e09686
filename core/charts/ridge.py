"""The crest of the ridge in gaps and behind the last tooth, found by rays straight down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..mesh import Bools, Floats
from ..survey.scene import RayScene

HALF_MM = 6.0
STEP_MM = 0.3
PLATEAU_MM = 0.4
"""Tissue within this height of the highest counts as the crest, whose middle is taken: ridges are often flat."""


@dataclass(frozen=True, eq=False)
class Ground:
    """The cast as heights along the path.

    scene : rays; up : (3,) path; crown : (m,) True on faces of teeth; ceiling : height (along up) above everything
    """

    scene: RayScene
    up: Floats
    crown: Bools
    ceiling: float

    def drop(self, points: Floats, tissue_only: bool = True) -> Floats:
        """(k, 3) where points, moved up to the ceiling, land; nan on nothing (or on a crown)."""
        points = np.atleast_2d(points)
        start = points + (self.ceiling - points @ self.up)[:, None] * self.up
        distance, face = self.scene.first_hit(start, -self.up)
        ok = face >= 0
        if tissue_only:
            ok &= ~self.crown[face]
        return np.where(ok[:, None], start - np.where(ok, distance, 0.0)[:, None] * self.up, np.nan)

    def crest_offset(self, point: Floats, across: Floats, half_mm: float = HALF_MM) -> tuple[float, float]:
        """(offset along the unit vector across, height along up) of the crest near a point; nan when there is no tissue."""
        offsets = np.arange(-half_mm, half_mm + 1e-9, STEP_MM)
        height = self.drop(point + offsets[:, None] * across) @ self.up
        known = np.isfinite(height)
        if known.sum() < 0.4 * len(offsets) or not known[np.abs(offsets) <= 2.0].any():
            return np.nan, np.nan
        filled = np.where(known, height, np.nanmin(height))
        smooth = gaussian_filter1d(filled, 0.7 / STEP_MM, mode="nearest")
        # of two crests the nearer one: half a millimetre lost at three millimetres' distance
        score = np.where(known, smooth - 0.05 * offsets**2, -np.inf)
        best = int(score.argmax())
        low = high = best
        while low > 0 and known[low - 1] and smooth[low - 1] >= smooth[best] - PLATEAU_MM:
            low -= 1
        while high < len(offsets) - 1 and known[high + 1] and smooth[high + 1] >= smooth[best] - PLATEAU_MM:
            high += 1
        return float(0.5 * (offsets[low] + offsets[high])), float(smooth[best])


def march(ground: Ground, start: Floats, direction: Floats, longest_mm: float, step_mm: float = 2.0) -> Floats:
    """(k, 3) crest points from a start on along the ridge, until the scan or the ridge ends.

    direction : (3,) horizontal unit vector to set out in
    """
    up = ground.up
    found: list[Floats] = []
    here, height = np.asarray(start, dtype=np.float64), np.nan
    for _ in range(int(longest_mm / step_mm)):
        ahead = here + step_mm * direction
        across = np.cross(up, direction)
        offset, top = ground.crest_offset(ahead, across, 4.5)
        if not np.isfinite(offset) or (np.isfinite(height) and top < height - 3.0 * step_mm):
            break
        new = ahead + np.clip(offset, -1.5, 1.5) * across
        new = new + (top - new @ up) * up
        step = new - here - ((new - here) @ up) * up
        turned = direction + 0.35 * step / max(float(np.linalg.norm(step)), 1e-9)
        direction = turned / np.linalg.norm(turned)
        here, height = new, top
        found.append(new)
    return np.array(found).reshape(-1, 3)
