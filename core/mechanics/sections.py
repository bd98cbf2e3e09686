"""Sections of clasp arms, bars, straps and wires: exact properties of the half-ellipse, half-pear, circle and strip (handbook 8.2).

All formulas take numbers or arrays: one section or one a station along a beam.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..mesh import Floats, Ints

Shape = Literal["half_round", "half_pear", "round", "strip"]
SHAPES: tuple[Shape, ...] = ("half_round", "half_pear", "round", "strip")
PEAK = 0.3  # of the half width: where the half-pear is thickest, towards its bulk (as core/solids draws it)
_ANGLES = np.linspace(0.0, np.pi, 17)


@dataclass(frozen=True, eq=False)
class Sections:
    """Properties of (k,) cross-sections; mm, mm2, mm4.

    inertia : second moment for bending away from the tooth (about the axis parallel to the flat side)
    inertia_edge : second moment for bending along the tooth (about the axis square to the flat side)
    product : product of inertia about the centroid; 0 but for the half-pear
    torsion : Saint-Venant's constant; twist_radius : torsional shear stress = torque x twist_radius / torsion
    centroid, aside : the centroid's height above the flat side and its shift across
    fibres : (k, m, 2) outline points from the centroid, across and away from the tooth
    """

    width: Floats
    thickness: Floats
    area: Floats
    inertia: Floats
    inertia_edge: Floats
    product: Floats
    torsion: Floats
    twist_radius: Floats
    centroid: Floats
    aside: Floats
    fibres: Floats

    def between(self, first: Ints, second: Ints) -> Sections:
        """Means of the sections with these numbers: what lies halfway."""
        values = (getattr(self, f.name) for f in fields(self))
        return Sections(*(0.5 * (v[first] + v[second]) for v in values))

    def turned(self) -> tuple[Sections, Floats]:
        """The same in the axes of least and greatest stiffness, and (k,) radians from "across" to the stiff one; it does not jump."""
        turn = 0.5 * np.unwrap(np.arctan2(2.0 * self.product, self.inertia_edge - self.inertia))
        mean = 0.5 * (self.inertia_edge + self.inertia)
        half = np.hypot(0.5 * (self.inertia_edge - self.inertia), self.product)
        cos, sin = np.cos(turn)[:, None], np.sin(turn)[:, None]
        u, v = self.fibres[:, :, 0], self.fibres[:, :, 1]
        fibres = np.stack([u * cos + v * sin, v * cos - u * sin], axis=2)
        return replace(self, inertia=mean - half, inertia_edge=mean + half, product=0.0 * mean, fibres=fibres), turn

    @property
    def outer(self) -> Floats:
        """(k,) distance from the neutral axis to the farthest fibre, bending away from the tooth."""
        return np.asarray(np.abs(self.fibres[:, :, 1]).max(axis=1))


@dataclass(frozen=True)
class Section:
    """One cross-section; mm, mm2, mm4. Meanings as in `Sections`."""

    width: float
    thickness: float
    area: float
    inertia: float
    inertia_edge: float
    centroid: float
    outer: float
    torsion: float


def sections(shape: Shape, width_mm: ArrayLike, thickness_mm: ArrayLike) -> Sections:
    """Properties of a run of sections. width, thickness : (k,) mm; for a round wire the thickness is not used."""
    w, h = np.broadcast_arrays(np.atleast_1d(np.asarray(width_mm, dtype=np.float64)), np.asarray(thickness_mm, dtype=np.float64))
    if shape not in SHAPES:
        raise ValueError(f"section: {shape!r} is not one of {', '.join(SHAPES)}")
    if not (np.isfinite(w).all() and np.isfinite(h).all() and w.min() > 0 and h.min() > 0):
        raise ValueError(f"section sizes must be positive lengths in mm, not {w.tolist()}, {h.tolist()}")
    if shape == "round":
        return _round(w)
    if shape == "strip":
        return _strip(w, h)
    return _domed(w, h, PEAK if shape == "half_pear" else 0.0)


def _domed(w: Floats, h: Floats, peak: float) -> Sections:
    """Two quarter ellipses on a flat side, back to back at `peak` of the half width; with 0 a half-ellipse."""
    a = 0.5 * w
    bulk, thin = a * (1.0 - peak), a * (1.0 + peak)
    area = np.pi * a * h / 2.0
    centroid = 4.0 * h / (3.0 * np.pi)
    shift = (bulk**2 - thin**2) * h / 3.0 / area  # from the peak; a quarter ellipse has the first moment a^2 h / 3
    edge = np.pi * (bulk**3 + thin**3) * h / 16.0 - area * shift**2
    product = (bulk**2 - thin**2) * h**2 / 8.0 - area * shift * centroid
    inertia = (np.pi / 8.0 - 8.0 / (9.0 * np.pi)) * a * h**3
    side = np.where(np.cos(_ANGLES) >= 0, bulk[:, None], thin[:, None]) * np.cos(_ANGLES)
    fibres = np.stack([side - shift[:, None], h[:, None] * np.sin(_ANGLES) - centroid[:, None]], axis=2)
    torsion, twist = twisting(area, inertia + edge, np.minimum(h, w))
    return Sections(w, h, area, inertia, edge, product, torsion, twist, centroid, peak * a + shift, fibres)


def _round(d: Floats) -> Sections:
    r, turn = 0.5 * d, 2.0 * _ANGLES
    inertia = np.pi * r**4 / 4.0
    fibres = r[:, None, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return Sections(d, d, np.pi * r**2, inertia, inertia, 0.0 * r, 2.0 * inertia, r, r, 0.0 * r, fibres)


def _strip(w: Floats, h: Floats) -> Sections:
    """A flat rectangle; torsion constant after Roark (closed fit to Saint-Venant's series, within 4 % for any proportion)."""
    long, short = np.maximum(w, h), np.minimum(w, h)
    torsion = long * short**3 * (1.0 / 3.0 - 0.21 * short / long * (1.0 - short**4 / (12.0 * long**4)))
    corners = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    fibres = corners[None] * np.stack([w, h], axis=1)[:, None]
    return Sections(w, h, w * h, w * h**3 / 12.0, h * w**3 / 12.0, 0.0 * w, torsion, short, 0.5 * h, 0.0 * w, fibres)


def twisting(area: Floats, polar: Floats, inscribed: Floats) -> tuple[Floats, Floats]:
    """Torsion constant A^4 / 40 Ip (Saint-Venant's rule for compact sections) and the arm of the greatest shear (Roark, torsion).

    inscribed : diameter of the largest circle inside the section; the greatest shear lies where it touches the flat side.
    """
    bulk = np.pi**2 * inscribed**4 / (16.0 * area**2)
    return area**4 / (40.0 * polar), inscribed / (1.0 + bulk) * (1.0 + 0.15 * bulk)


def _single(run: Sections) -> Section:
    values = (run.width, run.thickness, run.area, run.inertia, run.inertia_edge, run.centroid, run.outer, run.torsion)
    return Section(*(float(v[0]) for v in values))


def half_ellipse(width_mm: float, thickness_mm: float) -> Section:
    """Flat side of `width_mm` on the tooth, highest point `thickness_mm` above it. Half-round when the width is twice the thickness."""
    return _single(sections("half_round", width_mm, thickness_mm))


def half_round(radius_mm: float) -> Section:
    """Half a circle."""
    return half_ellipse(2.0 * radius_mm, radius_mm)


def round_wire(diameter_mm: float) -> Section:
    """A full circle; the tooth side touches at its lowest point."""
    return _single(sections("round", diameter_mm, diameter_mm))


def gauge_mm(gauge: int) -> float:
    """Diameter of a wire, thickness of a sheet by American wire gauge: 0.127 mm x 92^((36 - n) / 39) (ASTM B258)."""
    return float(0.127 * 92.0 ** ((36 - gauge) / 39.0))
