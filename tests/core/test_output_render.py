"""Pictures against closed forms: areas of outlines, similar triangles, shares of sky, and what hides what."""

import io
import os

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.output import Label, Line, Part, Scene, draw, look, png_bytes, shot, side_by_side, view_camera, write_png
from claspwright.core.output.materials import MATERIALS, to_linear, to_srgb
from claspwright.core.output.normals import corner_normals
from claspwright.core.output.render import BACKGROUND
from claspwright.core.output.scene import SKY_REACH_MM, Body
from PIL import Image

SIZE = (320, 240)


def mesh_of(t: trimesh.Trimesh) -> Mesh:
    return Mesh(t.vertices, t.faces)


def sphere(radius: float = 10.0, at=(0.0, 0.0, 0.0), level: int = 4) -> Mesh:
    t = trimesh.creation.icosphere(level, radius)
    t.apply_translation(at)
    return mesh_of(t)


def box(extents, at=(0.0, 0.0, 0.0)) -> Mesh:
    t = trimesh.creation.box(extents)
    t.apply_translation(at)
    return mesh_of(t)


def covered(image: Image.Image) -> np.ndarray:
    """How much of each pixel is not background, 0..1, judged by the channel that differs most."""
    array = np.asarray(image, dtype=float) / 255
    return (np.abs(array - np.array(BACKGROUND)) > 0.02).any(axis=2)


def test_outline_of_a_sphere_has_the_area_of_its_great_circle():
    scene = Scene([Part("ball", sphere(), "stone")])
    camera = view_camera(scene.points, "occlusal", aspect=4 / 3)
    pixel = camera.width_mm / SIZE[0]
    image = draw(scene, camera, size=SIZE)
    edge = 2 * np.pi * 10.0 / pixel  # pixels cut by the outline, each counted whole: half of them too many
    assert covered(image).sum() == pytest.approx(np.pi * 100 / pixel**2 + edge / 2, rel=0.02)


def test_perspective_follows_similar_triangles():
    near, far = np.array([[5.0, 0.0, 50.0]]), np.array([[5.0, 0.0, -50.0]])
    camera = look(np.array([[-40.0, -30, -50], [40, 30, 50]]), (0, 0, 1), (0, 1, 0), aspect=4 / 3, perspective=True)
    scale = SIZE[0] / camera.width_mm
    eye = camera.distance_mm
    assert eye is not None
    assert camera.project(near, SIZE)[0, 0] - SIZE[0] / 2 == pytest.approx(5 * scale * eye / (eye - 50))
    assert camera.project(far, SIZE)[0, 0] - SIZE[0] / 2 == pytest.approx(5 * scale * eye / (eye + 50))


@pytest.mark.parametrize("perspective", [False, True])
@pytest.mark.parametrize("toward", [(0, 0, 1), (0.5, 0.6, 0.7), (0, -1, 0.2)])
def test_a_sight_line_passes_through_the_point_it_was_projected_from(toward, perspective):
    points = np.random.default_rng(3).uniform(-20, 20, (40, 3))
    camera = look(points, toward, perspective=perspective)
    flat = camera.project(points, SIZE)
    origin, direction = camera.rays(flat[:, :2], SIZE)
    off = np.cross(points - origin, direction)
    assert np.linalg.norm(off, axis=1).max() < 1e-9
    assert (flat[:, :2] > 0).all() and (flat[:, :2] < np.array(SIZE)).all()


@pytest.mark.parametrize("arch,patient_right", [("lower", 1), ("upper", -1)])
def test_right_and_left_are_the_patients(arch, patient_right):
    # Cast frame: +X is the patient's right on a lower cast, the patient's left on an upper one (design: frames).
    bounds = np.array([[-30.0, -25, -10], [30, 25, 10]])
    assert np.sign(view_camera(bounds, "right", arch=arch).toward[0]) == patient_right
    assert np.sign(view_camera(bounds, "left", arch=arch).toward[0]) == -patient_right
    assert view_camera(bounds, "facial", arch=arch).toward[1] > 0.9
    up = view_camera(bounds, "occlusal", arch=arch)
    assert up.toward == (0, 0, 1) and up.up == (0, 1, 0)


def test_casts_of_like_size_share_one_frame():
    a = view_camera(np.array([[-30.0, -25, -10], [30, 25, 10]]), "occlusal")
    b = view_camera(np.array([[-31.0, -25.5, -12], [30, 26, 11]]), "occlusal")
    assert a.width_mm == b.width_mm and a.width_mm % 10 == 0


def test_unknown_names_are_refused_with_the_known_ones():
    with pytest.raises(KeyError, match="occlusal"):
        view_camera(np.zeros((2, 3)), "sideways")
    with pytest.raises(KeyError, match="stone"):
        _ = Part("x", sphere(level=1), "cheese").look
    with pytest.raises(GeometryError, match="at least one part"):
        Scene([])
    with pytest.raises(GeometryError, match="hollow"):
        Scene([Part("hollow", Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)))])


def pit(radius: float, depth: float, sections: int = 64) -> Mesh:
    """The inside of a round pit in a wide plate, open at z = 0; its floor is finely meshed at the middle."""
    angle = np.linspace(0, 2 * np.pi, sections, endpoint=False)
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    floor, rim = np.column_stack([ring * radius, np.full(sections, -depth)]), np.column_stack([ring * radius, np.zeros(sections)])
    vertices = np.vstack([[[0, 0, -depth]], floor, rim])
    i = np.arange(sections)
    j = (i + 1) % sections
    bottom = np.column_stack([np.zeros(sections, int), 1 + i, 1 + j])
    wall = np.vstack([np.column_stack([1 + i, 1 + sections + j, 1 + j]), np.column_stack([1 + i, 1 + sections + i, 1 + sections + j])])
    return Mesh(vertices, np.vstack([bottom, wall]))


@pytest.mark.parametrize("radius,depth", [(2.0, 1.0), (2.0, 2.0), (2.0, 4.0)])
def test_sky_seen_from_the_bottom_of_a_pit(radius, depth):
    # Cosine-weighted share of the sky through a coaxial disk: r2 / (r2 + d2) (view factor tables).
    assert depth < SKY_REACH_MM
    body = Body([Part("pit", pit(radius, depth))])
    assert body.vertex_normals[0, 2] == pytest.approx(1)
    assert body.open_sky[0] == pytest.approx(radius**2 / (radius**2 + depth**2), abs=0.07)


def test_sky_over_open_ground_is_whole_and_at_the_foot_of_a_wall_is_half():
    corners = np.array([[-50.0, -50, 0], [50, -50, 0], [50, 50, 0], [-50, 50, 0], [0.0, 0, 0]])
    ground = Mesh(corners, np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]))
    alone = Body([Part("ground", ground)])
    assert alone.open_sky[4] == pytest.approx(1)
    wall = box((0.2, 100, 200), (-0.11, 0, 0))
    both = Body([Part("ground", ground), Part("wall", wall)])
    assert both.open_sky[4] == pytest.approx(0.5, abs=0.05)


def test_edges_stay_sharp_and_bulges_stay_smooth():
    cube = box((2, 2, 2))
    assert np.allclose(corner_normals(cube), cube.face_normals[:, None], atol=1e-6)
    ball = sphere(1.0, level=4)
    radial = ball.triangles / np.linalg.norm(ball.triangles, axis=2, keepdims=True)
    cosine = np.einsum("mkj,mkj->mk", corner_normals(ball), radial)
    assert np.degrees(np.arccos(np.clip(cosine.min(), -1, 1))) < 1.0


RED = (0.9, 0.0, 0.0)


def line_area(scene: Scene, camera, line: Line) -> float:
    """How many pixels' worth of ink a red line leaves on a picture, by the green it takes away (parts of pixels count in part)."""
    plain, inked = (np.asarray(draw(scene, camera, size=SIZE, lines=lines), dtype=float)[..., 1] for lines in ([], [line]))
    return float(((plain - inked) / plain).sum())


def test_lines_hide_behind_things_and_shine_through_only_when_asked():
    scene = Scene([Part("ball", sphere(10.0))])
    camera = view_camera(scene.points, "occlusal", aspect=4 / 3)
    above = Line(np.array([[-8.0, 0, 12], [8, 0, 12]]), RED, 3)
    below = Line(np.array([[-8.0, 0, -12], [8, 0, -12]]), RED, 3)
    area = 3 * 16 * SIZE[0] / camera.width_mm
    assert line_area(scene, camera, above) == pytest.approx(area, rel=0.06)
    assert line_area(scene, camera, below) == 0
    assert line_area(scene, camera, Line(below.points, RED, 3, ghost=0.5)) == pytest.approx(area / 2, rel=0.08)


def test_a_line_half_behind_a_thing_shows_its_other_half():
    scene = Scene([Part("ball", sphere(10.0)), Part("corner", box((1, 1, 1), (18, 0, 0)))])
    camera = view_camera(scene.points, "occlusal", aspect=4 / 3)
    area = 3 * 20 * SIZE[0] / camera.width_mm
    assert line_area(scene, camera, Line(np.array([[-10.0, 0, 0], [10, 0, 0]]), RED, 3)) < 0.05 * area
    across = Line(np.array([[0.0, 0, -5], [17, 0, -5]]), RED, 3)
    assert line_area(scene, camera, across) == pytest.approx(3 * 7 * SIZE[0] / camera.width_mm, rel=0.1)


@pytest.mark.parametrize("width", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("radius", [5.0, 40.0])
def test_a_line_has_its_width_in_pixels_at_any_scale(radius, width):
    scene = Scene([Part("ball", sphere(radius))])
    camera = view_camera(scene.points, "occlusal", aspect=4 / 3)
    line = Line(np.array([[-radius / 2, 0, radius * 1.1], [radius / 2, 0, radius * 1.1]]), RED, width)
    assert line_area(scene, camera, line) == pytest.approx(width * radius * SIZE[0] / camera.width_mm, rel=0.1)


def test_stone_metal_and_wax_look_different_and_wax_lets_the_stone_through():
    def middle(*parts: Part) -> np.ndarray:
        scene = Scene(list(parts))
        camera = view_camera(np.array([[-12.0, -12, -12], [12, 12, 12]]), "occlusal", aspect=1)
        return np.asarray(draw(scene, camera, size=(64, 64)), dtype=float)[32, 32]

    stone, metal = middle(Part("a", sphere(10))), middle(Part("a", sphere(10), "metal"))
    wax_alone = middle(Part("w", box((8, 8, 1), (0, 0, 11)), "wax"))
    wax_on_stone = middle(Part("a", sphere(10)), Part("w", box((8, 8, 1), (0, 0, 11)), "wax"))
    assert stone[0] - stone[2] > 15  # warm
    assert abs(metal[0] - metal[2]) < 25  # neutral
    assert wax_alone[2] - wax_alone[0] > 20  # cool
    assert stone[2] - stone[0] < wax_on_stone[2] - wax_on_stone[0] < wax_alone[2] - wax_alone[0] + 40
    assert np.abs(wax_on_stone - stone).max() > 15 and np.abs(wax_on_stone - wax_alone).max() > 5


def test_vertex_colours_replace_the_material():
    ball = sphere(10, level=3)
    blue = np.tile([0.1, 0.2, 0.8], (len(ball.vertices), 1))
    scene = Scene([Part("a", ball, "metal", blue)])
    pixel = np.asarray(draw(scene, view_camera(scene.points, "occlusal", aspect=1), size=(64, 64)), dtype=float)[32, 32]
    assert pixel[2] > 1.5 * pixel[0]


def test_srgb_there_and_back_and_at_published_points():
    # IEC 61966-2-1: half of linear light is sRGB 0.7354; sRGB 0.5 is linear 0.2140.
    assert float(to_srgb(np.array([0.5]))[0]) == pytest.approx(0.7354, abs=2e-4)
    assert float(to_linear(np.array([0.5]))[0]) == pytest.approx(0.2140, abs=2e-4)
    values = np.linspace(0, 1, 64)
    assert np.allclose(to_srgb(to_linear(values)), values, atol=1e-5)


def test_the_same_scene_gives_the_same_file_with_nothing_but_pixels(tmp_path):
    files = []
    for name in ("a.png", "b.png"):
        ball = Part("ball", sphere(10, level=3), "metal")
        shot([ball], tmp_path / name, view="oblique", size=(160, 120), labels=[Label("36", (0, 0, 10))])
        files.append((tmp_path / name).read_bytes())
    assert files[0] == files[1]
    with Image.open(io.BytesIO(files[0])) as image:
        image.load()
        assert image.size == (160, 120) and not image.info
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.png", "b.png"]


def test_a_write_that_fails_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch):
    goal = tmp_path / "x.png"
    goal.write_bytes(b"old")

    def refuse(*_args):
        raise OSError("no")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError):
        write_png(Image.new("RGB", (4, 4)), goal)
    assert goal.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["x.png"]


def test_sheets_place_every_picture():
    colours = [(255, 0, 0), (0, 255, 0), (0, 0, 255)]
    sheet = side_by_side([Image.new("RGB", (10, 8), c) for c in colours], columns=2, gap=4)
    assert sheet.size == (24, 20)
    assert [sheet.getpixel(p) for p in ((5, 4), (19, 4), (5, 16))] == colours
    assert png_bytes(sheet)[:4] == b"\x89PNG"


def test_every_material_can_be_drawn():
    for name in MATERIALS:
        scene = Scene([Part("a", sphere(5, level=2), name)])
        assert covered(draw(scene, view_camera(scene.points, "occlusal"), size=(70, 50))).any()
