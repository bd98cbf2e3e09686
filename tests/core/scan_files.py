"""Real scans, found by the SHA-256 of their file: they are not part of the project, and what needs one is skipped where it is absent."""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest

FOLDER = Path(os.environ.get("CLASPWRIGHT_CASTS", Path(__file__).parents[3] / "shared" / "casts"))
DIGESTS = {
    "stone_upper": "e690b90455d1a34a6d4081807d2f02217adfca2ee2a8edd4265638d8d0672d31",
    "oral_upper": "58a9a2f472dd0f4503a69f67bcbf488b2da967b61b13bacd569ca25cdc2c9cc2",
    "research_upper_22": "c64785225bb78a1e13b44c1a07dab6dbbd2a7dc6c0718a59d75f3da4162c3b51",
    "research_upper_12_missing_12_26": "7ac2fbd089546a7cab4927811dbf569b47c6401c449b9dca68304e96476d2330",
    "research_upper_14_missing_15_24": "8b85e02e41a235fef1d4dca70388e6b82159ceb860227ca3e13dd8a2895c6423",
    "research_upper_23_missing_17_27": "39b509026b648bc185bae4235019902e68b87a6bad5f7bc5bb2a95772f01353e",
    "research_lower_01": "b82d7ed4c4d42f6f1f2700f5e767c3f4c44f021e420391b4f7ec4d822e95924b",
    "research_lower_03": "c5c885b35c27f0c8a39680057c44859f92bb0fc758c3db8dbfd8fc683b2f0019",
}


@cache
def _by_digest() -> dict[str, Path]:
    files = sorted(FOLDER.glob("*.ply")) if FOLDER.is_dir() else []
    return {hashlib.sha256(f.read_bytes()).hexdigest(): f for f in files}


def scan_with(digest: str) -> Path:
    """The file with this SHA-256, whatever it is called; skips the test where there is none."""
    found = _by_digest().get(digest)
    if found is None:
        pytest.skip(f"the real scan {digest[:8]} is not here")
    return found


def scan(name: str) -> Path:
    """A scan by the name this project knows it by."""
    return scan_with(DIGESTS[name])


def face_labels(file: Path) -> np.ndarray | None:
    """FDI number of each face of a scan, 0 for tissue, where somebody labelled it."""
    beside = file.with_suffix(".fdi.npy")
    return np.load(beside) if beside.is_file() else None
