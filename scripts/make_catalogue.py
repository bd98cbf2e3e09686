"""Draw the contact sheet of the catalogue: every kind of part, each by itself on the prepared cast of the sample that uses it.

python scripts/make_catalogue.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from claspwright.core.case import load_case
from claspwright.core.output import write_bytes
from claspwright.core.output.camera import look
from claspwright.core.output.drawing import png_bytes, side_by_side
from claspwright.core.output.pictures import finished
from claspwright.core.output.render import draw
from claspwright.core.output.scene import Part, Scene
from claspwright.core.pipeline.build import Clock, Groundwork, groundwork
from claspwright.core.solids.fields import Blend
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
SIZE, COLUMNS = (440, 330), 8
SHARE = 0.5  # of the drawn size at which it is kept
FILLET_MM, SPACING_MM = 0.3, 0.18
ROOM_MM = 3.0  # round the part
# What it is called, the sample that uses it, its parts, and from where it is seen.
SHOWN: tuple[tuple[str, str, tuple[str, ...], str], ...] = (
    ("Occlusal rest", "lower_class_i", ("rest 34",), "lingual"),
    ("Long occlusal rest", "lower_class_iii", ("rest 37 mesial",), "lingual"),
    ("Embrasure rests", "lower_class_iii", ("rest 46 distal", "rest 47 mesial"), "lingual"),
    ("Cingulum rest, chevron", "lower_class_i", ("rest 33",), "lingual"),
    ("Cingulum rest, ball", "upper_class_i", ("rest 13",), "lingual"),
    ("Incisal rest", "lower_class_ii_mod_1", ("rest 43",), "lingual"),
    ("Circumferential clasp", "upper_class_iii_mod_1", ("retentive arm 17", "reciprocal arm 17", "rest 17"), "facial"),
    ("Reverse circumferential", "lower_class_ii_mod_1", ("retentive arm 35", "rest 35 mesial"), "facial"),
    (
        "Half-and-half clasp", "lower_class_iii_mod_1",
        ("retentive arm 44", "reciprocal arm 44", "rest 44 mesial", "rest 44 distal"), "facial",
    ),
    (
        "Embrasure clasp", "lower_class_iii",
        ("retentive arm 46", "retentive arm 47", "reciprocal arm 46", "reciprocal arm 47", "rest 46 distal", "rest 47 mesial"), "facial",
    ),
    ("Ring clasp with strut", "lower_class_iii", ("ring arm 37", "rest 37 mesial", "rest 37 distal", "base 3"), "facial"),
    (
        "Back-action clasp", "lower_class_iii_mod_1",
        ("back-action arm 34", "rest 34 mesial", "rest 34 distal", "minor connector 34"), "facial",
    ),
    ("Extended arm", "lower_class_ii_mod_1", ("extended arm 45", "guide plate 45", "rest 45 distal"), "facial"),
    ("I-bar, mesial rest, plate", "lower_class_i", ("I-bar 34", "rest 34", "guide plate 34", "base 3"), "facial"),
    ("T-bar", "lower_class_i_plate", ("T-bar 33", "guide plate 33", "base 3"), "facial"),
    ("Half T-bar", "upper_class_i", ("T-bar 13", "guide plate 13", "base 1"), "facial"),
    ("Wrought wire", "upper_class_ii_mod_1", ("wire 24", "reciprocal arm 24", "guide plate 24"), "facial"),
    ("Guide plate", "lower_class_i", ("guide plate 34",), "distal"),
    ("Minor connector", "lower_class_i", ("minor connector 34", "rest 34"), "lingual"),
    ("Lattice, tissue stop", "lower_class_i", ("base 3",), "above"),
    ("Mesh, finish line", "upper_class_ii_mod_1", ("base 2",), "above"),
    ("Metal base with beads", "lower_class_ii_mod_1", ("base 4",), "above"),
    ("Metal base with posts", "upper_class_ii_mod_1", ("base 1",), "above"),
    ("Lingual bar", "lower_class_i", ("lingual bar",), "tongue"),
    ("Sublingual bar", "lower_class_iii", ("sublingual bar",), "tongue"),
    ("Lingual plate", "lower_class_i_plate", ("lingual plate",), "tongue"),
    ("Continuous bar", "lower_class_ii_mod_1", ("continuous bar", "lingual bar"), "tongue"),
    ("Labial bar", "lower_class_iii_mod_1", ("labial bar",), "lip"),
    ("Palatal strap", "upper_class_ii_mod_1", ("palatal strap",), "palate"),
    ("Anteroposterior straps", "upper_class_iii_mod_1", ("palatal straps",), "palate"),
    ("Complete palatal plate", "upper_class_i", ("palatal plate",), "palate"),
    ("U-shaped plate", "upper_class_iv", ("U-shaped plate",), "palate"),
)  # fmt: skip


def toward_of(view: str, middle: np.ndarray) -> np.ndarray:
    """(3,) from a part whose middle is given to the viewer; the middle of the arch lies behind its front."""
    fixed = {"tongue": (0.0, -0.8, 0.75), "lip": (0.0, 1.0, 0.35), "palate": (0.0, -0.25, 1.0), "distal": (0.0, -1.0, 0.5)}
    if view in fixed:
        return np.array(fixed[view])
    outward = np.array([middle[0], middle[1] + 18.0, 0.0])
    outward /= np.linalg.norm(outward)
    return {"facial": outward + [0, 0, 0.45], "lingual": [0, 0, 0.9] - outward, "above": [0, 0, 1.0] + 0.4 * outward}[view]


def tile(title: str, found: Groundwork, parts: tuple[str, ...], view: str) -> Image.Image:
    """One part, or what makes one clasp, on the cast."""
    metal = Blend([s for p in parts for s in found.assembly.built[p].shapes], FILLET_MM).mesh(SPACING_MM)
    own = Blend(list(found.assembly.built[parts[0]].shapes), 0.0).mesh(0.5).vertices
    low, high = own.min(axis=0), own.max(axis=0)
    box = np.array([low - ROOM_MM, high + ROOM_MM])
    camera = look(box, toward_of(view, 0.5 * (low + high)), aspect=SIZE[0] / SIZE[1], step_mm=2.0)
    scene = Scene([Part("cast", found.prepared.mesh, "stone"), Part("metal", metal, "metal")])
    return finished(draw(scene, camera, size=SIZE), camera, title)


def main() -> int:
    """Draw it."""
    tiles = {}
    for sample in dict.fromkeys(s for _, s, _, _ in SHOWN):
        found = groundwork(load_case(ROOT / "sample_scenes" / sample / "case.json"), Clock(None, None), quick=True)
        for title, name, parts, view in SHOWN:
            if name == sample:
                tiles[title] = tile(title, found, parts, view)
        sys.stdout.write(f"{sample}\n")
    whole = side_by_side([tiles[title] for title, *_ in SHOWN], columns=COLUMNS, gap=8)
    small = whole.convert("RGB").resize((round(whole.width * SHARE), round(whole.height * SHARE)), Image.Resampling.LANCZOS)
    write_bytes(png_bytes(small.quantize(64)), ROOT / "docs" / "pictures" / "catalogue.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
