"""The crown chart: cylindrical coordinates about an axis through the crown, parallel to the path (design: parametric by reference)."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import median_filter

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from ..survey.scene import RayScene
from ..teeth.model import Tooth
from ..teeth.surface import Projector
from .periodic import PeriodicCurve, bridged, smoothed
from .sectors import sector_span

if TYPE_CHECKING:
    from ..survey import Survey

STEP_DEG = 2.0
STEP_MM = 0.1
LAYER_MM = 0.02
"""Layers of a crown's surface lie further apart than this."""
# Radii within this of the largest count as the widest place, whose middle is the height of contour: well below what a rod can
# tell, and wide enough that scan noise of a few micrometres does not move the line.
WIDEST_MM = 0.01


class CrownChart:
    """Chart of one crown. Angle phi in degrees: mesial 0, facial 90, distal 180, lingual 270, on both sides of the mouth.
    Height z in mm along the path, from the chart's origin (the crown's centre).

    mesh : the cast (n vertices); tooth : the crown on it; survey : gives the path, and the undercut depth.
    Raises GeometryError when the crown has no surface.
    """

    def __init__(self, mesh: Mesh, tooth: Tooth, survey: Survey) -> None:
        if len(tooth.faces) == 0:
            raise GeometryError(f"tooth {tooth.fdi} has no surface on this cast; mark it again")
        self.tooth = tooth
        self.survey = survey
        self.origin: Floats = tooth.centre
        self.up: Floats = survey.path.vector
        mesial = tooth.mesial - (tooth.mesial @ self.up) * self.up
        self.mesial: Floats = mesial / np.linalg.norm(mesial)
        facial = np.cross(self.up, self.mesial)
        self.facial: Floats = facial if facial @ tooth.facial > 0 else -facial
        self._mesh = mesh
        faces = np.concatenate([tooth.faces, tooth.collar])
        self._part, self._kept = mesh.submesh(faces)
        self._crown_faces = len(tooth.faces)
        self._scene = RayScene(self._part)
        local = self.local(self._part.vertices)
        self._reach = float(np.hypot(local[:, 0], local[:, 1]).max()) + 1.0
        crown = local[np.unique(self._part.faces[: self._crown_faces])]
        self.z_low, self.z_high = float(local[:, 2].min()), float(crown[:, 2].max())

    # coordinates

    def local(self, points: Floats) -> Floats:
        """(k, 3) cast points as (mesial, facial, along the path) from the origin."""
        return (np.asarray(points, dtype=np.float64) - self.origin) @ np.stack([self.mesial, self.facial, self.up]).T

    def locate(self, points: Floats) -> tuple[Floats, Floats]:
        """(phi in degrees, z in mm) of cast points (k, 3)."""
        p = self.local(np.atleast_2d(points))
        return np.mod(np.degrees(np.arctan2(p[:, 1], p[:, 0])), 360.0), p[:, 2]

    def coordinates(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """(phi in degrees, z in mm, radius in mm) of cast points (k, 3): exact both ways, `at` leads back."""
        p = self.local(np.atleast_2d(points))
        return np.mod(np.degrees(np.arctan2(p[:, 1], p[:, 0])), 360.0), p[:, 2], np.hypot(p[:, 0], p[:, 1])

    def outward(self, phi: Floats | float) -> Floats:
        """(k, 3) unit vectors away from the axis, perpendicular to the path."""
        a = np.radians(np.atleast_1d(np.asarray(phi, dtype=np.float64)))
        return np.cos(a)[:, None] * self.mesial + np.sin(a)[:, None] * self.facial

    def at(self, phi: Floats | float, z: Floats | float, radius: Floats | float) -> Floats:
        """(k, 3) cast points of chart coordinates with a radius in mm."""
        phi, z, radius = np.broadcast_arrays(np.atleast_1d(phi), z, radius)
        return self.origin + radius[:, None] * self.outward(phi) + z[:, None] * self.up

    # the surface

    def _hits(self, phi: Floats, z: Floats, within: Floats | None = None) -> tuple[Floats, Ints]:
        """Radius (nan where nothing) and face of the part at (k,) angles and heights: the outermost, or the outermost within (k,) radii."""
        out = self.outward(phi)
        reach = np.full(len(phi), self._reach) if within is None else within
        start = self.at(phi, z, reach)
        distance, face = self._scene.first_hit(start, -out)
        ok = (face >= 0) & (distance < reach)
        corner = self._part.triangles[face, 0]
        normal = self._part.face_normals[face]
        along = np.einsum("ij,ij->i", normal, out)
        ok &= np.abs(along) > 1e-9
        # single-precision ray only names the face; where it meets its plane is computed in double precision
        safe = np.where(ok, along, 1.0)
        exact = np.einsum("ij,ij->i", normal, corner - start) / safe + reach
        radius = np.where(ok & (np.abs(exact - (reach - distance)) < 0.05), exact, reach - distance)
        return np.where(ok, radius, np.nan), np.where(ok, face, -1)

    def radius(self, phi: Floats | float, z: Floats | float) -> Floats:
        """(k,) mm from the axis to the outermost point of the crown or its collar of tissue; nan where there is none."""
        phi, z = np.broadcast_arrays(np.atleast_1d(np.asarray(phi, dtype=np.float64)), z)
        return self._hits(phi, z)[0]

    def surface(self, phi: Floats | float, z: Floats | float, near: Floats | float | None = None) -> Floats:
        """(k, 3) points on the crown (or the collar of tissue below its margin), nan where there is none.

        near : radius in mm, where more than one layer of surface lies at an angle and height (a cusp behind a cusp, a papilla before an
        undercut): the layer at that radius, within LAYER_MM, instead of the outermost
        """
        phi, z = np.broadcast_arrays(np.atleast_1d(np.asarray(phi, dtype=np.float64)), z)
        if near is None:
            return self.at(phi, z, self._hits(phi, z)[0])
        wanted = np.broadcast_to(np.asarray(near, dtype=np.float64), phi.shape)
        found = self.at(phi, z, self._hits(phi, z, wanted + LAYER_MM)[0])
        # a ray along the surface may slip through it: then what lies nearest to the place itself
        place = self.at(phi, z, wanted)
        slipped = np.flatnonzero(~(np.linalg.norm(found - place, axis=1) < 0.05 * LAYER_MM))
        if len(slipped):
            closest, _ = Projector(self._part).closest(place[slipped])
            there = np.linalg.norm(closest - place[slipped], axis=1) < LAYER_MM
            found[slipped[there]] = closest[there]
        return found

    def normal(self, phi: Floats | float, z: Floats | float) -> Floats:
        """(k, 3) unit normals there, smooth across faces; nan where there is no surface."""
        phi, z = np.broadcast_arrays(np.atleast_1d(np.asarray(phi, dtype=np.float64)), z)
        radius, face = self._hits(phi, z)
        points = self.at(phi, z, radius)
        corners, ids = self._part.triangles[face], self._kept[self._part.faces[face]]
        weights = _barycentric(corners, points)
        n = np.einsum("ij,ijk->ik", weights, self._mesh.vertex_normals[ids])
        n /= np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-12)
        return np.where(face[:, None] >= 0, n, np.nan)

    def on_crown(self, phi: Floats | float, z: Floats | float) -> Bools:
        """(k,) whether the surface there is crown (not tissue, not nothing)."""
        phi, z = np.broadcast_arrays(np.atleast_1d(np.asarray(phi, dtype=np.float64)), z)
        face = self._hits(phi, z)[1]
        return (face >= 0) & (face < self._crown_faces)

    def depth(self, phi: Floats | float, z: Floats | float) -> Floats:
        """(k,) undercut depth in mm at the surface there, 0 where the path sees it, nan where there is no surface."""
        return self._depth_at(self.surface(phi, z))

    def _depth_at(self, points: Floats) -> Floats:
        from ..survey import depth_at

        result = np.full(len(points), np.nan)
        ok = np.isfinite(points).all(axis=1)
        if ok.any():
            result[ok] = depth_at(self.survey, points[ok])
        return result

    # curves round the crown

    @cached_property
    def angles(self) -> Floats:
        """(n,) degrees at which the curves are exact."""
        return np.arange(0.0, 360.0, STEP_DEG)

    @cached_property
    def _grid(self) -> tuple[Floats, Floats, Bools]:
        """Heights (h,), radii (n, h) and whether they are crown (n, h)."""
        z = np.arange(self.z_low + 0.02, self.z_high, STEP_MM)
        phi, zz = (g.ravel() for g in np.meshgrid(self.angles, z, indexing="ij"))
        radius, face = self._hits(phi, zz)
        shape = (len(self.angles), len(z))
        return z, radius.reshape(shape), ((face >= 0) & (face < self._crown_faces)).reshape(shape)

    @cached_property
    def _margin(self) -> PeriodicCurve:
        return PeriodicCurve(_margin_curve(self, len(self.angles)))

    def margin(self, phi: Floats | float) -> Floats:
        """(k,) height of the gingival margin; bridged where the scan shows none (contacts)."""
        return self._margin(phi)

    @cached_property
    def _contour(self) -> PeriodicCurve:
        z, radius, crown = self._grid
        lowest = self._margin.values
        values = np.array([_widest(z, radius[i], crown[i] & (z >= lowest[i])) for i in range(len(self.angles))])
        # a groove or a pit of a few degrees is no place for the line to jump to
        return PeriodicCurve(np.fmax(median_filter(bridged(values), 5, mode="wrap"), lowest))

    def contour(self, phi: Floats | float) -> Floats:
        """(k,) height of contour: where the crown is widest at that angle; the margin where it widens all the way down."""
        return np.maximum(self._contour(phi), self._margin(phi))

    @cached_property
    def _top(self) -> PeriodicCurve:
        radii = np.linspace(0.0, self._reach - 1.0, 48)[1:]
        phi, r = (g.ravel() for g in np.meshgrid(self.angles, radii, indexing="ij"))
        start = self.at(phi, self.z_high + 1.0, r)
        distance, face = self._scene.first_hit(start, -self.up)
        ok = (face >= 0) & (face < self._crown_faces)
        z = np.where(ok, self.z_high + 1.0 - distance, -np.inf).reshape(len(self.angles), len(radii)).max(axis=1)
        return PeriodicCurve(bridged(np.where(np.isfinite(z), z, np.nan)))

    def top(self, phi: Floats | float) -> Floats:
        """(k,) highest point of the crown at that angle."""
        return self._top(phi)

    @cached_property
    def _depths(self) -> tuple[Floats, Floats]:
        """(n, s) heights from the contour down to the margin, and the undercut depths there."""
        share = np.linspace(0.0, 1.0, 41)
        high, low = self._contour.values, self._margin.values
        z = high[:, None] - share * (high - low)[:, None]
        phi = np.repeat(self.angles, len(share))
        return z, self.depth(phi, z.ravel()).reshape(z.shape)

    def gauge(self, phi: Floats | float, depth_mm: float) -> Floats:
        """(k,) height nearest below the contour where the undercut reaches depth_mm; nan where it does not, above the margin."""
        key = round(float(depth_mm), 6)
        if key not in self._gauges:
            self._gauges[key] = PeriodicCurve(_first_crossing(*self._depths, depth_mm))
        return self._gauges[key](phi)

    @cached_property
    def _gauges(self) -> dict[float, PeriodicCurve]:
        return {}

    def deepest(self, sector: str) -> tuple[float, float, float]:
        """(phi, z, depth) of the deepest undercut above the margin in a sector; depth 0 where there is none."""
        z, depth = self._depths
        low, high = sector_span(sector)
        inside = ((self.angles - low) % 360.0) <= (high - low)
        masked = np.where(inside[:, None] & np.isfinite(depth), depth, -1.0)
        i, j = np.unravel_index(int(masked.argmax()), masked.shape)
        return float(self.angles[i]), float(z[i, j]), max(float(masked[i, j]), 0.0)

    def line(self, name: str) -> Floats:
        """(n, 3) the "margin", "contour" or "top" curve on the surface, at the chart's angles; nan where there is no surface."""
        z = {"margin": self._margin, "contour": self._contour, "top": self._top}[name].values
        return self.surface(self.angles, z - (1e-4 if name == "top" else 0.0))


def _barycentric(corners: Floats, points: Floats) -> Floats:
    """(k, 3) barycentric weights of points in triangles (k, 3, 3)."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    n = np.cross(b - a, c - a)
    area = np.maximum(np.einsum("ij,ij->i", n, n), 1e-30)
    wa = np.einsum("ij,ij->i", np.cross(c - b, points - b), n) / area
    wb = np.einsum("ij,ij->i", np.cross(a - c, points - c), n) / area
    return np.stack([wa, wb, 1.0 - wa - wb], axis=1)


def _widest(z: Floats, radius: Floats, usable: Bools) -> float:
    """Height of the middle of the widest place of one profile; nan without a profile."""
    at = np.flatnonzero(usable & np.isfinite(radius))
    if len(at) == 0:
        return np.nan
    r = radius[at]
    best = int(r.argmax())
    level = r[best] - WIDEST_MM
    low = best
    while low > 0 and r[low - 1] >= level and at[low - 1] == at[low] - 1:
        low -= 1
    high = best
    while high < len(r) - 1 and r[high + 1] >= level and at[high + 1] == at[high] + 1:
        high += 1
    if low == 0:
        return float(z[at[0]]) if best <= 1 else float(z[at[best]])
    if high == len(r) - 1:
        return float(z[at[best]])

    def cross(inner: int, outer: int) -> float:
        t = (r[inner] - level) / max(r[inner] - r[outer], 1e-12)
        return float(z[at[inner]] + np.clip(t, 0.0, 1.0) * (z[at[outer]] - z[at[inner]]))

    return 0.5 * (cross(low, low - 1) + cross(high, high + 1))


def _first_crossing(z: Floats, depth: Floats, level: float) -> Floats:
    """(n,) first height, going along the rows of (n, s) z, where depth rises through the level; nan where it does not."""
    below, reached = depth[:, :-1] < level, depth[:, 1:] >= level
    crossing = below & reached
    i = crossing.argmax(axis=1)
    rows = np.arange(len(z))
    d0, d1 = depth[rows, i], depth[rows, i + 1]
    t = (level - d0) / np.where(np.abs(d1 - d0) > 1e-12, d1 - d0, 1.0)
    return np.where(crossing.any(axis=1), z[rows, i] + t * (z[rows, i + 1] - z[rows, i]), np.nan)


def _margin_curve(chart: CrownChart, count: int) -> Floats:
    """(count,) heights of the margin at even angles, bridged across contacts."""
    margin = chart.tooth.margin
    own = chart.tooth.shared == 0 if len(chart.tooth.shared) == len(margin) else np.ones(len(margin), dtype=bool)
    if own.sum() < 8:
        own = np.ones(len(margin), dtype=bool)
    after = np.roll(margin, -1, axis=0)
    steps = np.linspace(0.0, 1.0, 9)[:-1]
    points = (margin[:, None] + steps[:, None] * (after - margin)[:, None]).reshape(-1, 3)
    use = np.repeat(own & np.roll(own, -1), len(steps))
    phi, z = chart.locate(points[use])
    bins = np.round(phi / (360.0 / count)).astype(int) % count
    values = np.full(count, np.inf)
    np.minimum.at(values, bins, z)
    return smoothed(bridged(np.where(np.isfinite(values), values, np.nan)), 3.0)
