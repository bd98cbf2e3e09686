"""The gum around each tooth: a collar that follows the margin, with papillae between neighbours and a fine marginal groove."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from .arch import Placed
from .shapes import bell, smooth_max, smooth_step, superellipse
from .tissue import MARGIN_Z

_GROOVE = (0.22, 0.42)  # depth and half-width of the marginal groove in the field, mm
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
        return MARGIN_Z + np.where(x > 0, self.rise_mesial, self.rise_distal) * u**3.2

    def __call__(self, local: Floats, crown: Floats) -> Floats:
        """(k,) field at (k, 3) points of the crown frame; crown: the crown's own field there."""
        x, y, z = local.T
        shape = self.tooth.crown
        a_m, a_d, b_f, b_l = shape.half_widths(np.minimum(z, 0.0))
        margin = self.margin_height(x)
        thick = _THICK + 0.10 * np.clip(margin - z, 0.0, 8.0)
        xs = x - shape.skew * y
        side = superellipse(xs, y, np.where(xs > 0, a_m, a_d), np.where(y > 0, b_f, b_l), shape.power) - thick
        body = smooth_max(smooth_max(side, (z - margin) * 0.9, 0.9), -z - 7.0, 3.0)
        free = smooth_step(z - margin, -0.9, -0.2) * (1.0 - 0.9 * smooth_step(np.abs(x) / shape.size.mesiodistal, 0.28, 0.44))
        return body + _GROOVE[0] * bell(crown, _GROOVE[1]) * free


def rises(tooth: Placed, mesial_neighbour: bool, distal_neighbour: bool) -> tuple[float, float]:
    """Papilla heights: to 1.3 mm below a contact; a low healed slope beside a gap."""
    crown = tooth.crown
    contact = [p.crest_z - MARGIN_Z - 1.3 for p in (crown.mesial, crown.distal)]
    if tooth.fdi % 10 <= 3:
        contact = [min(c, 3.6) for c in contact]
    return (contact[0] if mesial_neighbour else 0.5), (contact[1] if distal_neighbour else 0.5)
