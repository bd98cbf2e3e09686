"""A build with what was kept from the one before: the same bytes as from nothing, and only what depends on the change made again."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path as FilePath

import pytest
from claspwright.core.case import Case, IBar, load_case
from claspwright.core.case.edit import tilted
from claspwright.core.case.keys import key_of
from claspwright.core.pipeline import Build, build
from claspwright.core.pipeline.build import Clock, groundwork
from claspwright.core.pipeline.kept import Kept

SAMPLE = FilePath(__file__).resolve().parents[2] / "sample_scenes" / "lower_class_i" / "case.json"
BEFORE_THE_PARTS = {"read cast", "teeth", "survey", "charts", "preparation", "block-out", "site"}


def with_gauge(case: Case, gauge: float) -> Case:
    return replace(case, components=tuple(replace(c, gauge_mm=gauge) if isinstance(c, IBar) else c for c in case.components))


@pytest.mark.slow
def test_a_moved_clasp_makes_only_its_own_stages_again_and_the_same_bytes(quick_lower: Build) -> None:
    kept = Kept()
    build(with_gauge(quick_lower.case, 0.2), quick=True, kept=kept)
    assert set(kept.made) >= BEFORE_THE_PARTS and set(kept.made.values()) == {1}
    again = build(quick_lower.case, quick=True, kept=kept)
    assert all(kept.made[stage] == 1 for stage in BEFORE_THE_PARTS)
    assert again.framework.digest == quick_lower.framework.digest


@pytest.mark.nightly
def test_each_change_goes_as_far_as_it_must(monkeypatch: pytest.MonkeyPatch) -> None:
    """One change after the other, counted up to the block-out: the parts themselves are not built here."""

    def stop(*_: object) -> None:
        raise RuntimeError("far enough")

    monkeypatch.setattr(importlib.import_module("claspwright.core.pipeline.build"), "build_components", stop)
    steps: list[tuple[Callable[[Case], Case], set[str]]] = [
        (lambda c: c, BEFORE_THE_PARTS),
        (lambda c: replace(c, title="another name"), set()),
        (lambda c: replace(c, manufacture=replace(c.manufacture, block_out_taper_deg=2.0)), {"block-out", "site"}),
        (lambda c: tilted(c, 1.0, 0.0), BEFORE_THE_PARTS - {"read cast", "teeth"}),
    ]
    case, kept = load_case(SAMPLE), Kept()
    for change, expected in steps:
        before = dict(kept.made)
        case = change(case)
        with pytest.raises(RuntimeError, match="far enough"):
            groundwork(case, Clock(None, None, kept), quick=True)
        assert {stage for stage, count in kept.made.items() if count != before.get(stage, 0)} == expected


def test_kept_by_content_and_only_the_last() -> None:
    kept = Kept()
    made: list[int] = []

    def make() -> int:
        made.append(0)
        return len(made)

    assert [kept.get("stage", key_of(k), make) for k in (1, 1, 2, 1)] == [1, 1, 2, 3]
    assert kept.made == {"stage": 3}
    assert key_of("a", "b") != key_of("ab")


def test_a_failed_stage_is_not_kept() -> None:
    kept = Kept()
    with pytest.raises(ZeroDivisionError):
        kept.get("stage", "key", lambda: 1 // 0)
    assert kept.get("stage", "key", lambda: 5) == 5
