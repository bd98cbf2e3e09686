"""What is put on a framework or a cast for the time of its making only: stabilising bar, sprue stubs, holding pins, survey marks."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np

from ..checks import as_stored, local_thickness
from ..errors import CaseError
from ..mesh import Floats, Mesh
from ..survey import contours_to_show
from ..survey.nearest import Finder
from .build import Build, evidence

BAR_RADIUS_MM = 1.25  # own choice; such bars keep printed frameworks in shape (Tasaka, J Prosthodont Res 2021)
# Sprues of patterns: 8 to 12 gauge wax (3.3 to 2.1 mm) on the bulkiest parts, vents of 14 to 18 gauge (1.6 to 1.0 mm) on the far ends
# (common practice, from memory). Pins that hold a milled framework in its blank: about 2 mm (common practice, from memory).
SPRUE_RADIUS_MM, SPRUE_MM, SPRUE_APART_MM = 1.5, 8.0, 22.0
VENT_RADIUS_MM, VENT_MM = 0.65, 6.0
PIN_RADIUS_MM, PIN_MM, PINS_APART_MM = 1.0, 5.0, 8.0
FLARE = 1.35  # a stub's root is so much wider: metal flows in without a neck, and the saw has room
SUNK_MM = 0.3
MARK_RADIUS_MM = 0.25  # own choice: half a millimetre wide and half as deep, seen in casts printed in layers of 0.05 to 0.1 mm
MARK_STEP_MM = 0.4
CROSS_MM = 1.5


def with_bar(build: Build, framework: Mesh) -> Mesh:
    """The framework with a round bar across the arch between the ends of its bases, to be sawn off after heat treatment.

    Raises CaseError where there are not two bases to hold it.
    """
    ends = _far_ends(build)
    if len(ends) < 2:
        raise CaseError("export bar: a stabilising bar needs a lattice base on each side; this case has fewer than two")
    first, second = ends[np.argmin(ends[:, 0])], ends[np.argmax(ends[:, 0])]
    up = build.survey.path.vector
    cast = build.master.mesh.to_manifold()
    for lift in np.arange(0.6, 8.0, 0.5):
        rod = _rod(first + lift * up, second + lift * up, BAR_RADIUS_MM)
        if (rod ^ cast).volume() < 1e-3:
            break
    # Feet, so that a lifted bar still grows out of the lattice.
    feet = [_rod(end + 0.2 * up, end + lift * up, BAR_RADIUS_MM) for end in (first, second)]
    return as_stored(Mesh.from_manifold(framework.to_manifold() + (rod + feet[0] + feet[1] - cast)))


def with_stubs(build: Build, framework: Mesh) -> Mesh:
    """The framework with what its process wants to hold it by: sprues and vents on a pattern, pins on a milled one.

    They stand on polished faces only and never reach under the fitting side. Raises CaseError for printed metal, which needs none.
    """
    process = build.case.manufacture.process
    if process == "printed metal":
        raise CaseError("export stubs: printed metal needs no sprues; its supports are made by the program of the printer")
    up = build.survey.path.vector
    if process == "milled":
        spots = [(point, _level(normal, up), PIN_RADIUS_MM, PIN_MM) for point, normal in _pin_spots(build, framework)]
    else:
        spots = [(point, normal + up, SPRUE_RADIUS_MM, SPRUE_MM) for point, normal in _sprue_spots(build, framework)]
        spots += [(point, up, VENT_RADIUS_MM, VENT_MM) for point in _far_ends(build)]
    solid = framework.to_manifold()
    added = manifold3d.Manifold.batch_boolean([_stub(*spot) for spot in spots], manifold3d.OpType.Add)
    return as_stored(Mesh.from_manifold(solid + (added - build.master.mesh.to_manifold())))


def _far_ends(build: Build) -> Floats:
    """(k, 3) middle of the hindmost cross piece of each lattice base."""
    ends = [b.rails["back"].points for b in build.assembly.built.values() if "back" in b.rails]
    return np.array([points[len(points) // 2] for points in ends]).reshape(-1, 3)


def _sprue_spots(build: Build, framework: Mesh) -> list[tuple[Floats, Floats]]:
    """Point and normal (3,) of each sprue: thick places of the major connector from its end on, as far apart as a sprue feeds."""
    data = evidence(build, framework)
    thick = local_thickness(framework)
    main = np.zeros(len(framework.vertices), dtype=bool)
    for region in data.regions:
        if region.kind in ("bar", "strap"):
            main |= region.mask
    normal = framework.face_normals[thick.face]
    open_ = ~data.fitting[thick.face] & (normal @ build.survey.path.vector > -0.2)
    open_ &= np.all(main[framework.faces[thick.face]], axis=1) if main.any() else True
    chosen = np.flatnonzero(open_)
    if len(chosen) == 0:
        raise CaseError("export stubs: no polished face of the major connector looks up; there is no place for a sprue")
    bulky = chosen[thick.value[chosen] >= 0.8 * np.median(thick.value[chosen])]  # all along a bar, not its thickest knot alone
    # From one end of it: from a knot in its middle both ends may be nearer than a sprue feeds, and one would have to serve.
    spots = [bulky[int(np.linalg.norm(thick.points[bulky] - thick.points[bulky].mean(axis=0), axis=1).argmax())]]
    while len(spots) < 4:  # the farthest from those that are there
        gap = np.linalg.norm(thick.points[bulky][:, None] - thick.points[spots][None], axis=2).min(axis=1)
        if gap.max() < SPRUE_APART_MM:
            break
        spots.append(bulky[int(gap.argmax())])
    return [(thick.points[k], normal[k]) for k in spots]


def _pin_spots(build: Build, framework: Mesh) -> list[tuple[Floats, Floats]]:
    """Point and normal (3,) of each holding pin: polished upright faces farthest out in six directions, clear of the cast.

    Never on a clasp, a rest or a guide plate: what is sawn off there would have to be fitted again.
    """
    data = evidence(build, framework)
    tender = np.zeros(len(framework.vertices), dtype=bool)
    for region in data.regions:
        if region.kind in ("clasp", "rest", "plate"):
            tender |= region.mask
    up, cast = build.survey.path.vector, build.master.mesh.to_manifold()
    centre, normal = framework.triangles.mean(axis=1), framework.face_normals
    sound = ~data.fitting & ~np.any(tender[framework.faces], axis=1) & (framework.face_areas > 1e-3)
    spots: dict[int, None] = {}
    for angle in np.arange(6) * np.pi / 3:
        way = _level(np.array([np.cos(angle), np.sin(angle), 0.0]), up)
        facing = np.flatnonzero(sound & (normal @ way > 0.8))
        for k in facing[np.argsort(-(centre[facing] @ way))][:400:10]:
            if any(np.linalg.norm(centre[k] - centre[other]) < PINS_APART_MM for other in spots):
                continue
            pin = _stub(centre[k], _level(normal[k], up), PIN_RADIUS_MM, PIN_MM)
            if (pin ^ cast).volume() < 0.02 * pin.volume():
                spots[int(k)] = None
                break
    if len(spots) < 2:
        raise CaseError("export stubs: no two places off the clasps where pins would clear the cast; hold this one by hand-drawn pins")
    return [(centre[k], normal[k]) for k in spots]


def _level(way: Floats, up: Floats) -> Floats:
    flat = way - (way @ up) * up
    return np.asarray(flat / max(float(np.linalg.norm(flat)), 1e-9))


def _stub(point: Floats, way: Floats, radius: float, length: float) -> manifold3d.Manifold:
    """A round rod that stands on a point, wider at its root."""
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    root = manifold3d.Manifold.sphere(FLARE * radius, 32).translate(tuple(map(float, point + (SUNK_MM - 0.3 * radius) * way)))
    neck = manifold3d.Manifold.sphere(radius, 32).translate(tuple(map(float, point + 1.5 * radius * way)))
    return manifold3d.Manifold.batch_hull([root, neck]) + _rod(point + 1.5 * radius * way, point + length * way, radius)


def _rod(a: Floats, b: Floats, radius: float, around: int = 32) -> manifold3d.Manifold:
    ball = manifold3d.Manifold.sphere(radius, around)
    return manifold3d.Manifold.batch_hull([ball.translate(tuple(map(float, a))), ball.translate(tuple(map(float, b)))])


def mark_lines(build: Build) -> list[Floats]:
    """Polylines (k, 3) mm on the scanned cast: heights of contour of the teeth, a cross at each tripod mark and at each planned tip."""
    mesh = build.cast.mesh
    lines = []
    for line in contours_to_show(mesh, build.survey):
        if line.label:
            lines.append(np.vstack([line.points, line.points[:1]]) if line.closed else line.points)
    nearest = Finder(mesh)
    right, forward, _ = build.survey.path.rotation
    tips = [np.reshape(t.points, (-1, 3)).mean(axis=0) for b in build.assembly.built.values() for t in b.tips]
    for mark, size in [*((m, CROSS_MM) for m in build.case.path.tripod), *((t, 0.6 * CROSS_MM) for t in tips)]:
        at = nearest(np.array([mark]))[0][0]
        for way in (right, forward):
            lines.append(nearest(at + np.linspace(-size, size, 9)[:, None] * way)[0])
    return lines


def marked_cast(build: Build, *, raised: bool = False) -> Mesh:
    """The scanned cast, closed, with the survey's marks cut into it, or raised on it."""
    rods = [r for line in mark_lines(build) for r in _rods_along(line)]
    if not rods:
        raise CaseError("export marked_cast: the survey found no height of contour, and there is no tripod mark")
    marks = manifold3d.Manifold.batch_boolean(rods, manifold3d.OpType.Add)
    cast = build.cast.mesh.to_manifold()
    return as_stored(Mesh.from_manifold(cast + marks if raised else cast - marks))


def _rods_along(line: Floats) -> Sequence[manifold3d.Manifold]:
    run = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    if run[-1] < 1e-6:
        return []
    at = np.linspace(0.0, run[-1], max(2, int(np.ceil(run[-1] / MARK_STEP_MM)) + 1))
    points = np.column_stack([np.interp(at, run, line[:, k]) for k in range(3)])
    return [_rod(a, b, MARK_RADIUS_MM, 8) for a, b in zip(points[:-1], points[1:], strict=True)]
