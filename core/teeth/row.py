"""The row of crowns along the arch: a smooth line through their tops, and what stands at each station of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d
from scipy.spatial import cKDTree

from ..errors import CastError
from ..mesh import Bools, Floats, Ints
from .coarse import CoarseGraph

STEP_MM = 0.5
REACH_MM = 6.5
"""Whatever stands further below the highest parts of the cast is no crown: room for a deep curve of Spee and a worn crown (from memory)."""
SLOPE = 0.05
"""Spread of the occlusal plane's slope in the cast frame, which intake has levelled; measured on the labelled scans (0.00 to 0.04)."""
HALF_ROW_MM = 3.0
RIDGE_MM = -3.9
"""Below the occlusal surface: what lies lower is ridge, what rises 0.8 mm higher is surely crown. On the labelled scans and made-up casts
98 of 100 stations of crowns rise above -3.3, and as many of a healed ridge stay below."""


@dataclass(frozen=True, eq=False)
class Row:
    """The row of crowns along the arch: station s (b,) mm from the middle of the front; at each
    top : (b,) height of the row over the occlusal plane, mm
    crown : (b,) 0..1, how sure it is that a crown stands there
    hollow : (b,) depth of the grooves of its flanks, 1 on average
    station, offset (k,) of the graph's patches (offset outward), high (k,) those near the row's top."""

    s: Floats
    top: Floats
    crown: Floats
    hollow: Floats
    station: Floats
    offset: Floats
    high: Bools
    line: Floats


def occlusal_heights(graph: CoarseGraph) -> Floats:
    """(k,) height of each patch over the nearly level plane that the highest parts of the cast touch."""
    p = graph.points
    cell = np.floor(p[:, :2] / 4.0).astype(np.int64)
    _, group = np.unique(cell[:, 0] * 10_000 + cell[:, 1], return_inverse=True)
    order = np.lexsort((-p[:, 2], group.reshape(-1)))
    first = order[np.r_[True, np.diff(group.reshape(-1)[order]) != 0]]
    tops = p[first]
    tops = tops[tops[:, 2] > np.percentile(p[:, 2], 99.5) - 10.0]
    middle = np.r_[tops[:, :2].mean(axis=0), 0.0]
    design = np.column_stack([tops[:, :2] - middle[:2], np.ones(len(tops))])
    weight = np.exp((tops[:, 2] - tops[:, 2].max()) / 2.0)
    damp = np.array([[1.0 / SLOPE, 0.0, 0.0], [0.0, 1.0 / SLOPE, 0.0]])
    fit = np.zeros(3)
    for _ in range(12):
        fit = np.linalg.lstsq(np.vstack([design * weight[:, None], damp]), np.r_[tops[:, 2] * weight, 0.0, 0.0], rcond=None)[0]
        off = tops[:, 2] - design @ fit
        # tips of teeth lie on or over the plane; everything well below it is something else
        weight = np.where(off > 0, 1.0, np.exp(-((off / 1.5) ** 2)))
    return np.asarray(p[:, 2] - np.column_stack([p[:, :2] - middle[:2], np.ones(len(p))]) @ fit)


def _arch_line(graph: CoarseGraph, height: Floats) -> Floats:
    """(j, 2) line along the tops of the row, seen from above, from -X to +X; a polynomial in polar coordinates, robustly fitted."""
    p = graph.points
    high = (height > -REACH_MM) & (graph.normals[:, 2] > 0.3)
    if high.sum() < 30:
        raise CastError("no row of crowns is found; check that Z points occlusally, or click on the teeth")
    middle = np.array([0.5 * np.sum(np.percentile(p[high, 0], [2, 98])), np.percentile(p[high, 1], 30)])
    flat = p[:, :2] - middle
    angle, radius = np.arctan2(flat[:, 0], flat[:, 1]), np.hypot(*flat.T)
    reach = float(np.percentile(np.abs(angle[high]), 99)) + 0.1
    keep, basis = high.copy(), np.vander(angle / reach, 7)
    rise = np.exp(height / 2.0)
    coefficients = np.zeros(7)
    for _ in range(8):
        # even steps of angle count alike, however many patches a molar has
        place = np.clip(((angle + reach) / (2 * reach) * 40).astype(int), 0, 39)
        count = np.bincount(place[keep], rise[keep], 40)
        share = np.sqrt(rise[keep] / np.maximum(count[place[keep]], 0.3))
        damp = 0.05 * np.eye(7)[:5]
        system = np.vstack([basis[keep] * share[:, None], damp])
        coefficients = np.linalg.lstsq(system, np.r_[radius[keep] * share, np.zeros(5)], rcond=None)[0]
        keep = high & (np.abs(radius - basis @ coefficients) < 6.0)
    t = np.linspace(-reach, reach, 1200)
    r = np.vander(t / reach, 7) @ coefficients
    return middle + np.column_stack([r * np.sin(t), r * np.cos(t)])


def _level(s: Floats, top: Floats) -> Floats:
    """(b,) height of the occlusal surface along the row: a gentle curve (of Spee) that the tops (b,) touch from below."""
    u = s / 60.0
    design = np.column_stack([np.ones_like(u), u, u**2, u**3, u**4])
    # behind the premolars the surface comes back to the plane, so that a row without molars does not sink to its ridge
    ends = np.array([-1.0, -0.83, 0.83, 1.0])
    damp = 3.0 * np.column_stack([np.ones(4), ends, ends**2, ends**3, ends**4])
    ceiling = maximum_filter1d(top, int(4 / STEP_MM))
    weight = np.exp(np.minimum(ceiling, 0.0) / 4.0)
    fit = np.zeros(5)
    for _ in range(15):
        fit = np.linalg.lstsq(np.vstack([design * weight[:, None], damp]), np.r_[ceiling * weight, np.zeros(4)], rcond=None)[0]
        off = ceiling - design @ fit
        weight = np.where(off > 0, 1.0, np.exp(-((off / 2.5) ** 2)))
    return np.asarray(design @ fit)


def _binned(bins: Ints, chosen: Bools, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(bins[chosen], values[chosen], count), dtype=np.float64)


@lru_cache(maxsize=2)
def row_of(graph: CoarseGraph) -> Row:
    """The row of a cast whose Z points occlusally. Raises CastError when nothing stands up."""
    height = occlusal_heights(graph)
    line = _arch_line(graph, height)
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    along -= along[int(line[:, 1].argmax())]
    distance, nearest = cKDTree(line).query(graph.points[:, :2])
    tangent = np.gradient(line, axis=0)
    left = np.column_stack([-tangent[:, 1], tangent[:, 0]])[nearest]
    sign = np.sign(np.einsum("ij,ij->i", graph.points[:, :2] - line[nearest], left))
    station, offset = along[nearest], distance * sign
    s = np.arange(along[0], along[-1], STEP_MM)
    bins = np.clip(((station - s[0]) / STEP_MM).astype(int), 0, len(s) - 1)
    count = len(s)

    near = (np.abs(offset) < HALF_ROW_MM) & (height > -12.0)
    top = np.full(count, -12.0)
    np.maximum.at(top, bins[near], height[near])
    level = _level(s, top)
    below = level[bins] - height
    high = (below < 3.0) & (np.abs(offset) < 6.0) & (graph.normals[:, 2] > 0.2)
    crown = np.clip((gaussian_filter1d(top - level, 0.5 / STEP_MM) - RIDGE_MM) / 0.8, 0.0, 1.0)
    flank = (below < 7.0) & (np.abs(offset) > 1.8) & (np.abs(offset) < 6.0)
    groove = np.clip(graph.hollow, 0.0, 0.8) * graph.areas
    total = gaussian_filter1d(_binned(bins, flank, groove, count), 0.6 / STEP_MM)
    area = gaussian_filter1d(_binned(bins, flank, graph.areas, count), 0.6 / STEP_MM)
    hollow = total / np.maximum(area, 0.3)
    # the row is narrowest at the contacts, and its tops are lowest there
    dip = np.clip(gaussian_filter1d(uniform_filter1d(top, int(8 / STEP_MM)) - top, 0.5 / STEP_MM), 0.0, 2.0)
    score = hollow / max(float(hollow.mean()), 1e-6) + 0.5 * dip
    return Row(s, level, crown, score, station, offset, high, line)
