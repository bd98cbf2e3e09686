"""Force to lift a clasp over the tooth's contour: a spring on a slope with friction (handbook 8.3; methods 4a).

F = N tan(angle + friction angle), N = stiffness x deflection. On a convex wall the pull peaks between the seat and the contour: the
deflection grows while the slope falls. Always a band: friction alone moves the answer by a factor of two to three.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .ranges import Range

# Co-Cr on enamel: 0.45 +/- 0.03 on a dry incline (published pilot test); wet 0.1 to 0.2, from memory. Handbook, section 0.
FRICTION = Range(0.1, 0.2, 0.45, "1", "Co-Cr on enamel, wet to dry")
# Wanted retention: 3 to 7.5 N a side, from memory of Frank and Nicholls, J Prosthet Dent 1981;45:259; about 5 N a clasp (common practice).
WANTED_PER_SIDE_N = (3.0, 7.5)
WANTED_PER_CLASP_N = 5.0


def pull_per_normal_force(angle_deg: Floats | float, friction: float) -> Floats:
    """F / N to draw a contact up a wall that leans outward by `angle_deg` from the path: (tan a + mu) / (1 - mu tan a).

    Infinite where the wall leans so far that the contact locks (mu tan a >= 1).
    """
    slope = np.tan(np.radians(np.asarray(angle_deg, dtype=np.float64)))
    under = 1.0 - friction * slope
    return np.where(under > 0, (slope + friction) / np.where(under > 0, under, 1.0), np.inf)


@dataclass(frozen=True, eq=False)
class ForceTravel:
    """Pull over travel of one tip. travel (k,) mm from the seat, force (k,) N along the path, deflection (k,) mm."""

    travel: Floats
    deflection: Floats
    force: Floats

    @property
    def peak(self) -> float:
        """N."""
        return float(self.force.max())

    @property
    def peak_travel(self) -> float:
        """mm above the seat."""
        return float(self.travel[self.force.argmax()])


def force_travel(height: Floats, depth: Floats, stiffness: float, friction: float) -> ForceTravel:
    """Follow a tip from its seat to the contour.

    height : (k,) mm along the path, rising from the seat; depth : (k,) undercut depth there, mm, falling to 0 at the contour
    stiffness : N/mm. Raises ValueError when the heights do not rise.
    """
    z, u = np.asarray(height, dtype=np.float64), np.asarray(depth, dtype=np.float64)
    if len(z) < 3 or (np.diff(z) <= 0).any():
        raise ValueError("height must rise from the seat to the contour, three points or more")
    deflection = np.maximum(u[0] - u, 0.0)
    angle = np.degrees(np.arctan(np.maximum(-np.gradient(u, z), 0.0)))
    force = stiffness * deflection * pull_per_normal_force(angle, friction)
    return ForceTravel(z - z[0], deflection, force)


def retention(height: Floats, depth: Floats, stiffness: Range, friction: Range = FRICTION) -> Range:
    """Peak pull of one tip, N, as a band: lowest stiffness with lowest friction to highest with highest."""
    low, likely, high = (
        force_travel(height, depth, k, mu).peak
        for k, mu in ((stiffness.low, friction.low), (stiffness.likely, friction.likely), (stiffness.high, friction.high))
    )
    return Range(low, likely, high, "N", f"friction {friction.low:g} to {friction.high:g}; {stiffness.assumption}")


def lift_on_clasp(load_n: float, load_distal_mm: float, tip_distal_mm: float, indirect_mesial_mm: float | None = None) -> float:
    """N on the clasp when sticky food lifts an extension base: rigid lever in one plane.

    Distances are from the rest on the fulcrum line: the load and the clasp tip distal of it, the indirect retainer (if any) mesial of it;
    with it the denture turns about the indirect retainer instead.
    """
    if min(load_distal_mm, tip_distal_mm) <= 0:
        raise ValueError("the load and the clasp tip must lie distal of the rest (distances above 0 mm)")
    y = 0.0 if indirect_mesial_mm is None else indirect_mesial_mm
    return load_n * (load_distal_mm + y) / (tip_distal_mm + y)
