"""Which patch belongs to which crown: probabilities of random walks that shy at grooves, cut where the groove is deepest.

Method after published work on harmonic and random-walker fields for crowns (concavity-weighted links, clicks as fixed places);
the choice of the level by groove depth, size and steepness is ours, measured on the labelled scans named in the tests.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import splu

from ..mesh import Bools, Floats, Ints
from . import numbering
from .coarse import CoarseGraph

SIGMA = 0.05
FLOOR = 1e-4
HOLLOW_WEIGHT = 2.0
LEFT_OUT = 2.0
NECK = 0.66
"""How far a crown may reach from its middle close to its margin, in crown widths."""

FACIOLINGUAL_MM = {
    "upper": (7.0, 6.0, 8.0, 9.0, 9.0, 11.0, 11.0, 10.0),
    "lower": (6.0, 6.5, 7.5, 7.5, 8.0, 10.5, 10.0, 9.5),
}
HEIGHT_MM = {
    "upper": (10.5, 9.0, 10.0, 8.5, 8.5, 7.5, 7.0, 6.5),
    "lower": (9.2, 9.5, 11.0, 8.5, 8.0, 7.5, 7.0, 7.0),
}
"""Faciolingual crown width and crown height by position 1 to 8, mm. Wheeler's average carving values."""

LEVELS = np.r_[np.geomspace(0.02, 0.5, 25), 1.0 - np.geomspace(0.48, 0.03, 22)]


def crown_size(fdi: int) -> tuple[float, float, float]:
    """(mesiodistal, faciolingual, height) of an average crown, mm (Wheeler)."""
    arch, i = numbering.arch_of(fdi), numbering.position(fdi) - 1
    return numbering.crown_width(fdi), FACIOLINGUAL_MM[arch][i], HEIGHT_MM[arch][i]


def expected_area(fdi: int) -> float:
    """Surface of an average crown, mm2: its top and what a scanner sees of its sides (fitted to labelled scans)."""
    width, depth, height = crown_size(fdi)
    return 0.8 * width * depth + 0.72 * height * (width + depth)


def beyond_patches(graph: CoarseGraph, centres: dict[int, Floats], reach: float, below_mm: float) -> Bools:
    """(k, L) patches too far from each crown's middle (3,) to be that crown: beside it or below it."""
    far = np.ones((len(graph.points), len(centres)), dtype=bool)
    for i, (fdi, middle) in enumerate(centres.items()):
        width, depth, height = crown_size(fdi)
        offset = graph.points - middle
        # toward its neck a crown grows narrower: what spreads there is gum below its neighbour
        deep = np.clip((-offset[:, 2] / height - 0.4) / 0.4, 0.0, 1.0)
        beside = np.hypot(offset[:, 0], offset[:, 1]) > (reach - max(reach - NECK, 0.0) * deep) * max(width, depth)
        far[:, i] = beside | (offset[:, 2] < -(height + below_mm))
    return far


def probabilities(graph: CoarseGraph, fixed: Ints) -> Floats:
    """(k, L) chance that a walk from each patch first meets label 0..L-1. fixed : (k,) label, -1 where free."""
    labels = int(fixed.max()) + 1
    k = len(fixed)
    i, j = graph.links.T
    hollow = np.maximum(graph.hollow, 0.0)
    cost = np.maximum(graph.bend, 0.0) + HOLLOW_WEIGHT * 0.5 * (hollow[i] + hollow[j])
    weight = np.exp(-cost / SIGMA) + FLOOR
    link = coo_matrix((np.r_[weight, weight], (np.r_[i, j], np.r_[j, i])), shape=(k, k)).tocsr()
    chance = np.zeros((k, labels))
    held = np.flatnonzero(fixed >= 0)
    chance[held, fixed[held]] = 1.0
    free = np.flatnonzero(fixed < 0)
    if len(free) == 0:
        return chance
    degree = np.asarray(link.sum(axis=1)).ravel()
    matrix = (diags(degree[free] + 1e-9) - link[free][:, free]).tocsc()
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.01, options={"SymmetricMode": True})
    chance[free] = factor.solve((link @ chance)[free])
    return chance


def must_haves(graph: CoarseGraph, centres: dict[int, Floats], chance: Floats) -> Bools:
    """(k, L) patches that stand high on a crown, close to its middle (3,), and are no other crown's: hardly ever tissue."""
    result = np.zeros(chance.shape, dtype=bool)
    owner = chance.argmax(axis=1)
    for i, (fdi, middle) in enumerate(centres.items()):
        width, depth, _ = crown_size(fdi)
        offset = graph.points - middle
        near = np.hypot(offset[:, 0], offset[:, 1]) < 0.65 * max(width, depth)
        result[:, i] = near & (offset[:, 2] > -1.0) & (owner == i)
    return result


def _area_below(chance: Floats, areas: Floats) -> Floats:
    """(levels,) mm2 of the patches whose chance lies below each level."""
    order = np.argsort(chance)
    return np.r_[0.0, np.cumsum(areas[order])][np.searchsorted(chance[order], LEVELS)]


def _area_from(chance: Floats, areas: Floats) -> Floats:
    """(levels,) mm2 of the patches whose chance reaches each level."""
    return np.asarray(areas.sum() - _area_below(chance, areas))


def best_level(graph: CoarseGraph, chance: Floats, area_mm2: float, weights: tuple[float, float], must: Bools) -> float:
    """The level of (k,) chance whose border runs through the deepest groove, for a crown of about the expected size.

    weights : of a size too small and too large; must : (k,) patches that a crown should not leave out
    """
    reached = chance >= LEVELS[0]
    use = reached[graph.links].any(axis=1)
    ends = chance[graph.links[use]]
    low, high = ends.min(axis=1), ends.max(axis=1)
    groove = np.clip(graph.concavity[use], -0.3, 0.8)
    inside, needed = _area_from(chance[reached], graph.areas[reached]), _area_below(chance[must], graph.areas[must])
    score = np.full(len(LEVELS), -np.inf)
    for i, level in enumerate(LEVELS):
        border = (low < level) & (high >= level)
        if border.sum() < 8:
            continue
        size = np.log(max(float(inside[i]), 1e-6) / area_mm2)
        steep = np.sqrt(np.mean(high[border] - low[border]))
        left_out = float(needed[i]) / area_mm2
        score[i] = groove[border].mean() * steep - weights[int(size > 0)] * max(abs(size) - 0.25, 0.0) ** 2 - LEFT_OUT * left_out
    return float(LEVELS[int(score.argmax())])
