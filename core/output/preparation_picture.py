"""Pictures of mouth preparation on the tooth: the cast as it is, coloured where enamel goes and how deep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from ..mesh import Floats, Mesh
from ..planning.mouth import GUIDE, Task
from ..survey.nearest import Finder
from ..teeth import Teeth, Tooth
from .camera import Camera, look
from .drawing import Line, side_by_side
from .materials import MATERIALS
from .palette import SURVEY_LINE, from_oklab
from .render import draw
from .scene import Part, Scene

SIZE = (330, 270)
FIELD_MM = 15.0
FULL_MM = 1.2  # deeper is shown as this deep
_LEAST_MM = 0.02
# Pale yellow to dark red: lightness falls all the way, so that it reads in black-and-white.
_STOPS = np.array([[0.93, 0.09, 95.0], [0.74, 0.16, 60.0], [0.55, 0.18, 35.0], [0.38, 0.13, 20.0]])


def removed_mm(mesh: Mesh, prepared: Mesh, near: Floats) -> Floats:
    """(n,) mm that preparation takes off at each vertex of the cast: its distance to the prepared surface. near : (k, 3) mm, middles of
    the teeth that are worked on; vertices farther than a crown from all of them are not looked at and get 0."""
    out = np.zeros(len(mesh.vertices))
    if len(near) == 0:
        return out
    chosen = np.zeros(len(mesh.vertices), dtype=bool)
    for middle in near:
        chosen |= np.linalg.norm(mesh.vertices - middle, axis=1) < 9.0
    points = mesh.vertices[chosen]
    distance = np.linalg.norm(Finder(prepared)(points)[0] - points, axis=1)
    out[chosen] = np.where(distance > _LEAST_MM, distance, 0.0)
    return out


def cut_colours(removed: Floats) -> Floats:
    """(n, 3) sRGB: stone where nothing goes, else the deeper the darker."""
    share = np.clip(removed / FULL_MM, 0.0, 1.0)
    at = np.linspace(0.0, 1.0, len(_STOPS))
    light, chroma, hue = (np.interp(share, at, _STOPS[:, k]) for k in range(3))
    turn = np.radians(hue)
    colour = from_oklab(np.column_stack([light, chroma * np.cos(turn), chroma * np.sin(turn)]))
    return np.where((removed > 0)[:, None], colour, np.array(MATERIALS["stone"].colour))


def preparation_pictures(
    mesh: Mesh, prepared: Mesh, teeth: Teeth, tasks: Sequence[Task], up: Floats, contours: Sequence[Floats] = ()
) -> dict[int, Image.Image]:
    """One picture a tooth that is worked on: from the path, and from each side where something goes.

    mesh, prepared : the cast before and after, mm; up : (3,) unit, the path; contours : heights of contour, (k, 3) mm each
    """
    worked = [teeth[t] for t in dict.fromkeys(t.tooth for t in tasks) if t in teeth.teeth]
    removed = removed_mm(mesh, prepared, np.array([t.centre for t in worked]).reshape(-1, 3))
    scene = Scene([Part("cast", mesh, vertex_colours=cut_colours(removed))])
    lines = [Line(c, SURVEY_LINE, 1.6) for c in contours]
    out = {}
    for tooth in worked:
        own = [t for t in tasks if t.tooth == tooth.fdi]
        views = [_camera(tooth, up, up)] + [_camera(tooth, way, up) for way in _sides(tooth, own, up)]
        out[tooth.fdi] = side_by_side([draw(scene, v, size=SIZE, lines=lines) for v in views])
    return out


def _sides(tooth: Tooth, tasks: Sequence[Task], up: Floats) -> list[Floats]:
    """From where guide planes and lowered contours are seen best: square to the face, a little from above."""
    ways = {name: tooth.direction(name) for name in ("mesial", "distal", "facial", "lingual")}
    found: dict[str, Floats] = {}
    for task in tasks:
        word = task.where if task.step == GUIDE else next((w for w in ("facial", "lingual") if task.where.endswith(w)), task.where)
        if word in ways:
            found[word] = ways[word] + 0.35 * up
    return list(found.values())


def _camera(tooth: Tooth, toward: Floats, up: Floats) -> Camera:
    above = up if abs(float(toward @ up)) < 0.95 * float(np.linalg.norm(toward)) else tooth.facial
    camera = look(np.array([tooth.centre - 5.0, tooth.centre + 5.0]), toward, above, aspect=SIZE[0] / SIZE[1])
    x, y, z = (float(v) for v in tooth.centre)
    return replace(camera, target=(x, y, z), width_mm=FIELD_MM)
