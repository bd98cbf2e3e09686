"""Shapes as signed fields (negative inside, mm) and how they are joined: rounded where metal is, sharp where asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

from ..errors import GeometryError
from ..isosurface import isosurface_samples, sample_sparsely
from ..mesh import Floats, Mesh

FAR = 50.0


@dataclass(frozen=True)
class Shape:
    """A solid given by a field. `field`: (k, 3) mm -> (k,) mm, about a distance near the surface; bounds: (2, 3) mm around it."""

    field: Callable[[Floats], Floats]
    bounds: Floats
    name: str = ""


def smooth_min(a: Floats, b: Floats, radius: float) -> Floats:
    """Union with a fillet: polynomial smooth minimum; adds at most radius / 4 where the two meet (methods, section 2)."""
    if radius <= 0:
        return np.minimum(a, b)
    h = np.maximum(radius - np.abs(a - b), 0.0) / radius
    return np.minimum(a, b) - h * h * radius / 4


def smooth_max(a: Floats, b: Floats, radius: float) -> Floats:
    """Intersection with a rounded edge."""
    return -smooth_min(-a, -b, radius)


def round_max(a: Floats, b: Floats, radius: float) -> Floats:
    """Intersection whose edge is a quarter round of `radius`: exact for faces at right angles."""
    if radius <= 0:
        return np.maximum(a, b)
    inner = np.minimum(np.maximum(a, b), -radius)
    return inner + np.hypot(np.maximum(a + radius, 0.0), np.maximum(b + radius, 0.0))


def polygon_distance(points: Floats, polygon: Floats) -> Floats:
    """Signed distance in the plane, negative inside. points: (k, 2); polygon: (n, 2), closed by itself, mm."""
    polygon = np.asarray(polygon, dtype=np.float64)
    out = np.empty(len(points))
    a, b = polygon, np.roll(polygon, -1, axis=0)
    edge = b - a
    squared = np.maximum((edge**2).sum(axis=1), 1e-18)
    for start in range(0, len(points), 20000):
        p = points[start : start + 20000]
        rel = p[:, None] - a[None]
        t = np.clip((rel * edge[None]).sum(axis=2) / squared, 0.0, 1.0)
        d = np.sqrt(((rel - t[..., None] * edge[None]) ** 2).sum(axis=2).min(axis=1))
        above = (a[None, :, 1] > p[:, None, 1]) != (b[None, :, 1] > p[:, None, 1])
        slope = np.where(edge[:, 1] == 0, 1e-18, edge[:, 1])
        x = a[:, 0] + (p[:, None, 1] - a[None, :, 1]) / slope * edge[:, 0]
        inside = (above & (p[:, None, 0] < x)).sum(axis=1) % 2 == 1
        out[start : start + 20000] = np.where(inside, -d, d)
    return out


class Footprint:
    """Signed distance in the plane to polygons, looked up from a fine grid: quick for millions of points.

    outline, hole : (n, 2) mm; the region is inside the outline and outside the hole. Within 0.01 mm of exact near the border.
    """

    STEP_MM = 0.12

    def __init__(self, outline: Floats, hole: Floats | None = None, margin_mm: float = 6.0) -> None:
        self.low = outline.min(axis=0) - margin_mm
        counts = np.ceil((outline.max(axis=0) + margin_mm - self.low) / self.STEP_MM).astype(int) + 1
        grid = np.stack(np.meshgrid(*(np.arange(n) for n in counts), indexing="ij"), axis=-1).reshape(-1, 2) * self.STEP_MM + self.low
        values = polygon_distance(grid, outline)
        if hole is not None:
            values = np.maximum(values, -polygon_distance(grid, hole))
        self.values = values.reshape(tuple(counts))

    def __call__(self, points: Floats) -> Floats:
        """(k, 2) mm -> (k,) mm, negative inside; beyond the grid its border value, which is well outside."""
        return np.asarray(map_coordinates(self.values, ((points - self.low) / self.STEP_MM).T, order=1, mode="nearest"))


class Blend:
    """Shapes joined into one, with fillets where they meet."""

    def __init__(self, shapes: Sequence[Shape], fillet: float) -> None:
        if not shapes:
            raise GeometryError("there is no shape to join")
        self.shapes, self.fillet = tuple(shapes), fillet

    def field(self, points: Floats) -> Floats:
        """(k, 3) mm -> (k,) mm; each shape counts within its own bounds only."""
        out = np.full(len(points), FAR)
        for shape in self.shapes:
            near = np.all((points >= shape.bounds[0] - self.fillet) & (points <= shape.bounds[1] + self.fillet), axis=1)
            if near.any():
                out[near] = smooth_min(out[near], shape.field(points[near]), self.fillet)
        return out

    def mesh(self, spacing: float) -> Mesh:
        """The surface of the whole. spacing: mm, edge of the sampling lattice."""
        margin = 3.0 * spacing + self.fillet
        low = np.min([s.bounds[0] for s in self.shapes], axis=0) - margin
        high = np.max([s.bounds[1] for s in self.shapes], axis=0) + margin
        dims = np.ceil((high - low) / spacing).astype(int) + 1
        corner = np.full(tuple(dims), FAR, dtype=np.float32)
        centre = np.full(tuple(dims - 1), FAR, dtype=np.float32)
        for shape in self.shapes:
            first = np.maximum(np.floor((shape.bounds[0] - margin - low) / spacing).astype(int), 0)
            last = np.minimum(np.ceil((shape.bounds[1] + margin - low) / spacing).astype(int) + 1, dims)
            some, mid = sample_sparsely(shape.field, low + first * spacing, last - first, spacing, 1.3)
            for grid, part in ((corner, some), (centre, mid)):
                window = tuple(slice(f, f + n) for f, n in zip(first, part.shape, strict=True))
                grid[window] = smooth_min(grid[window], part, self.fillet)
        return isosurface_samples(corner, centre, low, spacing, self.field)
