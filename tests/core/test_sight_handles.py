"""Dragging in a view against plane geometry: lines of sight whose nearest places and angles are known by construction."""

import numpy as np
import pytest
from claspwright.core.case import Case, CastEntry, Chart, ToothEntry
from claspwright.core.case.edit import arch_numbers, side_of_click
from claspwright.core.survey import Path
from claspwright.core.survey.handles import Disk, along, extent, held, overshot, place_at, sight, standing, tilt_under


@pytest.mark.parametrize(("t", "off"), [(0.0, 0.0), (2.5, 1.0), (-4.0, 3.0)])
def test_a_drag_is_as_long_as_the_shadow_of_the_pointer_on_its_line(t: float, off: float):
    """The sight passes the line at the place t of it, `off` mm aside: that place is nearest whatever the distance and the slant."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        axis, other = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
        aside = np.cross(axis, other)
        aside /= np.linalg.norm(aside)
        look = sight(t * axis + off * aside - 50.0 * other, other)
        if abs(axis @ other) < 0.95:
            assert along(look, np.zeros(3), axis) == pytest.approx(t, abs=1e-9)
    assert along(sight(np.zeros(3), np.array([0, 0, 1.0])), np.array([1.0, 2, 3]), np.array([0, 0, 1.0])) == 0.0


@pytest.mark.parametrize(("front", "side"), [(0.0, 0.0), (12.0, -7.0), (-20.0, 5.0), (3.0, 25.0)])
def test_the_rod_ends_under_the_pointer(front: float, side: float):
    """A sight through the end of a rod of known tilt gives that tilt back, from above and from the side."""
    path, foot = Path(front, side), np.array([3.0, -4.0, 2.0])
    end = foot + 30.0 * path.vector
    for eye in (np.array([0.0, 0.0, 400.0]), np.array([250.0, -300.0, 120.0])):
        found = tilt_under(sight(eye, end - eye), foot, 30.0, path)
        assert (found.anteroposterior_deg, found.lateral_deg) == pytest.approx((front, side), abs=1e-6)


def test_a_box_and_the_rod_on_it():
    """Points at the corners of a box of known sides: arithmetic by hand. A point within the box changes nothing."""
    corners = np.array([[x, y, z] for x in (-10.0, 30.0) for y in (2.0, 8.0) for z in (-6.0, 14.0)] + [[0.0, 5.0, 1.0]])
    middle, width = extent(corners)
    assert middle == pytest.approx([10.0, 5.0, 4.0]) and width == pytest.approx(40.0)
    foot, length = standing(corners)
    assert foot == pytest.approx([10.0, 5.0, 9.0]) and length == pytest.approx(20.0)
    tall = np.array([[0.0, 0.0, 0.0], [4.0, 2.0, 100.0]])
    assert standing(tall)[1] == pytest.approx(2.0), "a tall base makes the rod no longer"


def test_a_spot_of_the_map_and_its_share_are_each_others():
    disk = Disk((150.0, 120.0), 90.0)
    assert disk.share((150.0, 120.0)) == (0.0, 0.0) and disk.share((240.0, 120.0)) == (1.0, 0.0)
    for spot in ((171.0, 99.0), (80.0, 130.0)):
        assert disk.spot(disk.share(spot)) == pytest.approx(spot)
    # 3-4-5 triangle: 54 and 72 pixels from the middle are just 90
    assert disk.holds((150.0 + 53.9, 120.0 - 71.9)) and not disk.holds((150.0 + 54.1, 120.0 - 72.1))


def test_a_number_is_held():
    assert held(5.0, 1.0, 4.0) == (4.0, "most") and held(0.0, 1.0, 4.0) == (1.0, "least") and held(9.0, None, None) == (9.0, "")


@pytest.mark.parametrize(("arch", "fdi", "step", "side"), [
    ("lower", 44, (0.0, -1.5), "distal"), ("lower", 44, (0.0, 1.5), "mesial"), ("lower", 34, (0.0, -1.5), "distal"),
    ("upper", 14, (0.0, 1.5), "mesial"), ("upper", 24, (0.0, 1.5), "mesial"), ("upper", 11, (-1.5, 0.0), "distal"),
    ("upper", 21, (-1.5, 0.0), "mesial"), ("lower", 41, (1.5, 0.0), "distal"),
])  # fmt: skip
def test_a_click_is_mesial_or_distal(arch: str, fdi: int, step: tuple[float, float], side: str):
    """Mesial is toward the midline along the arch (Glossary of Prosthodontic Terms); teeth of a half ellipse in the cast's frame."""
    order = arch_numbers(arch)
    turns = np.pi - (np.arange(16) + 0.5) * np.pi / 16
    seeds = {n: (28 * np.cos(t), 45 * np.sin(t) - 45, 0.0) for n, t in zip(order, turns, strict=True)}
    teeth = tuple(ToothEntry(n, seeds=(seeds[n],)) for n in sorted(order))
    case = Case(CastEntry("a.stl", "0" * 64, arch), chart=Chart(teeth))
    assert side_of_click(case, fdi, (seeds[fdi][0] + step[0], seeds[fdi][1] + step[1], 0.0)) == side


def test_a_handle_goes_with_its_number_and_a_hand_may_overshoot_two_millimetres() -> None:
    """By hand: 0.5 mm of a number that grows by 0.25 for each millimetre of metal is 2 mm of metal."""
    assert place_at(np.array([1.0, 2.0, 3.0]), np.array([0.0, 0.0, 1.0]), 0.5, 0.25) == pytest.approx([1.0, 2.0, 5.0])
    assert overshot(4.0, 4.0, 0.25) == 4.0
    assert overshot(4.3, 4.0, 0.25) == pytest.approx(4.3)
    assert overshot(9.0, 4.0, 0.25) == pytest.approx(4.5)
    assert overshot(-9.0, 1.0, 0.25) == pytest.approx(0.5)
