"""Cases A to N from the chart alone: drafted on the searched path, built coarsely, and held against the published class and typical design.

Classes: Kennedy with Applegate's rules. Typical designs: the project's methods page, section 6c (standard texts, from memory). Where a
made-up cast has no undercut, or a tooth too little length, for the usual clasp, the plan must say so in words for that very tooth.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from claspwright.core.case import (
    BeadPlate,
    Case,
    CingulumRest,
    IBar,
    LatticeBase,
    LingualBar,
    LingualPlate,
    OcclusalRest,
    PalatalPlate,
    PalatalStraps,
)
from claspwright.core.pipeline import build
from claspwright.core.pipeline.plan import Plan, plan
from claspwright.core.planning import Design

from .case_set import CASES, make_case

# name: teeth clasped as published (the teeth of one tuple stand for each other: any one of them will do), rests, connectors that are taught
PUBLISHED: dict[str, tuple[tuple[tuple[int, ...], ...], tuple[int, ...], tuple[type, ...]]] = {
    "A": (((34,), (44,)), (34, 44, 33, 43), (LingualBar,)),
    "B": (((33,), (43,)), (33, 43), (LingualBar, LingualPlate)),
    "C": (((35,), (44,), (47,)), (35, 44, 47), (LingualBar,)),
    "D": (((14,), (17,), (24,), (27,)), (14, 17, 24, 27), (PalatalStraps, PalatalPlate)),
    "E": (((14, 15, 16, 17), (24, 25, 26, 27)), (13, 23), (PalatalStraps, PalatalPlate)),
    "F": (((14,), (24,)), (14, 24, 13, 23), (PalatalStraps, PalatalPlate)),
    "G": (((45,), (47,), (35, 36, 37)), (45, 47), (LingualBar,)),
    "I": (((15,), (17,), (24, 25, 26, 27)), (15, 17, 13, 22), (PalatalStraps, PalatalPlate)),
    "J": (((35,), (44, 45, 46, 47)), (35, 33, 43), (LingualBar,)),
    "L": (((34,), (37,), (44,)), (34, 37, 44), (LingualBar,)),
    "M": (((33,), (43,)), (33, 43, 32, 42), (LingualBar, LingualPlate)),
    "N": (((33,), (43,)), (33, 43), (LingualPlate,)),
}
RELEASING = {"A": (34, 44), "B": (33, 43), "C": (35,), "F": (14, 24), "J": (35,), "L": (44,), "N": (33, 43)}


@pytest.mark.nightly
@pytest.mark.parametrize("name", CASES)
def test_case_is_drafted_built_and_green(name: str, tmp_path: Path) -> None:
    made = plan(make_case(name, tmp_path, 60_000))
    design = made.design
    assert design.classification.name == f"Kennedy class {CASES[name][2].replace(' mod ', ', modification ')}"
    assert not [f for f in made.findings if f.severity == "error"]
    clasped, rests, connectors = PUBLISHED[name]
    for choice in clasped:
        assert set(choice) & set(design.clasped) or _said(made, choice), f"{name}: no clasp on any of {choice}, and no word on it"
    assert set(rests) <= set(design.rested)
    assert any(isinstance(c, connectors) for c in design.connectors)
    assert {a.tooth for a in design.all(IBar)} >= set(RELEASING.get(name, ()))
    assert {t for b in design.bases for t in b.teeth} == set(CASES[name][1])
    _kinds_fit(made.draft.case, design)
    found = build(made.draft.case, quick=True)
    foretold = tuple(w.split(":")[0].replace(" ", "-") for w in made.foretold)
    wrong = [c for c in found.checks if c.status == "fail" and not c.id.replace(" ", "-").endswith(foretold)]
    assert not wrong, [(c.id, c.value, c.words) for c in wrong]


def _said(made: Plan, teeth: tuple[int, ...]) -> bool:
    return any(f"tooth {t} " in words for words in made.draft.open for t in teeth)


def _kinds_fit(case: Case, design: Design) -> None:
    """Cingulum rests in front, occlusal ones behind; lattices over free ends; the standard texts' first rules."""
    assert all(r.tooth % 10 <= 3 for r in design.all(CingulumRest)) and all(r.tooth % 10 >= 4 for r in design.all(OcclusalRest))
    for space in design.classification.spaces:
        (base,) = design.base_over(space.teeth)
        assert isinstance(base, LatticeBase if space.extension or len(space.teeth) > 1 else BeadPlate)
    assert case.chart == design.case.chart
