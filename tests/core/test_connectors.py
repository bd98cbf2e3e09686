"""Lower major connectors on a made-up arch: each is built as asked, keeps its distances, or refuses with the reason and a way out."""

from __future__ import annotations

import numpy as np
import pytest
from claspwright.core.blockout import block_out
from claspwright.core.case import ContinuousBar, LabialBar, LatticeBase, LingualPlate, OcclusalRest, SublingualBar
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.components import Site
from claspwright.core.components.continuous_bar import continuous_bar
from claspwright.core.components.far_bars import labial_bar, sublingual_bar
from claspwright.core.components.lingual_plate import lingual_plate
from claspwright.core.errors import ComponentError
from claspwright.core.phantom import PhantomSpec, make_phantom
from claspwright.core.solids.fields import Blend
from claspwright.core.survey import Path, survey
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
