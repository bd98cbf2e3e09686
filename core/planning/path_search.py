"""Search for a path of placement: the whole cone as a map, the best path, the choices near it, and any picked path scored alike.

The terms and their definitions: path_search_terms.py. Nothing here decides: the map and the choices are shown, the clinician picks.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from ..case import PathWeights
from ..mesh import Bools, Floats
from ..survey import Path
from .path_search_grid import CONE_DEG, SPACING_DEG, hexagon, inside, path_of, plane_of
from .path_search_plan import PathPlan
from .path_search_score import criteria, distinct, pareto, shares, totals
from .path_search_terms import Terms, evaluate

FINEST_DEG = 0.04
"""Last step of the refinement: well below the 0.1 degrees that it is meant to reach."""
CHOICES = 6
_STARTS = 3
_APART_DEG = 2.5  # of two starts of the refinement
_NEAR_DEG = 10.0  # choices lie so near to the best path
_MOVES = 14  # of the refinement at one step


@dataclass(frozen=True, eq=False)
class Scored:
    """One path with its terms (arrays of length one), its score and what each term adds to it."""

    path: Path
    terms: Terms
    total: float
    shares: dict[str, float]

    @property
    def place(self) -> Floats:
        """(2,) in the tilt plane: lateral, anteroposterior, degrees."""
        return self.terms.plane[0]


@dataclass(frozen=True, eq=False)
class PathSearch:
    """What a search found.

    terms, total, front : of the k directions of the map; front says which no other beats in everything (Pareto)
    zero, best, picked : no tilt, the least score (refined), the path picked by hand; choices : others worth a look, best score first
    along : terms at every degree from no tilt to the best path; seconds : of the map alone
    """

    plan: PathPlan
    weights: PathWeights
    terms: Terms
    total: Floats
    front: Bools
    zero: Scored
    best: Scored
    picked: Scored | None
    choices: tuple[Scored, ...]
    along: Terms
    seconds: float


def score(plan: PathPlan, place: Floats, weights: PathWeights) -> Scored:
    """One place (2,) of the tilt plane, with the block-out sampled densely."""
    terms = evaluate(plan, np.asarray(place, dtype=np.float64).reshape(1, 2), fine=True)
    parts = {name: float(value[0]) for name, value in shares(terms, weights).items()}
    return Scored(path_of(terms.plane[0]), terms, sum(parts.values()), parts)


def score_path(plan: PathPlan, path: Path, weights: PathWeights) -> Scored:
    """A path picked by hand, scored like every other; it may lie outside the cone."""
    found = score(plan, plane_of(path.vector), weights)
    return Scored(path, found.terms, found.total, found.shares)


def search(
    plan: PathPlan, weights: PathWeights | None = None, picked: Path | None = None, *, spacing_deg: float = SPACING_DEG
) -> PathSearch:
    """Score the cone of CONE_DEG round the occlusal normal, refine the best path, and list the choices near it.

    spacing_deg : of the directions of the map; the best path is refined to FINEST_DEG whatever it is
    """
    weights = PathWeights() if weights is None else weights
    begin = time.perf_counter()
    terms = evaluate(plan, hexagon(CONE_DEG, spacing_deg))
    seconds = time.perf_counter() - begin
    total = totals(terms, weights)
    ends = [refine(plan, terms.plane[i], weights, spacing_deg) for i in _starts(terms.plane, total)]
    place = min(ends, key=lambda end: end[1])[0]
    best = score(plan, place, weights)
    criterion, tangible = criteria(plan, terms, weights)
    front = pareto(criterion)
    return PathSearch(
        plan,
        weights,
        terms,
        total,
        front,
        score(plan, np.zeros(2), weights),
        best,
        None if picked is None else score_path(plan, picked, weights),
        _choices(plan, terms, total, front, best, weights),
        evaluate(plan, _steps(place), fine=True),
        seconds,
    )


def _starts(plane: Floats, total: Floats) -> list[int]:
    """The best directions of the map that lie apart."""
    kept: list[int] = []
    for i in np.argsort(total, kind="stable"):
        if all(np.hypot(*(plane[i] - plane[j])) > _APART_DEG for j in kept):
            kept.append(int(i))
        if len(kept) == _STARTS:
            break
    return kept


def refine(plan: PathPlan, place: Floats, weights: PathWeights, spacing_deg: float = SPACING_DEG) -> tuple[Floats, float]:
    """The least score near a place (2,) of the map, within FINEST_DEG, and that score.

    The score has kinks (the furthest of several surfaces counts), so no slopes are used: hexagons round the best place so far, ever finer.
    """
    step = 0.6 * spacing_deg
    best, least, rings = np.asarray(place, dtype=np.float64), np.inf, 2.0
    while True:
        for _ in range(_MOVES):
            around = best + hexagon(rings * step, step)
            around = around[inside(around, CONE_DEG)]
            score_here = totals(evaluate(plan, around), weights)
            k = int(score_here.argmin())
            still = score_here[k] >= least - 1e-9
            if not still:
                best, least = around[k], float(score_here[k])
            if still or k == 0:
                break
        if step <= FINEST_DEG:
            return best, least
        step, rings = max(step / 2.0, FINEST_DEG), 1.0


def _choices(plan: PathPlan, terms: Terms, total: Floats, front: Bools, best: Scored, weights: PathWeights) -> tuple[Scored, ...]:
    """Paths of the front near the best one, each tangibly better in something than the best and than those listed before."""
    near = front & (np.linalg.norm(terms.plane - best.place, axis=1) <= _NEAR_DEG)
    both = Terms(**{name: np.concatenate([getattr(best.terms, name), value]) for name, value in vars(terms).items()})
    criterion, tangible = criteria(plan, both, weights)
    score_all = np.r_[-np.inf, total]
    kept = distinct(criterion, 2.0 * tangible, score_all, np.r_[True, near], CHOICES + 1)
    return tuple(score(plan, terms.plane[i - 1], weights) for i in kept if i > 0)


def _steps(place: Floats) -> Floats:
    """(k, 2) every whole degree from no tilt towards a place, and the place itself."""
    tilt = float(np.hypot(*place))
    way = np.r_[np.arange(0.0, tilt, 1.0), tilt]
    return np.outer(way / max(tilt, 1e-12), place)
