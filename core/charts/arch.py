"""The arch chart: station along the arch, and distance along the tissue from the gingival margin or the ridge crest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import make_splprep
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from ..errors import CaseError, GeometryError
from ..mesh import Floats, Mesh
from ..survey.path import Path
from ..survey.scene import RayScene, scene_of
from ..teeth import numbering
from ..teeth.model import Teeth, Tooth
from .ridge import Ground, march
from .section import Section, plane_section, walk_along

SPACING_MM = 0.25
GAP_MM = 2.5
"""Crowns further apart than this have a gap between them; nearer ones an embrasure."""
FREE_END_MM = 36.0
"""Longest free end followed: three molars and a retromolar pad (crown widths after Wheeler)."""
SIDES = ("facial", "lingual")


@dataclass(frozen=True)
class Gap:
    """A stretch of ridge without crowns: from start to end (stations, mm), between the crowns before and after (None: free end)."""

    start: float
    end: float
    before: int | None
    after: int | None

    @property
    def length(self) -> float:
        """mm."""
        return self.end - self.start


@dataclass(frozen=True, eq=False)
class Frame:
    """Right-handed frame on the arch: origin (3,), tangent toward +X side, outward (facial), up (along the path)."""

    origin: Floats
    tangent: Floats
    outward: Floats
    up: Floats


class ArchChart:
    """Chart of an arch. Station s in mm along a smooth line through crowns and ridge: 0 at the midline, positive toward +X.

    mesh : the cast, open or closed; teeth : its crowns (one at least); path : sets what is horizontal
    Raises GeometryError when there is no tooth to start from.
    """

    def __init__(self, mesh: Mesh, teeth: Teeth, path: Path, *, scene: RayScene | None = None) -> None:
        if not teeth.teeth:
            raise GeometryError("the arch chart needs at least one marked tooth; mark the teeth first")
        self.mesh, self.teeth, self.path = mesh, teeth, path
        self.up: Floats = path.vector
        self._scene = scene if scene is not None else scene_of(mesh)
        crown = np.zeros(len(mesh.faces), dtype=bool)
        for tooth in teeth.ordered:
            crown[tooth.faces] = True
        self._ground = Ground(self._scene, self.up, crown, float((mesh.vertices @ self.up).max()) + 1.0)
        self._points = self._curve()
        self._along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self._flat(self._points), axis=0), axis=1))]
        self._tree = cKDTree(self._flat(self._points))
        self._along = self._along - self._midline()
        self._sections: dict[float, Section] = {}

    # the line of the arch

    def _flat(self, points: Floats) -> Floats:
        """(k, 2) horizontal coordinates: perpendicular to the path."""
        return np.asarray(np.atleast_2d(points) @ self.path.rotation[:2].T)

    def _horizontal(self, vector: Floats) -> Floats:
        v = vector - (vector @ self.up) * self.up
        return v / max(float(np.linalg.norm(v)), 1e-12)

    def _nodes(self) -> Floats:
        """(k, 3) crown centres in order, with ridge crest points in the gaps and behind the last teeth."""
        row = self.teeth.ordered
        parts: list[Floats] = []
        for i, tooth in enumerate(row):
            parts.append(tooth.centre[None])
            if i + 1 < len(row):
                parts.append(self._between(tooth, row[i + 1]))
        return np.vstack([self._behind(row[0], -1)[::-1], *parts, self._behind(row[-1], +1)])

    def _between(self, a: Tooth, b: Tooth) -> Floats:
        """Crest points in the gap between two crowns, none where they stand together."""
        chord = self._horizontal(b.centre - a.centre)
        start, end = ((a.margin - a.centre) @ chord).max(), ((b.margin - a.centre) @ chord).min()
        if end - start < 2.0 * GAP_MM:
            return np.zeros((0, 3))
        span = float((b.centre - a.centre) @ chord)
        # a cubic that leaves each crown along its own mesiodistal line keeps the round of the arch in a long gap
        ta, tb = (self._horizontal(t.mesial) * np.sign(t.mesial @ chord) for t in (a, b))
        found = []
        for s in np.arange(start + 1.5, end - 1.4, 2.5):
            t = s / span
            base = (
                (2 * t**3 - 3 * t**2 + 1) * a.centre
                + (t**3 - 2 * t**2 + t) * span * ta
                + (3 * t**2 - 2 * t**3) * b.centre
                + (t**3 - t**2) * span * tb
            )
            across = np.cross(self.up, chord)
            offset, top = self._ground.crest_offset(base, across, 5.0)
            if np.isfinite(offset):
                # the line keeps to the round of the arch: it follows the crest, but not its every wave
                found.append(base + 0.7 * np.clip(offset, -3.0, 3.0) * across + (top - base @ self.up) * self.up)
        return np.array(found).reshape(-1, 3)

    def _behind(self, tooth: Tooth, direction: int) -> Floats:
        """Crest points behind the last crown on one side (-1: at -X), from the crown outward."""
        distal = self._horizontal(-tooth.mesial) if numbering.side(tooth.fdi) == direction else self._horizontal(tooth.mesial)
        edge = tooth.centre + ((tooth.margin - tooth.centre) @ distal).max() * distal
        found = march(self._ground, edge, distal, FREE_END_MM)
        if len(found) < 2:
            return (edge + 0.5 * distal)[None]
        return found

    def _curve(self) -> Floats:
        """(k, 3) evenly spaced points of the smooth line."""
        nodes = self._nodes()
        flat = np.column_stack([self._flat(nodes), nodes @ self.up])
        chord = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(flat[:, :2], axis=0), axis=1))]
        keep = np.r_[True, np.diff(chord) > 0.3]
        flat, chord = flat[keep], chord[keep]
        degree = min(3, len(flat) - 1)
        spline, _ = make_splprep(flat.T, u=chord, k=degree, s=0.35**2 * len(flat) if degree == 3 else 0.0)
        fine = spline(np.linspace(chord[0], chord[-1], max(int(chord[-1] / SPACING_MM), 8))).T
        return fine @ self.path.rotation

    def _midline(self) -> float:
        """Distance along the line at which left and right meet."""
        middles = []
        for p in range(1, 9):
            pair = [t for t in self.teeth.ordered if numbering.position(t.fdi) == p]
            if len(pair) == 2:
                middles.append((p, float(np.mean(self._project(np.stack([t.centre for t in pair]))))))
        if middles and middles[0][0] <= 3:
            return middles[0][1]
        # no front teeth: where the line crosses the middle of the cast, which the pairs further back give
        centre = np.mean([m for _, m in middles]) if middles else None
        crossing = float(self._along[int(np.abs(self._points[:, 0]).argmin())])
        return float(centre) if centre is not None else crossing

    def _project(self, points: Floats) -> Floats:
        """(k,) stations of points, straight onto the line; beyond its ends along the end tangents."""
        flat, line = self._flat(points), self._flat(self._points)
        _, i = self._tree.query(flat)
        i = np.clip(i, 1, len(line) - 2)
        tangent = line[i + 1] - line[i - 1]
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        return np.asarray(self._along[i] + np.einsum("ij,ij->i", flat - line[i], tangent))

    # stations

    @property
    def ends(self) -> tuple[float, float]:
        """First and last station at which the scan shows ridge or crown, mm."""
        return float(self._along[0]), float(self._along[-1])

    def station(self, where: int | Floats) -> float:
        """Station of a tooth (present or missing, FDI) or of a point (3,).

        Missing teeth share their gap by average crown widths (Wheeler). Raises CaseError for a tooth of the other arch.
        """
        if not isinstance(where, int | np.integer):
            return float(self._project(np.asarray(where, dtype=np.float64))[0])
        fdi = int(where)
        if numbering.arch_of(fdi) != self.teeth.arch:
            raise CaseError(f"tooth {fdi} does not stand in the {self.teeth.arch} arch of this cast")
        if fdi in self.teeth:
            return float(self._project(self.teeth[fdi].centre)[0])
        return self._missing_station(fdi)

    def _missing_station(self, fdi: int) -> float:
        row = numbering.order(self.teeth.arch)
        i = row.index(fdi)
        before = next((n for n in reversed(row[:i]) if n in self.teeth), None)
        after = next((n for n in row[i + 1 :] if n in self.teeth), None)
        wanted = set(self.teeth.missing) | {fdi}
        inner = [
            n
            for k, n in enumerate(row)
            if (before is None or k > row.index(before)) and (after is None or k < row.index(after)) and n in wanted
        ]
        widths = np.array([numbering.crown_width(n) for n in inner])
        middle = float(np.r_[0.0, np.cumsum(widths)][inner.index(fdi)] + 0.5 * numbering.crown_width(fdi))
        total = float(widths.sum())
        if before is not None and after is not None:
            start, end = self.extent(before)[1], self.extent(after)[0]
            return start + (end - start) * middle / total
        if before is not None:
            start = self.extent(before)[1]
            return start + middle * min(1.0, (self.ends[1] - start) / total)
        end = self.extent(after)[0] if after is not None else 0.0
        return end - (total - middle) * min(1.0, (end - self.ends[0]) / total)

    @cached_property
    def _extents(self) -> dict[int, tuple[float, float]]:
        result = {}
        for tooth in self.teeth.ordered:
            points = self.mesh.vertices[np.unique(self.mesh.faces[tooth.faces])]
            s = self._project(points)
            result[tooth.fdi] = (float(np.percentile(s, 1)), float(np.percentile(s, 99)))
        return result

    def extent(self, fdi: int) -> tuple[float, float]:
        """(first, last) station of a crown."""
        self.teeth[fdi]
        return self._extents[fdi]

    @cached_property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without crowns, from -X to +X, free ends included."""
        row = [t.fdi for t in self.teeth.ordered]
        found = [Gap(self.ends[0], self.extent(row[0])[0], None, row[0])]
        found += [Gap(self.extent(a)[1], self.extent(b)[0], a, b) for a, b in zip(row[:-1], row[1:], strict=True)]
        found.append(Gap(self.extent(row[-1])[1], self.ends[1], row[-1], None))
        return tuple(g for g in found if g.length > GAP_MM)

    def gap_at(self, s: float) -> Gap | None:
        """The gap in which a station lies, or None beside a crown."""
        return next((g for g in self.gaps if g.start <= s <= g.end), None)

    def tooth_at(self, s: float) -> int | None:
        """FDI number of the crown at a station, or None in a gap."""
        if self.gap_at(s) is not None:
            return None
        return min(self._extents, key=lambda n: max(self._extents[n][0] - s, s - self._extents[n][1]))

    # frames, sections, walks

    def frame(self, s: float) -> Frame:
        """Frame on the line at a station; beyond the ends the line runs straight on."""
        inside = float(np.clip(s, *self.ends))
        origin = np.array([np.interp(inside, self._along, self._points[:, k]) for k in range(3)])
        low, high = np.clip([inside - 0.5, inside + 0.5], *self.ends)
        ends = [np.array([np.interp(t, self._along, self._points[:, k]) for k in range(3)]) for t in (low, high)]
        tangent = self._horizontal(ends[1] - ends[0])
        return Frame(origin + (s - inside) * tangent, tangent, np.cross(self.up, tangent), self.up)

    def _section(self, s: float) -> Section:
        key = round(float(s), 3)
        if key not in self._sections:
            f = self.frame(s)
            top = self._ground.drop(f.origin, tissue_only=False)[0]
            if self.gap_at(s) is not None and np.isfinite(top).all():
                top = self.crest(s)
            top = np.where(np.isfinite(top), top, f.origin)
            self._sections[key] = plane_section(self.mesh, f.origin, f.tangent, f.outward, f.up, top)
        return self._sections[key]

    def section(self, s: float) -> Floats:
        """(k, 3) profile of crown and tissue in the plane across the arch, from its facial to its lingual end (without the base)."""
        return self._section(s).points

    def _crests(self, gap: Gap) -> tuple[Floats, Floats]:
        """Stations in a gap and the smoothed offset of the crest from the line, outward."""
        at = np.linspace(gap.start, gap.end, max(int(gap.length / 0.5), 4))
        offsets = []
        for s in at:
            f = self.frame(float(s))
            offsets.append(self._ground.crest_offset(f.origin, f.outward, 5.0)[0])
        known = np.isfinite(offsets)
        if not known.any():
            raise GeometryError(f"no ridge between {gap.before or 'the end'} and {gap.after or 'the end'}: the scan shows no tissue there")
        filled = np.interp(at, at[known], np.asarray(offsets)[known])
        return at, gaussian_filter1d(filled, 3.0, mode="nearest")

    @cached_property
    def _crest_curves(self) -> dict[Gap, tuple[Floats, Floats]]:
        return {}

    def crest(self, s: float) -> Floats:
        """(3,) point of the ridge crest at a station in a gap. Raises GeometryError beside a crown or off the scan."""
        gap = self.gap_at(s)
        if gap is None:
            raise GeometryError(f"there is no ridge crest at station {s:.1f} mm: tooth {self.tooth_at(s)} stands there")
        if gap not in self._crest_curves:
            self._crest_curves[gap] = self._crests(gap)
        f = self.frame(s)
        point = self._ground.drop(f.origin + float(np.interp(s, *self._crest_curves[gap])) * f.outward, tissue_only=False)[0]
        if not np.isfinite(point).all():
            raise GeometryError(f"the scan shows no ridge at station {s:.1f} mm")
        return np.asarray(point)

    @cached_property
    def _margins(self) -> dict[str, Floats]:
        """For each side (k, 3): station, offset outward, height of the gingival margin, by station; papillae are bridged."""
        return {side: _side_margin(self, side) for side in SIDES}

    def margin(self, s: float, side: str) -> Floats:
        """(3,) the gingival margin on one side at a station, between teeth a straight bridge from margin to margin."""
        if side not in SIDES:
            raise CaseError(f"a side of the arch is facial or lingual, not {side!r}")
        known = self._margins[side]
        f = self.frame(s)
        offset, height = (np.interp(s, known[:, 0], known[:, k]) for k in (1, 2))
        return f.origin + offset * f.outward + (height - f.origin @ self.up) * self.up

    def walk(self, s: float, side: str, distance_mm: float, *, start: str = "auto", clamp: bool = False) -> tuple[Floats, Floats]:
        """(point (3,), unit normal (3,)) at a distance along the tissue, away from the crest of the arch.

        start : "margin" (bridged across gaps), "crest", or "auto": margin beside teeth, crest in gaps
        clamp : stop at the end of the scan instead of raising GeometryError
        """
        if side not in SIDES:
            raise CaseError(f"a side of the arch is facial or lingual, not {side!r}")
        gap = self.gap_at(s)
        from_margin = start == "margin" or (start == "auto" and gap is None)
        origin = self.margin(s, side) if from_margin else self.crest(s)
        point, short = walk_along(self._section(s).side(side), origin, distance_mm)
        if short > 0.05 and not clamp:
            where = f"beside {self.tooth_at(s)}" if gap is None else f"at station {s:.1f} mm"
            raise GeometryError(
                f"the scan ends {distance_mm - short:.1f} mm from its start {where} on the {side} side; {distance_mm:.1f} mm are needed"
            )
        return point, self.normal(point)

    def normal(self, point: Floats) -> Floats:
        """(3,) smooth unit normal of the surface nearest to a point."""
        face = int(self._scene.nearest(np.atleast_2d(point))[1][0])
        corners = self.mesh.triangles[face]
        weight = 1.0 / np.maximum(np.linalg.norm(corners - point, axis=1), 1e-6)
        n = weight @ self.mesh.vertex_normals[self.mesh.faces[face]]
        return np.asarray(n / np.linalg.norm(n))


def _side_margin(chart: ArchChart, side: str) -> Floats:
    rows = []
    for tooth in chart.teeth.ordered:
        ahead = tooth.direction(side)
        from_centre = tooth.margin - tooth.centre
        flat = from_centre - np.outer(from_centre @ chart.up, chart.up)
        facing = flat @ ahead > 0.64 * np.linalg.norm(flat, axis=1)  # within 50 degrees of the side
        if len(tooth.shared) == len(facing) and (facing & (tooth.shared == 0)).sum() >= 5:
            facing &= tooth.shared == 0
        points = tooth.margin[facing]
        s = chart._project(points)
        for at, p in zip(s, points, strict=True):
            f = chart.frame(float(at))
            rows.append((float(at), float((p - f.origin) @ f.outward), float(p @ chart.up)))
    table = np.array(sorted(rows)).reshape(-1, 3)
    even = np.arange(table[0, 0], table[-1, 0], SPACING_MM)
    resampled = np.column_stack([even, *(np.interp(even, table[:, 0], table[:, k]) for k in (1, 2))])
    resampled[:, 1:] = gaussian_filter1d(resampled[:, 1:], 0.5 / SPACING_MM, axis=0, mode="nearest")
    return resampled
