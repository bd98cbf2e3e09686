"""Metal that ran into a crevice of the cast, against sizes laid out by hand."""

import numpy as np
import pytest
from claspwright.core.crossings import thin_faces
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline.build import cut_to_fit
from claspwright.core.solids.fins import HALF_MM, without_fins
from claspwright.core.survey import Path
from manifold3d import Manifold


def _box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Manifold:
    return Manifold.cube(np.subtract(high, low)).translate(low)


def _cast_with_crevice(wide_mm: float) -> Manifold:
    """A block of stone, its top at z = 0, with a crevice 1 mm deep and 4 mm long along the path."""
    return _box((-5, -5, -3), (5, 5, 0)) - _box((-wide_mm / 2, -2, -1), (wide_mm / 2, 2, 1))


METAL = _box((-3, -3, -2), (3, 3, 1))
PLATE_MM3 = 36.0  # 6 by 6 by 1 mm over the stone


@pytest.mark.parametrize("path", [Path(0.0, 0.0), Path(6.0, -4.0)])
def test_a_fin_is_cut_off_and_no_more(path: Path) -> None:
    """With the path aslant the whole scene is turned with it: what is cut does not depend on the frame."""
    back = np.hstack([path.rotation.T, np.zeros((3, 1))])
    metal, cast = (Mesh.from_manifold(s.transform(back)) for s in (METAL, _cast_with_crevice(0.002)))
    ran_in = Mesh.from_manifold(metal.to_manifold() - cast.to_manifold())
    assert len(thin_faces(ran_in, 0.004)) >= 4
    framework, words = cut_to_fit(metal, cast, path)
    assert framework.is_closed and words == ()
    assert len(thin_faces(framework, 0.004)) == 0
    # Where the fin stood a scratch is left in the plate, as wide and as deep as the cut and no longer than the crevice.
    scratch = PLATE_MM3 - framework.volume
    assert 0.0 <= scratch < (2 * HALF_MM + 0.004) * 1.5 * HALF_MM * (4 + 3 * HALF_MM)


def test_a_crevice_that_metal_can_fill_stays_filled() -> None:
    """0.05 mm wide: thin, and the thickness checks say so, but a form of the cast."""
    metal, cast = Mesh.from_manifold(METAL), Mesh.from_manifold(_cast_with_crevice(0.05))
    framework, _ = cut_to_fit(metal, cast, Path(0.0, 0.0))
    assert framework.volume == pytest.approx(PLATE_MM3 + 0.05 * 4 * 1, rel=1e-5)


def test_sound_metal_is_left_as_it_is() -> None:
    assert without_fins(Mesh.from_manifold(METAL), np.eye(3)) is None
