"""Lower major connectors and bases on a made-up arch: each is built as asked, keeps its distances, or refuses with a way out."""

from __future__ import annotations

import numpy as np
import pytest
from claspwright.core.blockout import block_out
from claspwright.core.case import (
    CingulumRest,
    ContinuousBar,
    LabialBar,
    LatticeBase,
    LingualBar,
    LingualPlate,
    MinorConnector,
    OcclusalRest,
    SublingualBar,
)
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.components import Site
from claspwright.core.components.bars import lingual_bar
from claspwright.core.components.bases import SLOPE_MM, lattice_base
from claspwright.core.components.continuous_bar import continuous_bar
from claspwright.core.components.far_bars import labial_bar, sublingual_bar
from claspwright.core.components.gaps import find_gap
from claspwright.core.components.lingual_plate import lingual_plate
from claspwright.core.components.mesh_sheet import mesh_sheet
from claspwright.core.components.metal_bases import _nail
from claspwright.core.components.minor_connectors import minor_connector
from claspwright.core.errors import ComponentError
from claspwright.core.phantom import PhantomSpec, make_phantom
from claspwright.core.solids.fields import Blend
from claspwright.core.survey import Path, RayScene, survey
from claspwright.core.teeth import find_teeth

RESTS = (OcclusalRest("a", 34, "mesial"), OcclusalRest("b", 44, "mesial"))


@pytest.fixture(scope="module")
def site() -> Site:
    spec = PhantomSpec("lower", missing=(35, 36, 37, 45, 46, 47), absent=(38, 48), seed=13, triangles=60_000)
    made = make_phantom(spec)
    teeth = find_teeth(made.mesh, "lower", {k: np.atleast_2d(p) for k, p in made.seeds.items()}, spec.missing)
    path = Path(0.0, 0.0)
    found = survey(made.mesh, path, np.asarray(teeth.labels, dtype=np.int64))
    charts = {fdi: CrownChart(made.mesh, t, found) for fdi, t in teeth.teeth.items()}
    return Site(made.mesh, made.mesh, block_out(made.mesh, path, step_mm=0.25), teeth, charts, ArchChart(made.mesh, teeth, path), path)


def _margins(site: Site) -> np.ndarray:
    return np.vstack([t.margin for t in site.teeth.teeth.values()])


@pytest.mark.slow
@pytest.mark.parametrize(
    "make",
    [
        lambda s: lingual_plate(LingualPlate("plate", 34, 44), s, 6.5),
        lambda s: sublingual_bar(SublingualBar("sub", 34, 44), s, 7.0),
        lambda s: labial_bar(LabialBar("labial", 34, 44), s, (LatticeBase("base", teeth=(35, 36, 37)),), None),
        lambda s: continuous_bar(ContinuousBar("band", 33, 43, height_mm=2.0), s, RESTS),
    ],
    ids=["lingual plate", "sublingual bar", "labial bar", "continuous bar"],
)
def test_each_is_one_closed_body(site: Site, make) -> None:
    mesh = Blend(list(make(site).shapes), 0.5).mesh(0.42)
    solid = mesh.to_manifold()  # manifold3d takes closed, oriented meshes only
    parts = [p for p in solid.decompose() if abs(p.volume()) > 0.5]
    assert len(parts) == 1
    assert solid.volume() > 30.0


def test_bars_keep_their_distance_from_the_margins(site: Site) -> None:
    """Upper borders 3 mm or more under the gingival margins (standard texts, from memory), measured in straight lines."""
    for built, name, half in (
        (sublingual_bar(SublingualBar("sub", 34, 44), site, 7.0), "bar", 1.1),
        (labial_bar(LabialBar("labial", 34, 44), site, (), None), "labial bar", 2.05),
    ):
        gap = np.linalg.norm(built.rails[name].points[:, None] - _margins(site)[None], axis=2).min(axis=1) - half
        assert gap.min() > 3.0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda s: lingual_plate(LingualPlate("plate", 34, 44), s, 4.0), "labial bar"),
        (lambda s: sublingual_bar(SublingualBar("sub", 34, 44), s, 5.0), "use a lingual plate"),
        (lambda s: labial_bar(LabialBar("labial", 34, 44), s, (), 7.0), "ask for a lower bar"),
        (lambda s: continuous_bar(ContinuousBar("band", 33, 43), s, ()), "add one at either end"),
    ],
)
def test_no_room_is_said_with_a_way_out(site: Site, make, words: str) -> None:
    with pytest.raises(ComponentError, match=words):
        make(site)


MESH = LatticeBase("base", teeth=(35, 36, 37), form="mesh", stop=True)


def test_a_mesh_base_is_one_body(site: Site) -> None:
    built = lattice_base(MESH, site, None)
    parts = [p for p in Blend(list(built.shapes), 0.3).mesh(0.35).to_manifold().decompose() if p.volume() > 0.5]
    assert len(parts) == 1 and built.facts["holes"] >= 7


def test_holes_are_round_open_and_apart(site: Site) -> None:
    """Holes 1.5 to 2 mm or more (Stewart's, from memory), webs over the 0.6 mm that metal printing wants: by rays through the metal."""
    gap = find_gap(site, MESH.teeth, "base")
    stations = gap.inset(2.7, 0.0)
    struts = lattice_base(MESH, site, None).rails
    sheet = mesh_sheet(MESH, site, stations, (struts["facial"].points, struts["lingual"].points), SLOPE_MM)
    scene = RayScene(Blend([sheet.shape], 0.0).mesh(0.25))
    for hole, axis in zip(sheet.holes, sheet.axes, strict=True):
        side = np.cross(axis, [1.0, 0.0, 0.0])
        side /= np.linalg.norm(side)
        turn = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)[:, None]
        ring = np.cos(turn) * side + np.sin(turn) * np.cross(axis, side)
        for radius, open_ in ((0.9, True), (1.0 + 0.35, False)):
            start = hole + radius * ring + 3.0 * axis
            far, _ = scene.first_hit(start, np.broadcast_to(-axis, start.shape))
            assert (np.isinf(far) | (far > 5.0)).all() if open_ else (far < 5.0).mean() > 0.9
    apart = np.linalg.norm(sheet.holes[:, None] - sheet.holes[None], axis=2) + 99.0 * np.eye(len(sheet.holes))
    assert apart.min() - 2.0 > 0.6


def test_the_stop_of_a_mesh_stands_on_the_ridge_where_no_relief_lies(site: Site) -> None:
    """2 x 2 mm on the crest (McCracken's, from memory)."""
    built = lattice_base(MESH, site, None)
    stop = next(s for s in built.shapes if s.name.endswith("stop"))
    foot = site.skin.project(np.mean(stop.bounds, axis=0)[None])[0]
    assert stop.field(foot)[0] < -0.7 and built.reliefs[0].zone.field(foot)[0] > 0.9
    assert stop.field(foot + [[1.5, 0.0, 0.0]])[0] > 0.2


def test_a_small_post_has_a_head_that_holds_resin() -> None:
    points = Blend([_nail(np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.3, 1.3, 0.5, "post")], 0.0).mesh(0.06).vertices
    radial = np.hypot(points[:, 0], points[:, 1])
    assert points[:, 2].max() == pytest.approx(1.3, abs=0.03) and radial.max() == pytest.approx(0.5, abs=0.03)
    neck = radial[(points[:, 2] > 0.2) & (points[:, 2] < 0.5)]
    assert neck.max() == pytest.approx(0.3, abs=0.03)


def test_struts_that_would_stand_side_by_side_become_one(site: Site) -> None:
    """5 mm or more between upright struts (McCracken's, from memory): a canine's and a premolar's would stand 1 mm apart, and a section
    at any level under their meeting shows one strut, not two; alone, the canine's goes down by itself."""
    canine, premolar = MinorConnector("on 33", 33, "lingual"), MinorConnector("on 34", 34, "mesial")
    parts = (RESTS[0], CingulumRest("c", 33), canine, premolar)
    bar = lingual_bar(LingualBar("bar", 34, 44), site, 9.0).rails["bar"]
    arm, strut = (minor_connector(c, site, parts, bar) for c in (canine, premolar))
    end, line = arm.rails["minor"].points[-1], strut.rails["minor"].points
    assert arm.facts["joins"] == "on 34" and np.linalg.norm(line - end, axis=1).min() < 0.4
    solid = Blend([*arm.shapes, *strut.shapes], 0.5).mesh(0.3).to_manifold()
    for level in np.linspace(line[-1, 2] + 1.0, end[2], 8):
        assert len(solid.slice(float(level)).decompose()) == 1
    alone = minor_connector(canine, site, parts[:3], bar)
    assert "joins" not in alone.facts and alone.rails["minor"].length > 1.5 * arm.rails["minor"].length
