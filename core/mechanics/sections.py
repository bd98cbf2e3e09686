"""Sections of clasp arms, bars and wires: exact properties of the half-ellipse and the circle (handbook 8.2)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Section:
    """Properties of one cross-section; mm, mm2, mm4.

    inertia : second moment for bending away from the tooth (about the axis parallel to the flat side)
    inertia_edge : second moment for bending along the tooth (about the axis square to the flat side)
    outer : distance from the neutral axis to the farthest fibre, for bending away from the tooth
    centroid : height of the centroid above the flat side
    """

    width: float
    thickness: float
    area: float
    inertia: float
    inertia_edge: float
    centroid: float
    outer: float


def half_ellipse(width_mm: float, thickness_mm: float) -> Section:
    """Flat side of `width_mm` on the tooth, highest point `thickness_mm` above it. Half-round when the width is twice the thickness."""
    _positive(width_mm, thickness_mm)
    a, h = 0.5 * width_mm, thickness_mm
    centroid = 4.0 * h / (3.0 * np.pi)
    return Section(
        width_mm,
        thickness_mm,
        float(np.pi * a * h / 2.0),
        float((np.pi / 8.0 - 8.0 / (9.0 * np.pi)) * a * h**3),
        float(np.pi * a**3 * h / 8.0),
        float(centroid),
        float(h - centroid),
    )


def half_round(radius_mm: float) -> Section:
    """Half a circle."""
    return half_ellipse(2.0 * radius_mm, radius_mm)


def round_wire(diameter_mm: float) -> Section:
    """A full circle; the tooth side touches at its lowest point."""
    _positive(diameter_mm)
    r = 0.5 * diameter_mm
    inertia = float(np.pi * r**4 / 4.0)
    return Section(diameter_mm, diameter_mm, float(np.pi * r**2), inertia, inertia, r, r)


def gauge_mm(gauge: int) -> float:
    """Diameter of a wire, thickness of a sheet by American wire gauge: 0.127 mm x 92^((36 - n) / 39) (ASTM B258)."""
    return float(0.127 * 92.0 ** ((36 - gauge) / 39.0))


def _positive(*sizes: float) -> None:
    if min(sizes) <= 0 or not all(np.isfinite(sizes)):
        raise ValueError(f"section sizes must be positive lengths in mm, not {sizes}")
