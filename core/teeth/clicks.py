"""What clicks say: whose crown a place is, whose it is not, and how far around that holds."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from . import numbering
from .coarse import CoarseGraph
from .walker import crown_size

CLICK_MM = 1.2
FAR_MM = 3.0
"""A click further than this from the surface was not made on this cast."""
CONE_DEG = 25.0
CONE_REACH = 1.3
CORRECTED_TRUST = 0.1


def as_points(points: Floats | None) -> Floats:
    """(j, 3), of none as well."""
    return np.zeros((0, 3)) if points is None else np.asarray(points, dtype=np.float64).reshape(-1, 3)


def checked(mesh: Mesh, arch: str, seeds: dict[int, Floats]) -> dict[int, Floats]:
    """The clicks (k, 3) by FDI number. Raises CastError when they lie off the cast, on the wrong arch, or on top of each other."""
    if not seeds:
        raise CastError("no tooth is marked; click once on each crown")
    result = {}
    for fdi, clicks in seeds.items():
        if numbering.arch_of(fdi) != arch:
            raise CastError(f"tooth {fdi} does not stand in the {arch} arch; give the click another number")
        result[int(fdi)] = as_points(clicks)
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


def click_patches(graph: CoarseGraph, clicks: Floats) -> Ints:
    """Patches round the clicks, on the same side of any edge."""
    chosen: set[int] = set()
    for click in clicks:
        nearest = int(graph.tree.query(click)[1])
        around = np.asarray(graph.tree.query_ball_point(click, CLICK_MM), dtype=np.int64)
        if len(around):
            around = around[graph.normals[around] @ graph.normals[nearest] > 0.3]
        chosen |= {nearest, *around.tolist()}
    return np.array(sorted(chosen), dtype=np.int64)


def _owners(points: Floats, centres: dict[int, Floats]) -> Ints:
    """(k,) index of the crown whose middle is nearest, in crown widths."""
    away = [np.linalg.norm(points - c, axis=1) / max(crown_size(n)[:2]) for n, c in centres.items()]
    return np.asarray(np.argmin(away, axis=0))


def denied_patches(graph: CoarseGraph, centres: dict[int, Floats], not_here: Floats) -> Ints:
    """Patches that "not here" clicks (j, 3) exclude: round each click, and what lies beyond it as seen from its crown's middle."""
    if len(not_here) == 0:
        return np.zeros(0, dtype=np.int64)
    chosen = [click_patches(graph, not_here)]
    middles = np.array(list(centres.values()))
    for click, i in zip(not_here, _owners(not_here, centres), strict=True):
        ray = click - middles[i]
        length = float(np.linalg.norm(ray))
        local = np.asarray(graph.tree.query_ball_point(middles[i], CONE_REACH * max(crown_size(list(centres)[i]))), dtype=np.int64)
        if length < 1.0 or len(local) == 0:
            continue
        offset = graph.points[local] - middles[i]
        distance = np.linalg.norm(offset, axis=1)
        beyond = (distance > length - 0.2) & (offset @ ray > np.cos(np.radians(CONE_DEG)) * distance * length)
        local = local[beyond]
        chosen.append(local[_owners(graph.points[local], centres) == i])
    return np.unique(np.concatenate(chosen))


def corrected_crowns(centres: dict[int, Floats], seeds: dict[int, Floats], not_here: Floats) -> dict[int, tuple[float, float]]:
    """Weights of a size too small and too large for crowns with a "not here" click nearest to them, or with a second click.

    Such a crown is smaller, or larger, than its kind usually is: that is no longer held against it.
    """
    result = {n: (1.0, CORRECTED_TRUST) for n, clicks in seeds.items() if len(clicks) > 1}
    denied = {list(centres)[i] for i in _owners(not_here, centres)} if len(not_here) else set()
    return result | {n: (CORRECTED_TRUST, CORRECTED_TRUST if n in result else 1.0) for n in denied}


def granted_patches(graph: CoarseGraph, middle: Floats, clicks: Floats) -> Ints:
    """Patches that clicks on a crown claim: round each click, and what lies between it and the crown's middle (3,)."""
    chosen = [click_patches(graph, clicks)]
    for click in clicks[1:]:  # the first click names the crown; later ones were made to add something
        local = np.asarray(graph.tree.query_ball_point(0.5 * (middle + click), 0.5 * float(np.linalg.norm(click - middle)) + CLICK_MM))
        if len(local):
            ray = click - middle
            t = np.clip((graph.points[local] - middle) @ ray / max(float(ray @ ray), 1e-9), 0.0, 1.0)
            near = np.linalg.norm(graph.points[local] - middle - t[:, None] * ray, axis=1) < CLICK_MM
            chosen.append(local[near & (graph.normals[local] @ graph.normals[graph.tree.query(click)[1]] > -0.2)])
    return np.unique(np.concatenate(chosen))
