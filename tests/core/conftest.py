"""Builds that several test files look at are made once a session."""

import sys
from pathlib import Path

import pytest
from claspwright.core.case import load_case
from claspwright.core.pipeline import Build, build

TALK = ("socket.connect", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname", "urllib.Request")
REACHED: list[str] = []


def _listen(event: str, arguments: tuple) -> None:
    if event in TALK:
        REACHED.append(f"{event} {arguments[1:]}"[:200])


sys.addaudithook(_listen)


@pytest.fixture(autouse=True)
def no_network(request):
    """Whatever a test of the core does in this process, it talks to nobody (audit events of Python itself, PEP 578)."""
    before = len(REACHED)
    yield
    if "cluster" not in request.node.name:
        assert REACHED[before:] == [], "the core reached for the network"


SAMPLES = Path(__file__).resolve().parents[2] / "sample_scenes"


@pytest.fixture(scope="session")
def quick_lower() -> Build:
    """The lower sample with a coarse polished side; the fitting side is as exact as ever."""
    return build(load_case(SAMPLES / "lower_class_i" / "case.json"), quick=True)
