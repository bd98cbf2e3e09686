"""Guide planes: proximal enamel planed until a band of given height is parallel to the path, the tooth's curve across it kept.

Across the face the surface is cut in columns parallel to the path. In each, the band is level with the deepest setting of a
straight blade at which the stretch that it touches is as high as asked: the least that has to go. The settings of all columns,
smoothed, are the plan of the plane; it follows the crown round and runs out on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import manifold3d
import numpy as np

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from ..survey.scene import RayScene
from ..teeth import Tooth

STEP_MM = 0.1
NECK_MM = 1.0
"""Nothing is planed within this of the margin, where enamel thins out (from memory of Wheeler's dental anatomy)."""
SHARE_OF_BREADTH = 0.45
"""Width of a guide plane over the faciolingual breadth of the crown: a third to a half (standard texts)."""
RUN_OUT_MM = 0.9
LOWER_MM = 0.5
PLAN_DEGREE = 4
"""The plan follows the crown round, not the bumps of its surface."""


@dataclass(frozen=True, eq=False)
class GuidePlaneSpec:
    """One guide plane.

    tooth : FDI number; side : "mesial" or "distal" (any word, for the report)
    outward : (3,) unit, level: away from the tooth on that side; up : (3,) unit, the path
    height_mm : of the band that becomes parallel to the path; width_mm : faciolingually, None for 0.45 of the crown's breadth
    """

    tooth: int
    side: str
    outward: Floats
    up: Floats
    height_mm: float = 2.0
    width_mm: float | None = None

    def __post_init__(self) -> None:
        if not 0.3 <= self.height_mm <= 8.0:
            raise GeometryError(f"guide plane on {self.tooth}: height_mm is {self.height_mm:g}, outside 0.3 to 8")
        up = np.asarray(self.up, dtype=np.float64) / np.linalg.norm(self.up)
        outward = np.asarray(self.outward, dtype=np.float64)
        outward = outward - (outward @ up) * up
        if np.linalg.norm(outward) < 1e-6:
            raise GeometryError(f"guide plane on {self.tooth}: its outward direction is parallel to the path; give a level one")
        object.__setattr__(self, "up", up)
        object.__setattr__(self, "outward", outward / np.linalg.norm(outward))

    @property
    def axes(self) -> Floats:
        """(3, 3) rows: across, outward, up."""
        return np.stack([np.cross(self.outward, self.up), self.outward, self.up])


@dataclass(frozen=True, eq=False)
class PlanePlan:
    """Where a guide plane cuts, in the spec's axes round the crown's centre, mm.

    across (k,); blade (k,): the plane's distance outward there; surface (k,): furthest of the crown there; low, high: heights
    """

    across: Floats
    blade: Floats
    surface: Floats
    low: float
    high: float


def _setting(reach: Floats, rows: int) -> float:
    """The furthest setting at which a blade touches a stretch of at least `rows` samples; nan where the face is lower than that."""
    known = np.isfinite(reach)
    if known.sum() <= rows:
        return float("nan")
    top = int(np.nanargmax(reach))
    left = right = top
    level = reach[top]
    # Widen toward whichever neighbour costs less; the blade stands at the lowest sample taken in.
    while right - left < rows:
        a = reach[left - 1] if left > 0 and known[left - 1] else -np.inf
        b = reach[right + 1] if right + 1 < len(reach) and known[right + 1] else -np.inf
        if max(a, b) == -np.inf:
            return float("nan")
        if a >= b:
            left -= 1
        else:
            right += 1
        level = min(level, max(a, b))
    return float(level)


def plan(spec: GuidePlaneSpec, tooth: Tooth, mesh: Mesh) -> PlanePlan:
    """Where the plane cuts. Raises GeometryError when the face is lower than the band asked for."""
    crown, _ = mesh.submesh(tooth.faces)
    local = (crown.vertices - tooth.centre) @ spec.axes.T
    breadth = float(np.ptp(local[:, 0]))
    width = spec.width_mm if spec.width_mm is not None else SHARE_OF_BREADTH * breadth
    half = 0.5 * width + RUN_OUT_MM
    middle = 0.0  # through the crown's centre, as the plate that will lie on it
    rim = (tooth.margin - tooth.centre) @ spec.axes.T
    facing = (rim[:, 1] > 0) & (np.abs(rim[:, 0] - middle) < half)
    neck = float((rim[facing, 2] if facing.any() else rim[:, 2]).max()) + NECK_MM
    crest = float(local[:, 2].max())
    across = np.arange(middle - half, middle + half + 0.5 * STEP_MM, STEP_MM)
    z = np.arange(neck, crest, STEP_MM)
    far = float(local[:, 1].max()) + 1.0
    grid = np.stack(np.meshgrid(across, z, indexing="ij"), axis=-1).reshape(-1, 2)
    start = tooth.centre + np.column_stack([grid[:, 0], np.full(len(grid), far), grid[:, 1]]) @ spec.axes
    distance, face = RayScene(crown).first_hit(start, -spec.outward)
    reach = np.where((face >= 0) & (far - distance > 0), far - distance, np.nan).reshape(len(across), len(z))
    rows = int(np.ceil(spec.height_mm / STEP_MM))
    blade = np.array([_setting(r, rows) for r in reach])
    core = np.abs(across - middle) <= 0.5 * width
    if not np.isfinite(blade[core]).any():
        raise GeometryError(
            f"guide plane on {spec.tooth} {spec.side}: from 1 mm above the margin to its top the face is lower than {spec.height_mm:g} mm;"
            " ask for a lower plane"
        )
    known = np.isfinite(blade)
    surface = np.array([np.nanmax(r) if np.isfinite(r).any() else -np.inf for r in reach])
    # A curve of low degree keeps the crown's roundness, which averaging along the face would flatten and so cut too deep.
    # Past the last column that was measured it goes on level: a polynomial runs away there.
    fitted = np.polynomial.Polynomial.fit(across[known], blade[known], min(PLAN_DEGREE, int(known.sum()) - 1))
    smooth = fitted(np.clip(across, across[known].min(), across[known].max()))
    beyond = np.clip((np.abs(across - middle) - 0.5 * width) / RUN_OUT_MM, 0.0, 1.0)
    return PlanePlan(across, smooth + 1.2 * beyond**2, surface, neck, crest + 1.0)


def fit_plane(spec: GuidePlaneSpec, tooth: Tooth, mesh: Mesh) -> GuidePlaneSpec:
    """The same plane, as high as asked or as high as the face allows, in steps of half a millimetre, at least 0.5 mm.

    mesh : the unprepared cast. Raises GeometryError when the face has no room even for that.
    """
    while True:
        try:
            plan(spec, tooth, mesh)
            return spec
        except GeometryError:
            if spec.height_mm - LOWER_MM < LOWER_MM:
                raise
            spec = replace(spec, height_mm=spec.height_mm - LOWER_MM)


def plane_solid(spec: GuidePlaneSpec, tooth: Tooth, cut: PlanePlan) -> Mesh:
    """What the plane takes away, as a closed solid in the cast frame: everything outside the blade's plan, above the neck."""
    outer = float(cut.surface.max()) + 0.3
    blade = np.minimum(cut.blade, outer - 0.01)  # a plan that lies beyond the crown takes nothing
    outline = np.vstack([np.column_stack([cut.across, blade]), [[cut.across[-1], outer], [cut.across[0], outer]]])
    prism = manifold3d.CrossSection([outline], manifold3d.FillRule.Positive).extrude(cut.high - cut.low)
    frame = np.column_stack([spec.axes.T, tooth.centre + cut.low * spec.up])
    return Mesh.from_manifold(prism.transform(frame))
