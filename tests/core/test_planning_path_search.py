"""The search finds planted paths, lists planted compromises, and scores a picked path like any other."""

import numpy as np
import pytest
from claspwright.core.case import PathEntry, PathWeights
from claspwright.core.case.fields import parse, unparse
from claspwright.core.errors import CaseError
from claspwright.core.output.path_map import SIZE, path_map
from claspwright.core.output.path_words import path_rows, path_words
from claspwright.core.planning.path_search import PathSearch, score, score_path, search
from claspwright.core.planning.path_search_grid import CONE_DEG, SPACING_DEG, angles_between
from claspwright.core.planning.path_search_plan import plan_path
from claspwright.core.planning.path_search_score import criteria, distinct, pareto
from claspwright.core.survey import Path
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from .path_casts import direction, planted_cast

COARSE_DEG = 3.0  # of the map: the best path is refined whatever it is
PATTERNS = ((33, 35, 44, 47), (34, 37, 44, 47))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_a_hidden_path_is_found(seed):
    """All guide surfaces parallel to a hidden direction, up to 15 degrees from the occlusal normal: found within 0.5 degrees."""
    rng = np.random.default_rng([7, seed])
    turn, tilt = rng.uniform(0.0, 2.0 * np.pi), 15.0 * np.sqrt(rng.random())
    hidden = direction(tilt * np.cos(turn), tilt * np.sin(turn))
    plan = plan_path(*planted_cast(dict.fromkeys(PATTERNS[seed % 2], hidden)))
    found = search(plan, spacing_deg=COARSE_DEG)
    assert angles_between(hidden, found.best.path.vector) < 0.5
    assert found.best.terms.enamel.max() < 0.05


LEFT, RIGHT = np.array([-6.0, 5.0]), np.array([3.0, 8.0])
"""Hidden places (lateral, anteroposterior) of the abutments on either side, degrees."""


@pytest.fixture(scope="module")
def conflict() -> PathSearch:
    """Round crowns whose walls are parallel to one direction on the left and to another on the right; only enamel and tilt count."""
    axes = {34: direction(*LEFT), 37: direction(*LEFT), 44: direction(*RIGHT), 47: direction(*RIGHT)}
    only = PathWeights(guide_inequality=0.5, retention=0.0, balance=0.0, interference=0.0, looks=0.0, block_out=0.0, tilt=0.02)
    return search(plan_path(*planted_cast(axes, planes=False)), only, Path(4.0, 2.0))


def _outside(place: np.ndarray) -> float:
    """Degrees that a place lies outside the triangle of no tilt and the two hidden places."""
    corners = np.array([[0.0, 0.0], RIGHT, LEFT])  # anti-clockwise
    far = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = (b - a) / np.linalg.norm(b - a)
        far.append(side[1] * (place - a)[0] - side[0] * (place - a)[1])
    return max(far)


def test_the_front_holds_the_planted_compromises(conflict):
    """To spare one side wholly, or to share the cost: no direction beats the two hidden ones and those between them in everything.

    What lies beyond them costs every abutment more, so the front keeps to the triangle of both and of no tilt.
    """
    front = conflict.terms.plane[conflict.front]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        planted = (1.0 - share) * LEFT + share * RIGHT
        assert np.linalg.norm(front - planted, axis=1).min() < 0.6 * SPACING_DEG
    assert max(_outside(p) for p in front) < 2.0 * SPACING_DEG
    assert conflict.front.mean() < 0.1
    spared = {s.fdi: k for k, s in enumerate(conflict.plan.surfaces)}
    for place, own, other in ((LEFT, 37, 47), (RIGHT, 47, 37)):
        enamel = score(conflict.plan, place, conflict.weights).terms.enamel[0]
        assert enamel[spared[own]] < 0.03 and enamel[spared[other]] > 0.15


def test_the_best_path_shares_the_cost_and_the_choices_do_not(conflict):
    assert _outside(conflict.best.place) < 0.3
    middle = 0.5 * (LEFT + RIGHT)
    assert np.linalg.norm(conflict.best.place - middle) < 2.0 and conflict.best.total <= conflict.total.min() + 1e-6
    left = [s.fdi < 40 for s in conflict.plan.surfaces]
    gaps = [c.terms.enamel[0, left].max() - c.terms.enamel[0, np.invert(left)].max() for c in conflict.choices]
    assert min(gaps) < -0.1 and max(gaps) > 0.1  # at least one choice spares either side


def test_a_picked_path_is_scored_like_any_other(conflict):
    again = score_path(conflict.plan, conflict.best.path, conflict.weights)
    assert again.total == pytest.approx(conflict.best.total, abs=1e-4)
    assert conflict.picked is not None and conflict.picked.path == Path(4.0, 2.0)
    assert conflict.picked.total == pytest.approx(sum(conflict.picked.shares.values())) and conflict.picked.total > conflict.best.total
    far = score_path(conflict.plan, Path(25.0, 0.0), conflict.weights)  # outside the cone it is scored all the same
    assert far.terms.tilt[0] == pytest.approx(25.0) and far.total > conflict.picked.total
    assert conflict.along.tilt[0] == 0.0 and conflict.along.tilt[-1] == pytest.approx(conflict.best.terms.tilt[0])


def test_weights_decide(conflict):
    upright = search(conflict.plan, PathWeights(tilt=10.0), spacing_deg=4.0)
    assert upright.best.terms.tilt[0] < 0.1
    spare = PathWeights(guide_planes=0.0, guide_inequality=0.0, retention=0.0, balance=0.0, interference=0.0, looks=0.0, block_out=0.0)
    assert criteria(conflict.plan, conflict.terms, spare)[0].shape == (len(conflict.terms), 1)  # the tilt alone


def test_words_and_map_of_a_search(conflict):
    words = "\n".join(path_words(conflict))
    rows = {r.key: r for r in path_rows(conflict, [conflict.zero.terms, conflict.best.terms])}
    enamel = rows["enamel 37 mesial"]
    assert f"{enamel.words:<20s}" in words and f"{enamel.values[1]:10.2f}" in words
    assert "buys   enamel to remove" in words and "a degree)" in words and "Picked path: front lowered 4.0°, patient's right side" in words
    assert "Degree by degree" in words and "Other choices" in words and "clinician's decision" in words
    image = path_map(conflict)
    assert image.size == SIZE
    pixels = np.asarray(image)
    assert (np.ptp(pixels[200:800, 200:700].reshape(-1, 3), axis=0) > 100).all()


def test_weights_of_a_case_are_checked():
    entry = parse(PathEntry, {"weights": {"guide_planes": 2.5, "tilt": 0}}, "case.path")
    assert entry.weights.guide_planes == 2.5 and entry.weights.tilt == 0.0 and entry.weights.retention == PathWeights().retention
    assert unparse(PathEntry()) == {} and parse(PathEntry, unparse(entry), "case.path") == entry
    with pytest.raises(CaseError, match=r"case\.path\.weights\.tilt: -1.* outside 0 to 10"):
        parse(PathEntry, {"weights": {"tilt": -1.0}}, "case.path")
    with pytest.raises(CaseError, match=r"weights\.looks_good: no such field"):
        parse(PathEntry, {"weights": {"looks_good": 1.0}}, "case.path")
    order = PathWeights()
    assert order.guide_planes > order.retention > order.interference > order.looks > order.tilt  # the trade's order


@given(arrays(np.float64, st.tuples(st.integers(1, 24), st.integers(1, 4)), elements=st.integers(0, 4).map(float)))
@settings(max_examples=60, deadline=None)
def test_the_front_against_its_definition(rows):
    beaten = [any((o <= r).all() and (o < r).any() for o in rows) for r in rows]
    assert np.array_equal(pareto(rows), np.invert(beaten))


def test_distinct_choices_each_offer_something():
    criterion = np.array([[1.0, 1.0], [1.0, 0.99], [0.2, 2.0], [2.0, 0.2], [0.3, 2.5]])
    kept = distinct(criterion, np.full(2, 0.1), np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.ones(5, dtype=bool), 5)
    assert kept == [0, 2, 3]


def test_the_cone_is_never_left(conflict):
    edge = PathWeights(guide_planes=0.0, guide_inequality=0.0, retention=0.0, balance=0.0, interference=10.0, looks=0.0, block_out=0.0,
                       tilt=0.0)  # fmt: skip
    assert search(conflict.plan, edge, spacing_deg=5.0).best.terms.tilt[0] <= CONE_DEG + 1e-6
