"""The trade's undercut gauges and their names. Apart from the survey, so that who only names them loads nothing heavy."""

from __future__ import annotations

# 0.010, 0.020 and 0.030 inch; the trade calls them 0.25, 0.50 and 0.75 mm (handbook section 1).
GAUGES_INCH = (0.010, 0.020, 0.030)
INCH_MM = 25.4


def gauge_name(depth_mm: float) -> str:
    """Label of a gauge in both units by trade custom: 0.508 (or 0.50) mm -> '0.50 mm (0.020 in)'."""
    for inches in GAUGES_INCH:
        custom = 25.0 * inches
        if min(abs(depth_mm - custom), abs(depth_mm - INCH_MM * inches)) < 1e-3:
            return f"{custom:.2f} mm ({inches:.3f} in)"
    return f"{depth_mm:.2f} mm ({depth_mm / INCH_MM:.3f} in)"
