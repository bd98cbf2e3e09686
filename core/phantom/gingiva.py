"""The gum around each tooth: a collar that follows the margin, with papillae between neighbours and a fine marginal groove."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .arch import Placed
from .crowns import Profile
from .shapes import bell, smooth_max, smooth_step, superellipse
from .tissue import MARGIN_Z

_GROOVE = (0.22, 0.42)  # depth and half-width of the marginal groove in the field, mm
_BELOW_CONTACT = 0.9  # tip of the papilla below the contact's middle, mm
_TALLEST = 3.7  # of a papilla over the mid-face margin, mm (about 4.5 with the scallop of healthy incisors; common practice)
_HEALED = 0.5  # rise of the margin beside a gap, mm
_THICK = 0.85  # gum outside the neck at the margin, mm (free gingiva; common practice)


@dataclass(frozen=True, eq=False)
class Collar:
    """Gum around one standing tooth. Rises: papilla above mid-face margin at the mesial and distal contact, mm."""

    tooth: Placed
    rise_mesial: float
    rise_distal: float

    def margin_height(self, x: Floats) -> Floats:
        """Height of the gingival margin in the crown frame, at mesiodistal positions x."""
        half = 0.5 * self.tooth.crown.size.mesiodistal
        u = np.clip(np.abs(x) / half, 0.0, 1.08)
        pointed = 3.2 if self.tooth.fdi % 10 <= 3 else 4.6  # the scallop is flatter on back teeth
        return MARGIN_Z + np.where(x > 0, self.rise_mesial, self.rise_distal) * u**pointed

    @staticmethod
    def _fill(profile: Profile, rise: float) -> float:
        """Widening toward a neighbour so that the two collars meet under the contact, mm."""
        return max(profile.crest - profile.neck - _THICK + 0.45, 0.0) if rise > _HEALED else 0.0

    def __call__(self, local: Floats, crown: Floats) -> Floats:
        """(k,) field at (k, 3) points of the crown frame; crown: the crown's own field there."""
        x, y, z = local.T
        shape = self.tooth.crown
        a_m, a_d, b_f, b_l = shape.half_widths(np.minimum(z, 0.0))
        margin = self.margin_height(x)
        thick = _THICK + 0.10 * np.clip(margin - z, 0.0, 8.0)
        xs = x - shape.skew * y
        fill = (self._fill(shape.mesial, self.rise_mesial), self._fill(shape.distal, self.rise_distal))
        b = np.where(y > 0, b_f, b_l)
        middle = 1.0 - smooth_step(np.abs(y) / b, 0.35, 0.85)
        side = superellipse(xs, y, np.where(xs > 0, a_m + fill[0] * middle, a_d + fill[1] * middle), b, shape.power) - thick
        body = smooth_max(smooth_max(side, (z - margin) * 0.9, 0.9), -z - 7.0, 3.0)
        free = smooth_step(z - margin, -0.9, -0.2) * (1.0 - 0.9 * smooth_step(np.abs(x) / shape.size.mesiodistal, 0.28, 0.44))
        return body + _GROOVE[0] * bell(crown, _GROOVE[1]) * free


def rises(tooth: Placed, mesial: Placed | None, distal: Placed | None) -> tuple[float, float]:
    """Papilla heights: to just below the contact with a neighbour; a low healed slope beside a gap."""
    out = []
    for neighbour, side in ((mesial, 1.0), (distal, -1.0)):
        if neighbour is None:
            out.append(_HEALED)
            continue
        tip = min(_contact(tooth, side), _contact(neighbour, -side if neighbour.fdi // 10 == tooth.fdi // 10 else 1.0)) - _BELOW_CONTACT
        foot = tooth.origin[2] + MARGIN_Z
        out.append(float(np.clip(tip - foot, 1.5 * _HEALED, _TALLEST)))
    return out[0], out[1]


def _contact(tooth: Placed, side: float) -> float:
    """Height in the cast of the mesial (side 1) or distal (-1) contact."""
    profile = tooth.crown.mesial if side > 0 else tooth.crown.distal
    return float(tooth.to_cast(np.array([side * profile.crest, 0.0, profile.crest_z]))[2])
