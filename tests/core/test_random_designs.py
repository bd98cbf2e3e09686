"""Random legal designs: whatever is asked for together, the framework is one watertight body.

A connector, a base in every gap, and on each tooth a group drawn at random from those that the trade makes there. A group of which a part
is refused is left out whole and the rest built again, as a person would do; a refusal is an answer, a broken solid is not.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
import pytest
from claspwright.core import case as doc
from claspwright.core.cast import write_mesh
from claspwright.core.errors import CaseError
from claspwright.core.phantom import PhantomSpec, make_phantom
from claspwright.core.pipeline.build import Clock, cut_to_fit, groundwork
from claspwright.core.pipeline.kept import Kept
from claspwright.core.solids.fields import Blend
from claspwright.core.teeth.numbering import is_molar, neighbours, position
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from .catalogue import ARCHES, PROXIMAL, THIRDS, beside, gaps_of

UNIT = tuple(tuple(float(v) for v in row) for row in np.eye(4))
Group = tuple[doc.Component, ...]
LOWER = (doc.LingualBar, doc.LingualPlate, doc.SublingualBar)
SPACING_MM = 0.45
ROUNDS = 6


@lru_cache(maxsize=4)
def empty_case(name: str) -> tuple[doc.Case, Kept]:
    """The charted cast of one arch, without a design, and what is kept of its stages."""
    arch, missing = ARCHES[name]
    made = make_phantom(PhantomSpec(arch, missing, THIRDS[arch], seed=43, triangles=40_000))
    folder = Path(mkdtemp())
    write_mesh(folder / "cast.ply", made.mesh)
    digest = hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest()
    teeth = tuple(doc.ToothEntry(n, seeds=(tuple(float(c) for c in p),)) for n, p in sorted(made.seeds.items()))
    chart = doc.Chart(teeth, tuple(sorted({*missing, *THIRDS[arch]})), THIRDS[arch], 9.5)
    return doc.Case(doc.CastEntry("cast.ply", digest, arch, UNIT), chart, folder=str(folder)), Kept()


@st.composite
def designs(draw: st.DrawFn) -> tuple[str, list[Group]]:
    """Name of the arch, and groups of parts; the first is the frame, without which there is nothing."""
    name = draw(st.sampled_from(sorted(ARCHES)))
    arch, missing = ARCHES[name]
    gaps = gaps_of(arch, missing)
    teeth = sorted(t for t in empty_case(name)[0].chart.standing)
    frame: list[doc.Component] = [draw(_connector(arch, teeth))]
    for gap in gaps:
        bounded = all(any(n in teeth for n in neighbours(t)) for t in (gap[0], gap[-1]))
        short = bounded and len(gap) <= 2 and len({t // 10 for t in gap}) == 1
        form = draw(st.sampled_from(("beads", "posts") if short and draw(st.booleans()) else ("lattice", "mesh")))
        make = doc.BeadPlate if form in ("beads", "posts") else doc.LatticeBase
        frame.append(make(f"base {gap[0]}", teeth=gap, form=form))  # type: ignore[arg-type]
    groups: list[Group] = [tuple(frame)]
    for tooth in teeth:
        for side, gap in beside(tooth, gaps).items():
            groups.append(draw(_clasp(tooth, side, next(b for b in frame if b.id == f"base {gap[0]}"))))
    for tooth in draw(st.lists(st.sampled_from(teeth), max_size=3, unique=True)):
        if not beside(tooth, gaps):
            groups.append(draw(_rest(tooth)))
    return name, groups


def _connector(arch: str, teeth: list[int]) -> st.SearchStrategy[doc.Component]:
    if arch == "upper":
        plates = st.builds(doc.PalatalPlate, st.just("connector"), st.booleans(), st.sampled_from((0.6, 0.8, 1.2)))
        return plates | st.builds(doc.PalatalStraps, st.just("connector"))
    ends = [max((t for t in teeth if t // 10 == q and position(t) <= 5), key=position) for q in (3, 4)]
    return st.sampled_from(LOWER).map(lambda kind: kind("connector", start=ends[0], end=ends[1]))


@st.composite
def _clasp(draw: st.DrawFn, tooth: int, side: str, base: doc.Component) -> Group:
    """What stands beside a gap: a guide plate, a rest beside it where the tooth takes one, and one way of holding, or none."""
    parts: list[doc.Component] = [doc.GuidePlate(f"plate {tooth} {side}", tooth, side, draw(st.sampled_from((0.8, 1.0, 1.4))))]
    if position(tooth) >= 4:
        depth = draw(st.sampled_from((1.0, 1.2, 1.5)))
        parts.append(doc.OcclusalRest(f"rest {tooth} {side}", tooth, side, depth_mm=depth, form=draw(st.sampled_from(("short", "long")))))
    ways = ["none"] + (["circumferential"] if position(tooth) >= 3 else [])
    ways += ["I-bar", "T-bar", "wire"] if isinstance(base, doc.LatticeBase) and position(tooth) >= 3 else []
    way = draw(st.sampled_from(ways))
    reach = draw(st.integers(95, 145))
    if way == "circumferential":
        face = draw(st.sampled_from(("facial", "lingual")))
        parts += [
            doc.RetentiveArm(f"arm {tooth} {side}", tooth, side, face, reach_deg=reach),
            doc.ReciprocalArm(f"brace {tooth} {side}", tooth, side, "lingual" if face == "facial" else "facial"),
        ]
    elif way == "I-bar":
        parts.append(doc.IBar(f"I-bar {tooth} {side}", tooth, base.id, at_deg=float(draw(st.integers(60, 110)))))
    elif way == "T-bar":
        parts.append(doc.TBar(f"T-bar {tooth} {side}", tooth, base.id, side, draw(st.booleans())))
    elif way == "wire":
        parts.append(doc.WireArm(f"wire {tooth} {side}", tooth, base.id, side, gauge_mm=draw(st.sampled_from((0.25, 0.5)))))
    return tuple(parts)


@st.composite
def _rest(draw: st.DrawFn, tooth: int) -> Group:
    """A rest away from the gaps with its strut, and perhaps arms from it."""
    if position(tooth) < 4:
        form = draw(st.sampled_from(("chevron", "ball")))
        return doc.CingulumRest(f"rest {tooth}", tooth, form=form), doc.MinorConnector(f"strut {tooth}", tooth, "lingual")
    side = draw(st.sampled_from(PROXIMAL[:1] if is_molar(tooth) else PROXIMAL))
    parts: Group = (doc.OcclusalRest(f"rest {tooth}", tooth, side, depth_mm=1.0), doc.MinorConnector(f"strut {tooth}", tooth, side))
    if draw(st.booleans()):
        parts += (doc.RetentiveArm(f"arm {tooth}", tooth, side), doc.ReciprocalArm(f"brace {tooth}", tooth, side))
    return parts


def is_one_body(name: str, groups: list[Group]) -> None:
    """Builds and asserts: watertight by trimesh; one body, and a volume of its own, by manifold3d."""
    case, kept = empty_case(name)
    for _ in range(ROUNDS):
        parts = tuple(p for g in groups for p in g)
        try:
            found = groundwork(replace(case, components=parts), Clock(None, None, kept), quick=True)
        except CaseError as error:
            assert "nothing could be built" in str(error)
            event("nothing could be built")
            return
        refused = found.assembly.refused
        if not refused:
            break
        if any(p.id in refused for p in groups[0]):
            event("frame refused")
            return
        groups = [g for g in groups if not any(p.id in refused for p in g)]
    event(f"{len(groups)} groups on {name}")
    metal = Blend(found.assembly.shapes, 0.5).mesh(SPACING_MM)
    framework, _ = cut_to_fit(metal, found.master.mesh, found.survey.path)
    assert framework.to_trimesh().is_watertight
    solid = framework.to_manifold()
    assert solid.volume() > 100.0
    bodies = sorted((round(p.volume(), 2) for p in solid.decompose()), reverse=True)
    assert len(bodies) == 1, f"{name}: bodies of {bodies[:5]} mm3 from {parts}"


SETTINGS = settings(deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck), print_blob=False)


@pytest.mark.slow
@settings(SETTINGS, max_examples=1)
@given(designs())
def test_one_random_design(design: tuple[str, list[Group]]) -> None:
    """One only: each takes 5 to 10 seconds, and the run has little time; the rest is nightly."""
    is_one_body(*design)


@pytest.mark.nightly
@pytest.mark.timeout(6 * 3600)
@settings(SETTINGS, max_examples=300)
@given(designs())
def test_300_random_designs(design: tuple[str, list[Group]]) -> None:
    is_one_body(*design)
