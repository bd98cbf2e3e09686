"""Another path for a finished design: nothing is redrawn by hand, every part is built anew where it is legal, or named with its reason."""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import pytest
from claspwright.core.case import Case, load_case
from claspwright.core.case.edit import tilted
from claspwright.core.pipeline import build
from claspwright.core.pipeline.kept import Kept

from .conftest import SAMPLES

NAMES = sorted(p.parent.name for p in SAMPLES.glob("*/case.json"))
# (anteroposterior, lateral) degrees: 1 to 10 degrees off the path, to all sides
TILTS = ((1.0, 0.0), (0.0, -3.0), (-5.0, 0.0), (4.0, 6.0), (0.0, 10.0))


def on_path(case: Case, tilt: tuple[float, float]) -> Case:
    return tilted(case, case.path.anteroposterior_deg + tilt[0], case.path.lateral_deg + tilt[1])


@pytest.mark.nightly
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", NAMES)
def test_a_new_path_builds_all_or_names_what_it_bars(name: str) -> None:
    """Watertight by trimesh; rigid parts pass along the new path by rays. What is not legal is a failed check with one line of reason."""
    case, kept = load_case(SAMPLES / name / "case.json"), Kept()
    for tilt in TILTS:
        moved = on_path(case, tilt)
        assert moved.components == case.components
        start = perf_counter()
        made = build(moved, quick=True, kept=kept)
        seconds = perf_counter() - start
        failed = {c.id: c.words for c in made.checks if c.status == "fail"}
        print(f"{name} {tilt}: {seconds:.1f} s, {len(made.refused)} refused, failed {sorted(failed)}")
        assert set(made.assembly.built) | set(made.refused) == {c.id for c in case.components}
        assert all("\n" not in why and why for why in made.refused.values())
        assert {f"component.{part}" for part in made.refused} <= set(failed), "what was refused is named among the checks"
        assert all(failed.values()) or not failed
        assert made.framework.to_trimesh().is_watertight
        assert "insertion.rigid" not in failed
        if not made.refused:
            assert "solid.one_body" not in failed


@pytest.mark.nightly
def test_only_what_hangs_on_the_path_is_made_again() -> None:
    """Reading the cast and finding its crowns do not; and back on the first path the framework has the same bytes."""
    case, kept = load_case(SAMPLES / "lower_class_iii" / "case.json"), Kept()
    first = build(case, quick=True, kept=kept)
    build(on_path(case, (3.0, 0.0)), quick=True, kept=kept)
    again = build(replace(case), quick=True, kept=kept)
    assert kept.made["read cast"] == kept.made["teeth"] == 1
    assert kept.made["survey"] == kept.made["block-out"] == 3
    assert again.framework.digest == first.framework.digest
