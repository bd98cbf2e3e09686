"""Where a gap begins and ends on this cast, and lines along its ridge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import ComponentError, GeometryError
from ..mesh import Floats
from ..teeth.numbering import order, side
from .site import Site

# Mesiodistal crown widths, mm, positions 1 to 8 (Wheeler's average carving values, from memory of Dental Anatomy).
WIDTH_MM = {"upper": (8.5, 6.5, 7.5, 7.0, 7.0, 10.0, 9.0, 8.5), "lower": (5.0, 5.5, 7.0, 7.0, 7.0, 11.0, 10.5, 10.0)}
# Of the space of the teeth replaced: the lattice covers about two thirds of a lower ridge to its pad (standard texts, from memory).
LOWER_EXTENT = 0.78


@dataclass(frozen=True)
class Gap:
    """A stretch of ridge. start, end: stations in mm at the abutments' surfaces, start beside the mesial abutment; abutments FDI or 0.

    Across the midline start is at -X and both abutments are mesial ones. lingual_mm : where the base in it ends, from the crest along
    the tissue; 0 where nothing is known of one
    """

    start: float
    end: float
    mesial: int
    distal: int
    lingual_mm: float = 0.0

    @property
    def free_end(self) -> bool:
        """No abutment behind it."""
        return self.distal == 0

    @property
    def crosses(self) -> bool:
        """It lies across the midline."""
        return self.start < 0.0 < self.end

    @property
    def sign(self) -> float:
        """Direction from start to end along the stations."""
        return 1.0 if self.end > self.start else -1.0

    def inset(self, first_mm: float, last_mm: float, step_mm: float = 1.0) -> Floats:
        """Stations from start + first_mm to end - last_mm."""
        a, b = self.start + self.sign * first_mm, self.end - self.sign * last_mm
        if (b - a) * self.sign < 3.0:
            raise ComponentError(
                f"the gap behind {self.mesial} is too short for a lattice ({abs(self.end - self.start):.1f} mm); "
                "use a bead plate or a backing"
            )
        return np.linspace(a, b, max(int(abs(b - a) / step_mm), 4))


def find_gap(site: Site, teeth: Sequence[int], component: str) -> Gap:
    """The gap that replaced teeth (FDI) stand in: of one quadrant, or across the midline. Raises ComponentError when there is none."""
    row = order(site.teeth.arch)
    strangers = [t for t in teeth if t not in row]
    if strangers or not teeth:
        raise ComponentError(f"{component}: {strangers or 'no tooth'} to be replaced in this arch; name the missing teeth of one gap")
    places = sorted(row.index(t) for t in teeth)
    if len({t // 10 for t in teeth}) > 1:
        return _across_midline(site, places, component)
    quadrant, positions = teeth[0] // 10, sorted(t % 10 for t in teeth)
    standing = site.teeth.teeth
    mesial, distal = quadrant * 10 + positions[0] - 1, quadrant * 10 + positions[-1] + 1
    inner = 180.0
    if positions[0] == 1:  # the tooth in front stands on the other side of the midline, and looks here with its mesial face
        mesial = row[places[0] - 1] if side(teeth[0]) > 0 else row[places[-1] + 1]
        inner = 0.0
    if mesial not in standing:
        raise ComponentError(f"{component}: tooth {mesial} in front of the base does not stand on this cast")
    distal = distal if distal in standing else 0
    start = _face_station(site, mesial, inner, component)
    if distal:
        return Gap(start, _face_station(site, distal, 0.0, component), mesial, distal)
    widths = WIDTH_MM[site.teeth.arch]
    length = sum(widths[p - 1] for p in positions) * (LOWER_EXTENT if site.teeth.arch == "lower" else 0.95)
    sign = 1.0 if site.arch.station(mesial) > 0 else -1.0
    return Gap(start, start + sign * length, mesial, 0)


def _across_midline(site: Site, places: Sequence[int], component: str) -> Gap:
    """A gap of front teeth from one side to the other: both abutments look into it with their mesial faces."""
    row = order(site.teeth.arch)
    if places[-1] - places[0] >= len(places) and any(row[k] in site.teeth.teeth for k in range(places[0], places[-1] + 1)):
        teeth = [row[k] for k in places]
        raise ComponentError(f"{component}: teeth stand between {teeth[0]} and {teeth[-1]}; give each gap a base of its own")
    ends = [row[places[0] - 1] if places[0] > 0 else 0, row[places[-1] + 1] if places[-1] < 15 else 0]
    for end in ends:
        if end not in site.teeth.teeth:
            raise ComponentError(f"{component}: tooth {end} beside the base does not stand on this cast")
    first, last = (_face_station(site, t, 0.0, component) for t in ends)
    return Gap(first, last, ends[0], ends[1])


def _face_station(site: Site, tooth: int, phi: float, component: str) -> float:
    chart = site.chart(tooth, component)
    z = chart.contour(phi)
    radius = float(np.nan_to_num(chart.radius(phi, z)[0], nan=3.5))
    return float(site.arch.station(chart.at(phi, z, radius)[0]))


def tissue_line(site: Site, stations: Floats, side: str, distance_mm: float, *, start: str = "auto") -> Floats:
    """(k, 3) points at a distance along the tissue, one a station; places where the profile is broken are bridged.

    A plane across the arch can cut a crown that hangs over the ridge apart from the tissue below it: no walk is possible there.
    Raises ComponentError when most stations have no profile.
    """
    found = np.full((len(stations), 3), np.nan)
    for k, s in enumerate(stations):
        try:
            found[k] = site.arch.walk(float(s), side, distance_mm, start=start)[0]
        except GeometryError as error:
            reason = str(error)
    good = np.isfinite(found[:, 0])
    if good.sum() < max(2, 0.5 * len(stations)):
        raise ComponentError(f"no tissue to follow on the {side} side: {reason}")
    order = np.argsort(stations)
    at = stations[order][good[order]]
    return np.stack([np.interp(stations, at, found[order][good[order]][:, k]) for k in range(3)], axis=1)


def ridge_line(site: Site, stations: Floats, side: str, distance_mm: float) -> Floats:
    """(k, 3) points along the ridge at `distance_mm` from its crest along the tissue, on `side` facial or lingual; crest itself for 0."""
    if distance_mm == 0:
        return np.array([site.arch.crest(float(s)) for s in stations])
    if len(stations) == 1:
        return np.array([site.arch.walk(float(stations[0]), side, distance_mm)[0]])
    return tissue_line(site, stations, side, distance_mm)
