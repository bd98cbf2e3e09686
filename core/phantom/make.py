"""From specification to trimmed cast with its ground truth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..isosurface import isosurface
from ..mesh import Floats, Mesh
from .anatomy import Anatomy, make_anatomy
from .base import Base, trim
from .landmarks import cusps_of, true_landmarks
from .refine import relax_onto
from .spec import PhantomSpec
from .truth import label_vertices, margin_line, seed_point

_FINER = 1.8  # the surface is made this much finer than asked, then thinned where it is flat


@dataclass(frozen=True, eq=False)
class Phantom:
    """A made-up cast in the cast frame, mm, and what is true of it.

    mesh : closed solid, or open surface when so specified
    labels : (n,) int16, FDI number per vertex, 0 for gum and base
    margins : closed polyline (k, 3) of each crown's gingival margin, on the surface, first point not repeated
    axes : (3,) unit long axis of each crown, toward occlusal
    seeds : (3,) a point on each crown's occlusal surface
    """

    mesh: Mesh
    arch: str
    labels: np.ndarray
    margins: dict[int, Floats]
    axes: dict[int, Floats]
    seeds: dict[int, Floats]
    missing: tuple[int, ...]
    anatomy: Anatomy

    @cached_property
    def cusps(self) -> dict[int, Floats]:
        """(c, 3) cusp tips of each crown (incisal edge: its middle), from the anatomy itself."""
        return cusps_of(self.anatomy)

    @cached_property
    def landmarks(self) -> dict[int, dict[str, Floats]]:
        """The other landmarks (3,) of each crown by name, as `core.teeth.landmarks` names them, from the anatomy itself."""
        return true_landmarks(self.anatomy, self.cusps)


def make_phantom(spec: PhantomSpec) -> Phantom:
    """Make a cast; deterministic by the specification."""
    anatomy = make_anatomy(spec)
    base = Base.around(spec.arch, anatomy)
    mesh = _surface(anatomy, base, spec)
    labels = label_vertices(mesh, anatomy)
    margins = {fdi: margin_line(anatomy, fdi) for fdi in anatomy.teeth}
    seeds = {fdi: seed_point(mesh, labels, tooth) for fdi, tooth in anatomy.teeth.items()}
    if spec.noise_mm > 0:
        scatter = np.random.default_rng(spec.seed + 1).normal(0.0, spec.noise_mm, len(mesh.vertices))
        mesh = Mesh(mesh.vertices + mesh.vertex_normals * scatter[:, None], mesh.faces)
    axes = {fdi: tooth.frame[2].copy() for fdi, tooth in anatomy.teeth.items()}
    return Phantom(mesh, spec.arch, labels, margins, axes, seeds, tuple(spec.missing), anatomy)


def _surface(anatomy: Anatomy, base: Base, spec: PhantomSpec) -> Mesh:
    spacing = float(np.sqrt(base.triangle_load / (_FINER * spec.triangles)))
    rough = isosurface(lambda p: base.clip(anatomy.field(p), p), base.bounds, spacing, relax=0)
    on_anatomy = (rough.vertices[:, 2] > base.bounds[0, 2] + 1.0)
    rough = relax_onto(rough, lambda p: base.bevel(anatomy.field(p), p), on_anatomy, spacing)
    return trim(rough, base, spec.triangles, keep_walls=not spec.open_surface)
