"""The map of tilts that a window shows: what was found at each direction of the cone, read at any place of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .path import Path, path_of, plane_of


@dataclass(frozen=True, eq=False)
class TiltMap:
    """cone_deg : half-angle of the cone; plane (k, 2) degrees, lateral and anteroposterior; values (k, t), least is best, the score first

    words, units, digits : (t,) of the values; best : row of the least score
    """

    cone_deg: float
    plane: Floats
    values: Floats
    words: tuple[str, ...]
    units: tuple[str, ...]
    digits: tuple[int, ...]

    def place(self, share: tuple[float, float]) -> Floats:
        """(2,) degrees of a spot of the disk (its radius is 1, front up), held at the rim."""
        spot = np.asarray(share, dtype=np.float64)
        return self.cone_deg * spot / max(1.0, float(np.hypot(*spot)))

    def share(self, path: Path) -> tuple[float, float] | None:
        """Spot of a path on the disk, None outside the cone."""
        spot = plane_of(path.vector) / self.cone_deg
        return (float(spot[0]), float(spot[1])) if float(np.hypot(*spot)) <= 1.0 else None

    def path(self, share: tuple[float, float]) -> Path:
        """The path at a spot of the disk."""
        return path_of(self.place(share))

    def reading(self, path: Path) -> tuple[str, ...]:
        """What the map says of the direction nearest to a path, a line a value; nothing outside the cone."""
        place = plane_of(path.vector)
        if float(np.hypot(*place)) > self.cone_deg + 0.1:
            return ()
        row = self.values[int(np.argmin(((self.plane - place) ** 2).sum(axis=1)))]
        found = zip(self.words, row, self.digits, self.units, strict=True)
        return tuple(f"{words}: {value:.{n}f} {unit}".rstrip() for words, value, n, unit in found)
