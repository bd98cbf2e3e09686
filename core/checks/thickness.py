"""How thick is the metal? Largest balls that fit inside it, so that a rounded border is not mistaken for a thin wall.

At each sampled surface point the largest ball touching there from inside is found (shrinking-ball method: Ma, Bae and Choi, The Visual
Computer 2012, from memory). The thickness of a place is the diameter of the largest ball that reaches it; a square corner, 1.41 radii
from the centre, counts as reached, a feather edge does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Ints, Mesh
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

SAMPLE_MM = 0.16
PROBES = 12_000
REACH = 1.5  # a ball of radius r stands for surface up to this many radii from its centre (square corner: 1.414)
SAME_SIDE_COS = 0.5  # a neighbour seen less than 60 degrees away from the centre is the same wall, not an opposite one
THICKEST_MM = 8.0
CLASS = 0.96  # balls are taken in classes of this ratio, large first
CORE_MM = 1.2  # a border is thin beside thick metal; a neck or a sheet is thin for farther than this all round
SHARE = 0.01  # of the area is left to chance readings

# Least thickness by kind of part, mm: (fail under, warn under, source). Process floor: 0.4 wall, 0.6 structural (metal printing practice).
LIMITS: dict[str, tuple[float, float, str]] = {
    "any": (0.3, 0.4, "least wall of metal printing 0.4 mm (common practice)"),
    "clasp": (0.35, 0.4, "tip of a half-round arm 0.4 to 0.5 mm thick (pattern practice, from memory)"),
    "rest": (0.5, 1.0, "rest 1.0 to 1.5 mm over the ridge, 0.5 at its thinnest (common practice)"),
    "bar": (1.2, 1.6, "lingual bars 1.6 to 2.0 mm thick (handbook 4: six gauge half-pear; tested bars 1.6)"),
    "strap": (0.4, 0.5, "palatal metal 0.4 to 0.65 mm (22 gauge pattern 0.64; common practice)"),
    "plate": (0.4, 0.8, "guide plate about 1 mm, least 0.8 (from memory of McCracken's, Stewart's)"),
    "strut": (0.6, 0.8, "structural rods of printed metal 0.6 mm; minor connectors are rigid (common practice)"),
    "lattice": (0.6, 0.8, "structural rods of printed metal 0.6 mm; 18 gauge strut 1.02 (common practice)"),
}


@dataclass(frozen=True, eq=False)
class Region:
    """A named part of the framework. kind : a key of LIMITS ("clasp", "rest", "bar", "strap", "plate"...); mask : (n,) vertices."""

    id: str
    kind: str
    mask: Bools


@dataclass(frozen=True, eq=False)
class Thickness:
    """Local thickness at sampled points: points (k, 3) mm, face (k,) the framework face of each, value (k,) mm."""

    points: Floats
    face: Ints
    value: Floats


def surface_samples(mesh: Mesh, spacing_mm: float) -> tuple[Floats, Ints]:
    """Points spread evenly by area over the faces (k, 3) and the face of each (k,); the same for the same mesh."""
    area = np.cumsum(mesh.face_areas)
    k = int(np.clip(area[-1] / spacing_mm**2, 500, 250_000))
    face = np.searchsorted(area, (np.arange(k) + 0.5) * area[-1] / k).clip(max=len(area) - 1)
    # A two-dimensional additive recurrence (plastic number) spreads the points inside the faces without a random generator.
    u, v = np.mod(np.arange(k) * 0.7548776662466927, 1.0), np.mod(np.arange(k) * 0.5698402909980532, 1.0)
    turned = u + v > 1
    u, v = np.where(turned, 1 - u, u)[:, None], np.where(turned, 1 - v, v)[:, None]
    a, b, c = (mesh.vertices[mesh.faces[face, k]] for k in range(3))
    return a + u * (b - a) + v * (c - a), face


def shrunk(points: Floats, normals: Floats, radius: Floats, surface: Floats, tree: cKDTree) -> Floats:
    """(k,) radii of the balls that touch `points` from inside and hold no other surface point."""
    radius = radius.copy()
    live = np.arange(len(points))
    for _ in range(14):
        if len(live) == 0:
            break
        p, n, r = points[live], normals[live], radius[live]
        centre = p - r[:, None] * n
        distance, nearest = tree.query(centre)
        q = surface[nearest]
        v = p - q
        reach = np.einsum("ij,ij->i", n, v)
        new = np.divide(np.einsum("ij,ij->i", v, v), 2.0 * reach, out=np.full(len(r), 1e6), where=reach > 1e-9)
        centre_new = p - new[:, None] * n
        to_p, to_q = p - centre_new, q - centre_new
        cosine = np.einsum("ij,ij->i", to_p, to_q) / np.maximum(new**2, 1e-12)
        smaller = (distance < r - 0.004) & (new < r - 0.001) & (cosine < SAME_SIDE_COS)
        radius[live[smaller]] = new[smaller]
        live = live[smaller]
    return radius


def local_thickness(mesh: Mesh, probes: int = PROBES, scene: Rays | None = None) -> Thickness:
    """Thickness of a closed solid at about `probes` points of its surface, good to about 0.03 mm. scene : the mesh ready for rays."""
    surface, face = surface_samples(mesh, SAMPLE_MM)
    chosen = np.linspace(0, len(surface) - 1, min(probes, len(surface))).astype(np.int64)
    points, normals = surface[chosen], mesh.face_normals[face[chosen]]
    through, far = (scene or Rays(mesh)).first(points - 1e-3 * normals, -normals)
    # A feather thinner than the start of the ray: the ray begins outside the metal, and meets nothing, or a face from its front.
    leaves = (far >= 0) & (np.einsum("ij,ij->i", mesh.face_normals[far], -normals) > 0)
    through = np.where(leaves, through, 0.0)
    radius = 0.5 * np.minimum(through + 1e-3, THICKEST_MM)
    tree = cKDTree(surface)
    radius = shrunk(points, normals, radius, surface, tree)
    centres = points - radius[:, None] * normals
    # A ball that stopped shrinking too early must not vouch for its neighbourhood: what counts is the true room round its centre.
    radius = np.minimum(radius, tree.query(centres)[0])
    value = 2.0 * radius
    # Balls from large to small: each place takes the first class of balls that reaches it.
    open_ = np.arange(len(points))
    for high in THICKEST_MM / 2.0 * CLASS ** np.arange(110):
        inside = (radius <= high) & (radius > high * CLASS)
        if not inside.any() or len(open_) == 0:
            continue
        sizes = radius[inside]
        distance, nearest = cKDTree(centres[inside]).query(points[open_], distance_upper_bound=REACH * high)
        hit = np.isfinite(distance)
        reached = np.zeros(len(open_), dtype=bool)
        reached[hit] = distance[hit] <= REACH * sizes[nearest[hit]]
        value[open_[reached]] = np.maximum(value[open_[reached]], 2.0 * sizes[nearest[reached]])
        open_ = open_[~reached]
    return Thickness(points, face[chosen], value)


def core_thickness(points: Floats, reading: Floats) -> Floats:
    """(k,) the thickest reading within CORE_MM of each point: what is left when thin borders beside thick metal are not counted."""
    core = reading.copy()
    pairs = cKDTree(points).query_pairs(CORE_MM, output_type="ndarray")
    np.maximum.at(core, pairs[:, 0], reading[pairs[:, 1]])
    np.maximum.at(core, pairs[:, 1], reading[pairs[:, 0]])
    return core


def check_thickness(mesh: Mesh, thickness: Thickness, region: Region | None = None, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """The core of a region (borders apart) where it is thinnest, against the least for its kind; of all metal when no region is given."""
    kind = region.kind if region and region.kind in LIMITS else "any"
    fail, warn, source = LIMITS[kind]
    name = f"form.thickness.{region.id}" if region else "form.thickness"
    mine = np.ones(len(thickness.face), dtype=bool)
    if region is not None:
        mine = np.all(region.mask[mesh.faces[thickness.face]], axis=1)
    if mine.sum() < 8:
        return Check(name, "skip", None, warn, "mm", "", source, "too little surface in this region to measure")
    reading, points = thickness.value[mine], thickness.points[mine]
    core = core_thickness(points, reading)
    value = float(np.quantile(core, SHARE))
    thinnest = points[core.argmin()]
    status: Status = "fail" if value < fail else "warn" if value < warn else "pass"
    thin = float((reading < warn).mean())
    words = (
        f"core {value:.2f} mm at its thinnest, median {np.median(core):.2f} mm; with borders {thin:.0%} of the area is under {warn:g} mm"
    )
    return Check(name, status, value, fail if value < fail else warn, "mm", landmarks.describe(thinnest), source, words, as_place(thinnest))
