"""Made-up casts against published sizes of teeth and arches, and against what a clasp needs.

Sizes are typed in here again from the sources, so that a slip in the maker's own table shows.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from claspwright.core.phantom import SAMPLES, Phantom
from claspwright.core.phantom.anatomy import Anatomy, make_anatomy
from claspwright.core.phantom.crowns import make_crown

from .phantom_measures import Rays, distance, horizontal_frame, made

# Crown height, mesiodistal and faciolingual width, widths at the neck: Wheeler's average carving values (from memory).
WHEELER = {
    11: (10.5, 8.5, 7.0, 7.0, 6.0), 12: (9.0, 6.5, 6.0, 5.0, 5.0), 13: (10.0, 7.5, 8.0, 5.5, 7.0), 14: (8.5, 7.0, 9.0, 5.0, 8.0),
    15: (8.5, 7.0, 9.0, 5.0, 8.0), 16: (7.5, 10.0, 11.0, 8.0, 10.0), 17: (7.0, 9.0, 11.0, 7.0, 10.0), 18: (6.5, 8.5, 10.0, 6.5, 9.5),
    41: (9.25, 5.0, 6.0, 3.5, 5.3), 42: (9.5, 5.5, 6.5, 4.0, 5.8), 43: (11.0, 7.0, 7.5, 5.5, 7.0), 44: (8.5, 7.0, 7.5, 5.0, 6.5),
    45: (8.0, 7.0, 8.0, 5.0, 7.0), 46: (7.5, 11.0, 10.5, 9.0, 9.0), 47: (7.0, 10.5, 10.0, 8.0, 9.0), 48: (7.0, 10.0, 9.5, 7.5, 9.0),
}  # fmt: skip
CUSPS = {1: 1, 2: 1, 3: 1, 4: 2, 5: 2, 6: 4, 7: 4}  # upper; a lower second premolar has three, a lower first molar five


@cache
def anatomy(name: str) -> Anatomy:
    return make_anatomy(SAMPLES[name])


@pytest.mark.parametrize("fdi", WHEELER)
def test_crowns_have_the_published_sizes(fdi):
    crown = make_crown(fdi)
    x, y, z = np.meshgrid(np.linspace(-6, 6, 97), np.linspace(-6.5, 6.5, 105), np.linspace(0.0, 12.0, 97), indexing="ij")
    inside = crown(np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)).reshape(x.shape) < 0
    height, mesiodistal, faciolingual, neck_md, neck_fl = WHEELER[fdi]
    neck = inside & (z == 0)
    assert z[inside].max() == pytest.approx(height, abs=0.25)
    assert np.ptp(x[inside]) == pytest.approx(mesiodistal, abs=0.4)
    assert np.ptp(y[inside]) == pytest.approx(faciolingual, abs=0.4)
    assert np.ptp(x[neck]) == pytest.approx(neck_md, abs=0.5)
    assert np.ptp(y[neck]) == pytest.approx(neck_fl, abs=0.5)


@pytest.mark.parametrize(
    ("name", "canines", "molars", "canine", "molar"),
    [("upper_full", (13, 23), (16, 26), (34, 35), (50, 54)), ("lower_full", (33, 43), (36, 46), (26, 27), (44, 47))],
)
def test_arches_have_the_published_widths(name, canines, molars, canine, molar):
    """Between canine tips and between mesiobuccal tips of first molars: Bishara and others (from memory); 1 mm for the spread of means."""
    cusps = made(name, 16_000, variation=0.0).cusps
    between = np.linalg.norm(cusps[canines[0]][0] - cusps[canines[1]][0])
    across = np.linalg.norm(cusps[molars[0]][0] - cusps[molars[1]][0])
    assert canine[0] - 1 <= between <= canine[1] + 1
    assert molar[0] - 1 <= across <= molar[1] + 1


@pytest.mark.parametrize(("name", "first", "last", "depth"), [("upper_full", 11, 16, (27, 29)), ("lower_full", 41, 46, (23, 25))])
def test_arches_have_the_published_depth(name, first, last, depth):
    """Labial surface to the line over the mesial contacts of the first molars: Bishara and others (from memory).

    Crowns and widths come from different samples, and no curve through Wheeler's crowns is as deep at these widths: a tenth is allowed.
    """
    cast = made(name, 16_000, variation=0.0)
    front, molar = (cast.mesh.vertices[cast.labels == fdi][:, 1].max() for fdi in (first, last))
    assert 0.9 * depth[0] <= front - molar <= 1.1 * depth[1]


def test_quadrants_stand_on_the_side_the_cast_frame_says():
    """X is the viewer's right in an occlusal view: quadrants 2 and 4 there."""
    for name, right, left in (("upper_full", 2, 1), ("lower_full", 4, 3)):
        seeds = made(name).seeds
        assert all(seeds[right * 10 + k][0] > 0 > seeds[left * 10 + k][0] for k in range(1, 8))
        assert seeds[right * 10 + 1][1] > seeds[right * 10 + 6][1] + 15.0  # anterior is +Y


@pytest.mark.parametrize(("name", "near"), [("lower_class_i", 0.12), ("upper_class_iii_mod_1", 0.45)])
def test_margins_and_seeds_and_cusps_lie_where_they_should(name, near):
    """near: how far the mesh may miss the true margin, mm; the upper cast is made coarsely here, with edges near 1 mm."""
    cast = made(name)
    for fdi, margin in cast.margins.items():
        assert len(margin) >= 48
        mesial, facial = horizontal_frame(anatomy(name).teeth[fdi])
        flat = margin - margin.mean(axis=0)
        open_to_view = np.abs(flat @ facial) > 0.8 * np.abs(flat @ mesial)  # under the contacts stone hides the margin
        away = distance(cast.mesh, margin[open_to_view])
        assert open_to_view.sum() > 20
        assert np.quantile(away, 0.9) < near
        assert away.max() < 2 * near
        steps = np.linalg.norm(np.diff(margin, axis=0, append=margin[:1]), axis=1)
        assert steps.max() < 2.0  # one closed line, without leaps
        assert distance(cast.mesh, cast.seeds[fdi][None])[0] < 1e-6
        assert np.linalg.norm(cast.axes[fdi]) == pytest.approx(1.0)
        own = cast.mesh.vertices[cast.labels == fdi]
        tip = cast.cusps[fdi] @ cast.axes[fdi]
        assert tip.max() > (own @ cast.axes[fdi]).max() - 0.15
        assert cast.seeds[fdi] @ cast.axes[fdi] > np.quantile(margin @ cast.axes[fdi], 0.5) + 2.0


def test_cusps_are_as_many_as_the_tooth_has():
    """By design all of them; with a tip of its own each but the lowest: the distolingual of an upper second molar and the lingual of a
    lower first premolar, which many mouths have as shoulders only, are passed over by the slope of a higher cusp."""
    upper, lower = made("upper_full"), made("lower_full")
    designed = {fdi: len(tooth.crown.occlusal.cusps) if tooth.crown.occlusal else 1 for fdi, tooth in upper.anatomy.teeth.items()}
    assert designed == {fdi: CUSPS[fdi % 10] for fdi in designed}
    assert {fdi: len(cusps) for fdi, cusps in upper.cusps.items()} == {fdi: 3 if fdi % 10 == 7 else n for fdi, n in designed.items()}
    by_design = [len(lower.anatomy.teeth[fdi].crown.occlusal.cusps) for fdi in (44, 45, 46, 47)]
    assert by_design == [2, 3, 5, 4]
    assert [len(lower.cusps[fdi]) for fdi in (43, 44, 45, 46, 47)] == [1, 1, 3, 5, 4]


def _undercut(cast: Phantom, tooth, degrees: float, above: float) -> float:
    """Depth (mm) that a gauge standing parallel to Z finds `above` mm over the gingival margin, by level rays from outside."""
    mesial, facial = horizontal_frame(tooth)
    outward = np.cos(np.radians(degrees)) * mesial + np.sin(np.radians(degrees)) * facial
    margin = cast.margins[tooth.fdi]
    centre = margin.mean(axis=0) * [1, 1, 0]
    flat = margin - centre
    bearing = np.degrees(np.arctan2(flat @ facial, flat @ mesial))
    foot = margin[np.argmin(np.abs(bearing - degrees)), 2]
    heights = np.arange(foot + above, foot + 6.0, 0.1)
    start = centre + 6.0 * outward + heights[:, None] * [0, 0, 1]
    reach = Rays(cast.mesh).reach(start, -outward)
    return float(reach[0] - np.nanmin(reach))


@pytest.mark.parametrize(
    ("name", "teeth"), [("lower_class_i", (34, 44)), ("lower_full", (34, 44)), ("upper_class_iii_mod_1", (14, 24, 17, 27))]
)
def test_abutments_have_the_facial_undercut_a_cast_clasp_needs(name, teeth):
    """0.25 mm is engaged (common practice), so a little more must be there 1 mm clear of the gum, mesially and distally of mid-face."""
    for fdi in teeth:
        for degrees in (55.0, 125.0):
            assert 0.28 <= _undercut(made(name), anatomy(name).teeth[fdi], degrees, 1.0) <= 0.8


def test_facial_contour_lies_in_the_cervical_third_or_just_above():
    """Facial crests of contour: cervical third of the crown, about 0.5 mm (Wheeler; from memory)."""
    for fdi in (14, 24, 44, 34, 16, 46):
        crown = make_crown(fdi)
        z = np.linspace(0.0, crown.full, 200)
        facial = crown.half_widths(z)[2]
        assert 0.2 * crown.full <= z[np.argmax(facial)] <= 0.42 * crown.full
        assert 0.3 <= facial.max() - facial[0] <= 0.9


def test_a_lingual_bar_has_room():
    """A bar 4 mm tall 4 mm below the margins (common practice), on a wall that is near vertical."""
    cast, mouth = made("lower_class_i"), anatomy("lower_class_i")
    rays = Rays(cast.mesh)
    for fdi in (31, 33, 34, 41, 43, 44):
        _, facial = horizontal_frame(mouth.teeth[fdi])
        margin = cast.margins[fdi]
        lingual = margin[np.argmin(margin @ facial)]
        levels = lingual[2] - np.array([3.0, 8.0])
        start = np.array([lingual * [1, 1, 0] - 6.0 * facial + [0, 0, z] for z in levels])
        reach = rays.reach(start, facial)
        assert np.all(reach > 6.0 - 3.0)  # the wall, not a sulcus floor that has come too high
        assert abs(reach[0] - reach[1]) < 2.5


def test_the_palate_is_as_deep_as_in_a_mouth():
    """About 0.4 of the distance between the molars below the occlusal plane (Korkhaus; from memory): 15 to 21 mm, and smooth."""
    rays = Rays(made("upper_class_iii_mod_1").mesh)
    y = np.arange(-34.0, -24.0, 0.5)
    start = np.stack([np.full_like(y, 4.0), y, np.full_like(y, 5.0)], axis=1)
    z = 5.0 - rays.reach(start, np.array([0.0, 0.0, -1.0]))
    assert np.all((z > -21.0) & (z < -15.0))
    assert np.abs(np.diff(z, 2)).max() < 0.2


@pytest.mark.parametrize(("name", "gap", "beside"), [("lower_class_i", 46, 44), ("upper_class_iii_mod_1", 26, 24)])
def test_the_ridge_in_a_gap_lies_lower_than_the_gum_beside_it(name, gap, beside):
    """Healed ridges lie 1 to 5 mm below the margins of their neighbours (common practice)."""
    cast, mouth = made(name), anatomy(name)
    full = make_anatomy(replace(SAMPLES[name], missing=()))
    point = full.teeth[gap].origin
    z = 5.0 - Rays(cast.mesh).reach(np.array([[point[0], point[1], 5.0]]), np.array([0.0, 0.0, -1.0]))[0]
    assert 1.0 <= cast.margins[beside][:, 2].mean() - z <= 5.0
    assert mouth.curve.station[0] < mouth.shape.end[0]


def test_no_face_is_turned_over():
    """Every face looks the way the field grows."""
    cast, mouth = made("lower_full"), anatomy("lower_full")
    centre, normal = cast.mesh.triangles.mean(axis=1), cast.mesh.face_normals
    tooth = (cast.labels[cast.mesh.faces] > 0).all(axis=1)
    centre, normal = centre[tooth], normal[tooth]
    rise = mouth.field(centre + 0.1 * normal) - mouth.field(centre - 0.1 * normal)
    assert (rise <= 0).mean() < 0.002
