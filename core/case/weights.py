"""What counts how much when a path of placement is searched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .fields import option


def _weight(default: float) -> Any:
    return option(default, low=0, high=10)


@dataclass(frozen=True)
class PathWeights:
    """Weights of the terms of a path, each for one unit of its own scale (core/planning/path_search_score.py); 0 leaves a term out.

    The default order is the trade's: guide surfaces, retention, interference, looks (McCracken, chapter on surveying); the rest
    decides between paths that are otherwise alike.
    """

    guide_planes: float = _weight(1.0)
    guide_inequality: float = _weight(0.5)
    retention: float = _weight(0.6)
    balance: float = _weight(0.3)
    interference: float = _weight(0.4)
    looks: float = _weight(0.2)
    block_out: float = _weight(0.1)
    tilt: float = _weight(0.1)
