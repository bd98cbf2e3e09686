"""Beading of upper connectors: how deep, where it fades, and that a cast scored for it lets the metal come off."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from claspwright.core.case import LatticeBase, PalatalPlate
from claspwright.core.components import Site
from claspwright.core.components.palate_plate import palatal_plate
from claspwright.core.mesh import Mesh
from claspwright.core.solids.fields import Blend
from claspwright.core.survey import RayScene
from scipy.spatial import cKDTree

from .catalogue import site_of

BASES = (LatticeBase("right", teeth=(15, 16, 17)), LatticeBase("left", teeth=(25, 26, 27)))
BEAD_MM = 0.6


@pytest.fixture(scope="module")
def site() -> Site:
    return site_of("upper", (15, 16, 17, 25, 26, 27), triangles=30_000, seed=44)


@pytest.fixture(scope="module")
def tool(site: Site) -> Mesh:
    """What is scored out of the cast."""
    assert palatal_plate(PalatalPlate("plate", complete=True), site, BASES).scores == ()
    return Blend(list(palatal_plate(PalatalPlate("plate", complete=True, bead_mm=BEAD_MM), site, BASES).scores), 0.0).mesh(0.15)


@pytest.mark.nightly
def test_it_is_as_deep_as_asked_and_fades_out_towards_the_margins(site: Site, tool: Mesh) -> None:
    """Half round, 0.5 to 1 mm deep, none within 6 mm of the margins, shallower over the midline (handbook, section 4).

    Depth: distance of the score's floor to 600,000 points spread over the cast by trimesh, whose spacing adds 0.01 mm at this depth.
    """
    scored = Mesh.from_manifold(site.cast.to_manifold() - tool.to_manifold())
    assert scored.to_trimesh().is_watertight
    margins = np.vstack([t.margin for t in site.teeth.teeth.values()])
    assert cKDTree(margins).query(tool.vertices)[0].min() > 6.0 - BEAD_MM
    before = cKDTree(trimesh.sample.sample_surface_even(site.cast.to_trimesh(), 600_000, seed=1)[0])
    floor = tool.vertices[tool.vertex_normals @ site.up < -0.5]
    floor = floor[RayScene(site.cast).occluded(floor, site.up)]
    deep = before.query(floor)[0]
    assert deep.max() == pytest.approx(BEAD_MM, abs=0.05)
    middle = np.abs(floor[:, 0]) < 0.4
    assert middle.any() and deep[middle].max() == pytest.approx(0.5 * BEAD_MM, abs=0.08)


@pytest.mark.nightly
def test_the_score_is_open_along_the_path(site: Site, tool: Mesh) -> None:
    """By rays up from its floor: nothing of the scored cast stands over it. The nearest 0.1 mm are the facets of the floor itself."""
    scored = RayScene(Mesh.from_manifold(site.cast.to_manifold() - tool.to_manifold()))
    floor = tool.vertices[tool.vertex_normals @ site.up < -0.3]
    assert RayScene(site.cast).occluded(floor, site.up).mean() > 0.5, "without the score stone stands there"
    assert not scored.occluded(floor + 0.15 * site.up, site.up).any()
