"""A combination clasp from the case file to the report: wrought wires on both sides of the lower sample instead of its I-bars."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from claspwright.core.case import IBar, WireArm, load_case
from claspwright.core.pipeline import build
from claspwright.core.pipeline.advice import apply_advice
from claspwright.core.pipeline.build import Build
from claspwright.core.pipeline.outputs import write_findings

pytestmark = pytest.mark.slow
SAMPLE = Path(__file__).resolve().parents[2] / "sample_scenes" / "lower_class_i" / "case.json"
# American wire gauge (ASTM B258): 18 is 1.024 mm, 19 is 0.912 mm.
DIAMETER = {34: (18, 1.024), 44: (19, 0.912)}


@pytest.fixture(scope="module")
def made() -> Build:
    case = load_case(SAMPLE)
    parts = (
        WireArm(f"wire {c.tooth}", c.tooth, base=c.base, wire_gauge=DIAMETER[c.tooth][0]) if isinstance(c, IBar) else c
        for c in case.components
    )
    return build(dataclasses.replace(case, components=tuple(parts)), quick=True)


def test_the_wire_is_as_thick_as_drawn_and_its_tip_at_its_gauge(made: Build) -> None:
    assert not made.refused
    checks = {c.id: c for c in made.checks}
    for tooth, (_, d) in DIAMETER.items():
        assert made.assembly.built[f"wire {tooth}"].facts["diameter_mm"] == pytest.approx(d, abs=0.001)
        # Bedded 0.06 mm where it lies on the tooth, and meshed coarsely.
        assert d - 0.15 < checks[f"form.thickness.wire-{tooth}"].value < d + 0.02
        assert checks[f"insertion.tip.wire-{tooth}"].value == pytest.approx(0.50, abs=0.03)
        said = [c.words for c in made.checks if c.id == f"component.wire {tooth}"]
        assert any("cannot be cast or printed" in words for words in said)


def test_its_mechanics_are_those_of_round_wire(made: Build) -> None:
    """Between the same arm built in at its root and as free as half its width allows; thinner wire is softer by d^4 (textbook)."""
    found = {c.tooth: c for c in made.mechanics.clasps}
    assert {c.material.name for c in found.values()} == {"wire_ptaupd"}
    for tooth, (_, d) in DIAMETER.items():
        c = found[tooth]
        assert (c.width == pytest.approx(d, abs=0.001)) and c.stiffness.low < c.stiffness.likely < c.stiffness.high
        straight = 3 * c.material.modulus_mpa * np.pi * d**4 / 64 / c.bending_mm**3
        # Curved and touched along its way a wire is stiffer than the straight cantilever of its length; never softer.
        assert straight < c.stiffness.high and c.stiffness.low < 6 * straight
    ratio = found[34].stiffness.likely / found[44].stiffness.likely * (found[34].bending_mm / found[44].bending_mm) ** 3
    assert ratio == pytest.approx((1.024 / 0.912) ** 4, rel=0.25)


def test_report_and_advice_speak_of_wire(made: Build, tmp_path: Path) -> None:
    write_findings(made, tmp_path)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    for tooth in DIAMETER:
        assert f"wire {tooth}" in page
    assert "Pt-Au-Pd wire" in page and "cannot be cast or printed" in page
    for advice in made.mechanics.advice:
        assert set(dict(advice.changes)) <= {"gauge_mm", "wire_gauge", "material"}
        if advice.changes:
            changed = {c.id: c for c in apply_advice(made.case, advice).components}[advice.component]
            assert all(getattr(changed, field) == value for field, value in advice.changes)
