"""Builds that several test files look at are made once a session."""

from pathlib import Path

import pytest
from claspwright.core.case import load_case
from claspwright.core.pipeline import Build, build

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scenes"


@pytest.fixture(scope="session")
def quick_lower() -> Build:
    """The lower sample with a coarse polished side; the fitting side is as exact as ever."""
    return build(load_case(SAMPLES / "lower_class_i" / "case.json"), quick=True)
