"""Footprints of rigid parts on a cast: where a bar, a base, a strut or a bracing arm must pass, whatever the path.

They are laid out roughly, by distance from margins and by station along the arch, for the one question that a path is asked: how far
would the part have to stand off because the surface under it is hidden by tissue or by a tilted tooth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from ..case import LatticeBase, LingualBar, MinorConnector, PalatalStraps, ReciprocalArm
from ..case.components import Component
from ..charts import ArchChart, Gap
from ..components.minor_connectors import SPACING_MM
from ..components.rests import partner_side
from ..mesh import Bools, Floats, Ints, Mesh
from ..teeth import Teeth, numbering
from .path_search_rays import Samples, sample_surface

_STATION_MM = 0.5
_SPACING_MM = 0.7
_MOST = 110  # samples of one footprint: their mean depth is then good to a few hundredths
_BESIDE_MM, _BELOW_MM = 11.0, 9.0  # working surface: so far beside the line of the arch, and so far below its margins
_FLOOR = -0.85  # tissue that faces down as much as this is the floor of a base
_RIDGE_MM = 6.0  # a base covers the ridge so far to either side
_BAR = (4.0, 4.1)  # mm below the lingual margins to the bar's upper border, and its height: the defaults of LingualBar
_PALATE_MM = 6.0
_LOWER_EXTENT = 0.78  # of the lost teeth's width: a lower lattice ends before the pad (standard texts, from memory)


@dataclass(frozen=True, eq=False)
class RigidPart:
    """A rigid part's name and samples of the surface under it."""

    name: str
    samples: Samples


@dataclass(frozen=True, eq=False)
class Footprints:
    """Samples of the working surface with where they lie.

    owner (n,) FDI, 0 tissue; station, offset (n,) mm along the arch and outward from its line
    to_margin (n,) mm to the lingual gingival line; below (n,) mm below it
    """

    mesh: Mesh
    arch: ArchChart
    teeth: Teeth
    samples: Samples
    owner: Ints
    station: Floats
    offset: Floats
    rise: Floats
    to_margin: Floats
    below: Floats
    working: Ints = field(repr=False)

    @staticmethod
    def of(mesh: Mesh, teeth: Teeth, arch: ArchChart) -> Footprints:
        """Lay the table out on a cast."""
        crown = np.zeros(len(mesh.faces), dtype=np.int64)
        for tooth in teeth.ordered:
            crown[tooth.faces] = tooth.fdi
        table = _ArchTable(arch)
        floor = mesh.face_normals[:, 2] < _FLOOR
        working = np.flatnonzero(_working(table, mesh.triangles.mean(axis=1), crown > 0, floor, teeth.arch))
        samples = sample_surface(mesh, working, _SPACING_MM)
        owner = crown[_face_of(mesh, working, samples)]
        station, offset, rise = table.locate(samples.points)
        near = cKDTree(table.lingual).query(samples.points)
        below = table.lingual[near[1], 2] - samples.points[:, 2]
        return Footprints(mesh, arch, teeth, samples, owner, station, offset, rise, np.asarray(near[0]), below, working)

    def ground(self, count: int) -> Samples:
        """About so many samples of the working surface, those that look up along some direction of the cone."""
        area = float(self.mesh.face_areas[self.working].sum())
        found = sample_surface(self.mesh, self.working, max(float(np.sqrt(area / count)), 1e-3))
        return found.chosen(found.normals[:, 2] > -0.36)

    def part(self, name: str, where: Bools) -> RigidPart | None:
        """A part on some of the samples; None where there are hardly any."""
        index = np.flatnonzero(where)
        if len(index) < 8:
            return None
        return RigidPart(name, self.samples.chosen(index[:: -(-len(index) // _MOST)]))

    @property
    def lingual(self) -> Bools:
        """(n,) on the tongue's side of the line of the arch."""
        return self.offset < 0.0


class _ArchTable:
    """The line of the arch and its lingual gingival line, every half millimetre."""

    def __init__(self, arch: ArchChart) -> None:
        self.station: Floats = np.arange(arch.ends[0], arch.ends[1] + 1e-9, _STATION_MM)
        frames = [arch.frame(float(s)) for s in self.station]
        self.origin = np.array([f.origin for f in frames])
        self.outward = np.array([f.outward for f in frames])
        self.lingual = np.array([arch.margin(float(s), "lingual") for s in self.station])
        self.facial = np.array([arch.margin(float(s), "facial") for s in self.station])
        self._tree = cKDTree(self.origin[:, :2])

    def nearest(self, points: Floats) -> Ints:
        """(k,) rows nearest to points, seen from above."""
        return np.asarray(self._tree.query(points[:, :2])[1], dtype=np.int64)

    def locate(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Station, offset outward and height over the line, (k,) each."""
        row = self.nearest(points)
        rel = points - self.origin[row]
        return self.station[row], np.einsum("ij,ij->i", rel, self.outward[row]), rel[:, 2]


def _working(table: _ArchTable, centres: Floats, crown: Bools, floor: Bools, arch: str) -> Bools:
    """Faces that a framework has to do with: crowns, the tissue near them, the palate. Not the walls and the floor of the base."""
    row = table.nearest(centres)
    offset = np.einsum("ij,ij->i", centres - table.origin[row], table.outward[row])
    away = np.linalg.norm(centres[:, :2] - table.origin[row, :2], axis=1)
    margin = np.where(offset > 0.0, table.facial[row, 2], table.lingual[row, 2])
    near = (away < _BESIDE_MM) & (centres[:, 2] > margin - _BELOW_MM)
    if arch == "upper":
        near |= (offset < 0.0) & (centres[:, 2] > table.lingual[:, 2].min() - 2.5 * _BELOW_MM) & (away < 4.0 * _BESIDE_MM)
    return np.asarray(crown | (near & ~floor))


def _face_of(mesh: Mesh, faces: Ints, samples: Samples) -> Ints:
    """(n,) the face of the list whose centre is nearest to each sample: which of two neighbours does not matter here."""
    return faces[cKDTree(mesh.triangles[faces].mean(axis=1)).query(samples.points)[1]]


def rigid_parts(on: Footprints, components: Sequence[Component], clasped: Sequence[int], abutments: set[int]) -> tuple[RigidPart, ...]:
    """Footprints of the case's parts; the usual major connector, bases and bracing arms where the case has none yet.

    clasped : teeth that carry a retentive tip, each braced on its lingual side; abutments : teeth beside gaps
    """
    found = [
        *_connectors(on, components),
        *_bases(on, components, abutments),
        *(_strut(on, c, _host(on, c, components)) for c in components if isinstance(c, MinorConnector) and c.tooth in on.teeth),
    ]
    braced = [c.tooth for c in components if isinstance(c, ReciprocalArm)] or clasped
    found += [_brace(on, fdi) for fdi in dict.fromkeys(braced) if fdi in on.teeth]
    return tuple(part for part in found if part is not None)


def _connectors(on: Footprints, components: Sequence[Component]) -> list[RigidPart | None]:
    bars = [c for c in components if isinstance(c, LingualBar)]
    straps = [c for c in components if isinstance(c, PalatalStraps)]
    if bars or on.teeth.arch == "lower":
        if bars:
            ends = sorted(on.arch.station(t) for t in (bars[0].start, bars[0].end))
            border, height = bars[0].margin_mm, bars[0].height_mm
        else:
            row = on.teeth.ordered
            ends = sorted(on.arch.station(t.fdi) for t in (row[0], row[-1]))
            border, height = _BAR
        where = on.lingual & (on.owner == 0) & (on.below > 0) & (on.to_margin > border) & (on.to_margin < border + height)
        return [on.part("lingual bar", where & (on.station > ends[0] - 3.5) & (on.station < ends[1] + 3.5))]
    margin = straps[0].margin_mm if straps else _PALATE_MM
    within = (on.station > on.arch.ends[0] + 1.0) & (on.station < on.arch.ends[1] - 1.0)
    vault = on.lingual & (on.owner == 0) & (on.below > 0) & (on.samples.normals[:, 2] > 0.05)  # no walls of a trimmed base
    return [on.part("palate", vault & within & (on.to_margin > margin))]


def _bases(on: Footprints, components: Sequence[Component], abutments: set[int]) -> list[RigidPart | None]:
    """The ridge in each gap with a base (any gap beside an abutment while no base is planned)."""
    wanted = [t for c in components if isinstance(c, LatticeBase) for t in c.teeth]
    found = []
    for gap in on.arch.gaps:
        stations = [on.arch.station(t) for t in wanted]
        if not (any(gap.start < s < gap.end for s in stations) if wanted else {gap.before, gap.after} & abutments):
            continue
        start, end = _covered(on, gap)
        ridge = (on.owner == 0) & (np.abs(on.offset) < _RIDGE_MM) & (on.rise > -_RIDGE_MM)
        beside = " to ".join(str(n) for n in (gap.before, gap.after) if n is not None)
        found.append(on.part(f"base {'between' if gap.before and gap.after else 'behind'} {beside}".replace(" to ", " and "),
                             ridge & (on.station > start + 0.8) & (on.station < end - 0.8)))  # fmt: skip
    return found


def _covered(on: Footprints, gap: Gap) -> tuple[float, float]:
    """The stations that a base covers: the whole of a bounded gap, as far back as the lost teeth went beside a free end."""
    if gap.before is not None and gap.after is not None:
        return gap.start, gap.end
    standing = gap.before or gap.after or 0
    lost = [standing // 10 * 10 + p for p in range(standing % 10 + 1, 8)]
    length = sum(numbering.crown_width(n) for n in lost) * (_LOWER_EXTENT if on.teeth.arch == "lower" else 0.95)
    return (gap.start, min(gap.end, gap.start + length)) if gap.before is not None else (max(gap.start, gap.end - length), gap.end)


def _strut_at(on: Footprints, spec: MinorConnector) -> float:
    """The station where a minor connector goes down."""
    if spec.side == "lingual":
        return on.arch.station(spec.tooth)
    mesial, distal = sorted(on.arch.extent(spec.tooth), key=abs)
    return mesial if spec.side == "mesial" else distal


def _host(on: Footprints, spec: MinorConnector, components: Sequence[Component]) -> MinorConnector | None:
    """The strut of an embrasure beside the tooth that stands too near for one from the cingulum as well; the nearest of two.

    The builder asks the same of the built lines; here the stations stand for them.
    """
    if spec.side != "lingual":
        return None
    at, near = _strut_at(on, spec), []
    for other in components:
        if not isinstance(other, MinorConnector) or other.side == "lingual" or other.tooth not in on.teeth:
            continue
        if spec.tooth not in (other.tooth, partner_side(other.tooth, other.side)[0]):
            continue
        away = abs(_strut_at(on, other) - at)
        if away - 0.5 * (spec.width_mm + other.width_mm) < SPACING_MM:
            near.append((away, other))
    return min(near, key=lambda n: n[0])[1] if near else None


def _strut(on: Footprints, spec: MinorConnector, host: MinorConnector | None) -> RigidPart | None:
    """A minor connector's way down the lingual embrasure, or over the lingual face; an arm of its host keeps to its own crown."""
    at = _strut_at(on, spec)
    way = on.lingual & ((on.owner > 0) | (on.below > 0)) & (on.to_margin < 4.5)
    if host is None:
        way &= np.abs(on.station - at) < 0.5 * spec.width_mm + 0.3
    else:  # across to the host, which has its own footprint down to the connector
        low, high = sorted((at, _strut_at(on, host)))
        way &= (on.station > low) & (on.station < high) & (on.owner == spec.tooth)
    upright = on.samples.normals[:, 2] < 0.7  # down the side, not over the chewing surface
    return on.part(f"{spec.id}", way & upright)


def _brace(on: Footprints, fdi: int) -> RigidPart | None:
    """The middle third of a crown's lingual face, where a bracing arm lies or a rigid part passes."""
    tooth = on.teeth[fdi]
    points = on.samples.points
    margin = float(np.median((tooth.margin - tooth.centre)[(tooth.margin - tooth.centre) @ tooth.facial < 0][:, 2]))
    top = float((on.mesh.vertices[np.unique(on.mesh.faces[tooth.faces]), 2] - tooth.centre[2]).max())
    share = (points[:, 2] - tooth.centre[2] - margin) / max(top - margin, 1e-6)
    facing = on.samples.normals @ tooth.facial < -0.6
    return on.part(f"bracing of {fdi}, lingual", (on.owner == fdi) & facing & (share > 0.33) & (share < 0.67))
