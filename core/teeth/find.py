"""Crowns from one click a tooth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from ..errors import CastError
from ..mesh import Bools, Floats, Ints, Mesh
from . import numbering
from .coarse import CoarseGraph, coarse_graph
from .labels import teeth_from_labels
from .model import Teeth
from .walker import best_level, click_patches, crown_size, expected_area, probabilities, tissue_patches

REACH = 0.82
BELOW_MM = 2.0
FAR_MM = 3.0
"""A click further than this from the surface was not made on this cast."""


@dataclass(frozen=True, eq=False)
class CrownField:
    """What the clicks say: graph, FDI numbers, and for each a chance a patch (k, L) and the level that bounds the crown (L,)."""

    graph: CoarseGraph
    numbers: tuple[int, ...]
    chance: Floats
    levels: Floats

    @property
    def patch_labels(self) -> Ints:
        """(k,) FDI number a patch, 0 for tissue; where two crowns claim one, the surer has it."""
        claim = self.chance / self.levels
        best = claim.argmax(axis=1)
        return np.where(claim.max(axis=1) >= 1.0, np.array(self.numbers)[best], 0)


def _checked(mesh: Mesh, arch: str, seeds: dict[int, Floats]) -> dict[int, Floats]:
    if not seeds:
        raise CastError("no tooth is marked; click once on each crown")
    result = {}
    for fdi, clicks in seeds.items():
        if numbering.arch_of(fdi) != arch:
            raise CastError(f"tooth {fdi} does not stand in the {arch} arch; give the click another number")
        result[int(fdi)] = np.asarray(clicks, dtype=np.float64).reshape(-1, 3)
    points = np.vstack(list(result.values()))
    owner = np.repeat(list(result), [len(c) for c in result.values()])
    distance = cKDTree(mesh.vertices).query(points)[0]
    if distance.max() > FAR_MM:
        raise CastError(f"a click for {owner[distance.argmax()]} lies {distance.max():.1f} mm off the cast; click on the crown itself")
    near = cKDTree(points).query_pairs(0.5)
    clash = next(((owner[a], owner[b]) for a, b in near if owner[a] != owner[b]), None)
    if clash is not None:
        raise CastError(f"{clash[0]} and {clash[1]} are clicked in the same place; move or remove one of them")
    return result


def _region(mesh: Mesh, seeds: dict[int, Floats]) -> Bools:
    """Vertices near enough to a click to be crown or the tissue round it."""
    region = np.zeros(len(mesh.vertices), dtype=bool)
    for fdi, clicks in seeds.items():
        width, depth, height = crown_size(fdi)
        middle = clicks.mean(axis=0)
        offset = np.abs(mesh.vertices - middle)
        beside = REACH * max(width, depth) + 3.0 + float(np.linalg.norm(clicks - middle, axis=1).max())
        region |= (offset[:, 0] < beside) & (offset[:, 1] < beside) & (offset[:, 2] < height + BELOW_MM + 3.0)
    return region


def crown_field(mesh: Mesh, arch: str, seeds: dict[int, Floats], not_here: Floats | None = None) -> CrownField:
    """Chances and levels for clicked crowns.

    not_here : (j, 3) points that are tissue, from "not here" clicks
    """
    seeds = _checked(mesh, arch, seeds)
    graph = coarse_graph(mesh, _region(mesh, seeds))
    numbers = tuple(seeds)
    fixed = np.full(len(graph.points), -1, dtype=np.int64)
    fixed[tissue_patches(graph, seeds, REACH, BELOW_MM)] = 0
    if not_here is not None and len(not_here):
        fixed[click_patches(graph, np.asarray(not_here, dtype=np.float64).reshape(-1, 3))] = 0
    if not (fixed == 0).any():
        raise CastError("the scan shows no tissue round the marked crowns; it may be at another scale than millimetres")
    for i, clicks in enumerate(seeds.values()):
        fixed[click_patches(graph, clicks)] = i + 1
    chance = probabilities(graph, fixed)[:, 1:]
    area = np.array([expected_area(n) for n in numbers])
    levels = np.array([best_level(graph, chance[:, i], area[i], 0.3) for i in range(len(numbers))])
    # how large this mouth's teeth are, and how far up the gum reaches, is learnt from all its crowns and applied to each
    found = np.array([graph.areas[chance[:, i] >= levels[i]].sum() for i in range(len(numbers))])
    scale = float(np.exp(np.clip(np.median(np.log(found / area)), -0.5, 0.5))) if len(numbers) >= 4 else 1.0
    levels = np.array([best_level(graph, chance[:, i], scale * area[i], 1.0) for i in range(len(numbers))])
    return CrownField(graph, numbers, chance, levels)


def find_teeth(mesh: Mesh, arch: str, seeds: dict[int, Floats], missing: tuple[int, ...] = (), *, not_here: Floats | None = None) -> Teeth:
    """The teeth of a cast (cast frame, mm) from clicks.

    seeds : by FDI number (k, 3) clicked points, one or more a crown
    not_here : (j, 3) clicked points that belong to no crown
    Raises CastError when clicks lie off the cast, on the wrong arch, or on top of each other.
    """
    field = crown_field(mesh, arch, seeds, not_here)
    labels = np.zeros(len(mesh.vertices), dtype=np.int16)
    known = field.graph.member >= 0
    labels[known] = field.patch_labels[field.graph.member[known]]
    teeth = teeth_from_labels(mesh, arch, labels, missing)
    lost = [n for n in field.numbers if n not in teeth]
    if lost:
        raise CastError(f"no crown could be found at the click for {lost[0]}; click on the crown itself, away from its neighbours")
    return replace(teeth, teeth={n: _size_flag(mesh, teeth, n) for n in teeth.teeth})


def _size_flag(mesh: Mesh, teeth: Teeth, fdi: int):  # type: ignore[no-untyped-def]
    tooth = teeth[fdi]
    span = float(np.ptp(tooth.margin @ tooth.mesial))
    usual = numbering.crown_width(fdi)
    # handbook section 10: sizes outside 0.7 to 1.4 times the average deserve a look
    if 0.7 * usual <= span <= 1.4 * usual:
        return tooth
    return tooth.flagged(f"{span:.1f} mm wide, where {usual:.1f} mm is usual: check the number and the margin")
