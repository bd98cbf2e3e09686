"""Lower major connectors away from the usual lingual slope: the sublingual bar and the labial bar."""

from __future__ import annotations

import numpy as np

from ..case import Component, LabialBar, LatticeBase, SublingualBar
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.curves import resample, smooth, smooth_rows, tangents
from ..solids.sweep import Rail, half_pear, make_rail, sweep
from .bars import BAR_CALM_SAMPLES, _gingival_first, bar_ends, bar_relief, below_margins, lingual_line
from .gaps import Gap, find_gap, ridge_line
from .site import Built, Site

LEAST_MARGIN_MM = 3.0  # free margin to a bar's upper border (standard texts, from memory)
UNDER_SHARE = 0.3  # of a flat bar's height that lies under its widest place
FRAENUM_MM = 0.5
STRUT_SLOPE_MM = 4.5  # under the crest on the facial side: where the lattice's strut lies


def sublingual_bar(spec: SublingualBar, site: Site, sulcus_mm: float | None) -> Built:
    """The half pear laid flat over the floor of the mouth, its thin border to the gums, its bulk to the tongue."""
    if site.teeth.arch != "lower":
        raise ComponentError(f"{spec.id}: a sublingual bar lies over the floor of the mouth; use a palatal connector above")
    least = LEAST_MARGIN_MM + spec.height_mm
    if sulcus_mm is not None and sulcus_mm < least:
        raise ComponentError(
            f"{spec.id}: the lingual sulcus is {sulcus_mm:.1f} mm deep; this bar needs {least:.1f} mm: use a lingual plate"
        )
    floor = spec.border_mm if sulcus_mm is None else min(spec.border_mm, sulcus_mm)
    below = max(floor - (1.0 - UNDER_SHARE) * spec.height_mm, LEAST_MARGIN_MM + 0.5 * spec.height_mm)
    line = below_margins(site, lingual_line(site, *bar_ends(spec.start, spec.end, site), below), below)
    points, normals = site.broad.project(line)
    level = smooth_rows(normals - (normals @ site.up)[:, None] * site.up, BAR_CALM_SAMPLES)
    level /= np.maximum(np.linalg.norm(level, axis=1, keepdims=True), 1e-9)
    points = smooth(points + level * (spec.relief_mm + 0.5 * spec.width_mm), 4.0)
    across = np.cross(tangents(points), site.up)
    if float(np.einsum("ij,ij->i", across, level).mean()) < 0:
        points = points[::-1]
    rail = make_rail(points, np.tile(site.up, (len(points), 1)), spec.width_mm, spec.height_mm, calm=BAR_CALM_SAMPLES)
    facts: dict[str, float | str] = {"height_mm": spec.height_mm, "width_mm": spec.width_mm, "length_mm": rail.length, "border_mm": floor}
    wall = Rail(rail.points, rail.normals, rail.width + 2.0 * spec.relief_mm + 0.6, rail.thickness + 0.6)
    reliefs = bar_relief(wall, spec.relief_mm, spec.id)
    return Built(shapes=(sweep(rail, flat_pear, depth=9.0, name=spec.id),), rails={"bar": rail}, reliefs=reliefs, facts=facts)


def flat_pear(u: Floats, v: Floats, half: Floats, height: Floats) -> Floats:
    """A half pear with a rounded underside: nothing lies under it that could cut it off."""
    high, low = (1.0 - UNDER_SHARE) * height, UNDER_SHARE * height
    q = np.sqrt((u / half) ** 2 + (v / low) ** 2)
    slope = np.sqrt((u / half**2) ** 2 + (v / low**2) ** 2)
    under = np.where(q > 1e-6, q * (q - 1) / np.maximum(slope, 1e-9), -np.minimum(half, low))
    return np.where(v >= 0, half_pear(u, v, half, high), under)


def _gaps_at_ends(site: Site, components: tuple[Component, ...], first: float, last: float) -> list[Gap]:
    """The nearest gap with a lattice at or behind either end of a bar between two stations; those between lie over it."""
    gaps = [find_gap(site, c.teeth, c.id) for c in components if isinstance(c, LatticeBase)]
    found = []
    for end, sign in ((first, -1.0), (last, 1.0)):
        behind = [g for g in gaps if not g.crosses and g.sign == sign and sign * (g.end - end) > 0]
        found += sorted(behind, key=lambda g: abs(g.start))[:1]
    return found


def labial_bar(spec: LabialBar, site: Site, components: tuple[Component, ...], sulcus_mm: float | None) -> Built:
    """Half-pear bar on the facial slope; in a gap with a base its ends run up to the facial strut of the lattice."""
    if site.teeth.arch != "lower":
        raise ComponentError(f"{spec.id}: a labial bar belongs to the lower arch; use a palatal connector above")
    least = spec.margin_mm + spec.height_mm + FRAENUM_MM
    if sulcus_mm is not None and sulcus_mm < least:
        raise ComponentError(
            f"{spec.id}: the facial sulcus is {sulcus_mm:.1f} mm deep; a bar {spec.height_mm:g} mm high, {spec.margin_mm:g} mm under the "
            f"margins, needs {least:.1f} mm: ask for a lower bar, or use a lingual plate"
        )
    below = spec.margin_mm + 0.5 * spec.height_mm
    first, last = sorted((site.arch.station(spec.start), site.arch.station(spec.end)))
    line = below_margins(site, lingual_line(site, first, last, below, "facial"), below)
    for gap in _gaps_at_ends(site, components, first, last):
        at = gap.start + gap.sign * np.array([5.0, 7.0, 9.0])
        strut = ridge_line(site, at, "facial", STRUT_SLOPE_MM)
        line = np.vstack([line, strut]) if gap.sign > 0 else np.vstack([strut[::-1], line])
    points, normals = site.broad.project(smooth(resample(line, 0.25), 6.0), height=spec.relief_mm)
    points = _gingival_first(smooth(points, 4.0), normals, site.up)
    rail = make_rail(points, site.broad.with_normal(points)[1], spec.height_mm, spec.thickness_mm, calm=BAR_CALM_SAMPLES)
    facts: dict[str, float | str] = {
        "height_mm": spec.height_mm, "thickness_mm": spec.thickness_mm, "length_mm": rail.length, "margin_mm": spec.margin_mm,
    }  # fmt: skip
    shape = sweep(rail, half_pear, depth=0.9, name=spec.id)
    return Built(shapes=(shape,), rails={"labial bar": rail}, reliefs=bar_relief(rail, spec.relief_mm, spec.id), facts=facts)
