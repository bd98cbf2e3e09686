"""The eight sectors of a crown, by angle in its chart: mesial 0, facial 90, distal 180, lingual 270 degrees."""

from __future__ import annotations

import numpy as np

from ..errors import CaseError
from ..mesh import Floats

SECTORS = ("mesial", "mesiofacial", "facial", "distofacial", "distal", "distolingual", "lingual", "mesiolingual")
WIDTH_DEG = 45.0


def sector_centre(name: str) -> float:
    """Angle of a sector's middle, degrees. Raises CaseError for an unknown name."""
    if name not in SECTORS:
        raise CaseError(f"{name!r} is no sector of a crown; they are {', '.join(SECTORS)}")
    return SECTORS.index(name) * WIDTH_DEG


def sector_span(name: str) -> tuple[float, float]:
    """(from, to) in degrees, increasing; mesial begins at -22.5."""
    centre = sector_centre(name)
    return centre - WIDTH_DEG / 2, centre + WIDTH_DEG / 2


def sector_of(phi: float) -> str:
    """Name of the sector in which an angle lies."""
    return SECTORS[int(((phi + WIDTH_DEG / 2) % 360.0) // WIDTH_DEG)]


def turn(start: float, end: float, through: str | None = None) -> float:
    """Signed angle from start to end, degrees: the short way round, or the way that passes through a sector."""
    short = (end - start + 180.0) % 360.0 - 180.0
    if through is None:
        return short
    middle = (sector_centre(through) - start) % 360.0
    forward = (end - start) % 360.0
    return forward if middle <= forward else forward - 360.0


def wrapped(phi: Floats | float) -> Floats:
    """Angles brought into 0 to 360 degrees."""
    return np.mod(np.asarray(phi, dtype=np.float64), 360.0)
