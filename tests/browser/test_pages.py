"""The pages in a real browser without a screen and without a network: they open, draw, obey the hand and print.

Runs where a Chromium is found (the environment variable CHROMIUM, or on the PATH); skipped elsewhere.
"""

import os
import re
import shutil
import subprocess
from html import escape, unescape
from pathlib import Path

import numpy as np
import pytest
import trimesh
from claspwright.core.checks.result import Check
from claspwright.core.mesh import Mesh
from claspwright.core.output import Part, Picture, ReportData, Scene, draw, png_bytes, preview_html, report_html, view_camera
from PIL import Image

BROWSER = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium here: set CHROMIUM to one")


def browse(page: Path, *options: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Open a page in a fresh profile with every name on the network unknown."""
    command = [
        str(BROWSER), "--headless=new", "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--hide-scrollbars",
        "--no-first-run", "--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND", "--force-prefers-reduced-motion",
        f"--user-data-dir={folder / 'profile'}", "--enable-logging=stderr", "--virtual-time-budget=4000", *options, page.as_uri(),
    ]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)


def complaints(done: subprocess.CompletedProcess[str]) -> list[str]:
    """What the page wrote to the browser's console: scripts' errors, blocked loads, shaders that do not compile."""
    return [line for line in done.stderr.splitlines() if "CONSOLE" in line]


def mesh_of(t: trimesh.Trimesh) -> Mesh:
    return Mesh(t.vertices, t.faces)


@pytest.fixture(scope="module")
def parts() -> list[Part]:
    ring = trimesh.creation.torus(18.0, 1.5, major_sections=64, minor_sections=24)
    ring.apply_translation((0, 0, 8))
    cast = mesh_of(trimesh.creation.box((60, 50, 12)).subdivide().subdivide().subdivide())
    tint = np.tile([0.83, 0.77, 0.65], (len(cast.vertices), 1))
    tint[cast.vertices[:, 0] > 15] = (0.2, 0.3, 0.8)
    ball = mesh_of(trimesh.creation.icosphere(3, 10))
    return [Part("cast", cast, "stone", tint), Part("framework", mesh_of(ring), "metal"), Part("wax", ball, "wax")]


def state(dom: str) -> dict[str, str]:
    """What the viewer says of itself on the root element."""
    return dict(re.findall(r'data-(\w+)="([^"]*)"', re.search(r"<html[^>]*>", dom).group(0)))


HANDS = """<script>
const view = document.getElementById("view");
const at = (kind, x, y, more) => view.dispatchEvent(new PointerEvent(kind, {pointerId: 1, clientX: x, clientY: y, bubbles: true, ...more}));
const boxes = () => [...document.querySelectorAll("#panel input[type=checkbox]")];
const later = (what) => setTimeout(what, 200);
const root = document.documentElement.dataset;
const note = (name) => { for (const k of ["turn", "rise", "near", "lift", "shown"]) root[name + k] = root[k]; };
later(() => { note("a");
  at("pointerdown", 300, 300, {buttons: 1}); at("pointermove", 400, 260, {buttons: 1}); at("pointerup", 400, 260);
later(() => { note("b");
  view.dispatchEvent(new WheelEvent("wheel", {deltaY: 100, cancelable: true}));
later(() => { note("c");
  boxes()[1].click();
later(() => { note("d");
  [...document.querySelectorAll("button")].find((b) => b.textContent === "occlusal").click();
later(() => { note("e");
  const slider = document.querySelector("input[type=range]"); slider.value = 7.5; slider.dispatchEvent(new Event("input"));
later(() => { note("f"); }); }); }); }); }); });
</script>"""


def test_preview_holds_every_triangle_and_obeys_the_hand(tmp_path, parts):
    page = tmp_path / "preview.html"
    page.write_text(preview_html(parts, path=np.array([0.0, 0, 1])).replace("</body>", HANDS + "</body>"), encoding="utf-8")
    done = browse(page, "--dump-dom", "--window-size=900,700", folder=tmp_path)
    assert complaints(done) == []
    seen = state(done.stdout)
    assert int(seen["triangles"]) == sum(len(p.mesh.faces) for p in parts)
    assert seen["ashown"] == "cast,framework,wax"
    assert float(seen["bturn"]) - float(seen["aturn"]) == pytest.approx(0.8, abs=0.002)  # 100 pixels at 0.008 a pixel
    assert float(seen["brise"]) - float(seen["arise"]) == pytest.approx(-0.32, abs=0.002)
    assert float(seen["cnear"]) > 1.1 * float(seen["bnear"])
    assert seen["dshown"] == "cast,wax"
    assert float(seen["flift"]) == 7.5
    assert float(seen["erise"]) == pytest.approx(np.pi / 2, abs=1e-3)


def colours(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB"), dtype=float)


def test_preview_shows_stone_tint_metal_and_wax_and_hides_what_is_switched_off(tmp_path, parts):
    page, picture = tmp_path / "preview.html", tmp_path / "a.png"
    html = preview_html(parts, path=np.array([0.0, 0, 1]))
    # Boxes in their order: cast, framework, wax.
    switch = "<script>document.querySelectorAll('#panel input[type=checkbox]')[{}].click()</script></body>"
    seen = {}
    for name, text in {"all": html, **{n: html.replace("</body>", switch.format(n)) for n in (0, 1, 2)}}.items():
        page.write_text(text, encoding="utf-8")
        done = browse(page, f"--screenshot={picture}", "--window-size=900,700", folder=tmp_path)
        assert complaints(done) == []
        view = colours(picture)[80:620, :680]
        red, green, blue = view[..., 0], view[..., 1], view[..., 2]
        plain = np.abs(view - view.mean(axis=2, keepdims=True)).max(axis=2) < 8
        seen[name] = {
            "stone": float(((red > green) & (green > blue) & (red - blue > 15)).mean()),
            "tint": float((blue - red > 70).mean()),
            "metal": float((plain & (view.mean(axis=2) < 150)).mean()),
            "wax": float(((blue - red > 20) & (blue - red < 68) & (green > red)).mean()),
        }
    whole = seen["all"]
    assert whole["stone"] > 0.05 and whole["tint"] > 0.02 and whole["metal"] > 0.002 and whole["wax"] > 0.001, seen
    assert seen[0]["stone"] < 0.01 and seen[0]["tint"] < 0.002 and seen[0]["metal"] > 0.002, seen
    assert seen[1]["metal"] < 0.3 * whole["metal"] and seen[1]["stone"] >= whole["stone"], seen
    assert seen[2]["wax"] < 0.5 * whole["wax"], seen


PHONE = """<!doctype html><iframe style="width:390px;height:844px;border:0" srcdoc="{page}"></iframe><script>
setTimeout(() => {{
  const inside = document.querySelector("iframe").contentDocument, root = document.documentElement.dataset;
  const panel = inside.getElementById("panel"), ends = [...inside.querySelectorAll("button, label, input, textarea")];
  root.over = panel.scrollWidth - panel.clientWidth;
  root.right = Math.max(...ends.map((e) => e.getBoundingClientRect().right));
  root.least = Math.min(...[...inside.querySelectorAll("button, label")].map((e) => e.getBoundingClientRect().height));
  root.caution = inside.querySelector("footer").getBoundingClientRect().height;
  panel.scrollTop = 1e6;
  root.notes = inside.getElementById("save").getBoundingClientRect().bottom;
}}, 1500);
</script>"""


def test_on_a_phone_everything_of_the_preview_is_within_reach_of_the_thumb(tmp_path, parts):
    page = tmp_path / "phone.html"
    page.write_text(PHONE.format(page=escape(preview_html(parts, path=np.array([0.0, 0, 1])))), encoding="utf-8")
    done = browse(page, "--dump-dom", "--window-size=900,900", folder=tmp_path)
    assert complaints(done) == []
    seen = {k: float(v) for k, v in state(done.stdout).items()}
    assert seen["over"] <= 0 and seen["right"] <= 390 and seen["notes"] <= 844 and seen["caution"] > 10
    assert seen["least"] >= 24  # WCAG 2.2, criterion 2.5.8: targets of 24 CSS pixels or more


PIECES = """<script>
const root = document.documentElement.dataset;
const box = (words) => [...document.querySelectorAll("#panel label")].find((l) => l.textContent === words).querySelector("input");
const later = (what) => setTimeout(what, 200);
later(() => { box("clasp arms").click();
later(() => { root.one = root.hidden; box("rests").click(); document.getElementById("notes").value = "Tip on <44> longer & deeper";
later(() => { root.two = root.hidden; document.getElementById("copy").click();
later(() => { box("rests").click(); later(() => { root.three = root.hidden; }); }); }); }); });
</script>"""


def test_preview_switches_parts_and_writes_notes_for_the_laboratory(tmp_path, parts):
    metal = parts[1].mesh
    pieces = ("rests", "clasp arms", "bases")
    group = np.where(metal.vertices[:, 0] > 4, 1, 0)
    grouped = [parts[0], Part("framework", metal, "metal", groups=pieces, group_of=group)]
    html = preview_html(grouped, title="Case </script> & more", patient_code="P<1>", path=np.array([0.0, 0, 1]), mark="0123abcd")
    page = tmp_path / "preview.html"
    page.write_text(html.replace("</body>", PIECES + "</body>"), encoding="utf-8")
    done = browse(page, "--dump-dom", "--window-size=900,900", folder=tmp_path)
    assert complaints(done) == []
    seen = state(done.stdout)
    assert (seen["one"], seen["two"], seen["three"]) == ("clasp arms", "rests,clasp arms", "clasp arms")
    assert int(seen["triangles"]) == len(parts[0].mesh.faces) + len(metal.faces)
    letter = unescape(seen["letter"])
    for words in ("Case </script> & more", "P<1>", "0123abcd", "Tip on <44> longer & deeper", "hidden: rests, clasp arms"):
        assert words in letter
    # Half of the ring is gone from the picture when its piece is switched off.
    picture, dark = tmp_path / "a.png", []
    for off in ("", "box('clasp arms').click();"):
        switch = "<script>const box = (w) => [...document.querySelectorAll('#panel label')].find((l) => l.textContent === w)"
        switch += f".querySelector('input'); box('cast').click(); {off}</script></body>"
        page.write_text(html.replace("</body>", switch), encoding="utf-8")
        browse(page, f"--screenshot={picture}", "--window-size=900,700", folder=tmp_path)
        view = colours(picture)[80:620, :680]
        dark.append(float((view.mean(axis=2) < 200).mean()))
    assert 0.3 * dark[0] < dark[1] < 0.75 * dark[0]


@pytest.fixture(scope="module")
def report(parts) -> str:
    scene = Scene(parts)
    picture = png_bytes(draw(scene, view_camera(scene.points, "occlusal"), size=(420, 300)))
    statuses = ("pass", "warn", "fail", "skip") * 12
    checks = [Check(f"a.{i}", s, 1.0, 2.0, "mm", "near 44", "a book", f"Finding {i}.") for i, s in enumerate(statuses)]
    data = ReportData("Case <b>", "CODE-1", "lower", checks=checks, pictures=[Picture("Occlusal", picture)] * 4, notes="x" * 4000)
    return report_html(data)


def test_report_opens_without_a_complaint_and_shows_its_pictures(tmp_path, report):
    page, picture = tmp_path / "report.html", tmp_path / "a.png"
    page.write_text(report, encoding="utf-8")
    done = browse(page, f"--screenshot={picture}", "--window-size=860,1600", folder=tmp_path)
    assert complaints(done) == []
    view = colours(picture)
    assert ((view[..., 2] - view[..., 0]) > 70).mean() > 0.005  # the blue of the picture


def test_report_prints_to_a4_without_the_browsers_leftovers(tmp_path, report):
    page, paper = tmp_path / "report.html", tmp_path / "a.pdf"
    page.write_text(report, encoding="utf-8")
    browse(page, f"--print-to-pdf={paper}", folder=tmp_path)
    data = paper.read_bytes()
    boxes = {tuple(float(n) for n in m.split()) for m in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", data)}
    assert boxes and all(b == pytest.approx((0, 0, 595.3, 841.9), abs=1.0) for b in boxes)  # A4 in points
    if shutil.which("pdftotext"):
        text = subprocess.run(["pdftotext", "-layout", str(paper), "-"], capture_output=True, text=True, check=True).stdout
        assert "file:" not in text and "report.html" not in text  # the address the browser would add
        assert all(f"Finding {i}." in text for i in range(48))
        pages = text.rstrip("\f").split("\f")
        assert len(pages) > 1
        for number, words in enumerate(pages, 1):
            assert re.search(rf"{number}\s*/\s*{len(pages)}\s*$", words)
            assert words.count("Case <b>") == (1 if number == 1 else 0)  # once as heading, never as the browser's own page header
