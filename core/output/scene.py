"""The things in a picture, ready for ray casting: triangles, smooth normals and the light that reaches each vertex."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh, once_a_mesh
from ..parallel import side_by_side
from .camera import Camera
from .facets import Facets, refine
from .materials import KEY, MATERIALS, Material, Singles, to_linear

SKY_RAYS = 2_000_000  # budget for ambient light, under a second
SKY_FEWEST = 20  # directions over the whole sphere
SKY_REACH_MM = 14.0  # walls farther than this do not darken a surface: a cast stands in a bright room
KEY_DIRECTIONS = 1000  # over the whole sphere; some nine of them fall into the soft box
KEY_FIRST = 4  # of these
LIFT_MM = 0.02
# What a mesh that stands alone sees of the sky: the same in each picture of it, and in the preview.
_SKY_ALONE: WeakKeyDictionary[Mesh, Singles] = WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Part:
    """One thing to show.

    material : a name in MATERIALS or a Material
    vertex_colours : (n, 3) sRGB 0..1, replaces the material's colour; the surface then scatters light whatever the material says
    groups : names of pieces that a viewer can switch off one by one; group_of : (n,) number of the piece of each vertex
    """

    name: str
    mesh: Mesh
    material: str | Material = "stone"
    vertex_colours: NDArray | None = None
    groups: tuple[str, ...] = ()
    group_of: Ints | None = None

    @property
    def look(self) -> Material:
        """The Material itself. Raises KeyError naming the known ones."""
        if isinstance(self.material, Material):
            return self.material
        if self.material not in MATERIALS:
            raise KeyError(f"no material called {self.material!r}: choose one of {', '.join(MATERIALS)}")
        return MATERIALS[self.material]


@dataclass(frozen=True, eq=False)
class Hits:
    """What sight lines met. face (k,) -1 for nothing; u, v (k,) barycentric weights of corners 1 and 2; distance (k,) mm."""

    face: Ints
    u: Singles
    v: Singles
    distance: Singles


class Body:
    """Several parts as one embree scene. Rays go out in single precision: 1e-5 of the distance, some micrometres here."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self.parts = tuple(parts)
        if any(len(p.mesh.faces) == 0 for p in parts):
            raise GeometryError("a part without triangles cannot be drawn: " + ", ".join(p.name for p in parts if not len(p.mesh.faces)))
        pieces = [self._piece(p) for p in parts]
        offsets = np.cumsum([0] + [len(p.vertices) for p in pieces])
        self.vertices = np.concatenate([p.vertices for p in pieces])
        self.faces = np.concatenate([p.faces + o for p, o in zip(pieces, offsets[:-1], strict=True)])
        self.part_of_face = np.repeat(np.arange(len(parts)), [len(p.faces) for p in pieces])
        self.vertex_normals = np.concatenate([p.normals for p in pieces])
        self.corner_normals = np.concatenate([p.corners for p in pieces])
        self.colours = np.concatenate([p.colours for p in pieces])
        self._embree = _alone(parts[0].mesh) if len(parts) == 1 else _traceable(self.vertices, self.faces)

    def _piece(self, part: Part) -> Facets:
        """A part ready to be lit: colours in linear light, and finer beside the other parts."""
        own = part.vertex_colours if part.vertex_colours is not None else np.array(part.look.colour)
        piece = Facets.of(part.mesh, np.broadcast_to(to_linear(own), part.mesh.vertices.shape))
        others = [p.mesh.vertices for p in self.parts if p is not part]
        return refine(piece, np.concatenate(others)) if others else piece

    def recoloured(self, colours: NDArray) -> Body:
        """The same body, of one part, in other colours (n, 3), sRGB 0..1, of its vertices."""
        other = copy(self)
        other.parts = (replace(self.parts[0], vertex_colours=colours),)
        other.colours = to_linear(colours)
        return other

    def table(self, field: str) -> NDArray:
        """One value a part: 'metal', 'gloss' or 'opacity'."""
        if field == "metal":
            return np.array([p.look.metal and p.vertex_colours is None for p in self.parts])
        return np.array([getattr(p.look, field) for p in self.parts], dtype=np.float32)

    def first(self, origins: Floats, directions: Floats) -> Hits:
        """The nearest thing along each ray."""
        r = self._embree.run(_single(origins), _single(directions), output=1)
        return Hits(r["primID"].astype(np.int64), r["u"], r["v"], r["tfar"])

    def blocked(self, origins: Floats | Singles, directions: Floats | Singles, reach_mm: float = 1e4) -> Bools:
        """(k,) whether anything stands in the way within the reach."""
        reach = np.full(len(origins), reach_mm, dtype=np.float32)
        return self._embree.run(_single(origins), _single(directions), reach, query="OCCLUDED") >= 0

    @cached_property
    def open_sky(self) -> Singles:
        """(n,) share of the surrounding sky that each vertex sees, weighted by the cosine: 1 in the open, 0 in a closed pit."""
        alone = self.parts[0].mesh if len(self.parts) == 1 else None
        if alone is not None and alone in _SKY_ALONE:
            return _SKY_ALONE[alone]
        count = int(np.clip(2 * SKY_RAYS / max(len(self.vertex_normals), 1), SKY_FEWEST, 96))
        sky = self._light(_sphere(count), np.arange(len(self.vertex_normals)), SKY_REACH_MM)
        if alone is not None:
            _SKY_ALONE[alone] = sky
        return sky

    def lit(self, camera: Camera, which: Ints) -> Singles:
        """Share of the key light, a broad soft box at the viewer's upper left, that reaches the vertices `which` (k,).

        A few rays first; only where they or those of a neighbour disagree, in the border of a shadow, are all of them cast.
        """
        towards = KEY.astype(np.float64) @ camera.axes
        fan = _sphere(KEY_DIRECTIONS)
        fan = fan[fan @ towards > np.cos(np.radians(11.0))]
        light = self._light(_spread(fan, KEY_FIRST), which, 1e4)
        unsure = self._beside((light > 0) & (light < 1), light, which)
        if len(unsure):
            light[unsure] = self._light(fan, which[unsure], 1e4)
        return light

    def _beside(self, mixed: Bools, light: Singles, which: Ints) -> Ints:
        """Which of the vertices `which` (k,) are in the border of a shadow, or within two rings of one that is."""
        value = np.full(len(self.vertices), -1.0, dtype=np.float32)  # out of sight: says nothing
        value[which] = light
        corner = value[self.faces]
        border = np.zeros(len(self.vertices), dtype=bool)
        border[which[mixed]] = True
        border[self.faces[(corner == 0).any(axis=1) & (corner > 0).any(axis=1)]] = True
        for _ in range(2):
            border[self.faces[border[self.faces].any(axis=1)]] = True
        return np.flatnonzero(border[which])

    def _light(self, directions: Floats, which: Ints, reach_mm: float) -> Singles:
        normals = self.vertex_normals[which]
        origins = (self.vertices[which] + LIFT_MM * normals).astype(np.float32)
        total = np.zeros(len(normals), dtype=np.float32)
        arrived = np.zeros(len(normals), dtype=np.float32)

        def seen(way: Singles) -> tuple[Ints, Singles, Bools]:
            cosine = normals @ way
            ids = np.flatnonzero(cosine > 0.03)
            return ids, cosine[ids], ~self.blocked(origins[ids], np.broadcast_to(way, (len(ids), 3)), reach_mm)

        for ids, cosine, free in side_by_side(seen, directions.astype(np.float32)):
            total[ids] += cosine
            arrived[ids] += cosine * free
        return np.divide(arrived, total, out=np.ones_like(total), where=total > 0)


def _traceable(vertices: Floats, faces: Ints) -> EmbreeScene:
    scene = EmbreeScene()
    TriangleMesh(scene, vertices[faces].astype(np.float32))
    return scene


@once_a_mesh
def _alone(mesh: Mesh) -> EmbreeScene:
    """A mesh that stands alone is drawn several times, in other colours."""
    return _traceable(mesh.vertices, mesh.faces)


def open_sky(mesh: Mesh) -> Singles:
    """(n,) share of the sky that each vertex of a mesh sees when nothing else is there."""
    return _SKY_ALONE[mesh] if mesh in _SKY_ALONE else Body([Part("alone", mesh)]).open_sky


class Lamp:
    """The key light of one picture on one body, worked out for the vertices that the picture shows."""

    def __init__(self, body: Body, camera: Camera) -> None:
        self.body, self.camera = body, camera
        self.light = np.ones(len(body.vertices), dtype=np.float32)
        self._known = np.zeros(len(body.vertices), dtype=bool)

    def shine_on(self, faces: Ints) -> None:
        """Work out the light at all corners of faces (k,)."""
        shown = np.zeros(len(self._known), dtype=bool)
        shown[self.body.faces[faces]] = True
        fresh = np.flatnonzero(shown & ~self._known)
        if len(fresh):
            self.light[fresh] = self.body.lit(self.camera, fresh)
            self._known[fresh] = True


class Scene:
    """Parts to be drawn from one or more cameras; light that does not depend on the camera is worked out once."""

    def __init__(self, parts: Sequence[Part]) -> None:
        if not parts:
            raise GeometryError("a picture needs at least one part")
        self.parts = tuple(parts)
        solid = [p for p in parts if p.look.opacity >= 1]
        clear = [p for p in parts if p.look.opacity < 1]
        self.solid = Body(solid) if solid else None
        self.clear = Body(clear) if clear else None

    def recoloured(self, colours: NDArray) -> Scene:
        """This scene of one solid part in other colours (n, 3), sRGB 0..1, of its vertices; nothing else is worked out again."""
        assert self.solid is not None and self.clear is None
        other = copy(self)
        other.solid = self.solid.recoloured(colours)
        other.parts = other.solid.parts
        return other

    @property
    def points(self) -> Floats:
        """(k, 3) all vertices, mm: what a camera has to take in."""
        return np.concatenate([p.mesh.vertices for p in self.parts])

    @property
    def bounds(self) -> Floats:
        """(2, 3) mm box round all parts."""
        boxes = np.array([p.mesh.bounds for p in self.parts])
        return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def _single(a: NDArray) -> Singles:
    return np.ascontiguousarray(a, dtype=np.float32)


def _sphere(count: int) -> Floats:
    """(count, 3) directions spread evenly over the sphere by the golden angle."""
    i = np.arange(count) + 0.5
    z = 1 - 2 * i / count
    turn = i * np.pi * (3 - np.sqrt(5))
    r = np.sqrt(1 - z * z)
    return np.column_stack([r * np.cos(turn), r * np.sin(turn), z])


def _spread(directions: Floats, count: int) -> Floats:
    """Of unit directions (k, 3) a few that lie as far apart as can be."""
    chosen = [0]
    while len(chosen) < min(count, len(directions)):
        chosen.append(int(np.argmin((directions @ directions[chosen].T).max(axis=1))))
    return directions[chosen]
