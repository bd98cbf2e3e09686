"""Survey and framework pictures: what a reader relies on is there and in its place."""

from dataclasses import dataclass

import numpy as np
import pytest
import trimesh
from claspwright.core.checks.gaps import CONTACT, SPACE
from claspwright.core.mesh import Mesh
from claspwright.core.output import Part, Scene, framework_picture, framework_sheet, survey_picture, view_camera
from claspwright.core.output.fit_maps import FitMaps, band_colours, fit_map_pictures, gap_colours
from claspwright.core.output.palette import INK, SURVEY_LINE, oklab
from claspwright.core.output.pictures import PANEL, _apart, carried, survey_lines, tooth_labels, tripod_marks
from claspwright.core.survey import Path, survey

RADIUS = 12.0


@dataclass(frozen=True)
class Egg:
    """A ball as the simplest crown: its height of contour is its equator, its undercut depth at height -z is R - sqrt(R2 - z2)."""

    mesh: Mesh
    labels: np.ndarray


@pytest.fixture(scope="module")
def egg() -> Egg:
    t = trimesh.creation.icosphere(5, RADIUS)
    labels = np.where(t.vertices[:, 2] > -9, 36, 0)
    return Egg(Mesh(t.vertices, t.faces), labels)


@pytest.fixture(scope="module")
def found(egg):
    return survey(egg.mesh, Path(0, 0), egg.labels)


def test_the_lines_drawn_are_the_equator_and_the_gauges_below_it(egg, found):
    contours, gauges = survey_lines(egg.mesh, found)
    assert contours and all(np.abs(line.points[:, 2]).max() < 0.15 for line in contours)
    for name, line in gauges:
        depth = round(float(name) / 25, 3) * 25.4  # 0.25 mm by name is 0.010 in
        height = -np.sqrt(RADIUS**2 - (RADIUS - depth) ** 2)
        assert line.points[:, 2].mean() == pytest.approx(height, abs=0.12)
    assert {name for name, _ in gauges} == {"0.25", "0.50", "0.75"}


def test_the_survey_picture_has_a_panel_for_each_view_and_one_for_the_legend(egg, found):
    views = ("occlusal", "facial")
    image = survey_picture(egg.mesh, found, egg.labels, views=views, size=(450, 320))
    assert image.size == (3 * 450 + 2 * 10, 320)
    array = np.asarray(image, dtype=float) / 255
    for left in range(0, 3 * 460, 460):
        panel = array[:, left : left + 450]
        for colour in (INK, SURVEY_LINE):  # lines in the views, samples of them in the legend
            assert (np.abs(panel - np.array(colour)).max(axis=2) < 0.15).sum() > 20


def test_the_survey_line_in_the_facial_view_lies_at_mid_height(egg, found):
    size = (450, 320)
    image = survey_picture(egg.mesh, found, None, views=("right",), size=size)
    red = np.abs(np.asarray(image.crop((0, 0, *size)), dtype=float) / 255 - np.array(SURVEY_LINE)).max(axis=2) < 0.1
    rows, columns = np.nonzero(red)
    camera = view_camera(egg.mesh.vertices, "right", aspect=size[0] / size[1])
    turn = np.linspace(0, 2 * np.pi, 400)
    equator = RADIUS * np.column_stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)])
    seen = equator @ np.array(camera.toward) > 0
    expected = camera.project(equator[seen], size)
    assert rows.min() == pytest.approx(expected[:, 1].min(), abs=4) and rows.max() == pytest.approx(expected[:, 1].max(), abs=4)
    assert columns.min() == pytest.approx(expected[:, 0].min(), abs=4) and columns.max() == pytest.approx(expected[:, 0].max(), abs=4)


def arch_of_balls() -> tuple[Mesh, np.ndarray]:
    """Two teeth a side as balls: 34 and 44 with 33 and 43 before them, on a lower arch."""
    places = {44: (20, 0), 43: (15, 12), 33: (-15, 12), 34: (-20, 0)}
    vertices, faces, labels = [], [], []
    for fdi, (x, y) in places.items():
        t = trimesh.creation.icosphere(3, 4.0)
        faces.append(t.faces + sum(map(len, vertices)))
        vertices.append(t.vertices + np.array([x, y, 0]))
        labels.append(np.full(len(t.vertices), fdi))
    return Mesh(np.vstack(vertices), np.vstack(faces)), np.concatenate(labels)


def test_tooth_numbers_stand_outside_the_arch_from_above():
    mesh, labels = arch_of_balls()
    scene = Scene([Part("teeth", mesh)])
    camera = view_camera(mesh.vertices, "occlusal")
    found = {item.text: item.at for item in tooth_labels(mesh, labels, camera, scene, "occlusal")}
    assert set(found) == {"33", "34", "43", "44"}
    assert found["44"][0] > 24 and found["34"][0] < -24  # beyond the crowns, 44 on the patient's right: +X on a lower cast


def test_only_teeth_that_can_be_seen_are_numbered_from_the_side():
    mesh, labels = arch_of_balls()
    wall = trimesh.creation.box((1, 60, 40))
    scene = Scene([Part("teeth", mesh), Part("wall", Mesh(wall.vertices, wall.faces))])
    camera = view_camera(mesh.vertices, "right", arch="lower")
    assert {item.text for item in tooth_labels(mesh, labels, camera, scene, "right")} == {"43", "44"}


def test_labels_keep_out_of_each_others_way():
    mesh, labels = arch_of_balls()
    camera = view_camera(mesh.vertices, "facial")
    placed = tooth_labels(mesh, labels, camera, Scene([Part("teeth", mesh)]), "facial")
    assert len(_apart([*placed, *placed], camera, PANEL)) == len(placed)


def test_tripod_marks_are_crosses_of_three_millimetres_square_to_the_view():
    camera = view_camera(np.array([[-30.0, -25, -10], [30, 25, 10]]), "occlusal")
    lines, labels = tripod_marks([(0, 20, -3), (15, -18, -3), (-15, -18, -3)], camera)
    assert len(lines) == 6 and [item.text for item in labels] == ["mark 1", "mark 2", "mark 3"]
    for line in lines:
        assert np.linalg.norm(line.points[1] - line.points[0]) == pytest.approx(3)
        assert np.ptp(line.points[:, 2]) == 0 and line.points[0, 2] == -3


def test_the_framework_shows_as_metal_on_stone_and_the_frame_is_the_casts():
    cast = trimesh.creation.box((60, 50, 10)).subdivide().subdivide()
    bar = trimesh.creation.box((40, 6, 3))
    bar.apply_translation((0, 0, 6))
    cast_mesh, bar_mesh = Mesh(cast.vertices, cast.faces), Mesh(bar.vertices, bar.faces)
    size = (350, 250)
    with_bar = np.asarray(framework_picture(cast_mesh, bar_mesh, "occlusal", size=size, caption=""), dtype=float)
    camera = view_camera(cast_mesh.vertices, "occlusal", aspect=1.4)
    x, y = camera.project(np.array([[0.0, 0, 7.5]]), size)[0, :2].astype(int)
    u, v = camera.project(np.array([[0.0, 18, 5]]), size)[0, :2].astype(int)
    metal, stone = with_bar[y, x], with_bar[v, u]
    assert abs(metal[0] - metal[2]) < 20 and stone[0] - stone[2] > 15
    sheet = framework_sheet(cast_mesh, bar_mesh, ("occlusal", "facial", "lingual"), size=size)
    assert sheet.size == (2 * 350 + 10, 2 * 250 + 10)


def test_labels_are_carried_to_the_nearest_point_of_another_mesh():
    mesh, labels = arch_of_balls()
    other = trimesh.creation.icosphere(2, 3.5)
    other.apply_translation((20, 0, 0))
    assert (carried(labels, mesh, Mesh(other.vertices, other.faces)) == 44).all()
    assert np.array_equal(carried(labels, mesh, mesh), labels)


def test_maps_of_a_framework_read_by_lightness_and_show_thin_and_touching_metal_where_they_are():
    steps = np.diff(oklab(band_colours())[:, 0])
    assert np.ptp(steps) < 0.01 and steps.min() > 0.05  # every band as much lighter than the thinner one before it
    grey = oklab(gap_colours(np.arange(5)))[:, 0]
    assert np.diff(np.sort(grey)).min() > 0.1
    sheet = trimesh.creation.box((40, 20, 1)).subdivide().subdivide().subdivide()
    right = sheet.vertices[:, 0] > 1
    maps = FitMaps(np.where(right, CONTACT, SPACE), np.zeros(len(right)), np.where(right, 0.3, 1.7))
    found = fit_map_pictures(Mesh(sheet.vertices, sheet.faces), maps, arch="upper", teeth={16: np.array([12.0, 0, 0])}, size=(450, 320))
    halves = {name: np.asarray(image, dtype=float)[140:180].mean(axis=(0, 2)) for name, image in found.items()}
    for name, view, dark_right in (("thickness", "occlusal", True), ("fit", "tissue", True)):
        metal = halves[name][halves[name] < 215]
        first, last = map(np.median, np.array_split(metal, 2))
        assert len(metal) > 100 and abs(first - last) > 30, name
        assert (first < last) == (dark_right == _x_runs_left(view)), name


def _x_runs_left(view: str) -> bool:
    """Does +X point to the left of the picture in this view of an upper arch."""
    return bool(view_camera(np.eye(3), view, arch="upper", aspect=1.0).axes[0][0] < 0)
