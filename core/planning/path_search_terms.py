"""The terms of a path of placement, each in its own unit, for many directions at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from ..survey import proximal_enamel_mm
from ..teeth import numbering
from .path_search_grid import vectors
from .path_search_guide import open_triangle, removal
from .path_search_plan import PathPlan
from .path_search_rays import Samples, block_out_volume, depths

CEILING_MM = 0.75
"""Deepest undercut that any clasp uses; what lies deeper is no better for the balance (standard texts)."""
_TIP_FAN_DEG = np.array([0.0, -22.0, 22.0, -44.0, 44.0])
_PART_FAN_DEG = np.array([0.0, -35.0, 35.0])


@dataclass(frozen=True, eq=False)
class Terms:
    """k directions.

    plane : (k, 2) tilt plane, degrees (lateral, anteroposterior)
    enamel : (k, s) mm to remove on each guide surface; counted : the same, at most the enamel that is there (beyond it no plane is cut)
    inequality : (k,) mm between the most and the least that is counted
    undercut : (k, t) mm that each tip can reach; held : (k, t) mm of it that also holds against pull along the occlusal normal
    shortfall : (k,) mm, mean over the tips of what is missing of the gauge that holds both ways
    balance : (k,) mm between the two sides' mean undercuts, 0 with tips on one side only
    stand_off : (k, p) mm, mean undercut depth under each rigid part; interference : (k,) mm, their mean
    block_out : (k,) mm3; looks : (k,) mm2 of open triangles beside anterior abutments; tilt : (k,) degrees
    """

    plane: Floats
    enamel: Floats
    counted: Floats
    inequality: Floats
    undercut: Floats
    held: Floats
    shortfall: Floats
    balance: Floats
    stand_off: Floats
    interference: Floats
    block_out: Floats
    looks: Floats
    tilt: Floats

    def __len__(self) -> int:
        return len(self.plane)

    @property
    def mean_enamel(self) -> Floats:
        """(k,) mm, mean over the guide surfaces of what is counted."""
        return _mean(self.counted)

    def row(self, k: int) -> Terms:
        """One direction, still as arrays of length one."""
        return Terms(**{name: value[k : k + 1] for name, value in vars(self).items()})


def _mean(values: Floats) -> Floats:
    return values.mean(axis=1) if values.shape[1] else np.zeros(len(values))


def _joined(groups: list[Samples]) -> tuple[Samples, list[slice]]:
    """One list of samples, and where each group lies in it."""
    ends = np.cumsum([0, *(len(g) for g in groups)])
    if not groups:
        return Samples(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0)), []
    whole = Samples(*(np.concatenate([getattr(g, name) for g in groups]) for name in ("points", "normals", "areas")))
    return whole, [slice(int(a), int(b)) for a, b in zip(ends[:-1], ends[1:], strict=True)]


def evaluate(plan: PathPlan, plane: Floats, *, fine: bool = False) -> Terms:
    """The terms at places (k, 2) of the tilt plane. `fine` samples the block-out more densely: for the few paths that are reported."""
    plane = np.asarray(plane, dtype=np.float64).reshape(-1, 2)
    d = vectors(plane)
    enamel = _stack([removal(s, d) for s in plan.surfaces], len(d))
    counted = np.minimum(enamel, [proximal_enamel_mm(s.fdi, s.side) for s in plan.surfaces])
    seen = [open_triangle(s, d) for s in plan.surfaces if numbering.is_anterior(s.fdi)]
    undercut, held = _retention(plan, d)
    under, where = _joined([p.samples for p in plan.parts])
    deep = depths(plan.scene, under, d, _PART_FAN_DEG)
    stand_off = _stack([deep[part].mean(axis=0) for part in where], len(d))
    gauges = np.array([t.gauge_mm for t in plan.tips])
    return Terms(
        plane,
        enamel,
        counted,
        np.ptp(counted, axis=1) if counted.shape[1] else np.zeros(len(d)),
        undercut,
        held,
        _mean(np.maximum(gauges - held, 0.0)),
        _balance(plan, undercut),
        stand_off,
        _mean(stand_off),
        block_out_volume(plan.scene, plan.ground_fine if fine else plan.ground, d),
        np.sum(seen, axis=0) if seen else np.zeros(len(d)),
        np.hypot(plane[:, 0], plane[:, 1]),
    )


def _stack(columns: list[Floats], rows: int) -> Floats:
    return np.stack(columns, axis=1) if columns else np.zeros((rows, 0))


def _retention(plan: PathPlan, d: Floats) -> tuple[Floats, Floats]:
    """Undercut (k, t) reachable at each tip, and how much of it a pull straight up from the occlusal plane meets as well.

    A place holds both ways as far as it is undercut along the path and along the occlusal normal (standard texts: an undercut that
    only the tilt makes does not hold against sticky food).
    """
    places, where = _joined([t.samples for t in plan.tips])
    deep = depths(plan.scene, places, np.vstack([np.array([[0.0, 0.0, 1.0]]), d]), _TIP_FAN_DEG)
    level, tilted = deep[:, :1], deep[:, 1:]
    both = np.minimum(level, tilted)
    return _stack([tilted[i].max(axis=0) for i in where], len(d)), _stack([both[i].max(axis=0) for i in where], len(d))


def _balance(plan: PathPlan, undercut: Floats) -> Floats:
    right = np.array([t.right for t in plan.tips], dtype=bool)
    if right.all() or not right.any():
        return np.zeros(len(undercut))
    used = np.minimum(undercut, CEILING_MM)
    return np.asarray(np.abs(used[:, right].mean(axis=1) - used[:, ~right].mean(axis=1)))
