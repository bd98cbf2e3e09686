"""A crown's top as an even map of heights, whatever the density of the scan: where tips, ridges and fossae are looked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from ..mesh import Bools, Floats, Mesh
from ..survey.scene import RayScene
from .model import Tooth

STEP_MM = 0.15
SMOOTH_MM = 0.2
FIT_MM = 0.45
"""Half-width of the window in which a summit is fitted: less than a cusp's own roundness, several edges of a fine scan."""


@dataclass(frozen=True, eq=False)
class Relief:
    """A crown seen along `up`: heights over mesial u (a,) and facial v (b,), mm from the origin; nan off the crown.

    z : (a, b) smoothed a little; raw : (a, b) as the surface is; frame : (3, 3) rows mesial, facial, up, unit and square to each other
    """

    origin: Floats
    frame: Floats
    u: Floats
    v: Floats
    z: Floats
    raw: Floats

    @property
    def known(self) -> Bools:
        """(a, b) where the crown is."""
        return np.isfinite(self.z)

    def point(self, u: float, v: float, height: float) -> Floats:
        """(3,) cast point of a place in the map."""
        return self.origin + np.array([u, v, height]) @ self.frame

    def at(self, i: int, j: int) -> Floats:
        """(3,) on the surface."""
        return self.point(float(self.u[i]), float(self.v[j]), float(self.raw[i, j]))

    def local(self, points: Floats) -> Floats:
        """(k, 3) cast points as (u, v, height)."""
        return (np.atleast_2d(points) - self.origin) @ self.frame.T

    def calmed(self, sigma_mm: float) -> Floats:
        """(a, b) heights smoothed by so much alone; nan off the crown."""
        return _smoothed(self.raw, sigma_mm)

    def summit(self, i: int, j: int, sign: float = 1.0) -> tuple[float, float, float]:
        """(u, v, height) of the top (sign 1) or bottom (-1) of the paraboloid through the heights round a cell; the cell's own where there
        is none near."""
        reach = int(round(FIT_MM / STEP_MM))
        window = (slice(max(i - reach, 0), i + reach + 1), slice(max(j - reach, 0), j + reach + 1))
        uu, vv = np.meshgrid(self.u[window[0]] - self.u[i], self.v[window[1]] - self.v[j], indexing="ij")
        height = self.raw[window]
        ok = np.isfinite(height) & (np.abs(height - self.z[i, j]) < 1.0)
        own = float(self.u[i]), float(self.v[j]), float(self.raw[i, j])
        if ok.sum() < 12:
            return own
        x, y = uu[ok], vv[ok]
        weight = np.exp(-0.5 * (x**2 + y**2) / (0.6 * FIT_MM) ** 2)
        design = np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y])
        c = np.linalg.lstsq(design * weight[:, None], height[ok] * weight, rcond=None)[0]
        bend = np.array([[2 * c[3], c[4]], [c[4], 2 * c[5]]])
        if (np.linalg.eigvalsh(-sign * bend) <= 0.05).any():
            return own
        shift = -np.linalg.solve(bend, c[1:3])
        if np.hypot(*shift) > FIT_MM:
            return own
        return own[0] + float(shift[0]), own[1] + float(shift[1]), float(c[0] + 0.5 * c[1:3] @ shift)


def tip_direction(axis: Floats) -> Floats:
    """(3,) unit, halfway between the occlusal direction and a crown's long axis: a leaning molar keeps its lower cusps."""
    up = axis + np.array([0.0, 0.0, 1.0])
    return np.asarray(up / np.linalg.norm(up))


def relief_of(crown: Mesh, origin: Floats, up: Floats, mesial: Floats, facial: Floats) -> Relief:
    """The map of a crown's surface alone, seen along the unit vector `up`."""
    u_way = mesial - (mesial @ up) * up
    u_way /= np.linalg.norm(u_way)
    v_way = np.cross(up, u_way)
    frame = np.stack([u_way, v_way if v_way @ facial > 0 else -v_way, up])
    local = (crown.vertices - origin) @ frame.T
    u, v = (np.arange(local[:, k].min() - STEP_MM, local[:, k].max() + 2 * STEP_MM, STEP_MM) for k in (0, 1))
    uu, vv = np.meshgrid(u, v, indexing="ij")
    ceiling = float(local[:, 2].max()) + 1.0
    start = origin + np.column_stack([uu.ravel(), vv.ravel(), np.full(uu.size, ceiling)]) @ frame
    distance, face = RayScene(crown).first_hit(start, -up)
    raw = np.where(face >= 0, ceiling - distance, np.nan).reshape(uu.shape)
    return Relief(origin, frame, u, v, _smoothed(raw, SMOOTH_MM), raw)


def _smoothed(raw: Floats, sigma_mm: float) -> Floats:
    """(a, b) heights smoothed over what is known of them."""
    known = np.isfinite(raw)
    weight = gaussian_filter(known.astype(float), sigma_mm / STEP_MM)
    smooth = gaussian_filter(np.where(known, raw, 0.0), sigma_mm / STEP_MM) / np.maximum(weight, 1e-6)
    return np.asarray(np.where(known, smooth, np.nan))


def relief(tooth: Tooth, mesh: Mesh, up: Floats) -> Relief:
    """The map of a marked crown, seen along the unit vector `up`."""
    return relief_of(mesh.submesh(tooth.faces)[0], tooth.centre, up, tooth.mesial, tooth.facial)


def middle_line(r: Relief, tips: Floats, sign: float = 0.0) -> float:
    """Facial coordinate v midway between facial and lingual cusps, given (c, 3) tips in the map; without two rows by the outline.

    sign : 1 for the cusps furthest mesially, -1 furthest distally, 0 for all of them
    A lingual cusp too low to have a tip of its own stands LINGUAL_MM inside the lingual outline.
    """
    covered = r.v[r.known.any(axis=0)]
    outline = 0.5 * (covered[0] + covered[-1])
    facial, lingual = tips[tips[:, 1] > outline], tips[tips[:, 1] <= outline]
    if len(facial) == 0:
        return float(outline)
    rows = [row[(sign * row[:, 0]).argmax()][None] if sign and len(row) else row for row in (facial, lingual)]
    return float(0.5 * (rows[0][:, 1].mean() + (rows[1][:, 1].mean() if len(lingual) else covered[0] + LINGUAL_MM)))


LINGUAL_MM = 1.2
"""Tips of lingual cusps stand about so far inside the widest place of the lingual wall (common practice)."""
