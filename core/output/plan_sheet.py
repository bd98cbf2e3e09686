"""Coordinates of the arch drawing: millimetres of the cast seen along the path, directions on each tooth, places of missing teeth.

Viewer's right is +X of the cast frame.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from ..mesh import Floats
from ..planning import Design
from ..planning.support import nominal_positions
from ..teeth.numbering import neighbours, order, side

SCALE = 7.0  # picture units a millimetre
METAL, INK, FAINT, LINE = "#2b3a55", "#333", "#777", "#7a1f3d"


class Sheet:
    """Coordinates of one drawing. outlines, taken_out : (k, 2) mm by tooth; positions : middles of standing crowns, mm"""

    def __init__(
        self, design: Design, outlines: Mapping[int, Floats], positions: Mapping[int, Floats], taken_out: Mapping[int, Floats]
    ) -> None:
        self.design = design
        self.taken_out = {t: _rounded(line) for t, line in taken_out.items()}
        self.outlines = {t: _rounded(line) for t, line in outlines.items()}
        self.middles = {t: np.asarray(p, dtype=float)[:2] for t, p in positions.items()}
        self.nominal = nominal_positions(design.arch)
        self.missing = self._missing()
        points = np.concatenate([*self.outlines.values(), *self.taken_out.values(), *[np.atleast_2d(p) for p in self.missing.values()]])
        self.low, self.high = points.min(axis=0) - 9.0, points.max(axis=0) + [9.0, 7.0]
        self.size = (self.high - self.low) * SCALE

    def at(self, point: Floats) -> str:
        """Picture coordinates of a point, "x,y"."""
        return f"{(point[0] - self.low[0]) * SCALE:.1f},{(self.high[1] - point[1]) * SCALE:.1f}"

    def path(self, points: Floats, style: str) -> str:
        """An open polyline."""
        return f'<polyline points="{" ".join(self.at(p) for p in points)}" fill="none" stroke-linecap="round" {style}/>'

    def mesial(self, tooth: int) -> Floats:
        """(2,) unit vector toward the mesial side, along an average arch."""
        row = order(self.design.arch)
        k = row.index(tooth)
        step = self.nominal[row[min(k + 1, 15)]] - self.nominal[row[max(k - 1, 0)]]
        return np.asarray(step / np.linalg.norm(step) * (1.0 if side(tooth) < 0 else -1.0))

    def facial(self, tooth: int) -> Floats:
        """(2,) unit vector away from the tongue."""
        m = self.mesial(tooth)
        return np.array([m[1], -m[0]]) if side(tooth) > 0 else np.array([-m[1], m[0]])

    @property
    def places(self) -> dict[int, Floats]:
        """(2,) mm, middles of standing and of missing teeth."""
        return {**self.middles, **self.missing}

    def edge(self, tooth: int, towards: Floats) -> float:
        """mm from the middle of a crown to its outline in a direction."""
        return float(((self.outlines[tooth] - self.middles[tooth]) @ towards).max())

    def side_of(self, tooth: int, where: str) -> Floats:
        """(2,) unit vector to mesial, distal, facial or lingual."""
        axis = self.mesial(tooth) if where in ("mesial", "distal") else self.facial(tooth)
        return axis * (1.0 if where in ("mesial", "facial") else -1.0)

    def towards(self, tooth: int, where: str) -> Floats:
        """(2,) unit vector from a crown to its neighbour, standing or missing, on its mesial or distal side."""
        beside = neighbours(tooth)[0 if where == "mesial" else 1]
        if beside not in self.places:
            return self.side_of(tooth, where)
        step = self.places[beside] - self.middles[tooth]
        return np.asarray(step / np.linalg.norm(step))

    def rest_spot(self, tooth: int, where: str) -> Floats:
        """(2,) mm: inside the marginal ridge, or on the cingulum."""
        towards = self.side_of(tooth, where or "lingual")
        return np.asarray(self.middles[tooth] + towards * (0.62 if where else 0.5) * self.edge(tooth, towards))

    def _missing(self) -> dict[int, Floats]:
        """Where missing teeth would stand: between the abutments, or on from the last one as on an average arch."""
        out: dict[int, Floats] = {}
        for space in self.design.classification.spaces:
            ends = [t for t in space.abutments if t in self.middles]
            if len(ends) == 2:
                plain = [self.nominal[t] for t in (ends[0], *space.teeth, ends[1])]
                steps = [float(np.linalg.norm(q - p)) for p, q in zip(plain, plain[1:], strict=False)]
                share = np.cumsum([0.0, *steps]) / sum(steps)
                a, b = self.middles[ends[0]], self.middles[ends[1]]
                out.update({t: a + s * (b - a) for t, s in zip(space.teeth, share[1:-1], strict=True)})
            elif ends:
                out.update({t: self.nominal[t] + self.middles[ends[0]] - self.nominal[ends[0]] for t in space.teeth})
        return out


def _rounded(line: Floats) -> Floats:
    """Outline without the dents that neighbours leave where they touch: its convex hull, corners cut twice."""
    try:
        line = line[ConvexHull(line).vertices]
    except QhullError:
        return line
    for _ in range(2):
        after = np.roll(line, -1, axis=0)
        line = np.stack([0.75 * line + 0.25 * after, 0.25 * line + 0.75 * after], axis=1).reshape(-1, 2)
    return line
