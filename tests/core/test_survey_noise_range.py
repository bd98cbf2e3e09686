"""The range that the gauge probe tells must hold the true depth in 95 of 100 scans, whatever the form: many scans, fresh noise each.

The true depths are closed forms; the noise is white, normal to the surface, of the default size. A range so wide that it always held would
say nothing, so a much narrower one must fail.
"""

import numpy as np
import pytest
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.survey import SCAN_NOISE_MM, Path, Probe, probe, survey

CLAIM = 0.95
READINGS = 4  # of each scan, so far apart that they share no noise
LEAST_MM, MOST_MM = 0.15, 0.9


def ball(radius: float, upright: float = 1.0) -> tuple[Mesh, np.ndarray]:
    """A sphere or upright spheroid with edges of about 0.25 mm, and the depth of each vertex: outlines are circles; nan where not asked."""
    unit = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    v = np.asarray(unit.vertices) * [1.0, 1.0, upright]
    return Mesh(v, np.asarray(unit.faces)), np.where(v[:, 2] < 0.0, radius - np.hypot(v[:, 0], v[:, 1]), np.nan)


def frustum() -> tuple[Mesh, np.ndarray]:
    """Upside down, top radius 3, base 2, height 4, with flat walls and a sharp upper rim; edges of 0.25 mm."""
    profile = (
        [(0.25 * k, 0.0) for k in range(8)] + [(2.0 + k / 16.0, k / 4.0) for k in range(16)] + [(3.0 - 0.25 * k, 4.0) for k in range(13)]
    )
    solid = trimesh.creation.revolve(np.array(profile), sections=75)
    if solid.volume < 0.0:
        solid.invert()
    v = np.asarray(solid.vertices)
    radius = np.hypot(v[:, 0], v[:, 1])
    wall = (v[:, 2] > 0.4) & (v[:, 2] < 3.9) & (radius > 2.0)
    return Mesh(v, np.asarray(solid.faces)), np.where(wall & (np.abs(radius - 2.0 - v[:, 2] / 4.0) < 1e-6), 3.0 - radius, np.nan)


BODIES = {"sphere 3 mm": lambda: ball(3.0), "spheroid 3.4 by 4.6 mm": lambda: ball(3.4, 4.6 / 3.4), "frustum": frustum}


def readings(clean: Mesh, true: np.ndarray, tries: int) -> tuple[list[Probe], np.ndarray]:
    random = np.random.default_rng(23)
    with np.errstate(invalid="ignore"):
        asked = np.flatnonzero((true > LEAST_MM) & (true < MOST_MM))
    sector = (np.arctan2(clean.vertices[asked, 1], clean.vertices[asked, 0]) // (np.pi / 2.0)).astype(int)
    told, held = [], []
    for _ in range(tries):
        shift = SCAN_NOISE_MM * random.normal(size=(len(clean.vertices), 1))
        noisy = Mesh(clean.vertices + shift * clean.vertex_normals, clean.faces)
        result = survey(noisy, Path())
        for quarter in range(-2, 2):
            k = int(random.choice(asked[sector == quarter]))
            told.append(probe(result, noisy.vertices[k]))
            held.append(true[k])
    return told, np.array(held)


@pytest.mark.parametrize("tries", [40, pytest.param(200, marks=pytest.mark.nightly)])
@pytest.mark.parametrize("body", BODIES)
def test_the_range_holds_the_true_depth_as_often_as_it_claims(body: str, tries: int) -> None:
    told, true = readings(*BODIES[body](), tries)
    low, high = (np.array([getattr(reading, name) for reading in told]) for name in ("low_mm", "high_mm"))
    depth, half = 0.5 * (low + high), 0.5 * (high - low)
    share = np.mean((low <= true) & (true <= high))
    narrow = np.mean(np.abs(true - depth) <= 0.5 * half)
    off = (depth - true) / SCAN_NOISE_MM
    print(
        f"\n{body}: {len(told)} readings of {tries} scans, {share:.1%} held, {np.mean(true < low):.1%} told too deep, "
        f"{np.mean(true > high):.1%} too shallow; mean error {off.mean():+.2f} of the noise; half the range holds {narrow:.1%}"
    )
    assert len(told) == READINGS * tries
    # Three standard deviations of a count of this many, below the claim.
    assert share >= CLAIM - 3.0 * np.sqrt(CLAIM * (1.0 - CLAIM) / len(told))
    assert narrow < 0.9
