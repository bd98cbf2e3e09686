"""Points let fall onto the surface of a field."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..mesh import Floats

Field = Callable[[Floats], Floats]


def drop(field: Field, start: Floats, down: Floats, reach: float = 9.0) -> Floats:
    """(k, 3) where points that fall along a unit vector come onto the surface; nan where they fall past it."""
    fallen = np.zeros(len(start))
    for _ in range(22):
        fallen = fallen + np.clip(field(start + fallen[:, None] * down), -0.3, 1.5)
    landed = start + fallen[:, None] * down
    ok = (np.abs(field(landed)) < 0.01) & (fallen < reach)
    return np.where(ok[:, None], landed, np.nan)


def square(up: Floats, toward: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors perpendicular to `up`, the first as near to `toward` as can be."""
    first = toward - (toward @ up) * up
    first /= np.linalg.norm(first)
    return first, np.cross(up, first)


def climb(field: Field, start: Floats, up: Floats, toward: Floats) -> Floats:
    """(3,) the local maximum along `up` of the surface that is reached uphill from a point (3,)."""
    a, b = square(up, toward)
    ring = np.array([(i, j) for i in (0, -1, 1) for j in (0, -1, 1)], dtype=np.float64)
    here = drop(field, (start + 1.0 * up)[None], -up)[0]
    for step in (0.2, 0.1, 0.05, 0.02):
        for _ in range(20):
            around = here + 0.5 * up + step * (ring[:, :1] * a + ring[:, 1:] * b)
            landed = drop(field, around, -up)
            best = int(np.nan_to_num(landed @ up, nan=-np.inf).argmax())
            if best == 0 or not np.isfinite(landed[best]).all():
                break
            here = landed[best]
    return np.asarray(here)


def stands_clear(field: Field, tip: Floats, up: Floats, toward: Floats) -> bool:
    """Whether the surface is lower half a millimetre away on every side: else it is a shoulder of something higher."""
    a, b = square(up, toward)
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)[:, None]
    ring = drop(field, tip + 0.5 * (np.cos(turn) * a + np.sin(turn) * b) + 0.8 * up, -up)
    return bool((np.nan_to_num(ring @ up, nan=-np.inf) < tip @ up).all())
