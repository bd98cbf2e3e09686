"""The undercut ramp, judged by other people's colour science: CIELAB, the colour-blindness matrices of Machado, WCAG contrast."""

import numpy as np
import pytest
from claspwright.core.output.materials import to_linear
from claspwright.core.output.palette import DEPTH_FULL_MM, GAUGES, INK, SURVEY_LINE, depth_colours, from_oklab, oklab, ramp

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE TVCG
# 15 (2009), severity 1.0; applied to linear RGB.
BLINDNESS = {
    "none": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}
# sRGB to XYZ, D65 (IEC 61966-2-1), and CIELAB (CIE 15).
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def cielab(linear: np.ndarray) -> np.ndarray:
    t = np.clip(linear, 0, 1) @ XYZ.T / (XYZ @ np.ones(3))
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


def seen(srgb: np.ndarray, kind: str) -> np.ndarray:
    return cielab(to_linear(srgb).astype(float) @ BLINDNESS[kind].T)


@pytest.mark.parametrize("kind", BLINDNESS)
def test_lightness_falls_all_the_way_for_every_eye(kind):
    steps = np.diff(seen(ramp(64), kind)[:, 0])
    assert (steps < 0).all()


@pytest.mark.parametrize("kind", BLINDNESS)
def test_gauges_can_be_told_apart_by_every_eye(kind):
    # About 2.3 is a difference one just sees side by side (Mahy and others 1994); ten is plain at a glance.
    depths = np.array([0.0, *(mm for mm, _ in GAUGES), DEPTH_FULL_MM])
    colours = ramp(101)[np.round(depths / DEPTH_FULL_MM * 100).astype(int)]
    assert np.linalg.norm(np.diff(seen(colours, kind), axis=0), axis=1).min() > 10


def test_equal_steps_of_depth_look_about_equal():
    steps = np.linalg.norm(np.diff(cielab(to_linear(ramp(33)).astype(float)), axis=0), axis=1)
    assert steps.max() / steps.min() < 1.8  # CIELAB and OKLab do not agree better than this about blue


def contrast(a, b) -> float:
    """WCAG 2 contrast ratio."""
    light = sorted(float(to_linear(np.array(c)) @ np.array([0.2126, 0.7152, 0.0722])) for c in (a, b))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_gauge_lines_stand_out_from_every_colour_of_the_ramp():
    # 3:1 is asked of graphical objects (WCAG 2.1, 1.4.11).
    assert min(contrast(INK, tuple(c)) for c in ramp(64)) > 3.0
    assert contrast(SURVEY_LINE, tuple(ramp()[0])) > 3.0


def test_oklab_at_published_points():
    # White is (1, 0, 0) (Ottosson 2020); red is (0.6280, 0.2249, 0.1258) (CSS Color 4).
    lab = oklab(np.array([[1.0, 1, 1], [1, 0, 0]]))
    assert np.allclose(lab[0], [1, 0, 0], atol=2e-4)
    assert np.allclose(lab[1], [0.6280, 0.2249, 0.1258], atol=5e-4)
    colours = np.random.default_rng(1).uniform(0.05, 0.95, (50, 3))
    assert np.allclose(from_oklab(oklab(colours)), colours, atol=1e-4)


def test_no_undercut_is_plain_stone_and_depth_has_an_end():
    plain = (0.5, 0.4, 0.3)
    shown = depth_colours(np.array([0.0, 0.01, np.nan, 1.0, 7.0, 0.5]), plain)
    assert np.allclose(shown[:3], plain)
    assert np.allclose(shown[3], ramp()[-1]) and np.allclose(shown[4], ramp()[-1])
    middle = ramp()[127] * 0.5 + ramp()[128] * 0.5
    assert np.allclose(shown[5], middle, atol=1e-6)


def test_gauges_are_the_trade_sizes():
    for custom, inch in GAUGES:
        assert inch * 25.4 == pytest.approx(custom, rel=0.02)
        assert round(inch * 1000) % 10 == 0
