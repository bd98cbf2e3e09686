"""Does the framework cross itself? The look is that of core/crossings.py; here it is judged."""

from __future__ import annotations

from ..crossings import ROUNDING_MM, self_crossings
from ..mesh import Mesh
from .result import NO_LANDMARKS, Check, Landmarks, as_place


def check_self_intersection(mesh: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """No two faces cross deeper than the rounding of a 32-bit STL file."""
    pairs, depth = self_crossings(mesh)
    deep = depth > ROUNDING_MM
    number = int(deep.sum())
    place = None
    if number:
        place = mesh.triangles[pairs[depth.argmax()]].reshape(-1, 3).mean(axis=0)
    words = f"{number} pairs of faces cross" + (f", the deepest by {depth.max():.4f} mm" if number else "")
    if len(depth) > number:
        words += f"; {len(depth) - number} more by less than {ROUNDING_MM} mm (rounding)"
    return Check(
        "solid.self_intersection",
        "fail" if number else "pass",
        float(number),
        0.0,
        "pairs",
        landmarks.describe(place),
        "a printable solid does not pass through itself (3MF core specification 4.1)",
        words,
        as_place(place),
    )
