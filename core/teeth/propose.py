"""Seeds proposed without clicks: the row of crowns is cut at its embrasures, and numbers are dealt along the arch. A proposal, to be looked at.

The cutting is a shortest path: widths near the average of each tooth, cuts where both flanks of the row are hollow, gaps where nothing
stands up to the occlusal plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.spatial import cKDTree

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from . import numbering
from .coarse import CoarseGraph, coarse_graph

STEP_MM = 0.5
CROWN_MM = 3.0
"""What rises to within this of the occlusal plane counts as crown; a healed ridge lies further below (crown heights after Wheeler)."""
WIDTH_SPREAD = 0.2
"""Spread of crown widths between people, as a logarithm: a generous reading of a standard deviation of about 0.5 mm on 7 mm."""
GONE = (2.0, 2.0, 2.0, 1.5, 1.5, 1.5, 1.5, 0.2)
KNOWN_GONE = 0.1
THIRD = 2.0
"""Costs of a missing tooth by position, of one known to be missing, and of a standing third molar, which most casts lack."""
LEFT_OVER = 0.6
EMPTY_COST = 1.2
CUT_GAIN = 2.0


@dataclass(frozen=True, eq=False)
class Row:
    """The row of crowns along the arch: station s (b,) mm from the middle of the front, filled (b,) 0..1, hollow (b,) depth of the flanks'
    grooves, 1 on average. station, offset (k,) of the graph's patches, high (k,) those at the occlusal plane."""

    s: Floats
    filled: Floats
    hollow: Floats
    station: Floats
    offset: Floats
    high: Floats


def _occlusal_heights(graph: CoarseGraph) -> Floats:
    """(k,) height of each patch over the plane that the highest parts of the cast touch."""
    p = graph.points
    cell = np.floor(p[:, :2] / 4.0).astype(np.int64)
    _, group = np.unique(cell[:, 0] * 10_000 + cell[:, 1], return_inverse=True)
    order = np.lexsort((-p[:, 2], group.reshape(-1)))
    first = order[np.r_[True, np.diff(group.reshape(-1)[order]) != 0]]
    tops = p[first]
    tops = tops[tops[:, 2] > np.percentile(p[:, 2], 99.5) - 10.0]
    design = np.column_stack([tops[:, :2], np.ones(len(tops))])
    weight = np.exp((tops[:, 2] - tops[:, 2].max()) / 3.0)
    fit = np.zeros(3)
    for _ in range(12):
        fit = np.linalg.lstsq(design * weight[:, None], tops[:, 2] * weight, rcond=None)[0]
        fit[:2] = np.clip(fit[:2], -0.2, 0.2)
        off = tops[:, 2] - design @ fit
        # tips of teeth lie on or over the plane; everything well below it is something else
        weight = np.where(off > 0, 1.0, np.exp(-((off / 1.2) ** 2)))
    return np.asarray(p[:, 2] - np.column_stack([p[:, :2], np.ones(len(p))]) @ fit)


def _row(graph: CoarseGraph) -> Row:
    height = _occlusal_heights(graph)
    p = graph.points
    high = (height > -CROWN_MM) & (graph.normals[:, 2] > 0.2)
    if high.sum() < 30:
        raise CastError("no row of crowns is found; check that Z points occlusally, or click on the teeth")
    middle_x = 0.5 * np.sum(np.percentile(p[high, 0], [2, 98]))
    middle = np.array([middle_x, np.percentile(p[high, 1], 30)])
    flat = p[:, :2] - middle
    angle, radius = np.arctan2(flat[:, 0], flat[:, 1]), np.hypot(*flat.T)
    reach = float(np.percentile(np.abs(angle[high]), 99)) + 0.1
    keep, basis = high.copy(), np.vander(angle / reach, 7)
    coefficients = np.zeros(7)
    for _ in range(5):
        # even steps of angle count alike, however many patches a molar has
        count = np.histogram(angle[keep], 40, (-reach, reach))[0]
        share = 1.0 / np.sqrt(np.maximum(count[np.clip(((angle[keep] + reach) / (2 * reach) * 40).astype(int), 0, 39)], 3))
        damp = 0.05 * np.eye(7)[:5]
        system = np.vstack([basis[keep] * share[:, None], damp])
        coefficients = np.linalg.lstsq(system, np.r_[radius[keep] * share, np.zeros(5)], rcond=None)[0]
        keep = high & (np.abs(radius - basis @ coefficients) < 6.0)
    return _measured(graph, height, high, middle, coefficients, reach, angle)


def _measured(graph: CoarseGraph, height: Floats, high: Ints, middle: Floats, coefficients: Floats, reach: float, angle: Floats) -> Row:
    t = np.linspace(-reach, reach, 1200)
    r = np.vander(t / reach, 7) @ coefficients
    line = middle + np.column_stack([r * np.sin(t), r * np.cos(t)])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    along -= np.interp(0.0, t, along)
    distance, nearest = cKDTree(line).query(graph.points[:, :2])
    tangent = np.gradient(line, axis=0)
    left = np.column_stack([-tangent[:, 1], tangent[:, 0]])[nearest]
    sign = np.sign(np.einsum("ij,ij->i", graph.points[:, :2] - line[nearest], left))
    station, offset = along[nearest], distance * sign
    s = np.arange(along[0], along[-1], STEP_MM)
    bins = np.clip(((station - s[0]) / STEP_MM).astype(int), 0, len(s) - 1)
    in_row = high & (np.abs(offset) < 3.0)
    filled = np.bincount(bins[in_row], graph.areas[in_row], len(s)) > 0.6
    flank = (height > -7.0) & (np.abs(offset) > 1.8) & (np.abs(offset) < 6.0)
    groove = np.clip(graph.hollow, 0.0, 0.8) * graph.areas
    total = gaussian_filter1d(np.bincount(bins[flank], groove[flank], len(s)), 0.6 / STEP_MM)
    area = gaussian_filter1d(np.bincount(bins[flank], graph.areas[flank], len(s)), 0.6 / STEP_MM)
    hollow = total / np.maximum(area, 0.3)
    # the row is narrowest at the contacts, and its tops are lowest there
    top = np.full(len(s), -CROWN_MM)
    near = in_row & (np.abs(offset) < 2.5)
    np.maximum.at(top, bins[near], height[near])
    dip = np.clip(gaussian_filter1d(uniform_filter1d(top, int(8 / STEP_MM)) - top, 0.5 / STEP_MM), 0.0, 2.0)
    score = hollow / max(float(hollow.mean()), 1e-6) + 0.5 * dip
    return Row(s, gaussian_filter1d(filled.astype(float), 0.5 / STEP_MM), score, station, offset, high)


def _costs(row: Row, direction: int, widths: Floats, gone: frozenset[int]) -> tuple[Floats, Ints, Ints]:
    """Dealing the teeth of one side, backward from the end of the row.

    Returns cost-to-go (9, b) from a place with k teeth dealt, the bins that the next tooth takes (9, b; -1: the row ends here), and
    whether that tooth stands (9, b). Bins are counted in the direction of dealing.
    """
    filled, hollow = row.filled[::direction], row.hollow[::direction]
    gain = CUT_GAIN * np.minimum(hollow, 3.0) / 3.0
    sums = np.r_[0.0, np.cumsum(filled)] * STEP_MM
    count = len(filled)
    cost = np.tile(LEFT_OVER * (sums[-1] - sums[:-1]), (9, 1))
    take, stands = np.full((9, count), -1), np.zeros((9, count), dtype=np.int64)
    for k in range(7, -1, -1):
        width = float(widths[k])
        spans = np.arange(0, int(1.5 * width / STEP_MM) + 1)
        for n in spans:
            inside = sums[n:count] - sums[: count - n]
            after = cost[k + 1, n:]
            options = [(after + (KNOWN_GONE if k + 1 in gone else GONE[k]) + EMPTY_COST * inside + 0.3 * abs(n * STEP_MM / width - 1.0), 0)]
            if k + 1 not in gone and n * STEP_MM >= 0.6 * width:
                odd = 0.5 * (np.log(n * STEP_MM / width) / WIDTH_SPREAD) ** 2
                empty = np.maximum(n * STEP_MM - inside - 0.5, 0.0)
                options.append((after + odd + EMPTY_COST * empty - gain[n:] + (THIRD if k == 7 else 0.0), 1))
            for total, standing in options:
                better = total < cost[k, : count - n]
                cost[k, : count - n][better] = total[better]
                take[k, : count - n][better] = n
                stands[k, : count - n][better] = standing
    return cost, take, stands


def _read(start: int, take: Ints, stands: Ints) -> list[tuple[int, int, int]]:
    """(position 1..8, from bin, to bin) of the teeth that stand, dealt from a start bin."""
    chosen, at = [], start
    for k in range(8):
        n = int(take[k, at])
        if n < 0:
            break
        if stands[k, at]:
            chosen.append((k + 1, at, at + n))
        at += n
    return chosen


def propose_seeds(mesh: Mesh, arch: str, missing: tuple[int, ...] = ()) -> dict[int, Floats]:
    """A seed (1, 3) on the occlusal side of every crown found, by the FDI number it seems to have. Cast frame, mm.

    missing : FDI numbers known to be missing, which makes the numbering surer
    Raises CastError when no row of crowns is found.
    """
    numbering.order(arch)
    region = mesh.vertices[:, 2] > np.percentile(mesh.vertices[:, 2], 99.9) - 18.0
    graph = coarse_graph(mesh, region)
    row = _row(graph)
    average = np.array(numbering.CROWN_WIDTH_MM[arch])
    gone = {d: frozenset(numbering.position(n) for n in missing if numbering.side(n) == d) for d in (-1, 1)}
    count, middle = len(row.s), int(np.abs(row.s).argmin())
    starts = np.arange(max(middle - int(4 / STEP_MM), 0), min(middle + int(4 / STEP_MM) + 1, count))
    lean = 0.02 * row.s[starts] ** 2 - CUT_GAIN * np.minimum(row.hollow[starts], 3.0) / 3.0
    best: tuple[float, dict[int, list[tuple[int, int, int]]]] = (np.inf, {})
    for scale in (0.92, 1.0, 1.08):
        sides = {d: _costs(row, d, scale * average, gone[d]) for d in (-1, 1)}
        total = lean + sides[1][0][0, starts] + sides[-1][0][0, count - 1 - starts]
        i = int(total.argmin())
        if total[i] < best[0]:
            right = _read(int(starts[i]), *sides[1][1:])
            left = [(k, count - 1 - a, count - 1 - b) for k, a, b in _read(int(count - 1 - starts[i]), *sides[-1][1:])]
            best = (float(total[i]), {1: right, -1: left})
    tree = cKDTree(mesh.vertices)
    seeds = {}
    for side, chosen in best[1].items():
        quadrant = {("upper", -1): 1, ("upper", 1): 2, ("lower", -1): 3, ("lower", 1): 4}[arch, side]
        for position, a, b in chosen:
            low, high = sorted((float(row.s[a]), float(row.s[b])))
            inside = np.flatnonzero(row.high & (np.abs(row.station - 0.5 * (low + high)) < 0.3 * (high - low)) & (np.abs(row.offset) < 5.0))
            if len(inside) < 2:
                continue
            points = graph.points[inside]
            nearest = points[np.linalg.norm(points[:, :2] - points[:, :2].mean(axis=0), axis=1).argmin()]
            seeds[10 * quadrant + position] = mesh.vertices[[int(tree.query(nearest)[1])]]
    if not seeds:
        raise CastError("no crown is found; check that Z points occlusally, or click on the teeth")
    return dict(sorted(seeds.items()))
