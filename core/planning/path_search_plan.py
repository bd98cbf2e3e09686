"""What a path of placement is judged on: guide surfaces beside gaps, places for retentive tips, footprints of rigid parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..case import ExtendedArm, GuidePlate
from ..case.components import Component
from ..charts import ArchChart, CrownChart
from ..components.crown_rails import TIP_TO_MARGIN_MM, arm_angles
from ..errors import GeometryError
from ..mesh import Floats, Mesh
from ..survey import Path, RayScene, Survey, survey
from ..teeth import Teeth, Tooth, numbering
from .path_search_guide import GuideSurface, guide_surface
from .path_search_parts import Footprints, RigidPart, rigid_parts
from .path_search_rays import Samples

GAUGE_MM = 0.25
"""Undercut wanted where no clasp is planned yet: cast cobalt-chromium (standard texts)."""
# Height of a guide plane (Brudvik's figures in the handbook, section 1): 3 mm beside a bounded gap, 2 mm beside a free end.
BOUNDED_PLANE_MM, FREE_END_PLANE_MM = 3.0, 2.0
# Where a tip goes when nothing is planned: a cast arm ends in the far third of the facial face; beside a free end a bar clasp comes to
# the middle of it (handbook, section 2.3).
_ARM_REACH_DEG, _BAR_AT_DEG = 118.0, 80.0
# Heights over the margin at which a tip's place is looked at, mm; as high as a share of the crown at the most.
_RISES_MM, _HIGHEST = (0.0, 0.6, 1.3, 2.1), 0.65
# Samples of the working surface for the block-out: its volume is then good to about 3 and 1 percent.
_MAP_SAMPLES, _FINE_SAMPLES = 3_500, 25_000
_LEAST_CLEAR_MM = 0.5  # of a tip over the margin, on short crowns


@dataclass(frozen=True)
class OpenSide:
    """A side of a tooth that looks into a gap to be filled; free_end: no tooth stands behind that gap."""

    fdi: int
    side: str
    free_end: bool


@dataclass(frozen=True, eq=False)
class TipPlace:
    """Where a retentive tip may lie. name : of the clasp; right : on the X side of the cast; gauge_mm : undercut wanted there."""

    name: str
    fdi: int
    right: bool
    gauge_mm: float
    samples: Samples


@dataclass(frozen=True, eq=False)
class PathPlan:
    """All that a path is judged on. ground, ground_fine : samples of the working surface for the block-out; remarks : in words."""

    arch: str
    scene: RayScene
    surfaces: tuple[GuideSurface, ...]
    tips: tuple[TipPlace, ...]
    parts: tuple[RigidPart, ...]
    ground: Samples
    ground_fine: Samples
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Grounds:
    """What a path is judged on whatever is planned: the cast surveyed without a tilt, and its table of footprints."""

    scene: RayScene
    level: Survey
    footprints: Footprints
    ground: Samples
    ground_fine: Samples

    @staticmethod
    def of(mesh: Mesh, teeth: Teeth, scene: RayScene | None = None) -> Grounds:
        """Read them off a cast. Raises GeometryError when no tooth is marked."""
        scene = RayScene(mesh) if scene is None else scene
        level = survey(mesh, Path(), np.asarray(teeth.labels, dtype=np.int64), scene=scene)
        footprints = Footprints.of(mesh, teeth, ArchChart(mesh, teeth, Path(), scene=scene))
        return Grounds(scene, level, footprints, footprints.ground(_MAP_SAMPLES), footprints.ground(_FINE_SAMPLES))


def plan_path(
    mesh: Mesh, teeth: Teeth, components: Sequence[Component] = (), not_replaced: Sequence[int] = (), grounds: Grounds | None = None
) -> PathPlan:  # fmt: skip
    """Read off a cast (cast frame, mm) and its teeth what a path is judged on.

    components : what is planned; where clasps, guide plates or a major connector are still missing, the usual ones stand in
    not_replaced : missing teeth that no base carries; grounds : of this cast, where they were read before
    Raises GeometryError when no tooth is marked.
    """
    known = Grounds.of(mesh, teeth) if grounds is None else grounds
    level, footprints = known.level, known.footprints
    remarks: list[str] = []
    sides = open_sides(footprints.arch, teeth, not_replaced)
    if not sides:
        remarks.append("no gap to be filled: no guide surfaces, the path is judged on the rest")
    surfaces = _surfaces(mesh, teeth, sides, components, remarks)
    looked_at = {c.fdi for c in sides} | {t for c in components for t in (_tooth(c), int(getattr(c, "onto", 0)))}
    charts = {fdi: CrownChart(mesh, teeth[fdi], level) for fdi in looked_at if fdi in teeth}
    tips = _planned_tips(charts, components, remarks) or _usual_tips(charts, sides, remarks)
    parts = rigid_parts(footprints, components, sorted({t.fdi for t in tips}), {s.fdi for s in sides})
    return PathPlan(teeth.arch, known.scene, surfaces, tips, parts, known.ground, known.ground_fine, tuple(remarks))


def open_sides(arch: ArchChart, teeth: Teeth, not_replaced: Sequence[int] = ()) -> tuple[OpenSide, ...]:
    """The sides of teeth that look into a gap with a tooth to be replaced, along the arch from -X to +X.

    Where the chart names no missing tooth, every number up to the second molar that does not stand counts as missing.
    """
    row = numbering.order(teeth.arch)
    missing = set(teeth.missing) or {n for n in row if n not in teeth and numbering.position(n) <= 7}
    wanted = missing - set(not_replaced)
    found = []
    for gap in arch.gaps:
        low = 0 if gap.before is None else row.index(gap.before) + 1
        high = len(row) if gap.after is None else row.index(gap.after)
        if not wanted.intersection(row[low:high]):
            continue
        free = gap.before is None or gap.after is None
        if gap.before is not None:
            found.append(OpenSide(gap.before, "mesial" if numbering.side(gap.before) < 0 else "distal", free))
        if gap.after is not None:
            found.append(OpenSide(gap.after, "distal" if numbering.side(gap.after) < 0 else "mesial", free))
    return tuple(found)


def _surfaces(
    mesh: Mesh, teeth: Teeth, sides: Sequence[OpenSide], components: Sequence[Component], remarks: list[str]
) -> tuple[GuideSurface, ...]:
    heights = {(c.tooth, c.side): c.plane_height_mm for c in components if isinstance(c, GuidePlate)}
    found = []
    for side in sides:
        wanted = heights.get((side.fdi, side.side), FREE_END_PLANE_MM if side.free_end else BOUNDED_PLANE_MM)
        try:
            surface = guide_surface(mesh, teeth[side.fdi], side.side, wanted)
        except GeometryError as error:
            remarks.append(str(error))
            continue
        if surface.height_mm < wanted - 0.05:
            remarks.append(f"{surface.name}: only {surface.height_mm:.1f} mm of crown for a guide plane of {wanted:g} mm")
        found.append(surface)
    return tuple(found)


def _tooth(component: Component) -> int:
    return int(getattr(component, "tooth", 0))


def _planned_tips(charts: dict[int, CrownChart], components: Sequence[Component], remarks: list[str]) -> tuple[TipPlace, ...]:
    """Tips of the clasps of the case: anything on a tooth that has a gauge."""
    found = []
    for c in components:
        gauge = getattr(c, "gauge_mm", None)
        holds = int(getattr(c, "onto", _tooth(c)))  # an extended arm holds on the second of its teeth
        if gauge is None or holds not in charts:
            continue
        if isinstance(c, ExtendedArm):
            mesial = numbering.neighbours(holds)[0] == c.tooth
            phi = arm_angles("mesial" if mesial else "distal", c.face, c.reach_deg)[[-20, -10, -1]]
        elif hasattr(c, "at_deg"):
            phi = c.at_deg + np.array([-8.0, 0.0, 8.0])
        elif hasattr(c, "reach_deg") and hasattr(c, "origin") and hasattr(c, "face"):
            phi = arm_angles(c.origin, c.face, c.reach_deg)[[-20, -10, -1]]
        else:
            phi = np.array([80.0, 90.0, 100.0])
        found.append(_place(charts[holds], c.id, phi, float(gauge), remarks))
    return tuple(t for t in found if t is not None)


def _usual_tips(charts: dict[int, CrownChart], sides: Sequence[OpenSide], remarks: list[str]) -> tuple[TipPlace, ...]:
    """One tip on each canine, premolar or molar beside a gap, where a clasp usually holds."""
    found = []
    for fdi in dict.fromkeys(s.fdi for s in sides):
        own = [s for s in sides if s.fdi == fdi]
        if numbering.position(fdi) <= 2:
            continue
        if any(s.free_end for s in own):
            phi, word = _BAR_AT_DEG + np.array([-8.0, 0.0, 8.0]), "middle of the face"
        else:
            phi, word = arm_angles(own[0].side, "facial", _ARM_REACH_DEG)[[-20, -10, -1]], f"face, far from its {own[0].side} side"
        found.append(_place(charts[fdi], f"{fdi} {word}", phi, GAUGE_MM, remarks))
    if found:
        remarks.append("no clasp is planned: retention is judged where clasps usually hold")
    return tuple(t for t in found if t is not None)


def _place(chart: CrownChart, name: str, phi: Floats, gauge_mm: float, remarks: list[str]) -> TipPlace | None:
    tooth: Tooth = chart.tooth
    margin, top = chart.margin(phi), chart.top(phi)
    clear = np.where(_HIGHEST * (top - margin) > TIP_TO_MARGIN_MM + 0.5, TIP_TO_MARGIN_MM, _LEAST_CLEAR_MM)
    rise = np.minimum(clear[:, None] + np.array(_RISES_MM), np.maximum(_HIGHEST * (top - margin), clear)[:, None])
    angles, z = np.repeat(phi, rise.shape[1]), (margin[:, None] + rise).ravel()
    points, normals = chart.surface(angles, z), chart.normal(angles, z)
    good = np.isfinite(points).all(axis=1) & np.isfinite(normals).all(axis=1)
    if not good.any():
        remarks.append(f"{name}: the scan shows no surface where the tip would lie")
        return None
    samples = Samples(points[good], normals[good], np.zeros(int(good.sum())))
    return TipPlace(name, tooth.fdi, numbering.side(tooth.fdi) > 0, gauge_mm, samples)
