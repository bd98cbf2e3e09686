"""How deep the metal of a draft enters undercuts, before there is a framework: by the rays of the insertion check.

Read where tips may touch the cast; everywhere else the fitting side is the block-out, which no rigid part can catch on. So what a build
of the draft will be told by that check shows here: the tip's depth against the planned one, and what else enters beside the tip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..checks.insertion import RIGID_LIMIT_MM, TIP_TOLERANCE_MM, densified, entry_depth
from ..checks.rays import Rays
from ..components import Built
from ..mesh import Floats, Mesh
from ..solids.fields import Shape

READ_MM = 0.05  # to which a hand gauge is read (common practice)
_SPACING_MM = 0.15  # of the points, as in the check
_MARGIN_MM = 0.5  # round a zone's box: faces that reach into it


@dataclass(frozen=True)
class Entry:
    """part : id; tip_mm : deepest undercut that the tip enters; planned_mm; beside_mm : deepest that other metal in its zone enters"""

    part: str
    tip_mm: float
    planned_mm: float
    beside_mm: float

    @property
    def grave(self) -> bool:
        """Whether another clasp is rather chosen: a hand gauge would tell the difference, or something rigid catches."""
        return abs(self.tip_mm - self.planned_mm) > READ_MM or self.beside_mm > RIGID_LIMIT_MM

    @property
    def fault(self) -> str:
        """What the insertion check would object to, in words, "" when nothing."""
        if abs(self.tip_mm - self.planned_mm) > TIP_TOLERANCE_MM:
            return f"its tip would enter {self.tip_mm:.3f} mm of undercut, {self.planned_mm:g} is planned"
        if self.beside_mm > RIGID_LIMIT_MM:
            return f"metal beside its tip would catch by {self.beside_mm:.3f} mm on its way in"
        return ""


def entries(built: Mapping[str, Built], prepared: Mesh, up: Floats) -> tuple[Entry, ...]:
    """Every retentive part with a tip. prepared : the cast with its seats and planes, closed; up : (3,) unit vector of the path"""
    scene = Rays(prepared)
    metal = [shape for b in built.values() for shape in b.shapes]
    return tuple(_entry(name, b, metal, prepared, scene, up) for name, b in built.items() if b.tips)


def _entry(name: str, built: Built, metal: list[Shape], prepared: Mesh, scene: Rays, up: Floats) -> Entry:
    tip = built.tips[0]
    points = [_covered(zone, metal, prepared) for zone in built.open_zones]
    covered = np.concatenate(points) if points else np.zeros((0, 3))
    if not len(covered):
        return Entry(name, 0.0, tip.planned_mm, 0.0)
    depth = entry_depth(scene, covered, up, horizontal_only=True)
    own = cKDTree(tip.points).query(covered)[0] <= tip.radius_mm
    return Entry(name, float(depth[own].max(initial=0.0)), tip.planned_mm, float(depth[~own].max(initial=0.0)))


def _covered(zone: Shape, metal: list[Shape], cast: Mesh) -> Floats:
    """(k, 3) points of the cast under metal within a zone in which its block-out is left open."""
    low, high = zone.bounds[0] - _MARGIN_MM, zone.bounds[1] + _MARGIN_MM
    corners = cast.triangles
    near = np.all((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high), axis=1)
    points = densified(cast, near, _SPACING_MM)
    points = points[zone.field(points) < 0.0]
    under = np.zeros(len(points), dtype=bool)
    for shape in metal:
        inside = np.all((points >= shape.bounds[0]) & (points <= shape.bounds[1]), axis=1) & ~under
        under[inside] = shape.field(points[inside]) < 0.0
    return points[under]
