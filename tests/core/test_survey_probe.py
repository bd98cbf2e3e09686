"""The gauge probe, the tooth taken alone, and the space under the rod, against closed forms."""

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import GeometryError
from claspwright.core.gauges import gauge_name
from claspwright.core.mesh import Mesh
from claspwright.core.survey import (
    Path,
    local_undercut,
    probe,
    proximal_enamel_mm,
    space_under_rod,
    survey,
)

R = 4.0


Triple = tuple[float, float, float]


def _ball(subdivisions: int = 5, centre: Triple = (0.0, 0.0, 0.0), axes: Triple = (R, R, R)) -> Mesh:
    unit = trimesh.creation.icosphere(subdivisions=subdivisions, radius=1.0)
    return Mesh(np.asarray(unit.vertices) * axes + centre, np.asarray(unit.faces))


def _ring(path: Path, height: float) -> np.ndarray:
    """The circle of the ball at a height along the path: a margin."""
    turn = np.linspace(0.0, 2.0 * np.pi, 181)[:-1]
    radius = np.sqrt(R**2 - height**2)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, height)]) @ path.rotation


@pytest.mark.parametrize("path", [Path(), Path(8.0, -5.0)])
@pytest.mark.parametrize("angle", [18.0, 30.0])
def test_probe_on_a_sphere(path: Path, angle: float) -> None:
    # At an angle a below the equator: depth R (1 - cos a), convergence a, wall R a, here with a margin 3 mm below the equator.
    a = np.radians(angle)
    point = R * np.array([np.cos(a) * np.cos(0.7), np.cos(a) * np.sin(0.7), -np.sin(a)]) @ path.rotation
    told = probe(survey(_ball(), path), point, _ring(path, -3.0))
    assert told.depth_mm == pytest.approx(R * (1.0 - np.cos(a)), abs=0.01)
    assert told.convergence_deg == pytest.approx(angle, abs=1.0)
    assert told.to_contour_mm == pytest.approx(R * a, abs=0.05)
    assert told.above_margin_mm == pytest.approx(3.0 - R * np.sin(a), abs=0.02)
    assert told.low_mm < told.depth_mm < told.high_mm


def test_probe_names_the_gauge_that_fits() -> None:
    result = survey(_ball(), Path())

    def at_depth(depth: float) -> float | None:
        r = R - depth
        return probe(result, np.array([r, 0.0, -np.sqrt(R**2 - r**2)]), noise_mm=0.01).gauge_mm

    assert at_depth(0.15) is None
    assert at_depth(0.30) == pytest.approx(0.254)
    assert at_depth(0.60) == pytest.approx(0.508)
    assert at_depth(1.20) == pytest.approx(0.762)


def test_gauges_are_exact_in_inches_and_named_by_custom() -> None:
    assert gauge_name(0.254) == "0.25 mm (0.010 in)"
    assert gauge_name(0.508) == "0.50 mm (0.020 in)"
    assert gauge_name(0.35) == "0.35 mm (0.014 in)"
    assert gauge_name(0.75) == "0.75 mm (0.030 in)"


def test_probe_refuses_a_point_off_the_cast() -> None:
    with pytest.raises(GeometryError, match="off the cast"):
        probe(survey(_ball(4), Path()), np.array([R + 2.0, 0.0, 0.0]))


def test_a_tooth_alone_does_not_feel_its_neighbour() -> None:
    # A small ball stands half under a larger one above it: taken alone its own equator counts.
    low, high = _ball(5), _ball(5, (5.0, 0.0, 6.0), (R, R, R))
    both = Mesh(np.vstack([low.vertices, high.vertices]), np.vstack([low.faces, high.faces + len(low.vertices)]))
    labels = np.repeat([34, 35], len(low.vertices))
    own = local_undercut(both, Path(), labels)[: len(low.vertices)]
    true = np.where(low.vertices[:, 2] < -1e-9, R - np.hypot(low.vertices[:, 0], low.vertices[:, 1]), 0.0)
    assert np.abs(own - true).max() < 0.02
    shadow = survey(both, Path(), labels).undercut[: len(low.vertices)]
    assert (shadow >= own - 1e-4).all()
    under = (low.vertices[:, 0] > 2.0) & (low.vertices[:, 2] > 0.5)
    assert (own[under] == 0.0).all()
    assert shadow[under].max() > 1.0
    result = survey(both, Path(), labels)
    point = np.array([R * np.cos(0.5), 0.0, R * np.sin(0.5)])  # above its own equator, under the neighbour's
    told = probe(result, point)
    assert told.alone_mm == 0.0 and told.depth_mm > 1.0
    below = probe(result, point * [-1.0, 1.0, -1.0])  # on the far side only its own bulge counts
    assert below.alone_mm == pytest.approx(R * (1.0 - np.cos(0.5)), abs=0.01)
    assert below.depth_mm == pytest.approx(below.alone_mm, abs=0.01)


@pytest.mark.parametrize("path", [Path(), Path(8.0, -5.0)])
def test_space_under_the_rod_of_a_sphere(path: Path) -> None:
    # Margin 2 mm below the equator: height 2, depth R - sqrt(R2 - 4), area the circular segment beside the rod.
    towards = np.array([1.0, 0.0, 0.0]) @ path.rotation
    space = space_under_rod(survey(_ball(), path), np.zeros(3), towards, _ring(path, -2.0))
    depth = R - np.sqrt(R**2 - 4.0)
    area = 2.0 * R - (np.sqrt(R**2 - 4.0) + 0.5 * R**2 * np.arcsin(2.0 / R))
    assert space.height_mm == pytest.approx(2.0, abs=0.06)
    assert space.depth_mm == pytest.approx(depth, abs=0.01)
    assert space.angle_deg == pytest.approx(np.degrees(np.arctan2(depth, 2.0)), abs=0.6)
    assert space.area_mm2 == pytest.approx(area, abs=0.02)
    assert (space.contact - R * towards) @ towards == pytest.approx(0.0, abs=0.01)


def test_guide_plane_on_a_sphere_and_what_enamel_allows() -> None:
    # A band of height H about the equator costs R - sqrt(R2 - H2/4).
    space = space_under_rod(survey(_ball(), Path()), np.zeros(3), np.array([0.0, 1.0, 0.0]), _ring(Path(), -2.5))
    plane = space.guide_plane(2.0, 36, "distal")
    assert plane.height_mm == pytest.approx(2.0, abs=0.05)
    assert plane.removal_mm == pytest.approx(R - np.sqrt(R**2 - 1.0), abs=0.01)
    assert plane.bottom_mm == pytest.approx(1.5, abs=0.06)
    assert plane.enamel_mm == pytest.approx(1.48)
    assert plane.warning == ""
    assert "over half" in space.guide_plane(4.0, 31, "mesial").warning
    with pytest.raises(GeometryError, match="proximal surface"):
        space.guide_plane(9.0)


def test_enamel_stays_within_the_published_range() -> None:
    # 0.63 mm at incisors to 1.48 mm at first molars (Am J Orthod Dentofacial Orthop 2015;147:435).
    values = [proximal_enamel_mm(10 * q + k, side) for q in (1, 2, 3, 4) for k in range(1, 9) for side in ("mesial", "distal")]
    assert min(values) == pytest.approx(0.63)
    assert max(values) == pytest.approx(1.48)
