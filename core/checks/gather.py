"""From a case and its built components to what the checks look at: tips, regions, landmarks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..mechanics import MATERIALS, CaseMechanics, Material
from ..mesh import Bools, Floats, Mesh
from .finish import FinishLine
from .insertion import TipSpec
from .mechanics import short
from .process import PROCESSES
from .run import CheckInput
from .thickness import Region
from .two_stage import TwoStage

if TYPE_CHECKING:
    from ..case import Case
    from ..components import Assembly, Built
    from ..teeth import Teeth

# Kind of component in the case file -> kind of region in the thickness table.
KIND = {
    "occlusal_rest": "rest",
    "cingulum_rest": "rest",
    "incisal_rest": "rest",
    "guide_plate": "plate",
    "retentive_arm": "clasp",
    "reciprocal_arm": "clasp",
    "i_bar": "clasp",
    "ring_arm": "clasp",
    "back_action_arm": "clasp",
    "extended_arm": "clasp",
    "t_bar": "clasp",
    "wrought_arm": "clasp",
    "minor_connector": "strut",
    "lingual_bar": "bar",
    "lingual_plate": "plate",
    "sublingual_bar": "bar",
    "labial_bar": "bar",
    "continuous_bar": "plate",
    "palatal_straps": "strap",
    "palatal_plate": "strap",
    "lattice_base": "lattice",
    "bead_plate": "plate",
    "u_shaped_plate": "plate",
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
    mechanics: CaseMechanics | None = None,
) -> CheckInput:
    """Everything `run_checks` needs, from the stages of a build. Components that were refused have no region."""
    kinds = {component.id: component.kind for component in case.components}
    regions = []
    for name, built in assembly.built.items():
        if built.shapes:
            regions.append(Region(short(name), KIND[kinds[name]], _mask(framework, built)))
    tips = tuple(
        TipSpec(short(tip.component), tip.tooth, tip.planned_mm, centre=tip.points, radius_mm=tip.radius_mm)
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
        mechanics,
        material,
        PROCESSES[case.manufacture.process],
        {short(name): built.rails["arm"].points for name, built in assembly.built.items() if built.tips and "arm" in built.rails},
        tuple(_finish_lines(assembly)),
        opposing,
        {short(name): built.seat for name, built in assembly.built.items() if built.seat is not None},
        None if case.path.rotation is None else TwoStage(np.array(case.path.rotation.axis), case.path.rotation.degrees),
    )


def _finish_lines(assembly: Assembly) -> Iterator[FinishLine]:
    """Every finish line beside a lattice, its ends left out where other parts join; the resin is on the side of the lattice."""
    for name, built in assembly.built.items():
        if "finish line" in built.rails and "facial" in built.rails:
            rail = built.rails["finish line"]
            floor = rail.normals.mean(axis=0) / np.linalg.norm(rail.normals.mean(axis=0))
            toward = built.rails["facial"].points.mean(axis=0) - rail.points.mean(axis=0)
            toward = toward - (toward @ floor) * floor
            yield FinishLine(short(name), rail.points[4:-4:4], toward / np.linalg.norm(toward), floor)


def _mask(framework: Mesh, built: Built) -> Bools:
    """(n,) framework vertices on or in the component's own shapes."""
    found = np.zeros(len(framework.vertices), dtype=bool)
    for shape in built.shapes:
        low, high = np.asarray(shape.bounds) + [[-REGION_MM], [REGION_MM]]
        near = np.flatnonzero(np.all((framework.vertices >= low) & (framework.vertices <= high), axis=1) & ~found)
        if len(near):
            found[near] = shape.field(framework.vertices[near]) < REGION_MM
    return found
