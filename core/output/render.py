"""A small headless renderer: ray casting with embree, no OpenGL and no Blender.

One sample a pixel, then more where the picture changes quickly (outlines, edges, reflections). Lines lie in the scene and hide behind it;
words lie on top.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..mesh import Floats
from ..parallel import side_by_side
from .camera import Camera, look, view_camera
from .drawing import Label, Line, draw_labels, draw_lines, write_png
from .materials import Singles, shade_diffuse, shade_metal, studio, to_linear, to_srgb
from .scene import LIFT_MM, Body, Hits, Lamp, Part, Scene

SIZE = (1260, 900)
BACKGROUND = (0.935, 0.942, 0.950)
CHUNK = 60_000
# Extra samples in a pixel that needs them: one in each row and column of a 5 x 5 grid, so an upright or level edge has five steps of grey.
_FINE = np.array([[0, 1], [1, 3], [2, 0], [3, 4], [4, 2]], dtype=np.float64) / 5 + 1 / 10


@dataclass(frozen=True, eq=False)
class _Samples:
    """Linear light (k, 3), and what tells outlines: part (k,), depth (k,) mm, normal (k, 3) in camera axes."""

    light: Singles
    part: NDArray
    depth: Singles
    normal: Singles


@dataclass(frozen=True, eq=False)
class _Sight:
    """Directions (k, 3) of sight lines, and what they meet first of the solid and of the clear things."""

    directions: Floats
    solid: Hits
    clear: Hits


def draw(
    scene: Scene, camera: Camera, *, size: tuple[int, int] = SIZE, lines: Sequence[Line] = (), labels: Sequence[Label] = (),
    background: tuple[float, float, float] = BACKGROUND,
) -> Image.Image:
    """Draw a scene. Returns an RGB image of `size` (width, height) pixels; the same input gives the same pixels."""
    inside = _covered(scene, camera, size)
    back, lamps = to_linear(np.array(background)), _lamps(scene, camera)
    light = np.broadcast_to(back, (size[0] * size[1], 3)).copy()
    rough = np.zeros(len(light), dtype=bool)
    if len(inside):
        first = _sample(scene, camera, _pixels(inside, size), size, lamps, back)
        light[inside] = first.light
        rough[inside] = _busy(first, inside, size, camera.width_mm / size[0])
    again = np.flatnonzero(rough)
    if len(again):
        spots = (_pixels(again, size)[:, None] - 0.5 + _FINE).reshape(-1, 2)
        more = _sample(scene, camera, spots, size, lamps, back).light.reshape(len(again), len(_FINE), 3)
        # Mean of what the eye sees, not of the light itself: outlines of bright metal then stay smooth.
        light[again] = to_linear(to_srgb(more).mean(axis=1))
    image = draw_lines(_image(light, size), lines, camera, scene)
    return draw_labels(image, labels, camera)


def draw_layer(
    scene: Scene, camera: Camera, *, size: tuple[int, int], background: tuple[float, float, float] = BACKGROUND
) -> tuple[Image.Image, Singles]:
    """A picture with one sample a pixel, to be made smaller, and the distance (h, w) mm from the eye, infinite where nothing is."""
    inside = _covered(scene, camera, size)
    back = to_linear(np.array(background))
    light = np.broadcast_to(back, (size[0] * size[1], 3)).copy()
    far = np.full(len(light), np.inf, dtype=np.float32)
    if len(inside):
        seen = _sample(scene, camera, _pixels(inside, size), size, _lamps(scene, camera), back)
        light[inside] = seen.light
        far[inside] = np.where(seen.part >= 0, seen.depth, np.inf)
    return _image(light, size), far.reshape(size[1], size[0])


def _lamps(scene: Scene, camera: Camera) -> dict[int, Lamp]:
    return {id(b): Lamp(b, camera) for b in (scene.solid, scene.clear) if b is not None}


def _pixels(ids: NDArray, size: tuple[int, int]) -> Floats:
    """(k, 2) middles of pixels that are numbered (k,) row by row."""
    return np.column_stack([ids % size[0], ids // size[0]]) + 0.5


def _image(light: NDArray, size: tuple[int, int]) -> Image.Image:
    return Image.fromarray((to_srgb(light) * 255 + 0.5).astype(np.uint8).reshape(size[1], size[0], 3))


def _covered(scene: Scene, camera: Camera, size: tuple[int, int]) -> NDArray:
    """Numbers of the pixels of a rectangle that the scene's box lies in, row by row."""
    lo, hi = scene.bounds
    corners = np.array([[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])])
    flat = camera.project(corners, size)[:, :2]
    first = np.clip(np.ceil(flat.min(axis=0) - 2.5), 0, size).astype(np.int64)
    last = np.clip(np.floor(flat.max(axis=0) + 1.5) + 1, 0, size).astype(np.int64)
    return (np.arange(first[1], last[1])[:, None] * size[0] + np.arange(first[0], last[0])).reshape(-1)


def _busy(s: _Samples, ids: NDArray, size: tuple[int, int], pixel_mm: float) -> NDArray:
    """Which of the sampled pixels (ids, a filled rectangle) differ from a neighbour enough to need more samples."""
    cols = len(np.unique(ids % size[0]))
    grid = (-1, cols)
    part, depth, normal = s.part.reshape(grid), s.depth.reshape(grid), s.normal.reshape(*grid, 3)
    bright = to_srgb(s.light.mean(axis=1)).reshape(grid)
    out = np.zeros(part.shape, dtype=bool)
    for axis in (0, 1):
        a = [slice(None)] * 2
        b = [slice(None)] * 2
        a[axis], b[axis] = slice(None, -1), slice(1, None)
        p, q = tuple(a), tuple(b)
        steep = np.maximum(np.minimum(normal[p][..., 2], normal[q][..., 2]), 0.05)
        change = part[p] != part[q]
        change |= np.abs(depth[p] - depth[q]) > 4 * pixel_mm / steep
        change |= (np.einsum("ijk,ijk->ij", normal[p], normal[q]) < 0.93) & (part[p] >= 0)
        change |= np.abs(bright[p] - bright[q]) > 0.09
        out[p] |= change
        out[q] |= change
    return out.reshape(-1)


def _sample(
    scene: Scene, camera: Camera, pixels: Floats, size: tuple[int, int], lamps: dict[int, Lamp], back: Singles
) -> _Samples:
    def met(chunk: Floats) -> _Sight:
        origins, directions = camera.rays(chunk, size)
        none = Hits(np.full(len(chunk), -1), *(np.zeros(len(chunk), np.float32) for _ in range(3)))
        return _Sight(directions, *(none if body is None else body.first(origins, directions) for body in (scene.solid, scene.clear)))

    sights = list(side_by_side(met, [pixels[i : i + CHUNK] for i in range(0, len(pixels), CHUNK)]))
    for body, hits in ((scene.solid, [s.solid.face for s in sights]), (scene.clear, [s.clear.face for s in sights])):
        if body is not None:
            faces = np.concatenate(hits)
            lamps[id(body)].shine_on(faces[faces >= 0])
            _ = body.open_sky  # once, before the threads ask for it
    pieces = list(side_by_side(lambda sight: _seen(scene, camera, sight, lamps, back), sights))
    return _Samples(*(np.concatenate([getattr(p, f) for p in pieces]) for f in ("light", "part", "depth", "normal")))


def _seen(scene: Scene, camera: Camera, sight: _Sight, lamps: dict[int, Lamp], back: Singles) -> _Samples:
    n = len(sight.directions)
    out = _Samples(np.broadcast_to(back, (n, 3)).copy(), np.full(n, -1), np.full(n, 1e6, np.float32), np.zeros((n, 3), np.float32))
    if scene.solid is not None:
        met = np.flatnonzero(sight.solid.face >= 0)
        if len(met):
            light, part, normal = _shade(scene.solid, sight.solid, met, sight.directions, camera, lamps)
            out.light[met], out.part[met], out.depth[met], out.normal[met] = light, part, sight.solid.distance[met], normal
    if scene.clear is not None:
        hits = sight.clear
        met = np.flatnonzero((hits.face >= 0) & (hits.distance < out.depth - 0.004))
        if len(met):
            light, part, normal = _shade(scene.clear, hits, met, sight.directions, camera, lamps)
            veil = scene.clear.table("opacity")[part][:, None]
            veil = veil + (1 - veil) * (1 - np.clip(normal[:, 2:], 0, 1)) ** 3  # a grazing look goes through more wax
            out.light[met] = veil * light + (1 - veil) * out.light[met]
            out.part[met], out.depth[met], out.normal[met] = 1000 + part, hits.distance[met], normal
    return out


def _shade(
    body: Body, hits: Hits, met: NDArray, directions: Floats, camera: Camera, lamps: dict[int, Lamp]
) -> tuple[Singles, NDArray, Singles]:
    face = hits.face[met]
    weight = np.stack([1 - hits.u[met] - hits.v[met], hits.u[met], hits.v[met]], axis=1)
    axes = camera.axes.astype(np.float32)
    corners = body.faces[face]
    normal = np.einsum("kc,kcj->kj", weight, body.corner_normals[face]) @ axes.T
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    view = -(directions[met].astype(np.float32) @ axes.T)
    facing = np.einsum("ij,ij->i", normal, view)
    turned = facing < 0  # inner sides of open scans, and smooth normals that look away at an outline
    normal[turned] -= 2 * facing[turned, None] * view[turned]
    facing = np.abs(facing)
    colour = np.einsum("kc,kcj->kj", weight, body.colours[corners])
    sky = np.einsum("kc,kc->k", weight, body.open_sky[corners])
    lit = np.einsum("kc,kc->k", weight, lamps[id(body)].light[corners])
    part = body.part_of_face[face]
    light = shade_diffuse(colour, normal, view, sky, lit, body.table("gloss")[part])
    metal = np.flatnonzero(body.table("metal")[part])
    if len(metal):
        origin = np.einsum("kc,kcj->kj", weight[metal], body.vertices[corners[metal]].astype(np.float32))
        light[metal] = _metal(body, origin, colour[metal], normal[metal], view[metal], sky[metal], light[metal], axes, facing[metal])
    return light, part, normal


def _metal(
    body: Body, point: Singles, colour: Singles, normal: Singles, view: Singles, sky: Singles, satin: Singles, axes: Singles,
    facing: Singles,
) -> Singles:
    """Polished metal: the mirrored ray meets the studio, or another part a short way off, whose plain colour it then brings back."""
    mirror = 2 * facing[:, None] * normal - view
    seen = np.repeat(studio(mirror)[:, None], 3, axis=1)
    world = mirror @ axes
    hits = body.first(point + (LIFT_MM * 2) * (normal @ axes), world)
    met = np.flatnonzero((hits.face >= 0) & (hits.distance < 40.0))
    if len(met):
        corner = body.faces[hits.face[met]][:, 0]
        near = body.colours[corner] * (0.25 + 0.55 * body.open_sky[corner])[:, None]
        fade = np.clip(hits.distance[met] / 40.0, 0, 1)[:, None]
        seen[met] = (1 - fade) * near + fade * seen[met]
    return shade_metal(colour, seen, facing, satin, sky)


def shot(
    parts: Sequence[Part] | Part, path: str | os.PathLike[str], *, view: str | tuple[float, float, float] = "occlusal",
    lines: Sequence[Line] = (), labels: Sequence[Label] = (), size: tuple[int, int] = (1100, 800), arch: str | None = "lower",
    zoom: float = 1.0, target: Sequence[float] | None = None,
) -> None:
    """A quick picture for the eye: parts to a PNG file.

    view : a name in camera.VIEWS, or the direction from the parts to the viewer
    zoom, target : enlarge round a point (3,) mm, by default round the middle
    """
    scene = Scene([parts] if isinstance(parts, Part) else list(parts))
    aspect = size[0] / size[1]
    if isinstance(view, str):
        camera = view_camera(scene.points, view, arch=arch, aspect=aspect)
    else:
        camera = look(scene.points, view, aspect=aspect)
    where = camera.target if target is None else (float(target[0]), float(target[1]), float(target[2]))
    camera = replace(camera, width_mm=camera.width_mm / zoom, target=where)
    write_png(draw(scene, camera, size=size, lines=lines, labels=labels), path)
