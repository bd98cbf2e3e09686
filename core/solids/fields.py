"""Shapes as signed fields (negative inside, mm) and how they are joined: rounded where metal is, sharp where asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from ..errors import GeometryError
from ..isosurface import isosurface_samples, sample_sparsely
from ..mesh import Floats, Ints, Mesh
from ..parallel import side_by_side
from .curves import resample

FAR = 50.0
PART = 50_000


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


class Footprint:
    """Signed distance in the plane to polygons, looked up from a fine grid: quick for millions of points.

    outline, hole : (n, 2) mm; the region is inside the outline and outside the hole. Within 0.01 mm of exact near the border.
    """

    STEP_MM = 0.12

    def __init__(self, outline: Floats, hole: Floats | None = None, margin_mm: float = 6.0) -> None:
        self.low = outline.min(axis=0) - margin_mm
        counts = np.ceil((outline.max(axis=0) + margin_mm - self.low) / self.STEP_MM).astype(int) + 1
        x, y = (self.low[k] + np.arange(counts[k]) * self.STEP_MM for k in (0, 1))
        self.values = _polygon_grid(outline, x, y)
        if hole is not None:
            self.values = np.maximum(self.values, -_polygon_grid(hole, x, y))

    def __call__(self, points: Floats) -> Floats:
        """(k, 2) mm -> (k,) mm, negative inside; beyond the grid its border value, which is well outside."""
        return np.asarray(map_coordinates(self.values, ((points - self.low) / self.STEP_MM).T, order=1, mode="nearest"))


def _polygon_grid(polygon: Floats, x: Floats, y: Floats) -> Floats:
    """(len(x), len(y)) signed distance to a polygon (n, 2), closed by itself, negative inside, mm."""
    fine = resample(np.vstack([polygon, polygon[:1]]), 0.2)[:-1]
    nodes = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    _, near = cKDTree(fine).query(nodes, workers=-1)
    distance = np.full(len(nodes), np.inf)
    for side in (-1, 1):
        begin, edge = fine[near], fine[(near + side) % len(fine)] - fine[near]
        along = np.clip(np.einsum("ij,ij->i", nodes - begin, edge) / np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-18), 0.0, 1.0)
        distance = np.minimum(distance, np.linalg.norm(nodes - begin - along[:, None] * edge, axis=1))
    a, b = fine, np.roll(fine, -1, axis=0)
    inside = np.empty((len(x), len(y)), dtype=bool)
    for k, at in enumerate(x):
        over = np.flatnonzero((a[:, 0] > at) != (b[:, 0] > at))
        crossing = a[over, 1] + (at - a[over, 0]) / (b[over, 0] - a[over, 0]) * (b[over, 1] - a[over, 1])
        inside[k] = np.searchsorted(np.sort(crossing), y) % 2 == 1
    return np.where(inside, -1.0, 1.0) * distance.reshape(inside.shape)


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

    def _field_in_parts(self, points: Floats) -> Floats:
        parts = np.array_split(points, max(len(points) // PART, 1))
        return np.concatenate(list(side_by_side(self.field, parts)))

    def mesh(self, spacing: float) -> Mesh:
        """The surface of the whole. spacing: mm, edge of the sampling lattice."""
        margin = 3.0 * spacing + self.fillet
        low = np.min([s.bounds[0] for s in self.shapes], axis=0) - margin
        high = np.max([s.bounds[1] for s in self.shapes], axis=0) + margin
        dims = np.ceil((high - low) / spacing).astype(int) + 1
        corner = np.full(tuple(dims), FAR, dtype=np.float32)
        centre = np.full(tuple(dims - 1), FAR, dtype=np.float32)

        def sampled(shape: Shape) -> tuple[Ints, np.ndarray, np.ndarray]:
            first = np.maximum(np.floor((shape.bounds[0] - margin - low) / spacing).astype(int), 0)
            last = np.minimum(np.ceil((shape.bounds[1] + margin - low) / spacing).astype(int) + 1, dims)
            return first, *sample_sparsely(shape.field, low + first * spacing, last - first, spacing, 1.3, self.fillet)

        for first, some, mid in side_by_side(sampled, self.shapes):
            for grid, part in ((corner, some), (centre, mid)):
                window = tuple(slice(f, f + n) for f, n in zip(first, part.shape, strict=True))
                grid[window] = smooth_min(grid[window], part, self.fillet)
        return isosurface_samples(corner, centre, low, spacing, self._field_in_parts)
