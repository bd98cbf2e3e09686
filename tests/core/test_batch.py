"""A folder of cases: what is found, gone on with, told; and, behind `nightly`, real builds with processes killed in mid-run."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from claspwright.core.batch import BatchCase, Outcome, Settings, find_cases, finished, run_here, work, write_summary
from claspwright.core.cli import main
from claspwright.core.errors import CaseError, GeometryError

WORK = sys.modules["claspwright.core.batch.work"]


def case_file(folder: Path, text: str = "") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    document = {"format": "claspwright-case", "version": 1, "cast": {"file": "cast.ply", "sha256": "", "arch": "lower"}}
    (folder / "case.json").write_text(text or json.dumps(document))
    return folder / "case.json"


def test_cases_are_found_by_name_or_by_what_they_say(tmp_path):
    case_file(tmp_path / "b")
    case_file(tmp_path / "a" / "deep")
    case_file(tmp_path / "out" / "b")  # results: never taken for cases
    (tmp_path / "loose.json").write_text('{"format": "claspwright-case"}')
    (tmp_path / "other.json").write_text('{"format": "something"}')
    found = find_cases(tmp_path, tmp_path / "out")
    assert [(c.name, c.into.relative_to(tmp_path).as_posix()) for c in found] == [
        ("a/deep", "out/a/deep"), ("b", "out/b"), ("loose", "out/loose"),
    ]  # fmt: skip
    (tmp_path / "b.json").write_text('{"format": "claspwright-case"}')
    with pytest.raises(CaseError, match="one folder"):
        find_cases(tmp_path, tmp_path / "out")
    for folder, words in ((tmp_path / "none", "no such folder"), (tmp_path / "out" / "empty", "no case files")):
        folder.name == "empty" and folder.mkdir()
        with pytest.raises(CaseError, match=words):
            find_cases(folder, tmp_path / "x")


@pytest.fixture
def counted(monkeypatch):
    """Builds that only count: the real ones have their own tests."""
    made: list[str] = []

    def build(case, **_):
        made.append(case.folder)
        return SimpleNamespace(checks=(), cast=SimpleNamespace(mesh=SimpleNamespace(faces=range(7))), framework=SimpleNamespace(digest="d"))

    def write(_, folder, **__):
        (folder / "framework.stl").write_bytes(b"metal")
        (folder / "manifest.json").write_text(json.dumps({"files": [{"file": "framework.stl", "bytes": 5}]}))

    monkeypatch.setattr(WORK, "build", build)
    monkeypatch.setattr(WORK, "write_outputs", write)
    return made


def test_what_is_finished_is_not_built_again_until_something_changes(tmp_path, counted):
    case = BatchCase("a", case_file(tmp_path / "a"), tmp_path / "out" / "a")
    settings = Settings()
    first = work(case, settings)
    assert first.state == "passed" and first.triangles == 7
    assert work(case, settings) == first and len(counted) == 1
    (tmp_path / "a" / "cast.ply").write_bytes(b"another scan")
    assert work(case, settings).key != first.key and len(counted) == 2
    work(case, Settings(quick=True))
    assert len(counted) == 3
    (case.into / "framework.stl").write_bytes(b"met")  # as a killed copy would leave it
    work(case, Settings(quick=True))
    assert len(counted) == 4
    (case.into / "outcome.json").write_text("{")
    work(case, Settings(quick=True))
    assert len(counted) == 5


def test_a_refused_case_says_why(tmp_path, monkeypatch):
    def build(*_, **__):
        raise GeometryError("the scan\nis a ball")

    monkeypatch.setattr(WORK, "build", build)
    outcome = work(BatchCase("a", case_file(tmp_path / "a"), tmp_path / "out"), Settings())
    assert (outcome.state, outcome.message) == ("refused", "the scan is a ball")


def test_bad_cases_do_not_stop_the_others(tmp_path, capsys):
    """Real processes. None can be built; each says why, and a second run knows it already."""
    case_file(tmp_path / "in" / "a")
    case_file(tmp_path / "in" / "b", "{")
    code = main(["batch", str(tmp_path / "in"), "-o", str(tmp_path / "out"), "--jobs", "2", "--quiet"])
    shown = capsys.readouterr().out
    assert code == 1 and "cast.ply: cannot be read" in shown and "not valid JSON" in shown and "2 cases: 2 refused; 0 of them" in shown
    rows = list(csv.DictReader((tmp_path / "out" / "summary.csv").read_text(encoding="utf-8").splitlines()))
    assert [(r["name"], r["state"]) for r in rows] == [("a", "refused"), ("b", "refused")]
    assert main(["batch", str(tmp_path / "in"), "-o", str(tmp_path / "out"), "--json", "--quiet"]) == 1
    assert json.loads(capsys.readouterr().out)["built_before"] == 2
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["a", "b", "summary.csv", "summary.json"]


@pytest.mark.parametrize(("arguments", "words"), [
    (["none"], "no such folder"), (["."], "no case files"), ([".", "--jobs", "0"], "too few"), ([".", "--export", "dwg"], "not known"),
])  # fmt: skip
def test_bad_arguments_get_one_line(tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    assert main(["batch", *arguments, "-o", "out", "--quiet"]) == 2
    assert words in capsys.readouterr().err


def test_the_table_holds_no_formulas(tmp_path):
    write_summary([Outcome("=cmd()", "k", "refused", "+1")], tmp_path, 3)
    assert "'=cmd()" in (tmp_path / "summary.csv").read_text() and "'+1" in (tmp_path / "summary.csv").read_text()
    assert json.loads((tmp_path / "summary.json").read_text())["cases"] == 3


# --- real builds, with kills: minutes ---------------------------------------------------------------------------------


def generated(folder: Path, count: int) -> None:
    here = Path(__file__).with_name("many_cases.py")
    subprocess.run([sys.executable, here, folder, str(count)], check=True, timeout=600)


def told_of(folder: Path) -> dict[str, dict]:
    return {f.parent.name: json.loads(f.read_text()) for f in folder.glob("*/outcome.json")}


@pytest.mark.nightly
@pytest.mark.timeout(900)
def test_a_batch_that_is_killed_goes_on_where_it_was(tmp_path):
    generated(tmp_path / "in", 4)
    command = [sys.executable, "-m", "claspwright", "batch", tmp_path / "in", "-o", tmp_path / "out", "--jobs", "2",
               "--quick", "--no-report", "--export", "stl"]  # fmt: skip
    first = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    while not told_of(tmp_path / "out"):
        time.sleep(0.2)
        assert first.poll() is None
    first.send_signal(signal.SIGKILL)
    first.wait()
    time.sleep(1.0)
    before = told_of(tmp_path / "out")
    assert 1 <= len(before) < 4
    assert subprocess.run(command, timeout=600).returncode == 0
    after = told_of(tmp_path / "out")
    assert len(after) == 4 and all(o["state"] == "passed" for o in after.values())
    assert {name: after[name] for name in before} == before, "what was built is not built again"


@pytest.mark.nightly
@pytest.mark.timeout(900)
def test_on_a_cluster_with_a_worker_killed_nothing_is_lost_and_nothing_done_twice(tmp_path):
    distributed = pytest.importorskip("distributed")
    from claspwright.core.batch import run_on_cluster

    generated(tmp_path / "in", 6)
    cases = find_cases(tmp_path / "in", tmp_path / "out")
    told: list[tuple[str, bool]] = []
    killed: list[int] = []
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:

        def hear(outcome: Outcome, before: bool) -> None:
            told.append((outcome.name, before))
            if not killed:  # the other worker is in mid-build now
                other = next(w.pid for w in cluster.workers.values() if w.pid != outcome.process)
                killed.append(other)
                os.kill(other, signal.SIGKILL)

        outcomes = run_on_cluster(cases, Settings(quick=True, exports="stl", pages=False), cluster.scheduler_address, hear)
    assert len(killed) == 1
    assert sorted(name for name, _ in told) == [c.name for c in cases], "each case is told of once"
    # Built, whatever its checks say: on casts of 8,000 triangles a rest or a strut can come out thin.
    assert all(o.state in ("passed", "failed") for o in outcomes) and [o.name for o in outcomes] == [c.name for c in cases]
    assert all(finished(c, o.key) == o for c, o in zip(cases, outcomes, strict=True))
    again = run_here(cases, Settings(quick=True, exports="stl", pages=False), 1, lambda o, before: told.append((o.name, before)))
    assert again == outcomes and all(before for _, before in told[len(cases):])
