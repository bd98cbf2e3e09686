"""What a tooth offers a clasp, measured in its crown chart at the chosen path."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ..charts import SECTORS, CrownChart
from ..components.crown_rails import CALM_DEG, arm_angles
from ..mechanics import find_material
from ..mesh import Floats
from ..solids.curves import smooth_rows

TIP_SHARE = 0.8  # of an arm's length: beyond it lies the tip
RIGID_SHARE = 0.62  # of an arm's length: up to here it lies above the contour
REACH_DEG = 126.0
MOST_REACH_DEG = 144.0
"""To the far line angle: a short tooth's arm goes on so far to get its length."""
LEAST_ARM_MM = 10.0  # of a cast cobalt-chromium arm: the mechanics refuse a shorter one
BAR_AT_DEG = 80.0
BAR_FROM_TO_DEG = (45.0, 135.0)
"""A bar's tip stays on the facial face; the nearer to its middle the better."""
LESSER_MM = 0.2
"""Taken by a bar where 0.25 mm is not there: it holds less, and is well over what a scan and finishing lose (own limit)."""
_GAUGES = {"cocr": 0.25, "cpti": 0.50, "ti64": 0.50, "gold": 0.38, "peek": 0.50, "acetal": 0.50, "polyamide": 0.50}
ARM_ROOM_MM = 2.3  # an arm 1.8 mm wide at its base and half a millimetre to the occlusal edge
_NECK_MM = 1.0  # nothing is ground nearer to the margin (handbook, section 1)
_CROSSED_MM = (0.5, 3.0)  # below the margin: tissue that a bar passes before it turns along the sulcus (handbook, section 2.4)
_TO_SPARE_MM = 0.5  # the contour's length is not quite the arm's: so far it may be off to either side (own limit)
_LOOKS = 12  # along the rigid part of an arm: its enamel is read so often
_TISSUE_REACH_MM = 11.0  # from the crown's axis: not the other side of the arch
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
    length_mm : along the contour; room_mm : crown above the contour on the rigid part, the middle value
    enamel_mm : deepest cut that would lower the contour there until the rigid part of an arm has room above it
    """

    origin: str
    face: str
    gauge_share: float
    tip_to_margin_mm: float
    length_mm: float
    room_mm: float
    enamel_mm: float = 0.0

    def reach_for(self, usual_deg: float, most_deg: float) -> float:
        """Degrees round the crown that an arm goes to get its length: the usual, or as many more as it takes."""
        a_degree = max(self.length_mm, 0.1) / REACH_DEG
        return float(min(max(usual_deg, (LEAST_ARM_MM + _TO_SPARE_MM) / a_degree), most_deg))

    def length_at(self, reach_deg: float) -> float:
        """mm of an arm that goes so many degrees."""
        return self.length_mm * reach_deg / REACH_DEG


@dataclass(frozen=True)
class Abutment:
    """tooth : FDI; crown_mm : height above the margin, mm; sectors by name; arms by (origin, face)

    bar_gauge_mm : height above the margin of the gauge where a bar's tip would lie, nan without; bar_at_deg : that angle of the chart;
        bar_depth_mm : the gauge, or the lesser one that is there
    gauge_mm : depth wanted at a cast tip; tissue_mm : undercut of the tissue a bar would cross, nan where the scan does not show it
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
    gauge_mm: float = 0.25
    tissue_mm: float = float("nan")


def length_limit(length_mm: float) -> tuple[str, str]:
    """Why a cast arm of that length cannot be, and what is to be said of one whose range holds the least length; empty where neither."""
    low, high = length_mm - _TO_SPARE_MM, length_mm + _TO_SPARE_MM
    if high < LEAST_ARM_MM:
        return f"the arm would be {low:.1f} to {high:.1f} mm long; {LEAST_ARM_MM:g} mm are the least for a cast arm", ""
    if length_mm < LEAST_ARM_MM:
        return "", f"at the limit: {low:.1f} to {high:.1f} mm long, where {LEAST_ARM_MM:g} mm are the least for a cast arm"
    return "", ""


def tip_gauge_mm(alloy: str) -> float:
    """Depth of undercut for a cast or printed tip, by the words of the case for its metal: handbook, section 2.1; 0.25 where unknown."""
    found = find_material(alloy, {})
    return 0.25 if found is None else next((depth for start, depth in _GAUGES.items() if found.name.startswith(start)), 0.25)


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
        gauge_mm=gauge_mm,
        tissue_mm=_tissue(chart, at),
    )


class Measured(Mapping[int, Abutment]):
    """Crowns by tooth (FDI), each measured when it is first asked for: a draft looks at few of them."""

    def __init__(self, charts: Mapping[int, CrownChart], gauge_mm: float) -> None:
        self._charts, self._gauge_mm = charts, gauge_mm
        self._known: dict[int, Abutment] = {}

    def __getitem__(self, tooth: int) -> Abutment:
        if tooth not in self._known:
            self._known[tooth] = measure_abutment(self._charts[tooth], self._gauge_mm)
        return self._known[tooth]

    def __contains__(self, tooth: object) -> bool:
        return tooth in self._charts

    def __iter__(self) -> Iterator[int]:
        return iter(self._charts)

    def __len__(self) -> int:
        return len(self._charts)

    @property
    def known(self) -> dict[int, Abutment]:
        """Those that were asked for."""
        return dict(self._known)


def _tissue(chart: CrownChart, at_deg: float) -> float:
    """How deep the tissue below the facial margin lies in undercut, mm, beyond what the crown itself overhangs."""
    seen = chart.survey
    local = chart.local(seen.mesh.vertices)
    turn = np.degrees(np.arctan2(local[:, 1], local[:, 0]))
    below = float(chart.margin(at_deg)) - local[:, 2]
    reach = np.hypot(local[:, 0], local[:, 1])
    near = (np.abs(turn - at_deg) < 20.0) & (below > _CROSSED_MM[0]) & (below < _CROSSED_MM[1]) & (reach < _TISSUE_REACH_MM)
    near &= seen.mesh.vertex_normals @ chart.outward(at_deg)[0] > 0.0
    if near.sum() < 10:
        return float("nan")
    # The crown's own overhang is block-out that every bar clears at the margin; what counts is how much deeper it gets.
    at_margin = float(np.nan_to_num(chart.depth(np.array([at_deg]), chart.margin(at_deg) + 0.1))[0])
    return max(float(np.percentile(seen.undercut[near], 90)) - at_margin, 0.0)


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
    line = chart.surface(phi, smooth_rows(chart.contour(phi), CALM_DEG))
    line = line[np.isfinite(line).all(axis=1)]
    rigid = way <= RIGID_SHARE
    room = (chart.top(phi) - chart.contour(phi))[rigid]
    some = phi[rigid][:: max(int(rigid.sum()) // _LOOKS, 1)]
    return ArmPlace(
        origin=origin,
        face=face,
        gauge_share=float(found.mean()),
        tip_to_margin_mm=float(np.median((gauge - chart.margin(phi[tip]))[found])) if found.any() else float("nan"),
        length_mm=float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) if len(line) > 1 else 0.0,
        room_mm=_median(room),
        enamel_mm=_to_lower(chart, some) if float(np.nanmin(room)) < ARM_ROOM_MM else 0.0,
    )


def _to_lower(chart: CrownChart, phi: Floats) -> float:
    """mm of enamel that go where the contour is lowered as far as an arm asks: the depth there as it is."""
    low = np.maximum(chart.top(phi) - ARM_ROOM_MM, chart.margin(phi) + _NECK_MM)
    over = chart.contour(phi) > low + 0.05
    return float(np.nan_to_num(chart.depth(phi[over], low[over])).max()) if over.any() else 0.0


def _median(values: Floats) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a face that the scan does not show has no median
        return float(np.nanmedian(values))
