"""The arch drawing: areas and places on paper against plain shapes whose answer is known, shapely as judge."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.output.arch_plan import SCALE, ArchPlan, arch_plan_svg

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
