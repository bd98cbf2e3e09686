"""The sample cases: each is what its title says; together they use the whole catalogue; nightly, each is built and green."""

from __future__ import annotations

import hashlib

import pytest
from claspwright.core.case import Case, load_case
from claspwright.core.case.components import KINDS
from claspwright.core.pipeline import build
from claspwright.core.planning import Design, critique

from .conftest import SAMPLES

NAMES = sorted(p.parent.name for p in SAMPLES.glob("*/case.json"))
# Forms of one kind that are parts of their own in the trade: kind, field, value.
FORMS = {
    ("occlusal_rest", "form", "short"), ("occlusal_rest", "form", "long"), ("occlusal_rest", "form", "embrasure"),
    ("cingulum_rest", "form", "chevron"), ("cingulum_rest", "form", "ball"),
    ("lattice_base", "form", "lattice"), ("lattice_base", "form", "mesh"), ("lattice_base", "stop", True),
    ("bead_plate", "form", "beads"), ("bead_plate", "form", "posts"),
    ("palatal_plate", "complete", False), ("palatal_plate", "complete", True),
    ("t_bar", "modified", False), ("t_bar", "modified", True),
}  # fmt: skip


def case_of(name: str) -> Case:
    return load_case(SAMPLES / name / "case.json")


def test_together_they_use_the_whole_catalogue() -> None:
    used = [c for name in NAMES for c in case_of(name).components]
    assert {c.kind for c in used} == set(KINDS)
    assert {(c.kind, field, getattr(c, field, None)) for c in used for _, field, _ in FORMS} >= FORMS


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_read_and_is_what_it_says(name: str) -> None:
    """Class by Applegate's rules, from the chart alone; no rule of design finds an error; the cast is the one that was prescribed on."""
    case = case_of(name)
    design = Design(case)
    assert design.classification.name.replace(",", "") in case.title
    assert [(f.rule, f.parts, f.detail) for f in critique(design) if f.severity == "error"] == []
    assert hashlib.sha256(case.scan.read_bytes()).hexdigest() == case.cast.sha256
    assert "Invented" in case.notes and case.scan.stat().st_size < 6_000_000


@pytest.mark.nightly
@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_built_and_green(name: str) -> None:
    """All parts in one watertight body by two general libraries (trimesh, manifold3d), and no check fails."""
    made = build(case_of(name))
    assert made.refused == {}
    assert [(c.id, c.value, c.words) for c in made.checks if c.status == "fail"] == []
    assert made.framework.to_trimesh().is_watertight
    assert sum(p.volume() > 0.05 for p in made.framework.to_manifold().decompose()) == 1
