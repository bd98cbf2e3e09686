"""Draw contact sheets of the catalogue: each entry built on a made-up cast, one small picture each, in docs/pictures.

python scripts/contact_sheet.py [SHEET...] [--folder DIR]

A sheet is data: entries of a title, a made-up cast, what to look at, and parts as they stand in a case file.
"""

from __future__ import annotations

from pathlib import Path

from claspwright.core.phantom import PhantomSpec

ROOT = Path(__file__).resolve().parents[1]
CASTS = {
    "lower": PhantomSpec("lower", missing=(35, 36, 46), absent=(38, 48), triangles=80_000, seed=22),
    "upper": PhantomSpec("upper", missing=(15, 16, 25), absent=(18, 28), triangles=80_000, seed=23),
    "tipped": PhantomSpec("lower", missing=(36, 46), absent=(38, 48), tilts={37: (14.0, -8.0)}, triangles=80_000, seed=21),
}
