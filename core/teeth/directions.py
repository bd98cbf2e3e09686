"""Which way is mesial, which is facial, and which way a crown stands."""

from __future__ import annotations

import numpy as np

from ..mesh import Floats, Mesh
from . import numbering
from .surface import rim_edges

TYPICAL_TURN_DEG = (5.0, 20.0, 42.0, 62.0, 70.0, 76.0, 82.0, 86.0)
"""Angle between the row of teeth and the X axis, position 1 to 8, in an average arch; from memory. For lone teeth only."""

STRAIGHT_FROM = 6
"""Behind the first molars an arch is nearly straight: a bend carried on from three middles there is chance."""


def _unit(v: Floats) -> Floats:
    length = float(np.linalg.norm(v))
    return v / length if length > 1e-12 else v


def _three_point_tangent(before: Floats, here: Floats, after: Floats, at: int) -> Floats:
    """Derivative of the parabola through three points at the first (0), middle (1) or last (2) of them."""
    a, b = float(np.linalg.norm(here - before)), float(np.linalg.norm(after - here))
    s0, s1 = (here - before) / a, (after - here) / b
    bend = (s1 - s0) / (a + b)
    return (s0 - a * bend, s0 + a * bend, s1 + b * bend)[at]


def arch_tangents(arch: str, centres: dict[int, Floats]) -> dict[int, Floats]:
    """(3,) horizontal unit tangent of the arch at every tooth, running from -X to +X along the row."""
    row = [n for n in numbering.order(arch) if n in centres]
    flat = {n: np.array([*centres[n][:2], 0.0]) for n in row}
    result = {}
    for i, fdi in enumerate(row):
        turn = np.radians(TYPICAL_TURN_DEG[numbering.position(fdi) - 1]) * numbering.side(fdi)
        typical = np.array([np.cos(turn), -np.sin(turn), 0.0])
        if len(row) < 3:
            result[fdi] = typical
            continue
        k = min(max(i, 1), len(row) - 2)
        measured = _three_point_tangent(flat[row[k - 1]], flat[row[k]], flat[row[k + 1]], i - k + 1)
        beside = row[min(i + 1, len(row) - 1)], row[max(i - 1, 0)]
        if k != i and min(numbering.position(n) for n in beside) >= STRAIGHT_FROM:
            measured = flat[beside[0]] - flat[beside[1]]
        # where the next teeth are far away the row's own curve says little: lean on the average arch
        reach = max(float(np.linalg.norm(flat[row[k + 1]] - flat[row[k]])), float(np.linalg.norm(flat[row[k]] - flat[row[k - 1]])))
        weight = float(np.clip((reach - 12.0) / 20.0, 0.0, 0.7))
        result[fdi] = _unit((1.0 - weight) * _unit(measured) + weight * typical)
    return result


def sides(fdi: int, tangent: Floats) -> tuple[Floats, Floats]:
    """(mesial, facial) horizontal unit vectors from the tangent that runs from -X to +X."""
    mesial = -tangent if numbering.side(fdi) > 0 else tangent
    # the row runs clockwise round the mouth seen from above, so outward lies to the left of the run
    return mesial, np.array([-tangent[1], tangent[0], 0.0])


def crown_centroid(crown: Mesh, margin: Floats) -> Floats:
    """(3,) centroid of the volume between the crown's surface and a fan over its open border."""
    hub = margin.mean(axis=0)
    a, b, c = (crown.triangles[:, k] - hub for k in range(3))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    rim = rim_edges(crown.faces)
    mouth = crown.vertices[rim].mean(axis=(0, 1)) - hub if len(rim) else np.zeros(3)
    # the fan that closes the open border, with its hub at the border's own mean
    p, q = crown.vertices[rim[:, 1]] - hub, crown.vertices[rim[:, 0]] - hub
    fan = np.einsum("ij,ij->i", p, np.cross(q, np.broadcast_to(mouth, q.shape))) / 6.0
    total = volume.sum() + fan.sum()
    if total < 5.0:  # mm3; a crown with less volume is a shell whose mean is the better guess
        return crown.triangles.mean(axis=1).mean(axis=0)
    moment = ((a + b + c) / 4.0 * volume[:, None]).sum(axis=0) + ((p + q + mouth) / 4.0 * fan[:, None]).sum(axis=0)
    return hub + moment / total


def long_axis(crown: Mesh, margin: Floats, mesial: Floats, facial: Floats) -> Floats:
    """(3,) unit estimate of the crown's long axis: the line through the middles of its outlines, level by level.

    Middles of extents, not centroids: the surface is missing where a neighbour touches, and a centroid would lean away from there.
    """
    points = crown.vertices
    low, high = float(np.median(margin[:, 2])), float(points[:, 2].max())
    levels = np.linspace(low + 0.1 * (high - low), low + 0.75 * (high - low), 14)
    half = 0.06 * (high - low) + 0.2
    rows = []
    for z in levels:
        band = points[np.abs(points[:, 2] - z) < half]
        if len(band) >= 12:
            spans = [np.percentile(band @ d, [1, 99]) for d in (mesial, facial)]
            rows.append((z, *(0.5 * (a + b) for a, b in spans)))
    up = np.array([0.0, 0.0, 1.0])
    if len(rows) < 5:
        return up
    table = np.array(rows)
    along, across = (float(np.polyfit(table[:, 0], table[:, k], 1)[0]) for k in (1, 2))
    # a short or worn crown says little about its lean; 40 degrees is more than any standing tooth is tilted
    lean = np.array([along, across])
    size = float(np.hypot(*lean))
    lean *= min(1.0, np.tan(np.radians(40.0)) / max(size, 1e-9))
    return _unit(up + lean[0] * mesial + lean[1] * facial)
