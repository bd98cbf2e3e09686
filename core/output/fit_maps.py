"""Two maps of a framework, as pictures: how thick the metal is, and where its fitting side touches or keeps its distance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.spatial import cKDTree

from ..checks import CheckInput, local_thickness
from ..checks.gaps import CONTACT, HOVERS, NOT_FITTING, PRESSED, SPACE
from ..mesh import Floats, Ints, Mesh
from .camera import view_camera
from .drawing import Colour, Label, rgb, text
from .palette import INK, from_oklab
from .pictures import PANEL, finished
from .render import BACKGROUND, draw
from .scene import Part, Scene

# Own colours of the gap map: even steps of lightness, so that they read in black and white. sRGB 0..255.
GAP_COLOURS = {CONTACT: (52, 84, 140), SPACE: (150, 190, 200), HOVERS: (214, 110, 20), PRESSED: (92, 0, 16), NOT_FITTING: (226, 226, 228)}
GAP_WORDS = {
    CONTACT: "touches the cast", SPACE: "planned space", HOVERS: "stands off the cast", PRESSED: "presses into it", NOT_FITTING: "polished",
}
# Where one band ends and the next begins, mm: least wall of the process, lattice, plate, rest, connector (the limits of the checks).
BANDS_MM = (0.4, 0.6, 0.8, 1.0, 1.5, 2.0)
NEIGHBOURS = 5  # thickness is read at points some 0.4 mm apart; their mean is smooth and stays on the same wall
LEGEND_PX = 235  # of a panel's width
OUTWARD_MM = 7.0  # tooth numbers stand this far outside the arch


@dataclass(frozen=True, eq=False)
class FitMaps:
    """Of each vertex of a framework: kind (n,) as in checks.gaps, gap (n,) mm to the prepared cast or NaN, thickness (n,) mm."""

    kind: Ints
    gap: Floats
    thickness: Floats


def fit_maps(data: CheckInput) -> FitMaps:
    """What the checks see of a framework, at its vertices: the worst fit of the faces there, the mean of the nearest thicknesses."""
    mesh = data.framework
    kind = np.zeros(len(mesh.vertices), dtype=np.int64)
    np.maximum.at(kind, mesh.faces.reshape(-1), np.repeat(data.gap_map.kind, 3))
    gap = np.full(len(mesh.vertices), np.nan)
    gap[mesh.faces.reshape(-1)] = np.repeat(data.gap_map.gap, 3)
    thick = local_thickness(mesh, scene=data.framework_scene)
    near = cKDTree(thick.points).query(mesh.vertices, NEIGHBOURS)[1]
    return FitMaps(kind, gap, thick.value[near].mean(axis=1))


def gap_colours(kind: Ints) -> Floats:
    """(n, 3) sRGB 0..1 for the kinds of checks.gaps (n,)."""
    return np.array([GAP_COLOURS[k] for k in range(5)])[kind] / 255.0


def band_colours() -> Floats:
    """(b, 3) sRGB 0..1, thinnest band first: dark wine to pale straw, every step as much lighter as the last."""
    t = np.linspace(0.0, 1.0, len(BANDS_MM) + 1)
    light, chroma, turn = 0.36 + 0.58 * t, 0.13 - 0.06 * t, np.radians(10.0 + 90.0 * t)
    return from_oklab(np.column_stack([light, chroma * np.cos(turn), chroma * np.sin(turn)]))


def thickness_colours(thickness: Floats) -> Floats:
    """(n, 3) sRGB 0..1 for thicknesses (n,) mm, in bands."""
    return band_colours()[np.digitize(thickness, BANDS_MM)]


def fit_map_pictures(
    framework: Mesh, maps: FitMaps, *, arch: str = "lower", teeth: Mapping[int, Floats] | None = None, size: tuple[int, int] = PANEL
) -> dict[str, Image.Image]:
    """"thickness", seen from the occlusal side, and "fit", the tissue side. teeth : a point (3,) on each tooth, for its number."""
    edges = ["under 0.4", *(f"{a:.1f} to {b:.1f}" for a, b in zip(BANDS_MM, BANDS_MM[1:], strict=False)), "2.0 and more"]
    thick = ("Thickness in mm", [(words, tuple(c)) for words, c in zip(edges, band_colours(), strict=True)])
    kinds = [k for k in (CONTACT, SPACE, HOVERS, PRESSED, NOT_FITTING) if k in (CONTACT, SPACE) or np.any(maps.kind == k)]
    fit = ("Fitting side", [(GAP_WORDS[k], tuple(np.array(GAP_COLOURS[k]) / 255)) for k in kinds])
    scene = Scene([Part("framework", framework, "stone", thickness_colours(maps.thickness))])
    return {
        "thickness": _picture(scene, "occlusal", arch, teeth or {}, size, *thick),
        "fit": _picture(scene.recoloured(gap_colours(maps.kind)), "tissue", arch, teeth or {}, size, *fit),
    }


def _picture(
    scene: Scene, view: str, arch: str, teeth: Mapping[int, Floats], size: tuple[int, int], title: str,
    legend: Sequence[tuple[str, Colour]],
) -> Image.Image:
    framework = scene.parts[0].mesh
    numbers = _numbers(teeth, framework)
    unit = size[0] / PANEL[0]
    side = round(LEGEND_PX * unit)  # the legend has a strip of its own: palates leave no room in the middle, molars none at the corners
    field = (size[0] - side, size[1])
    camera = view_camera(np.vstack([framework.vertices, *(n.at for n in numbers)]), view, arch=arch, aspect=field[0] / field[1])
    drawn = draw(scene, camera, size=field, labels=numbers)
    image = Image.new("RGB", size, rgb(BACKGROUND))
    image.paste(finished(drawn, camera, f"{title}, from the {view} side"), (0, 0))
    for k, (words, colour) in enumerate(legend):
        x, y = field[0] + 4 * unit, (62 + 31 * k) * unit
        ImageDraw.Draw(image).rectangle([x, y, x + 30 * unit, y + 20 * unit], fill=rgb(colour), outline=rgb(INK))
        image = text(image, (x + 40 * unit, y + 10 * unit), words, int(17 * unit), INK, BACKGROUND, "lm")
    return image


def _numbers(teeth: Mapping[int, Floats], framework: Mesh) -> list[Label]:
    """The number of each tooth outside the arch, in the plane of the tooth's point."""
    middle = framework.bounds.mean(axis=0)
    found = []
    for fdi, point in teeth.items():
        away = (np.asarray(point) - middle) * [1, 1, 0]
        spot = np.asarray(point) + OUTWARD_MM * away / max(float(np.linalg.norm(away)), 1e-9)
        found.append(Label(str(fdi), (float(spot[0]), float(spot[1]), float(spot[2]))))
    return found
