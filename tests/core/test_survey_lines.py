"""Polylines of the survey: short runs are absorbed, arcs do not shrink, chains come out in order."""

import numpy as np
import pytest
from claspwright.core.survey.lines import chains, even, runs, steady, stiff_line


@pytest.mark.parametrize("closed", [True, False])
def test_no_short_run_is_left(closed: bool) -> None:
    random = np.random.default_rng(0)
    for _ in range(300):
        count = random.integers(2, 60)
        flags = np.repeat(random.integers(0, 3, count), random.integers(1, 6, count))
        points = np.cumsum(0.2 * random.random((len(flags), 3)), axis=0)
        told = steady(flags, points, closed, 0.5)
        assert len(told) == len(flags)
        assert set(told) <= set(flags)
        step = np.r_[np.linalg.norm(np.diff(points, axis=0), axis=1), np.linalg.norm(points[0] - points[-1]) if closed else 0.0]
        lengths = [step[part].sum() for part in runs(told, closed)]
        inner = lengths if closed else lengths[1:-1]
        assert len(lengths) < 2 or min(inner, default=1.0) >= 0.5 - 1e-12


def test_smoothing_a_circle_keeps_its_radius() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 400)[:-1]
    circle = np.column_stack([3.0 * np.cos(turn), 3.0 * np.sin(turn), np.zeros_like(turn)])
    points, _ = even(circle, True, 0.15)
    assert np.hypot(*stiff_line(points, True, 0.15, np.full(len(points), 0.3))[:, :2].T) == pytest.approx(3.0, abs=2e-3)


def test_smoothing_keeps_the_ends_of_an_open_line() -> None:
    points = np.column_stack([np.linspace(0, 5, 40), np.random.default_rng(1).normal(size=40), np.zeros(40)])
    smooth = stiff_line(points, False, 0.13, np.full(len(points), 0.3))
    assert smooth[[0, -1]] == pytest.approx(points[[0, -1]], abs=1e-9)


def test_chains_follow_segments_in_order() -> None:
    segments = np.array([[3, 4], [0, 1], [2, 3], [1, 2], [6, 5], [7, 6], [5, 7]])
    found = chains(segments, 8)
    (open_line,) = [nodes.tolist() for nodes, closed in found if not closed]
    (loop,) = [nodes.tolist() for nodes, closed in found if closed]
    assert open_line in ([0, 1, 2, 3, 4], [4, 3, 2, 1, 0])
    assert sorted(loop) == [5, 6, 7]
