"""Does the seated framework lie on the cast as planned: fitting surface against master cast, no common volume, rests in contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..mesh import Bools, Floats, Ints, Mesh
from .rays import Rays
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

FIT_LIMIT_MM = 0.002  # project target: the fitting surface is a boolean against the master cast; what is left is rounding
NEAR_MM = 0.03  # metal nearer than this and facing the cast is meant to touch it (least relief in the trade: 32 gauge, 0.20 mm)
FACING = 0.95  # cosine: a fitting face lies within 18 degrees of the cast face under it
LOOK_MM = 0.15  # rays start this far inside the metal
OVERLAP_MM3 = 0.01  # a square millimetre pressed in by 0.01 mm; rounding of 32-bit files makes about 0.002 over a whole framework
UNDERSIDE = 0.5  # faces that look down the path within 60 degrees; the sides of a rest are no seat
REST_SHARE = 0.5  # own limit; measured frameworks in mouths touched at 24 % of the rests only (Dunham, J Prosthet Dent 2006;95:323)
FIT_SOURCE = "project target (exact boolean against the master cast)"


@dataclass(frozen=True, eq=False)
class FaceGaps:
    """Gap from the centre of each framework face to a cast, along the face's normal.

    gap : (m,) mm, negative where the metal is inside the cast, infinite where no facing cast lies within 0.15 mm inward or beyond
    facing : (m,) the face lies along the cast face that it looks at
    """

    gap: Floats
    facing: Bools

    def touching(self, near_mm: float = NEAR_MM) -> Ints:
        """Indices of the fitting faces."""
        return np.flatnonzero(self.facing & (np.abs(self.gap) < near_mm))


def face_gaps(framework: Mesh, cast: Mesh, scene: Rays | None = None) -> FaceGaps:
    """Rays from 0.15 mm inside each face, outward, to the first face of the cast."""
    scene = scene or Rays(cast)
    normal = framework.face_normals
    distance, face = scene.first(framework.triangles.mean(axis=1) - LOOK_MM * normal, normal)
    opposed = -np.einsum("ij,ij->i", normal, cast.face_normals[face])
    return FaceGaps(distance - LOOK_MM, (face >= 0) & (opposed > FACING))


def check_fitting_surface(framework: Mesh, master_cast: Mesh, landmarks: Landmarks = NO_LANDMARKS, gaps: FaceGaps | None = None) -> Check:
    """Where metal touches the master cast it equals it: the 99th part in a hundred by area of |gap| is under 0.002 mm."""
    found = gaps or face_gaps(framework, master_cast)
    touching = found.touching()
    area = framework.face_areas[touching]
    if area.sum() < 1.0:
        words = "no metal lies on the master cast: wrong cast, or the framework is not seated"
        return Check("fit.surface", "fail", None, FIT_LIMIT_MM, "mm", "", FIT_SOURCE, words)
    off = np.abs(found.gap[touching])
    order = np.argsort(off)
    share = np.cumsum(area[order]) / area.sum()
    value = float(off[order][np.searchsorted(share, 0.99).clip(max=len(order) - 1)])
    place = framework.triangles[touching[off.argmax()]].mean(axis=0) if value > FIT_LIMIT_MM else None
    out = float(area[off > FIT_LIMIT_MM].sum())
    words = f"{area.sum():.0f} mm2 of metal lie on the master cast; {out:.2f} mm2 of it are off by more than {FIT_LIMIT_MM} mm"
    status: Status = "fail" if value > FIT_LIMIT_MM else "pass"
    return Check("fit.surface", status, value, FIT_LIMIT_MM, "mm", landmarks.describe(place), FIT_SOURCE, words, as_place(place))


def check_overlap(framework: Mesh, prepared_cast: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """The seated framework and the prepared cast share no volume (passive when seated)."""
    source = "a seated framework is passive (common practice); amount: own limit for rounding"
    try:
        common = framework.to_manifold() ^ prepared_cast.to_manifold()
    except GeometryError as error:
        return Check("fit.overlap", "skip", None, OVERLAP_MM3, "mm3", "", source, str(error))
    volume = float(common.volume())
    place = None
    if volume > OVERLAP_MM3:
        largest = max(common.decompose(), key=lambda piece: piece.volume())
        place = Mesh.from_manifold(largest).vertices.mean(axis=0)
    words = f"metal and cast share {volume:.4f} mm3"
    status: Status = "fail" if volume > OVERLAP_MM3 else "pass"
    return Check("fit.overlap", status, volume, OVERLAP_MM3, "mm3", landmarks.describe(place), source, words, as_place(place))


def check_rest_contact(framework: Mesh, mask: Bools, name: str, gaps: FaceGaps, path: Floats, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """At least half of a rest's underside lies on the prepared seat. mask: (n,) its vertices; gaps: to the prepared cast."""
    faces = np.all(mask[framework.faces], axis=1)
    under = faces & gaps.facing & (gaps.gap < 1.0) & (framework.face_normals @ path < -UNDERSIDE)
    touch = under & (np.abs(gaps.gap) < NEAR_MM)
    area = float(framework.face_areas[under].sum())
    place = framework.vertices[mask].mean(axis=0) if mask.any() else None
    share = float(framework.face_areas[touch].sum()) / area if area > 0 else 0.0
    words = f"{share:.0%} of {area:.1f} mm2 under the rest lie on the seat"
    status: Status = "pass" if share >= REST_SHARE else "fail"
    return Check(
        f"fit.rest.{name}",
        status,
        share,
        REST_SHARE,
        "share",
        landmarks.describe(place),
        "rest on its seat; own limit",
        words,
        as_place(place),
    )
