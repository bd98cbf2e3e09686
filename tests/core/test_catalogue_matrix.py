"""Every kind of component on every tooth where it is legal, on four made-up arches: each is a sound solid, or refused in one line."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import pytest
from claspwright.core.blockout import master_cast
from claspwright.core.case import AnyRest, Case, CastEntry, Chart, MinorConnector
from claspwright.core.case.components import KINDS
from claspwright.core.checks import check_self_intersection
from claspwright.core.checks.gather import KIND
from claspwright.core.checks.thickness import LIMITS, core_thickness, local_thickness
from claspwright.core.components import Built, Site
from claspwright.core.components.assemble import ORDER, build_part
from claspwright.core.errors import ComponentError, GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline.preparing import prepare_mouth
from claspwright.core.solids.fields import Blend, Shape

from .catalogue import ARCHES, Item, items, site_of

SPACING_MM = 0.25
LEAST_MM3 = 0.05
CHANCE = 0.02  # share of the readings of a small part that is left to chance


def test_all_kinds_are_tried() -> None:
    assert {i.part.kind for name in ARCHES for i in items(*ARCHES[name])} == set(KINDS)


def built_of(item: Item, arch: str, site: Site) -> tuple[Built, list[Shape]]:
    """The part beside those that it leans on, and the metal of rests and struts that its body lies against. Raises as the builders do."""
    case = Case(CastEntry("none.ply", "", arch), Chart(missing=tuple(sorted(site.teeth.missing))), components=(*item.others, item.part))
    under: dict[str, Built] = {}
    for other in sorted(item.others, key=lambda c: ORDER.index(type(c))):
        try:
            under[other.id] = build_part(other, case, site, under)
        except (ComponentError, GeometryError):
            continue
    carriers = [c.id for c in item.others if isinstance(c, AnyRest | MinorConnector) and c.id in under]
    return build_part(item.part, case, site, under), [s for name in carriers for s in under[name].shapes]


def stone_of(item: Item, built: Built, site: Site) -> Mesh:
    """What the part is cut to: the blocked-out cast less the seats that it or its body lies in, open where a tip goes."""
    blocked, prepared = site.blocked, site.cast
    if any(isinstance(c, AnyRest) for c in (item.part, *item.others)):
        case = Case(CastEntry("none.ply", "", site.teeth.arch), components=(*item.others, item.part))
        prepared = prepare_mouth(case, site.cast, site.teeth, site.path)[0].mesh
        seats = site.cast.to_manifold() - prepared.to_manifold()
        blocked = Mesh.from_manifold(blocked.to_manifold() - seats)
    if built.open_zones:
        zones = [Blend([zone], 0.0).mesh(0.25) for zone in built.open_zones]
        return master_cast(prepared, site.path, blocked=blocked, open_zones=zones).mesh
    return blocked


def faults_of(item: Item, built: Built, carriers: list[Shape], site: Site) -> list[str]:
    """What is wrong with a part by itself, cut to the blocked-out cast. Watertight by trimesh; a solid by manifold3d.

    The body of an arm ends in its rest and against its strut, under whose metal it lies: they are looked at together.
    """
    raw = Blend([*built.shapes, *(carriers if KIND[item.part.kind] == "clasp" else [])], 0.3).mesh(SPACING_MM)
    found = []
    if not raw.to_trimesh().is_watertight:
        found.append("not watertight")
    if check_self_intersection(raw).status != "pass":
        found.append("faces cross")
    cut = raw.to_manifold() - stone_of(item, built, site).to_manifold()
    bodies = [b for b in cut.decompose() if b.volume() > LEAST_MM3]
    if not bodies:
        return [*found, "no metal outside the cast"]
    metal = Mesh.from_manifold(max(bodies, key=lambda b: b.volume()))
    readings = local_thickness(metal, 3000)
    core = core_thickness(readings.points, readings.value)
    least = LIMITS[KIND[item.part.kind]][0]
    if (core < least).mean() > CHANCE:
        found.append(f"thin: {(core < least).mean():.0%} of its core under {least} mm")
    return found


@pytest.mark.nightly
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", ARCHES)
def test_each_part_is_sound_or_refused_with_a_way_out(name: str) -> None:
    arch, missing = ARCHES[name]
    site = site_of(arch, missing)
    told: Counter[str] = Counter()
    faults: dict[str, list[str]] = {}
    for item in items(arch, missing):
        try:
            built, carriers = built_of(item, arch, site)
        except (ComponentError, GeometryError) as error:
            words = str(error)
            assert "\n" not in words and len(words) < 260, words
            told["refused: " + re.sub(r"-?[0-9.]+", "N", words.split(": ", 1)[-1])[:90]] += 1
            continue
        told["built"] += 1
        if wrong := faults_of(item, built, carriers, site):
            faults[item.name] = wrong
    print(name, sum(told.values()), "tried", *(f"\n  {n:4d} {words}" for words, n in told.most_common()))
    assert faults == {}


@pytest.mark.nightly
@pytest.mark.timeout(900)
def test_struts_meet_the_bar_at_about_a_right_angle() -> None:
    """Of every strut that can be built to a lingual bar (handbook, section 5), but for those that run into another strut."""
    arch, missing = ARCHES["lower free ends"]
    site = site_of(arch, missing)
    bar = build_part(next(i for i in items(arch, missing) if isinstance(i.part, MinorConnector)).others[0], Case(
        CastEntry("none.ply", "", arch), Chart(missing=missing)), site, {}).rails["bar"]  # fmt: skip
    met = {}
    for item in items(arch, missing):
        if not isinstance(item.part, MinorConnector):
            continue
        try:
            built, _ = built_of(item, arch, site)
        except (ComponentError, GeometryError):
            continue
        if "joins" in built.facts:
            continue
        strut = built.rails["minor"].points
        near = int(np.linalg.norm(bar.points - strut[-1], axis=1).argmin())
        along = bar.points[min(near + 3, len(bar.points) - 1)] - bar.points[max(near - 3, 0)]
        down = strut[-1] - strut[-12]
        met[item.name] = float(np.degrees(np.arccos(abs(along @ down) / np.linalg.norm(along) / np.linalg.norm(down))))
    print({name: round(angle) for name, angle in met.items()})
    assert len(met) >= 8 and min(met.values()) > 70.0, met
