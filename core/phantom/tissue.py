"""The mouth's lining away from the teeth: alveolar ridge, saddle, vestibule, palate or lingual sulcus, as maps over the plane.

The ridge is given in sections across the arch by a few widths and heights that change along it; they are rastered once into maps
over (x, y), so that the field is cheap to sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates
from scipy.spatial import cKDTree

from ..mesh import Floats
from .arch import ArchCurve, occlusal_level
from .floors import Floors
from .shapes import smooth_max, smooth_min, smooth_step
from .tables import crown_size

CELL = 0.25  # mm of the maps
MARGIN_Z = 0.6  # free gingival margin above the junction at mid-face, mm (healthy adult; common practice)


@dataclass(frozen=True, eq=False)
class Sections:
    """Shape of the ridge along the arch, each (n,) over `station`, mm."""

    station: Floats
    top: Floats  # height of the crest below the collars, or of the healed ridge in a gap
    facial: Floats  # half-widths at the crest
    lingual: Floats
    facial_slope: Floats  # widening per mm of depth
    lingual_slope: Floats
    round: Floats  # rounding of the crest
    gum: Floats  # height of the gingival margins
    end: tuple[float, float]  # stations of the ends, -X and +X side


def sections(arch: str, curve: ArchCurve, station: Mapping[int, float], missing: set[int], absent: set[int]) -> Sections:
    """Ridge shape from the tooth sites (station by FDI) and which are missing."""
    lower = arch == "lower"
    knots = []
    for fdi in sorted((f for f in station if f not in absent), key=lambda f: station[f]):
        size = crown_size(fdi)
        gum = occlusal_level(arch, fdi % 10) - size.height + MARGIN_Z
        neck, molar = 0.5 * size.faciolingual_neck, fdi % 10 >= 5
        width = 0.42 * size.mesiodistal
        for side in (-1, 1):
            s = station[fdi] + side * width
            if fdi in missing:  # the ridge resorbs lower, and from the facial side
                row = (3.0, neck * 0.50, neck * 0.68, 0.30, 0.16, 5.0) if lower else (2.6, neck * 0.48, neck * 0.66, 0.24, 0.42, 5.0)
            elif lower:
                row = (1.3, neck * 0.92 - 0.1, neck * 0.95, 0.42 if molar else 0.16, 0.07, 2.2)
            else:
                row = (1.3, neck * 0.92 - 0.1, neck * 0.95, 0.16, 0.30, 2.2)
            knots.append((s, gum - row[0], *row[1:], gum))
    first, last = knots[0], knots[-1]
    reach = 13.0 if lower else 10.0
    rise = (2.6, 1.0) if lower else (1.0, 0.2)
    pad = (3.2, 3.4, 0.3, 0.2, 5.5)
    before = [(first[0] - d * reach, first[7] - 1.8 + r, *pad, first[7]) for d, r in zip((1.0, 0.55), rise, strict=True)]
    after = [(last[0] + d * reach, last[7] - 1.8 + r, *pad, last[7]) for d, r in zip((0.55, 1.0), rise[::-1], strict=True)]
    table = np.array(before + knots + after)
    values = [gaussian_filter1d(np.interp(curve.station, table[:, 0], table[:, k]), 1.3 / 0.2, mode="nearest") for k in range(1, 8)]
    top, facial, lingual, facial_slope, lingual_slope, rounding, gum = values
    ends = (float(table[0, 0]), float(table[-1, 0]))
    return Sections(curve.station, top, facial, lingual, facial_slope, lingual_slope, rounding, gum, ends)


class Tissue:
    """Field of ridge, vestibule and palate or floor of the mouth, without the collars around the teeth."""

    def __init__(self, arch: str, curve: ArchCurve, shape: Sections, rng: np.random.Generator) -> None:
        self.arch, self.shape = arch, shape
        low, high = curve.points.min(axis=0) - 24.0, curve.points.max(axis=0) + 24.0
        self._low = low
        x, y = (np.arange(low[k], high[k], CELL) for k in (0, 1))
        gx, gy = np.meshgrid(x, y, indexing="ij")
        flat = np.stack([gx.ravel(), gy.ravel()], axis=1)
        _, near = cKDTree(curve.points).query(flat)
        tangent = np.gradient(curve.points, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        off = flat - curve.points[near]
        n = -off[:, 0] * tangent[near, 1] + off[:, 1] * tangent[near, 0]
        s = curve.station[near] + np.einsum("ij,ij->i", off, tangent[near])
        names = ("top", "facial", "lingual", "facial_slope", "lingual_slope", "round", "gum")
        at = {name: np.interp(s, shape.station, getattr(shape, name)) for name in names}
        beyond = np.maximum(shape.end[0] - s, s - shape.end[1])
        floors = Floors(arch, curve, rng)
        facial = floors.facial(flat, s, n, at["gum"], at["facial"])
        inner = floors.lingual(flat, s, n, at["gum"])
        weight = smooth_step(n, -3.0, 3.0)
        self._maps = {**at, "n": n, "beyond": beyond, "floor": inner * (1.0 - weight) + facial * weight}
        self._maps = {name: values.reshape(gx.shape).astype(np.float32) for name, values in self._maps.items()}

    def look_up(self, name: str, points: Floats) -> Floats:
        """(k,) value of a map over (k, 3) points."""
        where = ((points[:, :2] - self._low) / CELL).T
        return map_coordinates(self._maps[name], where, order=1, mode="nearest").astype(np.float64)

    def lowest(self) -> float:
        """Lowest height of the floors where the arch has them, mm."""
        return float(self._maps["floor"][np.abs(self._maps["n"]) < 18.0].min())

    def ridge(self, points: Floats) -> Floats:
        """(k,) field of the alveolar ridge alone."""
        z = points[:, 2]
        n = self.look_up("n", points)
        top = self.look_up("top", points)
        depth = np.maximum(top - z, 0.0)
        facial = n - self.look_up("facial", points) - self.look_up("facial_slope", points) * depth
        lingual = -n - self.look_up("lingual", points) - self.look_up("lingual_slope", points) * depth
        wall = smooth_max(smooth_max(facial, lingual, 4.0), self.look_up("beyond", points), 4.0)
        return smooth_max(wall, z - top, self.look_up("round", points))

    def floor(self, points: Floats) -> Floats:
        """(k,) field of vestibule and palate or floor of the mouth."""
        return (points[:, 2] - self.look_up("floor", points)) * 0.85

    def join(self, ridge: Floats, points: Floats) -> Floats:
        """Ridge (with its collars) united with the floors."""
        return smooth_min(ridge, self.floor(points), 4.5 if self.arch == "lower" else 5.5)
