"""Made-up casts as solids: closed, in size, repeatable, and obedient to their options."""

from dataclasses import replace
from functools import cache

import manifold3d
import numpy as np
import pytest
from claspwright.core.errors import CaseError
from claspwright.core.phantom import SAMPLES, Phantom, PhantomSpec, make_phantom
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .phantom_measures import made

PLAIN = replace(SAMPLES["lower_class_i"], triangles=12_000, variation=0.0)  # where fineness does not matter


@cache
def plain() -> Phantom:
    return make_phantom(PLAIN)



def test_the_sample_of_a_lower_free_end_case_is_as_fine_as_promised():
    cast = made("lower_class_i")
    assert 150_000 <= len(cast.mesh.faces) <= 250_000
    assert cast.mesh.to_trimesh().is_watertight
    assert cast.mesh.to_manifold().status() == manifold3d.Error.NoError


@pytest.mark.parametrize("name", SAMPLES)
def test_each_sample_is_one_closed_body(name):
    cast = made(name)
    shape = cast.mesh.to_trimesh()
    assert shape.is_watertight
    assert shape.is_winding_consistent
    assert shape.volume > 0
    assert len(cast.mesh.to_manifold().decompose()) == 1
    # a trimmed cast with its base: 60 to 80 mm wide and long, 25 to 40 mm tall (common practice)
    size = np.ptp(cast.mesh.bounds, axis=0)
    assert np.all((size > [60, 50, 25]) & (size < [82, 80, 40]))


@pytest.mark.parametrize("name", SAMPLES)
def test_every_standing_tooth_is_labelled_in_one_piece_and_no_other(name):
    spec, cast = SAMPLES[name], made(name)
    assert len(cast.labels) == len(cast.mesh.vertices)
    assert cast.labels.dtype == np.int16
    assert set(np.unique(cast.labels)) == {0, *spec.standing}
    assert set(cast.margins) == set(cast.axes) == set(cast.cusps) == set(cast.seeds) == set(spec.standing)
    assert cast.missing == spec.missing
    graph = cast.mesh.adjacency
    for fdi in spec.standing:
        own = np.flatnonzero(cast.labels == fdi)
        _, piece = connected_components(graph[own][:, own], directed=False)
        assert np.bincount(piece).max() >= 0.97 * len(own)


def test_the_same_seed_gives_the_same_cast_and_another_seed_another():
    first, second = plain(), make_phantom(PLAIN)
    assert first.mesh.digest == second.mesh.digest
    assert np.array_equal(first.labels, second.labels)
    assert make_phantom(replace(PLAIN, seed=99)).mesh.digest != first.mesh.digest


@pytest.mark.parametrize(("name", "wished"), [("upper_full", 30_000), ("lower_full", 30_000), ("lower_class_i", 200_000)])
def test_density_follows_the_wish(name, wished):
    assert len(made(name).mesh.faces) == pytest.approx(wished, rel=0.15)


def test_scan_noise_has_the_wished_spread_along_the_normal():
    still, noisy = plain(), make_phantom(replace(PLAIN, noise_mm=0.03))
    assert np.array_equal(still.mesh.faces, noisy.mesh.faces)
    moved = noisy.mesh.vertices - still.mesh.vertices
    along = np.einsum("ij,ij->i", moved, still.mesh.vertex_normals)
    assert along.std() == pytest.approx(0.03, rel=0.05)  # standard error of 6,000 draws is under 1 %
    assert abs(along.mean()) < 0.002
    assert np.linalg.norm(moved - along[:, None] * still.mesh.vertex_normals, axis=1).max() < 1e-9


def test_a_tooth_leans_and_another_turns_by_the_angles_asked():
    upright, moved = plain(), make_phantom(replace(PLAIN, tilts={34: (15.0, 0.0)}, turns={44: 20.0}))
    lean = np.degrees(np.arccos(np.clip(upright.axes[34] @ moved.axes[34], -1, 1)))
    assert lean == pytest.approx(15.0, abs=1.0)  # leans add as slopes, so not quite as angles
    assert moved.axes[34][1] > upright.axes[34][1] + 0.1  # mesial of a premolar is largely anterior
    half = len(upright.margins[44]) // 2  # a margin starts mesially, so this is its distal point
    a, b = ((cast.margins[44][0] - cast.margins[44][half])[:2] for cast in (upright, moved))
    turn = np.degrees(np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b)))
    assert turn == pytest.approx(20.0, abs=2.0)
    assert np.allclose(upright.axes[43], moved.axes[43])


def test_an_open_surface_has_one_border_and_no_base():
    solid, scan = plain(), make_phantom(replace(PLAIN, open_surface=True))
    assert not scan.mesh.is_closed
    ends, border = np.unique(scan.mesh.boundary_edges, return_inverse=True)
    i, j = border.reshape(-1, 2).T
    assert connected_components(coo_matrix((np.ones(len(i)), (i, j)), shape=(len(ends), len(ends))), directed=False)[0] == 1
    assert scan.mesh.bounds[0, 2] > solid.mesh.bounds[0, 2] + 8.0
    assert set(np.unique(scan.labels)) == set(np.unique(solid.labels))
    assert len(scan.labels) == len(scan.mesh.vertices)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"arch": "middle"}, "arch"),
        ({"arch": "lower", "missing": (16,)}, "16"),
        ({"arch": "lower", "absent": (36,)}, "third molars"),
        ({"arch": "lower", "noise_mm": 3.0}, "noise_mm"),
        ({"arch": "lower", "triangles": 10}, "triangles"),
        ({"arch": "lower", "tilts": {11: (5.0, 0.0)}}, "tilts"),
        ({"arch": "lower", "missing": tuple(range(31, 39)) + tuple(range(41, 49))}, "no tooth"),
    ],
)
def test_an_impossible_wish_is_refused_in_one_line(options, word):
    with pytest.raises(CaseError, match=word) as caught:
        PhantomSpec(**options)
    assert "\n" not in str(caught.value)
