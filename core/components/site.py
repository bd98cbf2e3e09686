"""What a component can ask of the cast it is built on, and what it gives back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ..errors import ComponentError
from ..mesh import Floats, Mesh
from ..preparation import RestSeatSpec
from ..solids.distance import SurfaceDistance
from ..solids.fields import Shape
from ..solids.sweep import Rail
from ..survey import Path, RayScene

if TYPE_CHECKING:
    from ..charts import ArchChart, CrownChart
    from ..teeth import Teeth

PLATE_MM = 1.2
BROAD_MM = 2.5
CALM_MM = 0.8  # connectors do not follow bumps smaller than this


@dataclass(frozen=True, eq=False)
class Site:
    """The cast in all its states, its teeth and its charts, for one path.

    cast : closed cast as scanned; prepared : with seats and guide planes; blocked : prepared and its shadow along the path
    """

    cast: Mesh
    prepared: Mesh
    blocked: Mesh
    teeth: Teeth
    charts: Mapping[int, CrownChart]
    arch: ArchChart
    path: Path

    @property
    def up(self) -> Floats:
        """(3,) the path's unit vector."""
        return self.path.vector

    @cached_property
    def box(self) -> Floats:
        """(2, 3) region in which components can lie: the teeth and the tissue around them, mm."""
        points = np.concatenate([t.margin for t in self.teeth.teeth.values()] + [np.atleast_2d(t.cusps) for t in self.teeth.teeth.values()])
        low, high = points.min(axis=0) - [12, 28, 16], points.max(axis=0) + [12, 12, 6]
        bounds = self.cast.bounds
        return np.array([np.maximum(low, bounds[0] - 1), np.minimum(high, bounds[1] + 6)])

    @cached_property
    def skin(self) -> SurfaceDistance:
        """Distance to the blocked-out cast, following it closely."""
        return SurfaceDistance(self.blocked, smoothing=0.3, within=self.box)

    @cached_property
    def calm(self) -> SurfaceDistance:
        """Distance to the blocked-out cast, smoothed as a polished face is."""
        return SurfaceDistance(self.blocked, smoothing=CALM_MM, within=self.box)

    @cached_property
    def plate(self) -> SurfaceDistance:
        """As `calm`, for plates and straps: rugae show softly, a ridge of scan noise or a guide plane's edge does not."""
        return self.calm.smoother(PLATE_MM)

    @cached_property
    def broad(self) -> SurfaceDistance:
        """As `calm`, for a bar: the scallops that the teeth's shadows leave in the block-out must not show in it."""
        return self.calm.smoother(BROAD_MM)

    @cached_property
    def rays(self) -> RayScene:
        """For rays against the blocked-out cast."""
        return RayScene(self.blocked)

    def chart(self, tooth: int, component: str) -> CrownChart:
        """The crown chart of a tooth. Raises ComponentError when the tooth is not charted."""
        if tooth not in self.charts:
            raise ComponentError(f"{component}: tooth {tooth} is not on this cast; mark it by a click, or choose a tooth that stands")
        return self.charts[tooth]


@dataclass(frozen=True, eq=False)
class Tip:
    """Where a retentive arm is meant to touch below the contour.

    points (k, 3) on the tooth, mm; radius of the region round them, mm; planned depth, mm
    """

    component: str
    tooth: int
    points: Floats
    radius_mm: float
    planned_mm: float


@dataclass(frozen=True, eq=False)
class Relief:
    """A space of even height to be kept under metal.

    zone : field (negative inside) that limits it; thickness in mm over the blocked-out cast
    """

    zone: Shape
    thickness_mm: float


@dataclass(frozen=True, eq=False)
class Built:
    """A component made: metal shapes, what the master cast must give way to, and what the report says of it. seat : of a rest

    scores : what is cut out of the cast for it beforehand (beading)
    """

    shapes: tuple[Shape, ...] = ()
    rails: dict[str, Rail] = field(default_factory=dict)
    reliefs: tuple[Relief, ...] = ()
    open_zones: tuple[Shape, ...] = ()
    scores: tuple[Shape, ...] = ()
    tips: tuple[Tip, ...] = ()
    facts: dict[str, float | str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    seat: RestSeatSpec | None = None
