"""Neighbours share the border between them, and margins that the surface does not show are said in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Floats, Mesh
from .model import Tooth
from .surface import Projector, grow_faces

SAME_MM = 1.2
"""Two margins that each crown alone has drawn along their common border lie nearer than this."""
LEAST_WORDS_MM = 1.5


def _dense(ring: Floats, pieces: int = 6) -> Floats:
    t = np.linspace(0.0, 1.0, pieces, endpoint=False)
    after = np.roll(ring, -1, axis=0)
    return np.asarray((ring[:, None] + t[None, :, None] * (after - ring)[:, None]).reshape(-1, 3))


def with_shared_borders(mesh: Mesh, teeth: dict[int, Tooth]) -> dict[int, Tooth]:
    """The same crowns, both margins of every common border drawn to the middle between them, on the surface."""
    result = {}
    tree = cKDTree(mesh.vertices)
    for fdi, tooth in teeth.items():
        margin, moved = tooth.margin.copy(), np.zeros(len(tooth.margin), dtype=bool)
        for other in np.unique(tooth.shared[tooth.shared != 0]).tolist():
            if other not in teeth:
                continue
            line = _dense(teeth[other].margin)
            mine = np.flatnonzero(tooth.shared == other)
            distance, nearest = cKDTree(line).query(tooth.margin[mine])
            near = distance < SAME_MM
            margin[mine[near]] = 0.5 * (tooth.margin[mine[near]] + line[nearest[near]])
            moved[mine[near]] = True
        if moved.any():
            close = np.zeros(len(mesh.vertices), dtype=bool)
            close[tree.query(margin[moved], min(40, len(close)))[1]] = True
            margin[moved] = Projector(mesh, grow_faces(mesh, close)).closest(margin[moved])[0]
        result[fdi] = replace(tooth, margin=margin)
    return result


def unshown(tooth: Tooth) -> list[tuple[float, str]]:
    """(length in mm, side) of the stretches of margin toward tissue along which no valley in the surface shows it, longest first."""
    unsure = ~tooth.supported & (tooth.shared == 0)
    if not unsure.any():
        return []
    step = np.linalg.norm(np.roll(tooth.margin, -1, axis=0) - tooth.margin, axis=1)
    offset = tooth.margin - tooth.centre
    sides = np.stack([offset @ tooth.mesial, -(offset @ tooth.mesial), offset @ tooth.facial, -(offset @ tooth.facial)], axis=1)
    side = sides.argmax(axis=1)
    found = []
    for k, name in enumerate(("mesial", "distal", "facial", "lingual")):
        length = float(step[unsure & (side == k)].sum())
        if length >= LEAST_WORDS_MM:
            found.append((length, name))
    return sorted(found, reverse=True)


def with_words(tooth: Tooth) -> Tooth:
    """The crown with a flag for its unsupported stretches, if it has any worth a word."""
    stretches = unshown(tooth)
    if not stretches:
        return tooth
    where = ", ".join(f"{length:.0f} mm {name}" for length, name in stretches)
    return tooth.flagged(f"the surface shows no margin along {where}: check it, correct it with a click")
