"""Guide surfaces along many directions at once: the enamel that a band parallel to the path would cost, and the gap under the contact.

A proximal surface is sampled once, square to the occlusal normal, as heights over a plane beside the gap. For a direction it is cut in
columns that run along it; in each, a blade parallel to the path is set as far out as a band of the wanted height allows. What the
furthest place of a column stands out over its blade is planed away; the mean cut of the deepest columns is the surface's price.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from ..preparation.planes import NECK_MM, SHARE_OF_BREADTH
from ..survey import RayScene
from ..teeth import Tooth

STEP_MM = 0.1
_CALM_MM = 0.12
"""Spread of the sampled surface: a blade does not follow a scan's noise."""
_COLUMNS, _DEEPEST = 7, 3  # columns across the band, and how many of the deepest make the surface's price
_LEAN = np.tan(np.radians(24.0))  # columns lean by up to the cone's angle: so far beside the surface is sampled
_OFF = -50.0  # mm: where there is no surface, far behind it
_ROOM = 0.9  # of the wall above the neck: a band takes no more
_LOWEST_MM = 1.0  # a lower band guides nothing (project default; 1.5 mm is the least taught, handbook section 1)
# A third to half of the axial height, 2 mm at the least (handbook section 1). The wall ends where it is this far behind its furthest place.
_SHARE_OF_WALL, _LEAST_MM, _RIDGE_MM = 0.5, 2.0, 1.0


@dataclass(frozen=True, eq=False)
class GuideSurface:
    """A proximal surface beside a gap.

    fdi, side : which; height_mm : of the band wanted on it; axes : (3, 3) rows across, outward, up (the occlusal normal)
    across, z : (a,), (h,) mm from the crown's centre; reach : (a, h) mm outward, far negative where there is no crown
    neck : height above which enamel may be taken; margin : height of the gingival margin; columns : (c,) mm across, where the band is cut
    """

    fdi: int
    side: str
    height_mm: float
    axes: Floats
    across: Floats
    z: Floats
    reach: Floats
    neck: float
    margin: float
    columns: Floats

    @property
    def name(self) -> str:
        """Tooth and side."""
        return f"{self.fdi} {self.side}"


def guide_surface(mesh: Mesh, tooth: Tooth, side: str, height_mm: float) -> GuideSurface:
    """Sample one proximal surface. mesh: the cast, mm, on which the tooth was found.

    Raises GeometryError when there is no surface above the margin.
    """
    crown, _ = mesh.submesh(tooth.faces)
    up = np.array([0.0, 0.0, 1.0])
    outward = tooth.direction(side)
    axes = np.stack([np.cross(outward, up), outward, up])
    local = (crown.vertices - tooth.centre) @ axes.T
    rim = (tooth.margin - tooth.centre) @ axes.T
    half = 0.5 * SHARE_OF_BREADTH * float(np.ptp(local[:, 0]))
    facing = (rim[:, 1] > 0) & (np.abs(rim[:, 0]) < half + 0.9)
    edge = rim[facing, 2] if facing.any() else rim[:, 2]
    margin, crest = float(np.median(edge)), float(local[:, 2].max())
    neck = float(edge.max()) + NECK_MM
    if crest - neck < 0.8:
        raise GeometryError(f"tooth {tooth.fdi} is only {crest - margin:.1f} mm high on its {side} side; no guide plane finds room there")
    wide = half + _LEAN * (crest - margin)
    across = np.arange(-wide, wide + STEP_MM, STEP_MM)
    z = np.arange(margin, crest + STEP_MM, STEP_MM)
    far = float(local[:, 1].max()) + 1.0
    grid = np.stack(np.meshgrid(across, z, indexing="ij"), axis=-1).reshape(-1, 2)
    start = tooth.centre + np.column_stack([grid[:, 0], np.full(len(grid), far), grid[:, 1]]) @ axes
    distance, face = RayScene(crown).first_hit(start, -outward)
    reach = np.where((face >= 0) & (far - distance > 0), far - distance, np.nan).reshape(len(across), len(z))
    columns = np.linspace(-half, half, _COLUMNS)
    height = _height(reach[np.abs(across) <= half], z, margin, neck, height_mm)
    if height < min(height_mm, _LOWEST_MM):
        raise GeometryError(f"tooth {tooth.fdi}: only {height:.1f} mm of wall on its {side} side; no guide plane finds room there")
    found = GuideSurface(tooth.fdi, side, height, axes, across, z, _calmed(reach), neck, margin, columns)
    # A column lower than the band even without tilt (at a groove of the marginal ridge) says nothing of it.
    high = np.isfinite(_cuts(found, up[None])[0][0])
    if high.sum() < _DEEPEST:
        raise GeometryError(f"tooth {tooth.fdi}: its {side} side is too low for a guide plane of {height:.1f} mm; no path is judged by it")
    return replace(found, columns=columns[high])


def _height(reach: Floats, z: Floats, margin: float, neck: float, wanted: float) -> float:
    """Height of the band, mm: as wanted, but no more than half of the wall from margin to marginal ridge (or the least that guides)."""
    above = np.where((z > neck) & np.isfinite(reach), reach, -np.inf)
    wall = np.isfinite(above) & (above >= above.max(axis=1, keepdims=True) - _RIDGE_MM)
    ridge = float(np.median(np.where(wall.any(axis=1), z[wall.shape[1] - 1 - wall[:, ::-1].argmax(axis=1)], neck)))
    return float(min(wanted, max(_SHARE_OF_WALL * (ridge - margin), _LEAST_MM), _ROOM * max(ridge - neck, 0.5)))


def _calmed(reach: Floats) -> Floats:
    """Smoothed where there is surface, far behind where there is none."""
    known = np.isfinite(reach)
    weight = gaussian_filter(known.astype(np.float64), _CALM_MM / STEP_MM, mode="nearest")
    value = gaussian_filter(np.where(known, reach, 0.0), _CALM_MM / STEP_MM, mode="nearest")
    return np.where(known, value / np.maximum(weight, 1e-9), _OFF)


def _profiles(surface: GuideSurface, directions: Floats, columns: Floats, low: float) -> tuple[Floats, Floats]:
    """Reach square to the path and height along it, (k, c, h) each, of columns (c,) that run along directions (k, 3) from `low` up."""
    da, do, du = (surface.axes @ np.asarray(directions, dtype=np.float64).T)[:, :, None, None]
    z = surface.z[surface.z >= low - 1e-9]
    middle = 0.5 * (low + surface.z[-1])
    along = (z - middle) / du
    aside = (columns[None, :, None] + along * da - surface.across[0]) / STEP_MM
    at = np.broadcast_arrays(aside, (z - surface.z[0]) / STEP_MM)
    known = surface.reach > _OFF
    whole = map_coordinates(known.astype(np.float64), at, order=1, mode="nearest") > 1.0 - 1e-9
    out = map_coordinates(np.where(known, surface.reach, 0.0), at, order=1, mode="nearest") - along * do
    return np.where(whole, out * np.sqrt(1.0 - do**2), _OFF), along + np.where(whole, out, 0.0) * do


def _settings(reach: Floats, height: Floats, wanted: float) -> Floats:
    """(r,) how far behind the furthest place of each row a blade stands that touches a stretch of the wanted height; nan where it cannot.

    reach, height : (r, h). From the furthest place the stretch grows toward whichever neighbour costs less.
    """
    rows, last = np.arange(len(reach)), reach.shape[1] - 1
    peak = reach.max(axis=1)
    low = high = reach.argmax(axis=1)
    level, extent = peak.copy(), np.zeros(len(reach))
    blade = np.full(len(reach), np.nan)
    for _ in range(last):
        below = np.where(low > 0, reach[rows, np.maximum(low - 1, 0)], _OFF)
        above = np.where(high < last, reach[rows, np.minimum(high + 1, last)], _OFF)
        down = below >= above
        lower = np.minimum(level, np.maximum(below, above))
        low, high = np.where(down, low - 1, low), np.where(down, high, high + 1)
        alive = lower > _OFF + 1.0
        rows, level, lower, extent, low, high = (x[alive] for x in (rows, level, lower, extent, low, high))
        wider = height[rows, high] - height[rows, low]
        ready = wider >= wanted
        part = np.clip((wanted - extent) / np.maximum(wider - extent, 1e-9), 0.0, 1.0)
        blade[rows[ready]] = (level + part * (lower - level))[ready]
        rows, level, extent, low, high = (x[~ready] for x in (rows, lower, wider, low, high))
        if not len(rows):
            break
    return peak - blade


def _cuts(surface: GuideSurface, directions: Floats) -> tuple[Floats, Floats]:
    """(k, c) mm each: the cut of every column, nan where it is lower than the band, and the cut that leaves nothing of its bulge."""
    reach, height = _profiles(surface, directions, surface.columns, surface.neck)
    shape = reach.shape
    reach, height = reach.reshape(-1, shape[-1]), height.reshape(-1, shape[-1])
    known = reach > _OFF + 1.0
    bulge = np.where(known, reach, -np.inf).max(axis=1) - np.where(known, reach, np.inf).min(axis=1)
    cut = _settings(reach, height, surface.height_mm)
    return cut.reshape(shape[:2]), np.where(known.any(axis=1), bulge, 0.0).reshape(shape[:2])


def removal(surface: GuideSurface, directions: Floats) -> Floats:
    """(k,) mm of enamel for a band of the surface's height parallel to each of (k, 3) unit directions: mean of the deepest columns.

    Nothing is planed within NECK_MM of the margin. Where a direction leaves a column lower than the band, its whole bulge counts.
    """
    cut, bulge = _cuts(surface, directions)
    return np.asarray(np.sort(np.where(np.isfinite(cut), cut, bulge), axis=1)[:, -_DEEPEST:].mean(axis=1))


def open_triangle(surface: GuideSurface, directions: Floats) -> Floats:
    """(k,) mm2 between rod and surface from the contact down to the margin, in the middle of the surface: what shows as a dark gap."""
    reach, height = _profiles(surface, directions, np.zeros(1), surface.margin)
    reach, height = reach[:, 0], height[:, 0]
    top = reach.argmax(axis=-1)[:, None]
    gap = np.take_along_axis(reach, top, axis=-1) - reach
    known = reach > _OFF + 1.0
    below = (np.arange(reach.shape[1] - 1) < top) & known[:, :-1] & known[:, 1:]
    return np.asarray(np.where(below, 0.5 * (gap[:, 1:] + gap[:, :-1]) * np.diff(height, axis=-1), 0.0).sum(axis=-1))
