"""The arch drawing: areas and places on paper against plain shapes whose answer is known, shapely as judge."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.case import Case, CastEntry, Chart, ToothEntry
from claspwright.core.mesh import Mesh
from claspwright.core.output.arch_plan import SCALE, ArchPlan, arch_plan_svg
from claspwright.core.output.camera import view_camera
from claspwright.core.output.crossed import crossed_out
from claspwright.core.output.plan_drawing import arch_svg
from claspwright.core.planning import Design
from claspwright.core.teeth import Tooth

AXES = np.array([[1.0, 0, 0], [0, 1.0, 0]])
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan() -> ArchPlan:
    """A ring of metal 36 mm across, its right half called a base, and one round tooth in front."""
    ring = trimesh.creation.torus(18.0, 1.5, major_sections=128, minor_sections=32)
    phi = np.linspace(0, 2 * np.pi, 60)[:-1]
    tooth = np.column_stack([4 * np.cos(phi), 24 + 4 * np.sin(phi), 0 * phi])
    return ArchPlan(
        "lower", AXES, {41: tooth}, [(tooth * 1.02, True)], Mesh(ring.vertices, ring.faces), ("major connector", "bases"),
        np.where(ring.vertices[:, 0] > 0, 1, 0), [(np.array([18.0, 0, 1]), "<0.25>")], [np.array([-18.0, 0, 1])],
        [(46, np.array([10.0, -10, 0]))],
    )  # fmt: skip


def area(path: str) -> float:
    loops = [np.array([[float(n) for n in p.split()] for p in loop.strip("Z").split("L")]) for loop in path.split("M")[1:]]
    found = shapely.Polygon()
    for loop in loops:
        found = found.symmetric_difference(shapely.Polygon(loop).buffer(0))
    return found.area


def test_silhouettes_have_their_true_area_at_twice_life_size(plan):
    root = ElementTree.fromstring(arch_plan_svg(plan))
    fills = {"#c9ccd1": 0.0, "url(#net)": 0.0}
    for element in root.iter(f"{SVG}path"):
        if element.get("fill") in fills and element.get("fill-rule") == "evenodd":
            fills[element.get("fill")] = area(element.get("d"))
    half = np.pi * (19.5**2 - 16.5**2) / 2 * SCALE**2
    assert list(fills.values()) == pytest.approx([half, half], rel=0.04)


def test_numbers_tips_and_tripod_stand_where_they_are(plan):
    svg = arch_plan_svg(plan)
    root = ElementTree.fromstring(svg)
    words = {t.text: (float(t.get("x")), float(t.get("y"))) for t in root.iter(f"{SVG}text")}
    assert {"41", "(46)", "<0.25>", "1", "R", "L", "height of contour", "bases"} <= set(words)
    tooth, base = np.array(words["41"]), np.array(words["(46)"])
    assert base - tooth == pytest.approx(np.array([10.0, 34.0]) * SCALE, abs=0.3)  # front up, life size twice
    circle = next(root.iter(f"{SVG}circle"))
    assert float(circle.get("cx")) == pytest.approx(tooth[0] - 18 * SCALE, abs=0.1)
    assert words["R"][0] > words["L"][0]
    upper = {t.text: float(t.get("x")) for t in ElementTree.fromstring(arch_plan_svg(replace(plan, arch="upper"))).iter(f"{SVG}text")}
    assert upper["R"] < upper["L"]  # an upper arch is seen from below
    assert float(re.search(r"width:([\d.]+)mm", svg)[1]) < 180  # fits between the margins of A4


def test_the_drawing_s_style_stays_inside_the_drawing(plan: ArchPlan):
    """In an HTML page the rules of a style element count for the whole document (HTML standard): unnamed, it shrinks other plots."""
    sheets = re.findall(r"<style>(.*?)</style>", arch_plan_svg(plan), re.DOTALL)
    selectors = [rule.split("{")[0].strip() for sheet in sheets for rule in sheet.split("}") if rule.strip()]
    assert len(selectors) >= 3 and all(s.startswith(".arch ") for s in selectors)


def test_a_tooth_to_be_taken_out_is_crossed_out(plan):
    """Its number, and a cross whose two strokes meet in the middle of its outline: a circle of 4 mm radius at (0, 24)."""
    svg = arch_plan_svg(replace(plan, margins={}, taken_out=dict(plan.margins)))
    root = ElementTree.fromstring(svg)
    words = {t.text: np.array([float(t.get("x")), float(t.get("y"))]) for t in root.iter(f"{SVG}text")}
    assert "to be taken out" in words
    assert "to be taken out" not in arch_plan_svg(plan)
    cross = next(p.get("d") for p in root.iter(f"{SVG}path") if p.get("stroke-width") == ".7")
    ends = np.array([[float(n) for n in re.findall(r"[-0-9.]+", part)] for part in re.split("[ML]", cross)[1:]])
    assert ends[:2].mean(axis=0) == pytest.approx(words["41"], abs=0.3)
    assert ends[2:].mean(axis=0) == pytest.approx(words["41"], abs=0.3)
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(8.0 * np.sqrt(2.0) * SCALE, rel=0.01)


def test_the_plan_crosses_out_a_tooth_whether_it_is_replaced_or_not():
    chart = Chart(tuple(ToothEntry(n, to_extract=n in (42, 36)) for n in (31, 32, 33, 34, 35, 36, 41, 42, 43, 44)), not_replaced=(36,))
    design = Design(Case(CastEntry("cast.ply", "", "lower"), chart))
    phi = np.linspace(0.0, 2.0 * np.pi, 24)[:-1]
    rings = {t: design.positions[t][:2] + 3.0 * np.column_stack([np.cos(phi), np.sin(phi)]) for t in (*design.standing, 42, 36)}
    standing = {t: rings[t] for t in design.standing}
    svg = arch_svg(design, standing, {t: design.positions[t] for t in standing}, {t: rings[t] for t in (42, 36)})
    root = ElementTree.fromstring(svg)
    numbers = [t.text for t in root.iter(f"{SVG}text")]
    assert numbers.count("42") == numbers.count("36") == 1
    strokes = [p for p in root.iter(f"{SVG}polyline") if p.get("stroke-width") == "2.5" and len(p.get("points").split()) == 2]
    assert len(strokes) == 4


@pytest.mark.parametrize(("view", "middle"), [("occlusal", [0, 0, 7.5]), ("right", [4.5, 0, 3.5]), ("left", [-4.5, 0, 3.5])])
def test_a_cross_lies_before_the_crown_in_every_view(view, middle):
    """On a block 8 mm by 10 mm by 7 mm both strokes are diagonals of the face that is seen, half a millimetre before it."""
    rim = np.array([[-4.0, -5, 0], [4, -5, 0], [4, 5, 0], [-4, 5, 0]])
    x, y, z = np.eye(3)
    tooth = Tooth(36, rim, 3.0 * z, z, x, y, 7.0 * z[None], np.zeros(0, dtype=np.int64))
    camera = view_camera(np.array([[-4.0, -5, 0], [4, 5, 7]]), view, arch="lower")
    toward = np.round(np.array(camera.toward))
    straight = replace(camera, toward=tuple(toward), up=(0.0, 1.0, 0.0) if toward[2] else (0.0, 0.0, 1.0))
    lines = [line.points for line in crossed_out([tooth], straight)]
    assert [0.5 * (a + b) for a, b in lines] == [pytest.approx(np.abs(middle) * np.where(toward, toward, 1.0))] * 2
    assert not np.allclose(lines[0], lines[1])
