"""Crowns from one click a tooth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from .clicks import as_points, checked, corrected_crowns, denied_patches, granted_patches
from .coarse import CoarseGraph
from .labels import teeth_from_labels
from .model import Teeth, Tooth
from .refine import refine
from .row import row_of
from .seeds import arch_graph, core_patches, divide
from .walker import best_level, beyond_patches, crown_size, expected_area, must_haves, probabilities

REACHES = (1.15, 0.82)
"""How far a crown may reach from its (ever better known) middle, in crown widths."""
BELOW_MM = 1.5
AGREE_MM = 1.5
"""A click may lie so far outside the stretch that the row suggests for its crown; further, the row is not believed."""
CORE = 0.15
BESIDE_MM = 1.6
"""What lies so far beside the stretches of all crowns is gap."""


@dataclass(frozen=True, eq=False)
class CrownField:
    """What the clicks say: graph, FDI numbers, and for each a chance a patch (k, L) and the level that bounds the crown (L,);
    said : (k,) what the clicks alone settle: 0 tissue, 1.. the crowns in order, -1 nothing."""

    graph: CoarseGraph
    numbers: tuple[int, ...]
    chance: Floats
    levels: Floats
    said: Ints

    @property
    def patch_labels(self) -> Ints:
        """(k,) FDI number a patch, 0 for tissue; where two crowns claim one, the surer has it."""
        claim = self.chance / self.levels
        best = claim.argmax(axis=1)
        return np.where(claim.max(axis=1) >= 1.0, np.array(self.numbers)[best], 0)


def _start(
    graph: CoarseGraph, centres: dict[int, Floats], seeds: dict[int, Floats], cores: dict[int, Ints], not_here: Floats
) -> tuple[Ints, Ints]:
    """What is settled before the walk, (k,) patches each: 0 for tissue, 1.. for crowns, -1 open; and the same by clicks alone."""
    said = np.full(len(graph.points), -1, dtype=np.int64)
    said[denied_patches(graph, centres, not_here)] = 0
    for i, (fdi, clicks) in enumerate(seeds.items()):
        said[granted_patches(graph, centres[fdi], clicks)] = i + 1
    fixed = said.copy()
    for i, fdi in enumerate(seeds):
        core = cores.get(fdi, np.zeros(0, dtype=np.int64))
        fixed[core[fixed[core] < 0]] = i + 1
    return fixed, said


def _solve(
    graph: CoarseGraph, centres: dict[int, Floats], fixed: Ints, reach: float, corrected: dict[int, tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Chances (k, L) and levels (L,) when crowns reach no further from their middles than so many crown widths.

    corrected : weights of a size too small and too large, for crowns of which clicks already say that they are not as expected
    """
    numbers = tuple(centres)
    beyond = beyond_patches(graph, centres, reach, BELOW_MM)
    while not beyond.all(axis=1).any() and reach > REACHES[-1]:  # a scan trimmed close to the crowns
        reach -= 0.1
        beyond = beyond_patches(graph, centres, reach, BELOW_MM)
    said = fixed
    fixed = np.where((fixed < 0) & beyond.all(axis=1), 0, fixed)
    if not (fixed == 0).any():
        raise CastError("the scan shows no tissue round the marked crowns; it may be at another scale than millimetres")
    chance = probabilities(graph, fixed)[:, 1:]
    chance[beyond & (said[:, None] != np.arange(1, len(numbers) + 1))] = 0.0
    area = np.array([expected_area(n) for n in numbers])
    must = must_haves(graph, centres, chance)
    each = range(len(numbers))
    levels = np.array([best_level(graph, chance[:, i], area[i], (0.3, 0.3), must[:, i]) for i in each])
    # how large this mouth's teeth are, and how far up the gum reaches, is learnt from all its crowns and applied to each
    found = np.array([graph.areas[chance[:, i] >= levels[i]].sum() for i in each])
    scale = float(np.exp(np.clip(np.median(np.log(found / area)), -0.5, 0.5))) if len(numbers) >= 4 else 1.0
    trust = [corrected.get(n, (1.0, 1.0)) for n in numbers]
    return chance, np.array([best_level(graph, chance[:, i], scale * area[i], trust[i], must[:, i]) for i in each])


def _middles(field: CrownField, clicks: dict[int, Floats]) -> dict[int, Floats]:
    """(3,) for each crown: the middle of what was found of it, seen from above, at the height of its top."""
    labels, points, areas = field.patch_labels, field.graph.points, field.graph.areas
    result = {}
    for fdi, clicked in clicks.items():
        mine = np.flatnonzero(labels == fdi)
        if len(mine) < 8:
            result[fdi] = clicked[0]
            continue
        height = points[mine, 2]
        # from above, not by surface: a long facial face would draw the middle outward
        flat = areas[mine] * np.clip(field.graph.normals[mine, 2], 0.1, 1.0)
        middle = np.average(points[mine], axis=0, weights=flat)
        result[fdi] = np.array([middle[0], middle[1], np.percentile(height, 85)])
    return result


def _by_row(graph: CoarseGraph, arch: str, missing: tuple[int, ...], clicks: dict[int, Floats]) -> tuple[dict[int, Ints], Ints]:
    """What the whole row suggests: patches in the middle of each clicked crown, and patches in gaps and behind the last crowns.

    Nothing for a crown where row and click disagree, and no gaps when that happens anywhere.
    """
    nothing = np.zeros(0, dtype=np.int64)
    try:
        row = row_of(graph)
    except CastError:
        return {}, nothing
    stations = {n: row.station[graph.tree.query(c)[1]].reshape(-1) for n, c in clicks.items()}
    cores, taken = {}, np.zeros(len(graph.points), dtype=bool)
    for stretch in divide(row, arch, missing, stations):
        at = stations.get(stretch.fdi)
        if at is not None and at[0] > stretch.low - AGREE_MM and at[0] < stretch.high + AGREE_MM:
            cores[stretch.fdi] = core_patches(row, stretch, CORE)
            taken |= (row.station > stretch.low - BESIDE_MM) & (row.station < stretch.high + BESIDE_MM)
    free = np.flatnonzero(~taken & (np.abs(row.offset) < 8.0)) if len(cores) == len(clicks) else nothing
    return {n: c for n, c in cores.items() if len(c) >= 3}, free


def crown_field(
    mesh: Mesh, arch: str, seeds: dict[int, Floats], missing: tuple[int, ...] = (), not_here: Floats | None = None
) -> CrownField:
    """Chances and levels for clicked crowns. A first pass finds each crown's middle, the second measures from there.

    not_here : (j, 3) points that are tissue, from "not here" clicks
    """
    seeds, denied = checked(mesh, arch, seeds), as_points(not_here)
    graph = arch_graph(mesh)
    cores, free = _by_row(graph, arch, missing, seeds)
    centres = {n: graph.points[cores[n]].mean(axis=0) if n in cores else c[0] for n, c in seeds.items()}
    for reach in REACHES:
        fixed, said = _start(graph, centres, seeds, cores, denied)
        fixed[free[fixed[free] < 0]] = 0
        field = CrownField(graph, tuple(seeds), *_solve(graph, centres, fixed, reach, corrected_crowns(centres, seeds, denied)), said)
        centres = _middles(field, seeds)
    return field


def _patches_of_crowns(
    mesh: Mesh, arch: str, seeds: dict[int, Floats], missing: tuple[int, ...], not_here: Floats | None
) -> tuple[CrownField, Ints]:
    """The field, and (k,) FDI number a patch. A correcting click only takes away, or only adds, for the crown that it is meant for."""
    field = crown_field(mesh, arch, seeds, missing, not_here)
    labels = field.patch_labels
    centres = {n: np.asarray(c, dtype=np.float64).reshape(-1, 3)[0] for n, c in seeds.items()}
    corrected = corrected_crowns(_middles(field, {n: c[None] for n, c in centres.items()}), seeds, as_points(not_here))
    if not corrected:
        return field, labels
    before = crown_field(mesh, arch, {n: c[None] for n, c in centres.items()}, missing).patch_labels
    for fdi, (small, large) in corrected.items():
        if small < 1.0 <= large:  # smaller than usual: something was taken away
            labels = np.where((labels == fdi) & (before != fdi), 0, labels)
        elif large < 1.0 <= small:
            labels = np.where((labels == 0) & (before == fdi), fdi, labels)
    return field, labels


def find_teeth(mesh: Mesh, arch: str, seeds: dict[int, Floats], missing: tuple[int, ...] = (), *, not_here: Floats | None = None) -> Teeth:
    """The teeth of a cast (cast frame, mm) from clicks.

    seeds : by FDI number (k, 3) clicked points, one or more a crown: the first names it, each further one adds what lies from its middle
        to there
    not_here : (j, 3) clicked points that belong to no crown: each takes away what lies there and beyond, seen from the nearest crown
    Raises CastError when clicks lie off the cast, on the wrong arch, or on top of each other.
    """
    field, patches = _patches_of_crowns(mesh, arch, seeds, missing, not_here)
    labels = np.zeros(len(mesh.vertices), dtype=np.int16)
    known = field.graph.member >= 0
    labels[known] = patches[field.graph.member[known]]
    drawn = refine(mesh, labels)
    # the groove may lie beyond a click; the click counts for more
    said = np.where(known, field.said[field.graph.member], -1)
    drawn[said >= 0] = np.r_[0, field.numbers].astype(np.int16)[said[said >= 0]]
    teeth = teeth_from_labels(mesh, arch, drawn, missing, snap=True)
    lost = [n for n in field.numbers if n not in teeth]
    if lost:
        raise CastError(f"no crown could be found at the click for {lost[0]}; click on the crown itself, away from its neighbours")
    return replace(teeth, teeth={n: _size_flag(t) for n, t in teeth.teeth.items()})


def _size_flag(tooth: Tooth) -> Tooth:
    span = float(np.ptp(tooth.margin @ tooth.mesial))
    tall = float(tooth.cusps[0] @ tooth.axis - (tooth.margin @ tooth.axis).min())
    usual, _, height = crown_size(tooth.fdi)
    # handbook section 10: sizes outside 0.7 to 1.4 times the average deserve a look
    if not 0.7 * usual <= span <= 1.4 * usual:
        tooth = tooth.flagged(f"{span:.1f} mm wide, where {usual:.1f} mm is usual: check the number and the margin")
    if tall > 1.4 * height:
        tooth = tooth.flagged(f"{tall:.1f} mm from tip to margin, where {height:.1f} mm is usual: check the margin")
    return tooth
