"""What a check hands back: one frozen record, the same for the report, for build.json and for the exit code."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..mesh import Floats

Status = Literal["pass", "warn", "fail", "skip"]
_RANK: dict[str, int] = {"skip": 0, "pass": 1, "warn": 2, "fail": 3}


@dataclass(frozen=True)
class Check:
    """One finding.

    id : stable short name, dots between parts ("insertion.rigid", "insertion.tip.44")
    status : "pass", "warn" (look at it), "fail" (do not make it) or "skip" (could not be checked; words say why)
    value, limit : what was measured and what it is held against, both in `unit`; None where there is no number
    where : the place in words; `place` is the same as (x, y, z) mm in the cast frame, for a picture
    source : where the limit comes from
    words : one sentence for the reader
    overruled : the reason why a person accepts it although it did not pass; the status stays what it is
    """

    id: str
    status: Status
    value: float | None
    limit: float | None
    unit: str
    where: str
    source: str
    words: str = ""
    place: tuple[float, float, float] | None = None
    overruled: str = ""

    @property
    def stops(self) -> bool:
        """Must the framework not be made: failed, and nobody has answered for it."""
        return self.status == "fail" and not self.overruled

    def as_dict(self) -> dict[str, object]:
        """For build.json: plain types only, numbers rounded to a hundredth of a micrometre, no NaN or infinity."""
        return {
            "id": self.id,
            "status": self.status,
            "value": _plain(self.value),
            "limit": _plain(self.limit),
            "unit": self.unit,
            "where": self.where,
            "source": self.source,
            "words": self.words,
            "place": None if self.place is None else [round(float(c), 3) for c in self.place],
            "overruled": self.overruled,
        }


def _plain(number: float | None) -> float | None:
    if number is None or not math.isfinite(number):
        return None
    return round(float(number), 5)


def worst(checks: Iterable[Check]) -> Status:
    """The gravest status among the checks ("skip" when there are none)."""
    found: Status = "skip"
    for check in checks:
        if _RANK[check.status] > _RANK[found]:
            found = check.status
    return found


def overrule(checks: Iterable[Check], reasons: Mapping[str, str]) -> tuple[tuple[Check, ...], tuple[str, ...]]:
    """Write the reasons (by check id) beside the checks that did not pass, and say which reasons found no place.

    A broken solid cannot be overruled: no reason makes it printable.
    """
    found, remarks, used = [], [], set()
    for check in checks:
        reason = reasons.get(check.id, "")
        if reason and check.id.startswith("solid."):
            remarks.append(f"{check.id}: cannot be overruled, a broken solid cannot be made; mend the mesh")
        elif reason and check.status in ("warn", "fail"):
            check = replace(check, overruled=reason)
        elif reason:
            remarks.append(f"{check.id}: its overrule is not needed, the result is {check.status}")
        used.add(check.id)
        found.append(check)
    remarks += [f"{name}: overruled, but there is no such check" for name in reasons if name not in used]
    return tuple(found), tuple(dict.fromkeys(remarks))


def as_place(point: Floats | None) -> tuple[float, float, float] | None:
    """A (3,) point as plain numbers."""
    return None if point is None else (float(point[0]), float(point[1]), float(point[2]))


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Where teeth are, so that a place can be named by the nearest one.

    points : (k, 3) mm; fdi : (k,) int, 0 for tissue
    """

    points: Floats
    fdi: np.ndarray

    def describe(self, point: Floats | None, within_mm: float = 12.0) -> str:
        """ "(12.3, -4.1, 8.0), near 44"; no tooth is named when the nearest is farther than `within_mm`."""
        if point is None:
            return ""
        words = "({:.2f}, {:.2f}, {:.2f})".format(*point)
        teeth = self.fdi > 0
        if teeth.any():
            distance = np.linalg.norm(self.points[teeth] - point, axis=1)
            nearest = int(distance.argmin())
            if distance[nearest] < within_mm:
                words += f", near {int(self.fdi[teeth][nearest])}"
        return words


NO_LANDMARKS = Landmarks(np.zeros((0, 3)), np.zeros(0, dtype=np.int64))
