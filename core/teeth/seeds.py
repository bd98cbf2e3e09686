"""Seeds proposed without clicks: the row of crowns is cut at its embrasures, and numbers are dealt along the arch.

A proposal, to be looked at. The cutting is a shortest path: widths near the average of each tooth, cuts where both flanks of the row are
hollow, gaps where nothing stands up to the occlusal surface. Clicks, where there are any, say which crown a place belongs to, and the
same path says how far it reaches.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from . import numbering
from .coarse import CoarseGraph, coarse_graph
from .row import STEP_MM, Row, row_of

WIDTH_SPREAD = 0.2
"""Spread of crown widths between people, as a logarithm: a generous reading of a standard deviation of about 0.5 mm on 7 mm."""
GONE = (2.0, 2.0, 2.0, 1.5, 1.5, 1.5, 1.5, 0.2)
KNOWN_GONE = 0.1
THIRD = 3.5
"""Costs of a missing tooth by position, of one known to be missing, and of a standing third molar, which most casts lack."""
LEFT_OVER = 0.6
TAIL_MM = 3.0
"""What stands up behind the last crown costs so much a mm, but for the first few: the tissue there often reaches up."""
UNCLICKED = 1.0
"""Cost of a standing tooth that was not clicked when others were."""
EMPTY_COST = 2.0
CUT_GAIN = 2.0
ASTRAY = 3.0
"""Cost of each mm by which a click lies outside its crown's stretch, and what a click may lie off without cost, mm."""
SLACK_MM = 0.5
LEAN = 0.02
SCALES = (0.92, 1.0, 1.08)


@dataclass(frozen=True)
class Stretch:
    """A crown's part of the row: number, and from where to where (stations, mm, low < high)."""

    fdi: int
    low: float
    high: float


def _astray(clicks: tuple[int, int] | None, count: int, n: int) -> Floats:
    """(count - n,) cost of clicks that lie outside the bins from i to i + n. clicks : their lowest and highest bin."""
    begin = np.arange(count - n)
    if clicks is None:
        return np.zeros(count - n)
    off = np.maximum(begin - clicks[0], 0) + np.maximum(clicks[1] - (begin + n), 0)
    return ASTRAY * np.maximum(off * STEP_MM - SLACK_MM, 0.0)


def _costs(
    row: Row, direction: int, widths: Floats, gone: frozenset[int], clicks: dict[int, tuple[int, int]], unclicked: float
) -> tuple[Floats, Ints, Ints]:
    """Dealing the teeth of one side, backward from the end of the row.

    clicks : by position the lowest and highest bin clicked, counted in the direction of dealing
    Returns cost-to-go (9, b) from a place with k teeth dealt, the bins that the next tooth takes (9, b; -1: the row ends here), and
    whether that tooth stands (9, b).
    """
    filled, hollow = row.crown[::direction], row.hollow[::direction]
    gain = CUT_GAIN * np.minimum(hollow, 3.0) / 3.0
    sums = np.r_[0.0, np.cumsum(filled)] * STEP_MM
    count = len(filled)
    cost = np.tile(LEFT_OVER * np.maximum(sums[-1] - sums[:-1] - TAIL_MM, 0.0), (9, 1))
    take, stands = np.full((9, count), -1), np.zeros((9, count), dtype=np.int64)
    for k in range(7, -1, -1):
        width = float(widths[k])
        if any(position > k for position in clicks):
            cost[k] = np.inf  # the row cannot end before a clicked tooth
        for n in range(int(1.5 * width / STEP_MM) + 1):
            inside = sums[n:count] - sums[: count - n]
            after = cost[k + 1, n:]
            options = []
            if k + 1 not in clicks:
                lost = KNOWN_GONE if k + 1 in gone else GONE[k]
                options.append((after + lost + EMPTY_COST * inside + _gap_odds(n * STEP_MM / width), 0))
            if k + 1 not in gone and n * STEP_MM >= 0.6 * width:
                odd = 0.5 * (np.log(n * STEP_MM / width) / WIDTH_SPREAD) ** 2
                empty = np.maximum(n * STEP_MM - inside - 0.5, 0.0)
                third = 0.0 if k + 1 in clicks else unclicked + (THIRD if k == 7 else 0.0)
                options.append((after + odd + EMPTY_COST * empty - gain[n:] + third + _astray(clicks.get(k + 1), count, n), 1))
            for total, standing in options:
                better = total < cost[k, : count - n]
                cost[k, : count - n][better] = total[better]
                take[k, : count - n][better] = n
                stands[k, : count - n][better] = standing
    return cost, take, stands


def _gap_odds(share: float) -> float:
    """Cost of a missing tooth whose place is so many times its usual width: a gap closes by drifting, but hardly widens."""
    if share <= 1.0:
        return 0.8 * (1.0 - share)
    return 0.5 * (np.log(share) / WIDTH_SPREAD) ** 2


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


def _clicked_bins(row: Row, clicks: dict[int, Floats], side: int) -> dict[int, tuple[int, int]]:
    """By position the lowest and highest bin, counted from the end where dealing on this side begins, of clicked stations."""
    result = {}
    for fdi, stations in clicks.items():
        if numbering.side(fdi) == side:
            bins = np.clip(np.round((stations - row.s[0]) / STEP_MM).astype(int), 0, len(row.s) - 1)
            bins = bins if side > 0 else len(row.s) - 1 - bins
            result[numbering.position(fdi)] = (int(bins.min()), int(bins.max()))
    return result


def divide(row: Row, arch: str, missing: tuple[int, ...] = (), clicks: dict[int, Floats] | None = None) -> tuple[Stretch, ...]:
    """The crowns of a row, by number, from the front backward.

    missing : FDI numbers known to be missing; clicks : by FDI number (j,) stations clicked on that crown, mm
    """
    average = np.array(numbering.CROWN_WIDTH_MM[arch])
    clicks = clicks or {}
    gone = {d: frozenset(numbering.position(n) for n in missing if numbering.side(n) == d) for d in (-1, 1)}
    bins = {d: _clicked_bins(row, clicks, d) for d in (-1, 1)}
    count, middle = len(row.s), int(np.abs(row.s).argmin())
    starts = np.arange(max(middle - int(5 / STEP_MM), 0), min(middle + int(5 / STEP_MM) + 1, count))
    lean = LEAN * row.s[starts] ** 2 - CUT_GAIN * np.minimum(row.hollow[starts], 3.0) / 3.0
    best: tuple[float, dict[int, list[tuple[int, int, int]]]] = (np.inf, {})
    for scale in SCALES:
        sides = {d: _costs(row, d, scale * average, gone[d], bins[d], UNCLICKED if clicks else 0.0) for d in (-1, 1)}
        total = lean + sides[1][0][0, starts] + sides[-1][0][0, count - 1 - starts]
        i = int(total.argmin())
        if total[i] < best[0]:
            right = _read(int(starts[i]), *sides[1][1:])
            left = [(k, count - 1 - a, count - 1 - b) for k, a, b in _read(int(count - 1 - starts[i]), *sides[-1][1:])]
            best = (float(total[i]), {1: right, -1: left})
    quadrant = {("upper", -1): 1, ("upper", 1): 2, ("lower", -1): 3, ("lower", 1): 4}
    return tuple(
        Stretch(10 * quadrant[arch, side] + k, *sorted((float(row.s[a]), float(row.s[b]))))
        for side, chosen in best[1].items()
        for k, a, b in chosen
    )


def core_patches(row: Row, stretch: Stretch, share: float = 0.3) -> Ints:
    """Patches near the middle of a crown's stretch, on the tops of the row. share : of the stretch's length, to either side."""
    middle, length = 0.5 * (stretch.low + stretch.high), stretch.high - stretch.low
    return np.flatnonzero(row.high & (np.abs(row.station - middle) < share * length) & (np.abs(row.offset) < 5.0))


@lru_cache(maxsize=2)
def arch_graph(mesh: Mesh) -> CoarseGraph:
    """The coarse graph of everything that can be crown or the tissue round it: 18 mm down from the highest part. Once a cast."""
    return coarse_graph(mesh, mesh.vertices[:, 2] > np.percentile(mesh.vertices[:, 2], 99.9) - 18.0)


def propose_seeds(mesh: Mesh, arch: str, missing: tuple[int, ...] = ()) -> dict[int, Floats]:
    """A seed (1, 3) on the occlusal side of every crown found, by the FDI number it seems to have. Cast frame, mm.

    missing : FDI numbers known to be missing, which makes the numbering surer
    Raises CastError when no row of crowns is found.
    """
    numbering.order(arch)
    graph = arch_graph(mesh)
    row = row_of(graph)
    owner = graph.member
    seeds = {}
    for stretch in divide(row, arch, missing):
        inside = core_patches(row, stretch)
        if len(inside) < 2:
            continue
        points = graph.points[inside]
        patch = inside[np.linalg.norm(points[:, :2] - points[:, :2].mean(axis=0), axis=1).argmin()]
        own = np.flatnonzero(owner == patch)
        seeds[stretch.fdi] = mesh.vertices[[own[np.linalg.norm(mesh.vertices[own] - graph.points[patch], axis=1).argmin()]]]
    if not seeds:
        raise CastError("no crown is found; check that Z points occlusally, or click on the teeth")
    return dict(sorted(seeds.items()))
