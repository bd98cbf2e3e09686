"""Dragging in a view against plane geometry: lines of sight whose nearest places and angles are known by construction."""

import numpy as np
import pytest
from claspwright.core.survey import Path
from claspwright.core.survey.handles import along, held, sight, tilt_under


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


def test_a_number_is_held():
    assert held(5.0, 1.0, 4.0) == (4.0, "most") and held(0.0, 1.0, 4.0) == (1.0, "least") and held(9.0, None, None) == (9.0, "")
