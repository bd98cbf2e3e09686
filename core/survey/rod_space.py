"""Space under the rod on a proximal surface beside a gap, and the guide plane that would close part of it.

A rod parallel to the path, brought against the proximal surface, touches the height of contour; between rod and surface below the
contact stays a space (seen against the light, a triangle). A framework plate on an unprepared surface would leave it to food.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import GeometryError
from ..mesh import Floats
from .enamel import MOST_MM, SPENDABLE, proximal_enamel_mm
from .measure import Survey

_STEP_MM = 0.02
# No crown stands higher above its margin (mm).
_TALLEST_MM = 14.0
# No cut is proposed within this of the margin: enamel thins to nothing at the neck (from memory of Wheeler's dental anatomy).
_MARGIN_CLEAR_MM = 1.0


@dataclass(frozen=True)
class GuidePlane:
    """A flat band parallel to the path.

    height_mm : of the band; removal_mm : deepest cut; bottom_mm : of the band above the margin
    enamel_mm : mean local thickness, None without a tooth number; warning : in words, "" when nothing speaks against it
    """

    height_mm: float
    removal_mm: float
    bottom_mm: float
    enamel_mm: float | None
    warning: str


@dataclass(frozen=True, eq=False)
class RodSpace:
    """Profile of a proximal surface in the plane of path and gap.

    contact : (3,) where the rod touches; margin : (3,) gingival end of the profile
    height_mm : margin to contact along the path; depth_mm : rod to surface at the margin, level with it
    angle_deg : between rod and the line from contact to margin; area_mm2 : between rod and surface
    profile : (k, 2) distance from the crown's axis toward the gap and height above the margin, mm, from the margin up
    """

    contact: Floats
    margin: Floats
    height_mm: float
    depth_mm: float
    angle_deg: float
    area_mm2: float
    profile: Floats

    def guide_plane(self, height_mm: float, fdi: int | None = None, side: str = "mesial") -> GuidePlane:
        """What must be planed away around the contact for a band of a given height parallel to the path.

        Raises GeometryError when the surface is lower than that.
        """
        reach, z = self.profile.T
        top = int(np.argmax(reach))
        # Planing to a distance c behind the rod makes a band from the nearest place below the contact that lies deeper to the nearest
        # above: the running depth away from the contact.
        below = np.maximum.accumulate((reach[top] - reach[: top + 1])[::-1])[::-1]
        above = np.maximum.accumulate(reach[top] - reach[top:])
        whole = float(z[-1] - z[0])
        if whole < height_mm:
            raise GeometryError(f"guide plane: the proximal surface is {whole:.1f} mm high, less than the {height_mm:g} mm asked for")
        cuts = np.unique(np.concatenate([below, above]))
        low = z[np.maximum(top + 1 - np.searchsorted(below[::-1], cuts, side="right"), 0)]
        high = z[top + np.searchsorted(above, cuts, side="right") - 1]
        k = int(np.argmax(high - low >= height_mm - 1e-9))
        removal, bottom = float(cuts[k]), float(low[k])
        enamel = proximal_enamel_mm(fdi, side) if fdi is not None else None
        return GuidePlane(float(high[k] - low[k]), removal, bottom, enamel, _warning(removal, bottom, enamel))


def _warning(removal: float, bottom: float, enamel: float | None) -> str:
    words = []
    if enamel is not None and removal > SPENDABLE * enamel:
        words.append(f"takes {removal:.2f} mm, over half of the {enamel:.2f} mm of enamel usual here")
    elif removal > MOST_MM:
        words.append(f"takes {removal:.2f} mm, more than {MOST_MM:g} mm")
    if bottom < _MARGIN_CLEAR_MM and removal > 0.05:
        words.append(f"reaches to {bottom:.1f} mm above the margin, where enamel is thin")
    return "; ".join(words)


def space_under_rod(result: Survey, centre: Floats, towards: Floats, margin: Floats) -> RodSpace:
    """Space under the rod on the side of a crown that faces a gap.

    centre : (3,) inside the crown, mm; towards : (3,) direction of the gap from there; margin : (k, 3) gingival margin, closed
    Raises GeometryError when the margin does not go round the centre or the surface is not met.
    """
    rotation = result.path.rotation
    c, out = rotation @ np.asarray(centre, dtype=np.float64), rotation @ np.asarray(towards, dtype=np.float64)
    size = np.hypot(out[0], out[1])
    if size < 1e-6:
        raise GeometryError("space under the rod: the direction of the gap runs along the path; give a horizontal one")
    out = np.array([out[0], out[1], 0.0]) / size
    foot = _margin_height(np.asarray(margin, dtype=np.float64) @ rotation.T, c, out)
    z = foot + np.arange(0.0, _TALLEST_MM, _STEP_MM)
    starts = np.column_stack([np.full_like(z, c[0]), np.full_like(z, c[1]), z])
    reach, _ = result.scene.first_hit(starts @ rotation, out @ rotation)
    # Above the crown a ray flies on to whatever stands beyond the gap: the profile ends where it leaps.
    reach = np.where(np.isfinite(reach), reach, -1e3)
    leap = np.flatnonzero((reach < 0.0) | (np.abs(np.diff(reach, prepend=reach[0])) > 1.0))
    count = int(leap[0]) if len(leap) else len(z)
    if count < 10:
        raise GeometryError("space under the rod: no proximal surface above the margin; check the tooth's margin and its side")
    reach, height = reach[:count], z[:count] - foot
    top = int(np.argmax(reach))
    gap = reach[top] - reach[: top + 1]
    contact, edge = (np.array([c[0], c[1], z[k]]) + reach[k] * out for k in (top, 0))
    return RodSpace(
        contact @ rotation,
        edge @ rotation,
        float(height[top]),
        float(gap[0]),
        float(np.degrees(np.arctan2(gap[0], max(height[top], 1e-9)))),
        float(_STEP_MM * (gap.sum() - 0.5 * (gap[0] + gap[-1]))),
        np.column_stack([reach, height]),
    )


def _margin_height(margin: Floats, centre: Floats, out: Floats) -> float:
    """Height of a closed margin (k, 3) where the half plane from the axis through centre toward out crosses it, path frame."""
    offset = margin - centre
    side = offset[:, 0] * -out[1] + offset[:, 1] * out[0]
    ahead = offset[:, 0] * out[0] + offset[:, 1] * out[1]
    after = np.roll(np.arange(len(margin)), -1)
    crossing = np.flatnonzero((side < 0.0) != (side[after] < 0.0))
    t = side[crossing] / (side[crossing] - side[after[crossing]])
    where = ahead[crossing] + t * (ahead[after[crossing]] - ahead[crossing])
    height = margin[crossing, 2] + t * (margin[after[crossing], 2] - margin[crossing, 2])
    if not (where > 0.0).any():
        raise GeometryError("space under the rod: the margin does not go round the crown's centre; check both belong to one tooth")
    return float(height[where > 0.0].max())
