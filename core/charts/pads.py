"""The tissue behind the last tooth: retromolar pad of a lower cast, tuberosity of an upper one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..errors import GeometryError
from ..mesh import Floats, Ints
from ..teeth import numbering
from .arch import ArchChart, Gap

LENGTH_MM = {"lower": 12.0, "upper": 10.0}
"""Length of a retromolar pad and of a tuberosity along the crest (from memory; 8 to 14 mm)."""
LEAST_MM = 5.0
HALF_MM = 5.0


@dataclass(frozen=True, eq=False)
class Pad:
    """name : "retromolar pad" or "tuberosity"; side : -1 at -X, 1 at +X; start, end : stations (mm), start toward the midline

    crest : (k, 3) along it, on the tissue, mm; faces : indices into the cast's faces
    """

    name: str
    side: int
    start: float
    end: float
    crest: Floats
    faces: Ints


def pads(chart: ArchChart) -> tuple[Pad, ...]:
    """The regions that the scan shows, none on a side where it ends before LEAST_MM of tissue behind the place of the second molar.

    A region, not a contour: where pad or tuberosity begins in the mouth is for the clinician to see.
    """
    found = []
    arch = chart.teeth.arch
    for side in (-1, 1):
        quadrant = {("upper", -1): 1, ("upper", 1): 2, ("lower", -1): 3, ("lower", 1): 4}[arch, side]
        behind = _behind(chart, quadrant, side)
        end = chart.ends[0] if side < 0 else chart.ends[1]
        length = min(side * (end - behind), LENGTH_MM[arch])
        if length < LEAST_MM:
            continue
        stop = behind + side * length
        crest = _crest(chart, behind, stop)
        if len(crest) < 3:
            continue
        name = "retromolar pad" if arch == "lower" else "tuberosity"
        found.append(Pad(name, side, behind, stop, crest, _faces(chart, crest)))
    return tuple(found)


def _behind(chart: ArchChart, quadrant: int, side: int) -> float:
    """Station behind the last tooth that stands, or behind the empty place of the second molar where that lies further back."""
    second, third = quadrant * 10 + 7, quadrant * 10 + 8
    last = [t.fdi for t in chart.teeth.ordered if numbering.quadrant(t.fdi) == quadrant]
    standing = chart.extent(last[-1] if side > 0 else last[0])[1 if side > 0 else 0] if last else None
    if second in chart.teeth or third in chart.teeth:
        return float(standing if standing is not None else chart.station(second))
    place = chart.station(second) + side * 0.5 * numbering.crown_width(second)
    return float(place if standing is None else side * max(side * place, side * standing))


def _crest(chart: ArchChart, start: float, stop: float, count: int = 9) -> Floats:
    """(k, 3) the crest between two stations, without places off the scan or beside crowns."""
    points = []
    for s in np.linspace(start, stop, count):
        try:
            points.append(chart.crest(float(s)))
        except GeometryError:
            continue
    return np.array(points).reshape(-1, 3)


def crest_of(chart: ArchChart, gap: Gap) -> Floats:
    """(k, 3) the ridge crest of a gap at every millimetre or so, where the scan shows it, mm."""
    return _crest(chart, gap.start + 0.01, gap.end - 0.01, max(int(gap.length), 3))


def _faces(chart: ArchChart, crest: Floats) -> Ints:
    """Tissue faces within HALF_MM of the crest that look occlusally."""
    mesh = chart.mesh
    centre = mesh.triangles.mean(axis=1)
    crown = np.zeros(len(mesh.faces), dtype=bool)
    for tooth in chart.teeth.ordered:
        crown[tooth.faces] = True
    near = np.isfinite(cKDTree(crest).query(centre, distance_upper_bound=HALF_MM)[0])
    return np.flatnonzero(near & ~crown & (mesh.face_normals @ chart.up > 0.2))
