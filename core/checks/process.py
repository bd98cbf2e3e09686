"""Ways of making a framework, each with what it can hold. Numbers are practice of the trade, not of one machine: ask the maker of yours."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Process:
    """One way of making it; all lengths in mm.

    least_wall_mm : thinner metal may not come out; wall_mm : thinner metal wants a look
    least_radius_mm : sharpest inner corner that a tool reaches or a powder leaves clean
    overhang_deg : faces nearer to the plate than this need supports; 0 where nothing is printed
    least_arm_deg : clasp arms nearer to the plate than this lose life; 0 where it does not matter
    mills : made by cutting tools, so what no tool reaches stays
    scale : of the exported file; finishing_mm : allowance on polished faces that polishing takes off again
    """

    name: str
    least_wall_mm: float
    wall_mm: float
    least_radius_mm: float
    overhang_deg: float
    least_arm_deg: float
    mills: bool
    scale: float
    finishing_mm: float
    source: str


# Metal printing: 0.4 mm least wall, 0.6 structural, 45 degrees self-supporting (design-rule pages of printing services, handbook 9).
# Clasps built upright (90 degrees) lived ten times as long as lying ones, 45 degrees a fifth as long (Kajima, handbook 9).
# Pattern resin: 0.3 to 0.5 mm (practice). Milling: ball cutters of 0.6 to 1.0 mm for metal (common practice, from memory).
# Scale 1.000 everywhere: investments expand by what the alloy shrinks, and printers compensate by themselves (Phillips', from memory).
# Polishing takes 0.05 to 0.1 mm (assumed, no published figure); the fitting side is never given an allowance.
PROCESSES: dict[str, Process] = {
    p.name: p
    for p in (
        Process(
            "printed metal", 0.3, 0.4, 0.1, 45.0, 45.0, False, 1.0, 0.05,
            "metal printing: 0.4 mm wall, 45 degrees self-supporting (design-rule pages of printing services)",
        ),
        Process(
            "printed pattern", 0.3, 0.5, 0.1, 45.0, 0.0, False, 1.0, 0.1,
            "castable pattern: 0.3 to 0.5 mm (practice of pattern makers)",
        ),
        Process(
            "milled", 0.4, 0.5, 0.3, 0.0, 0.0, True, 1.0, 0.05,
            "milling: ball cutters of 0.6 to 1.0 mm (common practice, from memory)",
        ),
    )
}  # fmt: skip
