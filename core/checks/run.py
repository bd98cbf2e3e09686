"""All checks of one framework, in the order in which a reader wants them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..errors import GeometryError
from ..mechanics import MATERIALS, CaseMechanics, Material
from ..mesh import Bools, Floats, Mesh
from ..preparation import RestSeatSpec
from .borders import check_feather_edges, check_margin_distance, check_mass
from .finish import FinishLine, check_finish_line
from .fit import FaceGaps, check_fitting_surface, check_overlap, check_rest_contact, face_gaps
from .gaps import NOT_FITTING, GapMap, check_gap_map, gap_map
from .insertion import TipSpec, check_rigid, check_tip
from .intersections import check_self_intersection
from .manufacture import check_build_angle, check_reach
from .mechanics import check_mechanics
from .opposing import check_clearance
from .process import PROCESSES, Process
from .radius import check_corner_radius
from .rays import Rays
from .rests import check_rest_floor, check_rest_width
from .result import Check, Landmarks
from .stored import check_stored
from .thickness import Region, check_thickness, local_thickness
from .topology import check_one_body, check_outward, check_scale, check_triangles, check_watertight
from .two_stage import TwoStage, check_first_stage, check_rotation

CONNECTORS = ("bar", "strap")
BITTEN = ("rest", "plate", "clasp", "strut")  # kinds of parts that the opposing arch may meet


@dataclass(frozen=True, eq=False)
class CheckInput:
    """What the checks look at; everything in one frame, mm, framework seated. What is missing makes its checks "skip".

    framework : the finished metal
    path : (3,) unit vector off the teeth
    arch : "upper" or "lower"
    prepared : closed cast with rest seats and guide planes, no block-out; master : the same with block-out and relief
    tips : retentive parts that are meant to enter undercuts
    regions : named parts with their kind ("clasp", "rest", "bar", "strap", "plate", "lattice") and vertex mask
    margins : gingival margin (k, 3) of each tooth; teeth : a point (3,) on each tooth, to name places
    mechanics : what the arms, levers and connector do; material : alloy
    process : how it is made; arm_lines : points (k, 3) along each flexible arm; finish_lines : where the base resin ends
    opposing : scan of the opposing arch in the same frame; seats : the seat of each rest, by the name of its region
    two_stage : for a framework that is lowered onto an axis and turned about it into its seat
    """

    framework: Mesh
    path: Floats
    arch: str
    prepared: Mesh | None = None
    master: Mesh | None = None
    tips: tuple[TipSpec, ...] = ()
    regions: tuple[Region, ...] = ()
    margins: Mapping[int, Floats] = field(default_factory=dict)
    teeth: Mapping[int, Floats] = field(default_factory=dict)
    mechanics: CaseMechanics | None = None
    material: Material = MATERIALS["cocr_laser"]
    process: Process = PROCESSES["printed metal"]
    arm_lines: Mapping[str, Floats] = field(default_factory=dict)
    finish_lines: tuple[FinishLine, ...] = ()
    opposing: Mesh | None = None
    seats: Mapping[str, RestSeatSpec] = field(default_factory=dict)
    two_stage: TwoStage | None = None

    @cached_property
    def framework_scene(self) -> Rays:
        """The framework made ready for rays, once."""
        return Rays(self.framework)

    @cached_property
    def master_scene(self) -> Rays:
        """The master cast made ready for rays, once."""
        if self.master is None:
            raise GeometryError("checks: no master cast was given")
        return Rays(self.master)

    @cached_property
    def master_gaps(self) -> FaceGaps:
        """Gap of each framework face to the master cast."""
        return face_gaps(self.framework, self.master_scene.mesh, self.master_scene)

    @cached_property
    def prepared_gaps(self) -> FaceGaps:
        """Gap of each framework face to the prepared cast."""
        return face_gaps(self.framework, self.prepared_scene.mesh, self.prepared_scene)

    @cached_property
    def gap_map(self) -> GapMap:
        """Which faces touch, which keep a planned space, which do neither."""
        return gap_map(self.master_gaps, self.prepared_gaps)

    @cached_property
    def fitting(self) -> Bools:
        """(m,) faces that lie on the cast or over a planned space; none when there is no cast to tell by."""
        if self.master is None or self.prepared is None:
            return np.zeros(len(self.framework.faces), dtype=bool)
        return self.gap_map.kind != NOT_FITTING

    @cached_property
    def prepared_scene(self) -> Rays:
        """The prepared cast made ready for rays, once."""
        if self.prepared is None:
            raise GeometryError("checks: no prepared cast was given")
        return Rays(self.prepared)

    @property
    def landmarks(self) -> Landmarks:
        """Teeth and margins as named points."""
        named = [(fdi, np.reshape(p, (-1, 3))) for fdi, p in [*self.teeth.items(), *self.margins.items()]]
        if not named:
            return Landmarks(np.zeros((0, 3)), np.zeros(0, dtype=np.int64))
        return Landmarks(np.concatenate([p for _, p in named]), np.concatenate([np.full(len(p), fdi) for fdi, p in named]))

    def __post_init__(self) -> None:
        if self.arch not in ("upper", "lower"):
            raise GeometryError(f'checks: arch must be "upper" or "lower", not {self.arch!r}')
        n = len(self.framework.vertices)
        for region in self.regions:
            if len(region.mask) != n:
                raise GeometryError(
                    f"checks: the mask of region {region.id} has {len(region.mask)} entries, the framework has {n} vertices"
                )


def run_checks(data: CheckInput, step: Callable[[str], None] = lambda _: None) -> tuple[Check, ...]:
    """Run everything. `step` is called with a word before each group (it may raise Cancelled).

    A framework that is not a sound solid is not measured further where the measure would mean nothing ("skip").
    """
    marks = data.landmarks
    step("solid")
    found = solid_checks(data.framework, marks)
    sound = all(c.status != "fail" for c in found if c.id in ("solid.watertight", "solid.scale", "solid.outward"))
    if not sound:
        reason = "not measured: the framework is not a sound solid, see above"
        return (
            *found,
            *surface_checks(data.framework, marks),
            *(Check(name, "skip", None, None, "", "", "", reason) for name in ("insertion.rigid", "fit.surface", "form.thickness")),
        )
    # What asks for the metal alone is a third of the work and hangs on nothing else: it runs beside the others.
    with ThreadPoolExecutor(1) as beside:
        surface = beside.submit(surface_checks, data.framework, marks)
        form = beside.submit(form_checks, data, marks)
        step("insertion")
        others = insertion_checks(data, marks)
        step("fit")
        others += fit_checks(data, marks)
        step("form")
        others += [*form.result(), *border_checks(data, marks)]
        step("making")
        others += making_checks(data, marks)
        found += [*surface.result(), *others]
    if data.mechanics is not None:
        found += check_mechanics(data.mechanics)
    return tuple(found)


def solid_checks(framework: Mesh, marks: Landmarks) -> list[Check]:
    """Closed, one body, outward, plausible size: without these nothing else means much."""
    return [check_watertight(framework, marks), check_one_body(framework, marks), check_outward(framework, marks), check_scale(framework)]


def surface_checks(framework: Mesh, marks: Landmarks) -> list[Check]:
    """What the faces are like: rounding in files, crossings, triangle shapes."""
    if not len(framework.faces):
        return []
    return [check_stored(framework, marks), check_self_intersection(framework, marks), check_triangles(framework)]


def insertion_checks(data: CheckInput, marks: Landmarks) -> list[Check]:
    """Rigid metal and each tip against the prepared cast, along the path."""
    if data.prepared is None:
        return [Check("insertion.rigid", "skip", None, None, "mm", "", "", "no prepared cast was given")]
    scene = data.prepared_scene
    if data.two_stage is not None:
        staged = (data.framework, scene, data.path, data.two_stage, data.tips, marks)
        stiff = [check_rotation(*staged), check_first_stage(*staged)]
    else:
        own = data.framework_scene
        stiff = [check_rigid(data.framework, data.prepared, data.path, data.tips, marks, cast_scene=scene, framework_scene=own)]
    return [*stiff, *(check_tip(data.framework, scene, data.path, tip, marks) for tip in data.tips)]


def fit_checks(data: CheckInput, marks: Landmarks) -> list[Check]:
    """Fitting surface against the master cast, common volume with the prepared cast, rests on their seats."""
    found: list[Check] = []
    if data.master is None:
        found.append(Check("fit.surface", "skip", None, None, "mm", "", "", "no master cast was given"))
    else:
        found.append(check_fitting_surface(data.framework, data.master, marks, data.master_gaps))
    if data.prepared is None:
        return [*found, Check("fit.overlap", "skip", None, None, "mm3", "", "", "no prepared cast was given")]
    if data.master is not None:
        found.append(check_gap_map(data.framework, data.gap_map, marks))
    found.append(check_overlap(data.framework, data.prepared, marks))
    for rest in (r for r in data.regions if r.kind == "rest"):
        found.append(check_rest_contact(data.framework, rest.mask, rest.id, data.prepared_gaps, data.path, marks))
        if rest.id in data.seats:
            seat = (data.framework, rest.mask, rest.id, data.prepared_gaps, data.seats[rest.id], marks)
            found += [check_rest_width(*seat), *check_rest_floor(*seat)]
    if data.opposing is not None:
        scene = Rays(data.opposing)
        found.append(check_clearance(data.framework, None, scene, data.path, marks))
        found += [check_clearance(data.framework, r, scene, data.path, marks) for r in data.regions if r.kind in BITTEN]
    return found


def form_checks(data: CheckInput, marks: Landmarks) -> list[Check]:
    """Thickness, feather edges, borders of connectors, mass."""
    thickness = local_thickness(data.framework, scene=data.framework_scene)
    found = [check_thickness(data.framework, thickness, None, marks)]
    found += [check_thickness(data.framework, thickness, region, marks) for region in data.regions]
    found.append(check_feather_edges(data.framework, marks))
    for region in data.regions:
        if region.kind in CONNECTORS:
            found.append(check_margin_distance(data.framework, region.mask, region.id, data.margins, data.arch, marks))
    return [*found, check_mass(data.framework, data.material)]


def border_checks(data: CheckInput, marks: Landmarks) -> list[Check]:
    """Inner corners of the polished side and finish lines: what needs to know which side lies on the cast."""
    if not data.fitting.any():
        return []
    radius = check_corner_radius(data.framework, ~data.fitting, data.process, marks, data.framework_scene)
    return [radius, *(check_finish_line(data.framework, line, data.fitting, marks) for line in data.finish_lines)]


def making_checks(data: CheckInput, marks: Landmarks) -> list[Check]:
    """What the chosen process makes of it: supports and build angle of a print, reach of a cutter."""
    if data.process.mills:
        return [check_reach(data.framework, data.path, data.process, marks)]
    return [check_build_angle(data.framework, data.path, data.process, data.arm_lines, data.fitting)]


def region_from_solid(framework: Mesh, solid: Mesh, sink_mm: float = 0.02) -> Bools:
    """(n,) framework vertices whose metal belongs to a closed component solid: a step of `sink_mm` into the metal lands inside it."""
    return Rays(solid).inside(framework.vertices - sink_mm * framework.vertex_normals)
