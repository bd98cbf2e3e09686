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
from .model import Teeth, Tooth
from .refine import refine
from .walker import CLICK_MM, best_level, click_patches, crown_size, expected_area, must_haves, probabilities, tissue_patches

REACHES = (1.15, 0.82)
"""How far a crown may reach from its (ever better known) middle, in crown widths."""
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
        beside = REACHES[0] * max(width, depth) + 3.0 + float(np.linalg.norm(clicks - middle, axis=1).max())
        region |= (offset[:, 0] < beside) & (offset[:, 1] < beside) & (offset[:, 2] < height + BELOW_MM + 3.0)
    return region


def _start(graph: CoarseGraph, seeds: dict[int, Floats], not_here: Floats | None) -> Ints:
    """(k,) 0 at "not here" clicks, 1.. at the clicks on crowns, -1 elsewhere."""
    fixed = np.full(len(graph.points), -1, dtype=np.int64)
    if not_here is not None and len(not_here):
        fixed[click_patches(graph, np.asarray(not_here, dtype=np.float64).reshape(-1, 3))] = 0
    for i, clicks in enumerate(seeds.values()):
        fixed[click_patches(graph, clicks)] = i + 1
    return fixed


def _solve(graph: CoarseGraph, centres: dict[int, Floats], fixed: Ints, reach: float) -> tuple[Floats, Floats]:
    """Chances (k, L) and levels (L,) when crowns reach no further from their middles than so many crown widths."""
    numbers = tuple(centres)
    fixed = np.where((fixed < 0) & tissue_patches(graph, centres, reach, BELOW_MM), 0, fixed)
    if not (fixed == 0).any():
        raise CastError("the scan shows no tissue round the marked crowns; it may be at another scale than millimetres")
    chance = probabilities(graph, fixed)[:, 1:]
    area = np.array([expected_area(n) for n in numbers])
    must = must_haves(graph, centres, chance)
    each = range(len(numbers))
    levels = np.array([best_level(graph, chance[:, i], area[i], 0.3, must[:, i]) for i in each])
    # how large this mouth's teeth are, and how far up the gum reaches, is learnt from all its crowns and applied to each
    found = np.array([graph.areas[chance[:, i] >= levels[i]].sum() for i in each])
    scale = float(np.exp(np.clip(np.median(np.log(found / area)), -0.5, 0.5))) if len(numbers) >= 4 else 1.0
    return chance, np.array([best_level(graph, chance[:, i], scale * area[i], 1.0, must[:, i]) for i in each])


def _middles(field: CrownField, clicks: dict[int, Floats]) -> dict[int, Floats]:
    """(3,) for each crown: the middle of what was found of it, seen from above, at the height of its top."""
    labels, points, areas = field.patch_labels, field.graph.points, field.graph.areas
    result = {}
    for fdi, clicked in clicks.items():
        mine = np.flatnonzero(labels == fdi)
        if len(mine) < 8:
            result[fdi] = clicked.mean(axis=0)
            continue
        height = points[mine, 2]
        # from above, not by surface: a long facial face would draw the middle outward
        flat = areas[mine] * np.clip(field.graph.normals[mine, 2], 0.1, 1.0)
        middle = np.average(points[mine], axis=0, weights=flat)
        result[fdi] = np.array([middle[0], middle[1], np.percentile(height, 85)])
    return result


def crown_field(mesh: Mesh, arch: str, seeds: dict[int, Floats], not_here: Floats | None = None) -> CrownField:
    """Chances and levels for clicked crowns. A first pass finds each crown's middle, the second measures from there.

    not_here : (j, 3) points that are tissue, from "not here" clicks
    """
    seeds = _checked(mesh, arch, seeds)
    graph = coarse_graph(mesh, _region(mesh, seeds))
    clicked = _start(graph, seeds, not_here)
    centres = {n: c.mean(axis=0) for n, c in seeds.items()}
    for reach in REACHES:
        field = CrownField(graph, tuple(seeds), *_solve(graph, centres, clicked, reach))
        centres = _middles(field, seeds)
    return field


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
    drawn = refine(mesh, labels)
    if not_here is not None and len(not_here):
        # the groove may lie beyond a "not here" click; the click counts for more
        close = (
            cKDTree(np.asarray(not_here, dtype=np.float64).reshape(-1, 3)).query(mesh.vertices, distance_upper_bound=CLICK_MM)[0] < CLICK_MM
        )
        drawn[close] = 0
    teeth = teeth_from_labels(mesh, arch, drawn, missing)
    lost = [n for n in field.numbers if n not in teeth]
    if lost:
        raise CastError(f"no crown could be found at the click for {lost[0]}; click on the crown itself, away from its neighbours")
    return replace(teeth, teeth={n: _size_flag(t) for n, t in teeth.teeth.items()})


def _size_flag(tooth: Tooth) -> Tooth:
    span = float(np.ptp(tooth.margin @ tooth.mesial))
    usual = numbering.crown_width(tooth.fdi)
    # handbook section 10: sizes outside 0.7 to 1.4 times the average deserve a look
    if 0.7 * usual <= span <= 1.4 * usual:
        return tooth
    return tooth.flagged(f"{span:.1f} mm wide, where {usual:.1f} mm is usual: check the number and the margin")
