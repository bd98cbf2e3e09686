"""From a case and its built components to what the checks look at: tips, regions, arms, landmarks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..case import IBar, RetentiveArm
from ..mechanics import MATERIALS, Arm, Material, half_ellipse
from ..mesh import Bools, Floats, Mesh
from .borders import ArmSpec
from .finish import FinishLine
from .insertion import TipSpec
from .process import PROCESSES
from .run import CheckInput
from .thickness import Region

if TYPE_CHECKING:
    from ..case import Case
    from ..components import Assembly, Built
    from ..solids.sweep import Rail
    from ..teeth import Teeth

# Kind of component in the case file -> kind of region in the thickness table.
KIND = {
    "occlusal_rest": "rest",
    "cingulum_rest": "rest",
    "guide_plate": "plate",
    "retentive_arm": "clasp",
    "reciprocal_arm": "clasp",
    "i_bar": "clasp",
    "minor_connector": "strut",
    "lingual_bar": "bar",
    "bead_plate": "plate",
    "u_shaped_plate": "plate",
    "palatal_straps": "strap",
    "lattice_base": "lattice",
}
REGION_MM = 0.08  # metal within this of a component's own shape is called by its name; fillets between components belong to none


def gather(
    case: Case,
    assembly: Assembly,
    framework: Mesh,
    path: Floats,
    teeth: Teeth,
    *,
    prepared: Mesh | None = None,
    master: Mesh | None = None,
    material: Material = MATERIALS["cocr_laser"],
    opposing: Mesh | None = None,
) -> CheckInput:
    """Everything `run_checks` needs, from the stages of a build. Components that were refused have no region."""
    kinds = {component.id: component.kind for component in case.components}
    specs = {component.id: component for component in case.components}
    regions = []
    arms = []
    for name, built in assembly.built.items():
        if built.shapes:
            regions.append(Region(_short(name), KIND[kinds[name]], _mask(framework, built)))
        spec = specs[name]
        if isinstance(spec, RetentiveArm | IBar) and "arm" in built.rails:
            circumferential = isinstance(spec, RetentiveArm)
            arm = arm_of(built.rails["arm"], np.asarray(path) if circumferential else None)
            arms.append(ArmSpec(_short(name), spec.tooth, arm, spec.gauge_mm, circumferential))
    tips = tuple(
        TipSpec(_short(tip.component), tip.tooth, tip.planned_mm, centre=tip.points, radius_mm=tip.radius_mm)
        for built in assembly.built.values()
        for tip in built.tips
    )
    return CheckInput(
        framework,
        np.asarray(path),
        teeth.arch,
        prepared,
        master,
        tips,
        tuple(regions),
        {fdi: tooth.margin for fdi, tooth in teeth.teeth.items()},
        {fdi: tooth.centre for fdi, tooth in teeth.teeth.items()},
        tuple(arms),
        material,
        PROCESSES[case.manufacture.process],
        {_short(name): built.rails["arm"].points for name, built in assembly.built.items() if built.tips and "arm" in built.rails},
        tuple(_finish_lines(assembly, np.asarray(path))),
        opposing,
    )


def _finish_lines(assembly: Assembly, path: Floats) -> Iterator[FinishLine]:
    """Every finish line beside a lattice, its ends left out where other parts join; the resin is on the side of the lattice."""
    for name, built in assembly.built.items():
        if "finish line" in built.rails and "facial" in built.rails:
            points = built.rails["finish line"].points
            toward = built.rails["facial"].points.mean(axis=0) - points.mean(axis=0)
            toward = toward - (toward @ path) * path
            yield FinishLine(_short(name), points[4:-4:4], toward / np.linalg.norm(toward), path)


def _short(name: str) -> str:
    """A component's name as part of a check id: no spaces."""
    return "-".join(name.split())


def _mask(framework: Mesh, built: Built) -> Bools:
    """(n,) framework vertices on or in the component's own shapes."""
    found = np.zeros(len(framework.vertices), dtype=bool)
    for shape in built.shapes:
        low, high = np.asarray(shape.bounds) + [[-REGION_MM], [REGION_MM]]
        near = np.flatnonzero(np.all((framework.vertices >= low) & (framework.vertices <= high), axis=1) & ~found)
        if len(near):
            found[near] = shape.field(framework.vertices[near]) < REGION_MM
    return found


def arm_of(rail: Rail, path: Floats | None) -> Arm:
    """The closed-form arm nearest to a swept one: its length, base section, a taper of equal stiffness, and the angle it curves through.

    path : None for a bar clasp, which bends in several planes: taken as straight, of its developed length.
    """
    base = half_ellipse(float(rail.width[0]), float(rail.thickness[0]))
    narrowing, thinning = float(rail.width[-1] / rail.width[0]), float(rail.thickness[-1] / rail.thickness[0])
    taper = float(np.clip((narrowing * thinning**3) ** 0.25, 0.05, 1.0))
    turned = 0.0 if path is None else turned_deg(rail.points, path)
    return Arm(rail.length, base, taper, float(np.clip(turned, 0.0, 270.0)))


def turned_deg(points: Floats, path: Floats) -> float:
    """Angle through which a curve (k, 3) turns as seen along the path, degrees; small waves cancel out."""
    flat = points - np.outer(points @ path, path)
    step = np.diff(flat, axis=0)
    step = step[np.linalg.norm(step, axis=1) > 1e-6]
    if len(step) < 2:
        return 0.0
    sine = np.cross(step[:-1], step[1:]) @ path
    cosine = np.einsum("ij,ij->i", step[:-1], step[1:])
    return float(abs(np.degrees(np.arctan2(sine, cosine).sum())))
