"""From terms to one score, and the choices that no other path beats in everything.

Each term is divided by an amount of its own that a technician would not accept gladly, so that a weight of 1 means: so much of it counts
as one. Lower is better. The score only orders paths; every term is always shown beside it in its own unit.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..case import PathWeights
from ..mesh import Bools, Floats
from .path_search_plan import PathPlan
from .path_search_terms import Terms

NAMES = tuple(f.name for f in fields(PathWeights))


@dataclass(frozen=True)
class Scale:
    """words : the term's name; unit : of its values; one : amount that scores 1; tangible : difference worth a second look; source"""

    words: str
    unit: str
    one: float
    tangible: float
    source: str


SCALES: dict[str, Scale] = {
    "guide_planes": Scale("enamel for guide planes, mean", "mm", 0.25, 0.05, "stripping takes 0.25 to 0.5 mm a surface (handbook, 1)"),
    "guide_inequality": Scale("difference between guide planes", "mm", 0.25, 0.05, "as above"),
    "retention": Scale("missing undercut at the tips, mean", "mm", 0.25, 0.03, "one gauge, 0.25 mm"),
    "balance": Scale("right against left undercut", "mm", 0.25, 0.05, "one gauge, 0.25 mm"),
    "interference": Scale("stand-off of rigid parts, mean", "mm", 0.25, 0.05, "relief under connectors is 0.25 mm (handbook, 6)"),
    "looks": Scale("open triangles beside front teeth", "mm2", 2.0, 0.5, "project default"),
    "block_out": Scale("block-out", "mm3", 100.0, 15.0, "project default"),
    "tilt": Scale("tilt", "deg", 10.0, 2.0, "about 10 degrees is the usual limit taught (Stewart, from memory)"),
}


def values(terms: Terms) -> dict[str, Floats]:
    """(k,) by the name of its weight, in the term's own unit."""
    found = (
        terms.mean_enamel, terms.inequality, terms.shortfall, terms.balance, terms.interference, terms.looks, terms.block_out, terms.tilt,
    )  # fmt: skip
    return dict(zip(NAMES, found, strict=True))


def shares(terms: Terms, weights: PathWeights) -> dict[str, Floats]:
    """(k,) what each term adds to the score."""
    return {name: getattr(weights, name) / SCALES[name].one * value for name, value in values(terms).items()}


def totals(terms: Terms, weights: PathWeights) -> Floats:
    """(k,) scores, lower is better."""
    return np.asarray(np.sum(list(shares(terms, weights).values()), axis=0))


def criteria(plan: PathPlan, terms: Terms, weights: PathWeights) -> tuple[Floats, Floats]:
    """(k, c) what a choice can be better in, each less is better, and (c,) what is tangible of each.

    The enamel of every abutment is a criterion of its own: to spare one tooth is a choice. Terms of weight 0 are left out.
    """
    columns, tangible = [], []
    teeth = dict.fromkeys(s.fdi for s in plan.surfaces)
    if weights.guide_planes > 0:
        for fdi in teeth:
            columns.append(terms.counted[:, [s.fdi == fdi for s in plan.surfaces]].max(axis=1))
            tangible.append(SCALES["guide_planes"].tangible)
    for name, value in values(terms).items():
        if name not in ("guide_planes", "guide_inequality") and getattr(weights, name) > 0:
            columns.append(value)
            tangible.append(SCALES[name].tangible)
    if not columns:
        return np.zeros((len(terms), 1)), np.ones(1)
    return np.stack(columns, axis=1), np.array(tangible)


def pareto(criterion: Floats) -> Bools:
    """(k,) whether no other row of (k, c) is at least as good in every column and better in one (within rounding of 1e-9)."""
    order = np.lexsort(criterion.T[::-1])
    rows = criterion[order]
    keep = np.ones(len(rows), dtype=bool)
    for i, row in enumerate(rows):
        if keep[i]:
            beaten = (rows >= row - 1e-9).all(axis=1) & (rows > row + 1e-9).any(axis=1)
            keep &= ~beaten
    out = np.zeros(len(rows), dtype=bool)
    out[order] = keep
    return out


def distinct(criterion: Floats, tangible: Floats, score: Floats, candidates: Bools, count: int) -> list[int]:
    """Indices of up to `count` candidates, best score first, each tangibly better in something than every one listed before it."""
    kept: list[int] = []
    for i in np.argsort(np.where(candidates, score, np.inf), kind="stable"):
        if not candidates[i] or len(kept) == count:
            break
        if all((criterion[i] < criterion[j] - tangible).any() for j in kept):
            kept.append(int(i))
    return kept
