"""Made-up arms on round teeth for the tests of the mechanics."""

import numpy as np
from claspwright.core.mechanics import MATERIALS, ClaspArm, ClaspInput, Profile, simple_arm

UP = np.array([0.0, 0.0, 1.0])


def ball_profile(radius: float, undercut: float, steps: int = 400, beyond: float = 0.0) -> Profile:
    """A ball, touched where the undercut has the given depth; followed up to its equator or beyond."""
    drop = np.sqrt(2 * radius * undercut - undercut**2)
    travel = np.linspace(0.0, drop + beyond, steps)
    z = travel - drop
    r = np.sqrt(radius**2 - z**2)
    return Profile(travel, (r - r[0])[None], (-z / r)[None])


def ball_clasp(
    arm: ClaspArm, undercut: float = 0.25, radius: float = 4.5, *, name: str = "arm 36", kind: str = "circumferential", side: str = "left"
) -> ClaspInput:
    """An arm whose tip touches a ball; a rigid arm opposite leaves the tooth at once."""
    profile = ball_profile(radius, undercut)
    at = np.array([arm.length_mm])
    gap = 0.4 * profile.travel
    return ClaspInput(
        name, 36, kind, side, arm, undercut, UP, at, arm.points[-1:], arm.normals[-1:], profile, profile.travel, gap
    )


def usual(length: float = 15.0, width: float = 2.0, thickness: float = 1.0, material: str = "cocr_cast", arc: float = 100.0) -> ClaspArm:
    """A molar arm of pattern practice (base 1.6 to 2.0 by 0.8 to 1.0, from memory), curved as a molar is."""
    return simple_arm(length, width, thickness, MATERIALS[material], arc_deg=arc)
