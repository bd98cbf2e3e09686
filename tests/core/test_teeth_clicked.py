"""The number proposed for a click: on made-up casts from the first click on, and in any order."""

import numpy as np
import pytest
from claspwright.core.case import load_case
from claspwright.core.pipeline.build import read_cast
from claspwright.core.teeth import front_of, number_of_click, numbering


@pytest.fixture(scope="module", params=["lower_class_i", "upper_class_iii_mod_1"])
def marked(request: pytest.FixtureRequest):
    """Arch, points by true number, missing, front of the cast: of a sample, whose numbers its maker knows."""
    from claspwright.core.background import ROOT

    case = load_case(ROOT / "sample_scenes" / request.param / "case.json")
    points = {t.fdi: t.seeds[0] for t in case.chart.teeth}
    return case.cast.arch, points, case.chart.missing, front_of(read_cast(case).mesh)


def test_in_any_order(marked):
    arch, points, missing, front = marked
    for seed in range(6):
        known: dict[int, tuple] = {}
        for fdi in np.random.default_rng(seed).permutation(sorted(points)).tolist():
            assert number_of_click(arch, points[fdi], known, missing if seed % 2 else (), front) == fdi
            known[fdi] = points[fdi]


def test_a_full_chart_gives_the_nearest_tooth(marked):
    arch, points, _, front = marked
    rest = tuple(n for n in numbering.order(arch) if n not in points)
    for fdi, point in points.items():
        assert number_of_click(arch, point, points, rest, front) == fdi


def test_one_number_set_right_moves_its_neighbours():
    """A drifted arch: everything one tooth further back than average. After one mark the neighbour follows it."""
    assert number_of_click("lower", (24.0, -26.0, 0.0), {}) == 46
    known = {45: (24.0, -26.0, 0.0)}
    assert number_of_click("lower", (27.0, -35.0, 0.0), known) == 46
