"""Force to lift a clasp over the tooth's contour: a bent arm on a measured slope with friction (handbook 8.3; methods 4a).

One contact: F = N tan(angle + friction angle), N = stiffness x deflection. An arm touches along its whole last third, so here the contacts
share the load: each presses or is free, never pulls (a small quadratic problem a step, solved by non-negative least squares). On a convex
wall the pull peaks between the seat and the contour: the deflection grows while the slope falls. Always a band: friction alone moves the
answer by a factor of two to three.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from ..mesh import Floats
from .ranges import Range

# Co-Cr on enamel: 0.45 +/- 0.03 on a dry incline (published pilot test); wet 0.1 to 0.2, from memory. Handbook, section 0.
FRICTION = Range(0.1, 0.2, 0.45, "1", "Co-Cr on enamel, wet to dry")
# Wanted retention: 3 to 7.5 N a side, from memory of Frank and Nicholls, J Prosthet Dent 1981;45:259; about 5 N a clasp (common practice).
WANTED_PER_SIDE_N = (3.0, 7.5)
WANTED_PER_CLASP_N = 5.0
WANTED_SOURCE = "3 to 7.5 N a side: Frank and Nicholls, J Prosthet Dent 1981;45:259 (from memory); about 5 N a clasp: common practice"
# Frameworks press sideways on their abutments: 3.5 +/- 1.0 N laser-melted, 3.4 +/- 1.6 cast (Rues et al., J Funct Biomater 2023;14:416).
STRAIN_FORCE = Range(1.8, 3.5, 5.0, "N", "sideways strain of a seated framework, Rues et al., J Funct Biomater 2023;14:416")


def pull_per_normal_force(slope: Floats | float, friction: float) -> Floats:
    """F / N to draw a contact up a wall whose lean from the path has the tangent `slope`: (slope + mu) / (1 - mu slope).

    Infinite where the wall leans so far that the contact locks (mu slope >= 1).
    """
    lean = np.asarray(slope, dtype=np.float64)
    under = 1.0 - friction * lean
    return np.where(under > 0, (lean + friction) / np.where(under > 0, under, 1.0), np.inf)


@dataclass(frozen=True, eq=False)
class Profile:
    """The tooth above the places where an arm touches it, as the arm is lifted.

    travel : (m,) mm along the path from the seat, rising from 0
    bulge : (c, m) mm by which the tooth at a contact's height plus the travel stands farther out than where the contact sits
    slope : (c, m) tangent of the wall's lean from the path there; negative above the contour
    """

    travel: Floats
    bulge: Floats
    slope: Floats

    def __post_init__(self) -> None:
        if len(self.travel) < 3 or (np.diff(self.travel) <= 0).any() or self.bulge.shape != self.slope.shape:
            raise ValueError("profile: the travel must rise from the seat in three steps or more; bulge and slope (contacts, steps)")
        if self.bulge.shape[1:] != self.travel.shape:
            raise ValueError("profile: bulge must be (contacts, steps of travel)")

    @property
    def depth(self) -> float:
        """mm: the farthest that any contact must give way; the undercut that the arm engages."""
        return float(max(self.bulge.max(), 0.0))

    @property
    def lead(self) -> int:
        """The contact that must give way farthest."""
        return int(self.bulge.max(axis=1).argmax())

    def scaled(self, depth_ratio: float) -> Profile:
        """About the profile of a tip seated deeper or less deep: as on a round wall, where depth goes with height squared."""
        root = np.sqrt(depth_ratio)
        return Profile(self.travel * root, self.bulge * depth_ratio, self.slope * root)


@dataclass(frozen=True, eq=False)
class ForceTravel:
    """Pull over travel of one arm.

    travel (m,) mm from the seat; force (m,) N along the path; normal (m, c) N square to the tooth, along (m, c) N along the path, at each
    contact
    """

    travel: Floats
    force: Floats
    normal: Floats
    along: Floats

    @property
    def peak(self) -> float:
        """N."""
        return float(self.force.max())

    @property
    def peak_travel(self) -> float:
        """mm above the seat."""
        return float(self.travel[self.force.argmax()])


def normal_forces(give: Floats, bulge: Floats) -> Floats:
    """(m, c) N at each contact when each must give way by bulge (c, m) mm or more. give : (c, c) mm/N, symmetric."""
    count = len(give)
    if count == 1:
        return np.maximum(bulge[0], 0.0)[:, None] / give[0, 0]
    firm = give + np.eye(count) * 1e-9 * np.trace(give)
    root = np.linalg.cholesky(firm)
    wanted = np.linalg.solve(root, bulge)
    out = np.zeros((bulge.shape[1], count))
    for step in np.flatnonzero((bulge > 0).any(axis=0)):
        out[step] = nnls(root.T, wanted[:, step])[0]
    return out


def force_travel(profile: Profile, give: Floats, friction: float) -> ForceTravel:
    """Follow an arm from its seat over the contour. give : (c, c) mm/N of its contacts (see `arm.bend`)."""
    normal = normal_forces(give, profile.bulge)
    along = np.where(normal > 0, normal * pull_per_normal_force(profile.slope.T, friction), 0.0)
    return ForceTravel(profile.travel, np.maximum(along.sum(axis=1), 0.0), normal, along)


def frictional_hold(planes: int, friction: Range = FRICTION, press: Range = STRAIN_FORCE) -> Range:
    """N by which guide planes hold a side by friction alone, apart from the clasps: friction x sideways press, a plane."""
    words = f"{planes} guide plane{'' if planes == 1 else 's'}; {press.assumption}; friction {friction.low:g} to {friction.high:g}"
    return Range(
        planes * friction.low * press.low, planes * friction.likely * press.likely, planes * friction.high * press.high, "N", words
    )


@dataclass(frozen=True)
class Balance:
    """Sums of clasp pulls (N) on the patient's two sides and the share of the stronger side (0.5 is even)."""

    right: Range
    left: Range

    @property
    def share(self) -> float:
        """Of the whole likely pull, on the stronger side; nan without any."""
        whole = self.right.likely + self.left.likely
        return float("nan") if whole <= 0 else max(self.right.likely, self.left.likely) / whole


def summed(pulls: Sequence[Range], words: str) -> Range:
    """Sum of ranges, ends with ends: the assumptions (friction, alloy) are the same for all clasps, so they move together."""
    return Range(sum(p.low for p in pulls), sum(p.likely for p in pulls), sum(p.high for p in pulls), "N", words)


@dataclass(frozen=True)
class Reciprocation:
    """Does a rigid part touch while the tip flexes? Lengths in mm of travel, gap in mm.

    flexing_mm : travel over which the tip is bent; held_mm : travel before the rigid part has left the tooth
    gap_mm : between rigid part and tooth when the tip presses most
    """

    flexing_mm: float
    held_mm: float
    gap_mm: float

    @property
    def share(self) -> float:
        """Of the tip's flexing travel over which the rigid part still bears."""
        return 1.0 if self.flexing_mm <= 0 else min(self.held_mm / self.flexing_mm, 1.0)


# A healthy tooth gives way by some hundredths of a millimetre under a few newtons (Muehlemann; Picton, from memory): nearer is "touches".
TOUCHING_MM = 0.05


def reciprocation(lift: ForceTravel, travel: Floats, gap: Floats) -> Reciprocation:
    """travel : (m,) mm; gap : (m,) least distance, mm, of the rigid part from the tooth after that travel."""
    pressed = lift.normal.sum(axis=1)
    bent = np.flatnonzero(pressed > 1e-6)
    flexing = float(lift.travel[bent[-1]]) if len(bent) else 0.0
    left = np.flatnonzero(gap > TOUCHING_MM)
    held = float(travel[left[0]]) if len(left) else float(travel[-1])
    at = float(lift.travel[pressed.argmax()])
    return Reciprocation(flexing, held, float(np.interp(at, travel, gap)))
