"""The working process: its answers are the core's own, errors come in one line, a stop is a stop, and it ends when nobody listens."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from claspwright.core.background import _BOOT, ROOT, Process, _search_path
from claspwright.core.case import load_case
from claspwright.core.errors import Cancelled, GeometryError
from claspwright.core.pipeline.build import read_cast

CASE = ROOT / "sample_scenes" / "lower_class_i" / "case.json"


@pytest.fixture(scope="module")
def process():
    made = Process()
    yield made
    made.stop()
    assert not made.alive


def task() -> dict:
    return {"case": json.loads(CASE.read_text(encoding="utf-8")), "folder": str(CASE.parent)}


def test_the_cast_is_the_cores_own(process: Process):
    call = process.wait(process.start("open_case", **task()), 120)
    info, arrays = call.result()
    expected = read_cast(load_case(CASE))
    assert np.array_equal(arrays["vertices"], expected.mesh.vertices) and np.array_equal(arrays["faces"], expected.mesh.faces)
    assert info["closed"] and info["changes"] == list(expected.changes)


def test_errors_come_in_one_line_and_the_process_lives_on(process: Process, tmp_path: Path):
    for do, values, words in (
        ("open_scan", {"scan": str(tmp_path / "no.stl"), "arch": ""}, "no.stl: cannot be read"),
        ("open_case", {"case": {"format": "claspwright-case", "version": 9}, "folder": ""}, "version"),
    ):
        call = process.wait(process.start(do, **values), 60)
        with pytest.raises(GeometryError, match=words) as caught:
            call.result()
        assert "\n" not in str(caught.value) and process.alive


def test_one_task_at_a_time_and_a_stop(process: Process):
    call = process.start("build", **task(), quick=True)
    with pytest.raises(GeometryError, match="still running"):
        process.start("open_case", **task())
    process.stop()
    with pytest.raises(Cancelled, match="nothing was changed"):
        call.result()
    assert not process.alive and not process.busy


def test_an_unknown_task_ends_it_with_its_last_words(process: Process):
    call = process.wait(process.start("dance"), 60)
    with pytest.raises(GeometryError, match="ended before its time .KeyError"):
        call.result()


def test_it_ends_when_its_window_is_gone():
    command = [sys.executable, "-s", "-c", _BOOT, str(ROOT), json.dumps(_search_path())]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdin is not None and child.stdout is not None
    assert "ready" in json.loads(child.stdout.readline())
    child.stdin.close()
    begin = time.monotonic()
    child.wait(timeout=20)
    assert time.monotonic() - begin < 20
    child.stdout.close()
