"""A number that is known only between two bounds. The mechanics room hands back nothing else about the mouth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Range:
    """low <= likely <= high, in one unit, with the assumption behind it."""

    low: float
    likely: float
    high: float
    unit: str
    assumption: str = ""

    def __post_init__(self) -> None:
        if not self.low <= self.likely <= self.high:
            raise ValueError(f"a range must run low <= likely <= high, not {self.low}, {self.likely}, {self.high}")

    def scaled(self, factor: float, unit: str | None = None, assumption: str | None = None) -> Range:
        """The same range times a positive factor."""
        return Range(
            self.low * factor,
            self.likely * factor,
            self.high * factor,
            self.unit if unit is None else unit,
            self.assumption if assumption is None else assumption,
        )

    def __str__(self) -> str:
        low, likely, high = (f"{x:.0f}" if abs(x) >= 100 else f"{x:.2g}" for x in (self.low, self.likely, self.high))
        return f"{low} to {high} {self.unit} (likely {likely})"
