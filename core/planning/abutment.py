"""What a tooth offers a clasp, measured in its crown chart at the chosen path."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..charts import SECTORS, CrownChart
from ..components.crown_rails import arm_angles
from ..mesh import Floats

TIP_SHARE = 0.8  # of an arm's length: beyond it lies the tip
RIGID_SHARE = 0.62  # of an arm's length: up to here it lies above the contour
REACH_DEG = 126.0
BAR_AT_DEG = 80.0
BAR_FROM_TO_DEG = (45.0, 135.0)
"""A bar's tip stays on the facial face; the nearer to its middle the better."""
LESSER_MM = 0.2
"""Taken by a bar where 0.25 mm is not there: it holds less, and is well over what a scan and finishing lose (own limit)."""
_BAR_CLEAR_MM = 1.0  # of a tip over the margin (common practice)


@dataclass(frozen=True)
class Sector:
    """Deepest undercut of a sector above the margin, mm, and how far above the margin it lies, mm; 0 and 0 without undercut."""

    undercut_mm: float
    above_margin_mm: float


@dataclass(frozen=True)
class ArmPlace:
    """What an arm from one proximal side over one face would meet.

    gauge_share : share of the tip's way on which the gauge is found above the margin; tip_to_margin_mm : where it is, nan without
    length_mm : along the contour; room_mm : crown above the contour on the rigid part, the least; angle : of convergence is the survey's
    """

    origin: str
    face: str
    gauge_share: float
    tip_to_margin_mm: float
    length_mm: float
    room_mm: float


@dataclass(frozen=True)
class Abutment:
    """tooth : FDI; crown_mm : height above the margin, mm; sectors by name; arms by (origin, face)

    bar_gauge_mm : height above the margin of the gauge where a bar's tip would lie, nan without; bar_at_deg : that angle of the chart;
        bar_depth_mm : the gauge, or the lesser one that is there
    contour_share : height of contour over crown, by face
    """

    tooth: int
    crown_mm: float
    sectors: Mapping[str, Sector]
    arms: Mapping[tuple[str, str], ArmPlace]
    bar_gauge_mm: float
    contour_share: Mapping[str, float]
    bar_at_deg: float = BAR_AT_DEG
    bar_depth_mm: float = 0.25


def measure_abutment(chart: CrownChart, gauge_mm: float = 0.25) -> Abutment:
    """Everything the choice of a clasp asks of a crown. gauge_mm : depth wanted at a tip."""
    phi = chart.angles
    margin, contour, top = chart.margin(phi), chart.contour(phi), chart.top(phi)
    sectors = {}
    for name in SECTORS:
        angle, z, depth = chart.deepest(name)
        sectors[name] = Sector(depth, float(z - chart.margin(angle)) if depth > 0.0 else 0.0)
    share = (contour - margin) / np.maximum(top - margin, 0.1)
    facial, lingual = np.abs(phi - 90.0) <= 50.0, np.abs(phi - 270.0) <= 50.0
    at, bar, deep = _bar_place(chart, (gauge_mm, LESSER_MM))
    return Abutment(
        tooth=chart.tooth.fdi,
        crown_mm=_median(top - margin),
        sectors=sectors,
        arms={(o, f): _arm_place(chart, o, f, gauge_mm) for o in ("mesial", "distal") for f in ("facial", "lingual")},
        bar_gauge_mm=bar,
        contour_share={"facial": _median(share[facial]), "lingual": _median(share[lingual])},
        bar_at_deg=at,
        bar_depth_mm=deep,
    )


def _bar_place(chart: CrownChart, gauges: tuple[float, ...]) -> tuple[float, float, float]:
    """Where on the facial face a bar finds its gauge, nearest to the usual place: angle, height above the margin (nan without), gauge."""
    angles = np.arange(BAR_FROM_TO_DEG[0], BAR_FROM_TO_DEG[1] + 1.0, 5.0)
    for gauge in gauges:
        above = chart.gauge(angles, gauge) - chart.margin(angles)
        for least in (_BAR_CLEAR_MM, 0.0):  # rather off the middle than on the margin
            good = np.isfinite(above) & (above >= least)
            if good.any():
                k = int(np.flatnonzero(good)[np.abs(angles[good] - BAR_AT_DEG).argmin()])
                return float(angles[k]), float(above[k]), gauge
    return BAR_AT_DEG, float("nan"), gauges[0]


def _arm_place(chart: CrownChart, origin: str, face: str, gauge_mm: float) -> ArmPlace:
    phi = arm_angles(origin, face, REACH_DEG)
    way = np.linspace(0.0, 1.0, len(phi))
    tip = way > TIP_SHARE
    gauge = chart.gauge(phi[tip], gauge_mm)
    found = np.isfinite(gauge)
    line = chart.surface(phi, chart.contour(phi))
    line = line[np.isfinite(line).all(axis=1)]
    rigid = way <= RIGID_SHARE
    room = (chart.top(phi) - chart.contour(phi))[rigid]
    return ArmPlace(
        origin=origin,
        face=face,
        gauge_share=float(found.mean()),
        tip_to_margin_mm=float(np.median((gauge - chart.margin(phi[tip]))[found])) if found.any() else float("nan"),
        length_mm=float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) if len(line) > 1 else 0.0,
        room_mm=_median(room),
    )


def _median(values: Floats) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a face that the scan does not show has no median
        return float(np.nanmedian(values))
