"""Cusp tips: the heights of a crown that stand clear of their surroundings."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh
from . import numbering
from .relief import Relief, relief_of, tip_direction

PROMINENCE_MM = 0.1
"""Scan noise of 0.02 mm makes heights of a fifth of this; tips of real crowns, even worn ones, rise higher over the pass to the next."""
UPPER_SHARE = 0.6
MIDDLE_SHARE = 0.055
"""Heights nearer to the middle line than this share of the crown's breadth are marginal ridges or crossing ridges, no cusps."""
MOST = {"upper": (1, 1, 1, 2, 2, 5, 4, 5), "lower": (1, 1, 1, 2, 3, 5, 5, 5)}
"""Most cusps by position 1 to 8: textbook dental anatomy. A fifth of an upper first molar is the cusp of Carabelli."""


def peaks(heights: Floats, prominence: float) -> list[tuple[int, int, float]]:
    """(i, j, prominence) of the maxima of a map (a, b) that rise at least so far above the pass to a higher one, highest first; nan is
    nothing."""
    width = heights.shape[1]
    flat = np.where(np.isfinite(heights), heights, -np.inf).ravel()
    order = np.argsort(-flat, kind="stable")
    order = order[np.isfinite(flat[order])]
    root: dict[int, int] = {}
    found: dict[int, float] = {}
    steps = [di * width + dj for di in (-1, 0, 1) for dj in (-1, 0, 1) if di or dj]

    def top(cell: int) -> int:
        while root[cell] != cell:
            root[cell] = root[root[cell]]
            cell = root[cell]
        return cell

    for cell in order.tolist():
        tops = {top(cell + step) for step in steps if cell + step in root}
        if not tops:
            root[cell], found[cell] = cell, np.inf
            continue
        first = max(tops, key=lambda c: flat[c])
        root[cell] = first
        for other in tops - {first}:
            root[other] = first
            found[other] = float(flat[other] - flat[cell])
    high = sorted(((c, p) for c, p in found.items() if p >= prominence), key=lambda item: -flat[item[0]])
    return [(c // width, c % width, p) for c, p in high]


def cusp_tips(crown: Mesh, fdi: int, origin: Floats, axis: Floats, mesial: Floats, facial: Floats) -> Floats:
    """(c, 3) cusp tips of a crown, highest first; of an incisor the middle of its edge.

    Heights are taken halfway between the occlusal direction and the crown's own axis, so a leaning molar keeps its lower cusps.
    """
    r = relief_of(crown, origin, tip_direction(axis), mesial, facial)
    if not r.known.any():
        return crown.vertices[[int((crown.vertices @ r.frame[2]).argmax())]]
    if numbering.position(fdi) <= 2:
        return _edge_middle(r, crown)[None]
    local = r.local(crown.vertices)
    top, low = float(np.nanmax(r.z)), float(local[:, 2].min())
    inner = r.known.copy()  # a height on the map's rim is a cut, not a cusp
    inner[1:-1, 1:-1] &= r.known[:-2, 1:-1] & r.known[2:, 1:-1] & r.known[1:-1, :-2] & r.known[1:-1, 2:]
    upper = np.where(r.known & (r.z > top - UPPER_SHARE * (top - low)), r.z, np.nan)
    found = [peak for peak in peaks(_framed(upper), PROMINENCE_MM) if inner[peak[0] - 1, peak[1] - 1]]
    if not numbering.is_anterior(fdi):
        covered = r.v[r.known.any(axis=0)]
        middle, broad = 0.5 * (covered[0] + covered[-1]), covered[-1] - covered[0]
        apart = [peak for peak in found if abs(r.v[peak[1] - 1] - middle) > MIDDLE_SHARE * broad]
        found = apart or found
    most = MOST[numbering.arch_of(fdi)][numbering.position(fdi) - 1]
    found = sorted(found, key=lambda item: -item[2])[:most]
    if not found:
        i, j = np.unravel_index(int(np.nan_to_num(r.z, nan=-np.inf).argmax()), r.z.shape)
        return r.at(int(i), int(j))[None]
    tips = np.array([r.point(*r.summit(i - 1, j - 1)) for i, j, _ in found])
    return np.asarray(tips[np.argsort(-(tips @ r.frame[2]))])


def _framed(heights: Floats) -> Floats:
    """The map with a rim of nan, so that no cell's neighbour lies on the other side of it."""
    return np.pad(heights, 1, constant_values=np.nan)


def _edge_middle(r: Relief, crown: Mesh) -> Floats:
    """(3,) the crest of an incisal edge midway between the crown's widest places."""
    along = r.local(crown.vertices)[:, 0]
    middle = 0.5 * (float(along.min()) + float(along.max()))
    i = int(np.abs(r.u - middle).argmin())
    rows = r.z[max(i - 1, 0) : i + 2]
    count = np.isfinite(rows).sum(axis=0)
    profile = np.where(count > 0, np.where(np.isfinite(rows), rows, 0.0).sum(axis=0) / np.maximum(count, 1), -np.inf)
    j = int(profile.argmax())
    if not 0 < j < len(profile) - 1 or not np.isfinite(profile[j - 1 : j + 2]).all() or not np.isfinite(r.raw[i, j]):
        return r.point(middle, float(r.v[j]), float(profile[j]))
    bend = profile[j - 1] - 2.0 * profile[j] + profile[j + 1]
    shift = 0.0 if bend >= -1e-9 else float(np.clip(0.5 * (profile[j - 1] - profile[j + 1]) / bend, -0.5, 0.5))
    return r.point(middle, float(r.v[j]) + shift * float(r.v[1] - r.v[0]), float(np.nanmax(r.raw[i, max(j - 1, 0) : j + 2])))
