"""The mechanics of a whole case: every clasp, the balance of the two sides, levers, the major connector, and advice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .advice import Advice, advise
from .clasps import ClaspInput, ClaspResult, analyse_clasp
from .connector import ConnectorInput, ConnectorResult, analyse_connector
from .levers import Lift, Sinking, axis_through, base_lift, base_sinking
from .materials import Material
from .ranges import Range
from .retention import Balance, frictional_hold, summed

SIDES = ("right", "left")


@dataclass(frozen=True, eq=False)
class BaseInput:
    """A base: middle and far end (3,) mm of its ridge; free_end : an extension base."""

    id: str
    side: str
    middle: Floats
    end: Floats
    free_end: bool


@dataclass(frozen=True, eq=False)
class CaseInput:
    """All that the mechanics look at, as plain geometry in the cast frame, mm.

    path : (3,) unit off the teeth; forward : (3,) unit to the front of the mouth
    fulcrum : two rests (3,) that the bases turn about, or None; indirect : two or more rests (3,) beyond it, possibly none
    guide_planes : number on each side
    """

    path: Floats
    forward: Floats
    material: Material
    clasps: tuple[ClaspInput, ...] = ()
    bases: tuple[BaseInput, ...] = ()
    fulcrum: tuple[Floats, Floats] | None = None
    fulcrum_teeth: tuple[int, int] | None = None
    indirect: tuple[Floats, ...] = ()
    indirect_teeth: tuple[int, ...] = ()
    guide_planes: tuple[int, int] = (0, 0)
    connector: ConnectorInput | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class CaseMechanics:
    """Results of `analyse`. places : clasp id and where its tip is; lifts : (base, without, with the indirect retainer)."""

    material: Material
    clasps: tuple[ClaspResult, ...]
    balance: Balance
    hold: tuple[Range, Range]
    places: dict[str, tuple[float, float, float]]
    lifts: tuple[tuple[str, Lift | None, Lift | None], ...]
    sinkings: tuple[Sinking, ...]
    connector: ConnectorResult | None
    advice: tuple[Advice, ...]
    fulcrum_teeth: tuple[int, int] | None = None
    fulcrum: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None
    indirect_teeth: tuple[int, ...] = ()
    remarks: tuple[str, ...] = ()


def analyse(data: CaseInput) -> CaseMechanics:
    """Everything, for one case."""
    results = tuple(analyse_clasp(c) for c in data.clasps)
    of = {side: [r.peak for r in results if r.side == side] for side in SIDES}
    sums = [summed(of[side], f"{len(of[side])} clasps, peaks together") for side in SIDES]
    advice: list[Advice] = []
    for clasp, result in zip(data.clasps, results, strict=True):
        advice += advise(clasp, result, sum(r.side == result.side for r in results))
    places = {c.id: _plain(c.places[-1]) for c in data.clasps}
    lifts, sinkings = _turning(data, results)
    connector = None if data.connector is None else analyse_connector(data.connector, data.material, data.forward)
    hold = (frictional_hold(data.guide_planes[0]), frictional_hold(data.guide_planes[1]))
    line = None if data.fulcrum is None else (_plain(data.fulcrum[0]), _plain(data.fulcrum[1]))
    return CaseMechanics(
        data.material, results, Balance(sums[0], sums[1]), hold, places, lifts, sinkings, connector, tuple(advice), data.fulcrum_teeth,
        line, data.indirect_teeth, data.remarks,
    )  # fmt: skip


def _plain(point: Floats) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def _turning(
    data: CaseInput, results: tuple[ClaspResult, ...]
) -> tuple[tuple[tuple[str, Lift | None, Lift | None], ...], tuple[Sinking, ...]]:
    """Lift and sinking of each extension base about the rests."""
    if data.fulcrum is None:
        return (), ()
    axis = axis_through(*data.fulcrum)
    tips = np.array([c.places[-1] for c in data.clasps]).reshape(-1, 3)
    pulls = [r.peak for r in results]
    ways = [(c.id, c.places[-1], _leaning(c, data.path)) for c in data.clasps]
    far = axis_through(data.indirect[0], data.indirect[-1]) if len(data.indirect) >= 2 else None
    lifts, sinkings = [], []
    for base in data.bases:
        if not base.free_end:
            continue
        without = base_lift(base.id, base.middle, tips, pulls, axis, data.path)
        lifts.append((base.id, without, None if far is None else base_lift(base.id, base.middle, tips, pulls, far, data.path)))
        sinkings.append(base_sinking(base.id, base.end, axis, data.path, ways))
    return tuple(lifts), tuple(sinkings)


def _leaning(clasp: ClaspInput, path: Floats) -> Floats:
    """(3,) unit normal of the tooth at the tip: outward, and against the path below the contour."""
    slope = max(float(clasp.profile.slope[-1, 0]), 0.0)
    normal = clasp.outward[-1] - slope * path
    return np.asarray(normal / np.linalg.norm(normal))
