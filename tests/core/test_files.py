"""Files are whole or not there, also when the process is killed, the disk is full or two write at once. The judge is the kernel."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from claspwright.core.errors import WriteError
from claspwright.core.files import LOCK, STAGE, all_at_once, make_folder, sole_writer, write_atomic

# Writes files of one letter over and over, 300 kB each: any mixture or part of two is seen at once.
WRITER = """
import sys
from pathlib import Path
from claspwright.core.files import all_at_once, sole_writer, write_atomic
folder, alone = Path(sys.argv[1]), Path(sys.argv[1]) / "alone.bin"
print("ready", flush=True)
for k in range(10**9):
    letter = bytes([65 + k % 26])
    write_atomic(alone, letter * 300_000)
    with sole_writer(folder), all_at_once(folder, "last") as aside:
        for name in ("a", "b", "last"):
            write_atomic(aside / name, letter * 50_000)
"""


def whole(file: Path, size: int) -> bytes:
    data = file.read_bytes()
    assert len(data) == size and len(set(data)) == 1, f"{file.name} is half of one and half of another"
    return data[:1]


def killed_in_mid_write(folder: Path, rng: random.Random) -> bool:
    """One writer, killed at a random moment. Whether the set of files was told of by its last one."""
    child = subprocess.Popen([sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE)
    assert child.stdout is not None and child.stdout.readline() == b"ready\n"
    time.sleep(rng.uniform(0.0, 0.2))
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    if (folder / "alone.bin").exists():
        whole(folder / "alone.bin", 300_000)
    for name in ("a", "b"):
        if (folder / name).exists():
            whole(folder / name, 50_000)
    if not (folder / "last").exists():
        return False
    assert len({whole(folder / name, 50_000) for name in ("a", "b", "last")}) == 1, "the last file tells of another set"
    return True


@pytest.mark.parametrize("times", [6, pytest.param(100, marks=pytest.mark.nightly)])
def test_killed_writers_leave_whole_files(tmp_path, times):
    rng = random.Random(20)
    told = sum(killed_in_mid_write(tmp_path, rng) for _ in range(times))
    print(f"{times} kills: every file whole; {told} times the folder told of a whole set")
    with sole_writer(tmp_path), all_at_once(tmp_path, "last") as aside:
        (aside / "last").write_bytes(b"z")
    left = [p.name for p in tmp_path.iterdir() if p.name.startswith(STAGE) or p.name == LOCK]
    assert left == [], "the next writer clears away what dead ones left"


def test_the_guard_against_the_network_sees_a_connection():
    code = (
        "import sys, socket\nseen = []\nsys.addaudithook(lambda e, a: e == 'socket.connect' and seen.append(e))\n"
        "try:\n    socket.create_connection(('127.0.0.1', 9), 0.2)\nexcept OSError:\n    pass\nprint(seen)"
    )
    assert "socket.connect" in subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60).stdout


def test_a_temporary_file_of_a_dead_writer_is_taken_away(tmp_path):
    old, young = tmp_path / ".a[1].json.x.part", tmp_path / ".a[1].json.y.part"
    for file in (old, young):
        file.write_bytes(b"half")
    os.utime(old, (0, 0))
    write_atomic(tmp_path / "a[1].json", b"new")
    assert sorted(p.name for p in tmp_path.iterdir()) == [young.name, "a[1].json"]


def test_a_failure_in_the_middle_leaves_the_old_set(tmp_path):
    (tmp_path / "last").write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), sole_writer(tmp_path), all_at_once(tmp_path, "last") as aside:
        (aside / "last").write_bytes(b"new")
        raise ZeroDivisionError
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("last", b"old")]


def test_a_second_writer_is_told_at_once(tmp_path):
    with sole_writer(tmp_path):
        code = f"from pathlib import Path\nfrom claspwright.core.files import sole_writer\nwith sole_writer(Path({str(tmp_path)!r})): pass"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
        assert "WriteError" in done.stderr and "another build is writing there" in done.stderr
        with pytest.raises(WriteError, match="another build"), sole_writer(tmp_path):
            pass
    with sole_writer(tmp_path):
        pass
    assert list(tmp_path.iterdir()) == []


FULL = """
import resource, signal, sys
from pathlib import Path
from claspwright.core.errors import WriteError
from claspwright.core.files import write_atomic
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    write_atomic(Path(sys.argv[1]), bytes(300_000))
except WriteError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits of this kind are Unix's")
def test_no_room_in_mid_write_leaves_the_old_file(tmp_path):
    """The kernel itself refuses the 100,001st byte."""
    target = tmp_path / "a.stl"
    target.write_bytes(b"old")
    done = subprocess.run([sys.executable, "-c", FULL, str(target)], capture_output=True, text=True, timeout=60)
    assert "free some space" in done.stdout and done.stdout.count("\n") == 1, done.stderr
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("a.stl", b"old")]


@pytest.fixture
def mounted(tmp_path):
    """Mounts a file system in memory with the options given; skips where that is not allowed."""
    places = []

    def mount(options: str) -> Path:
        place = tmp_path / f"disk{len(places)}"
        place.mkdir()
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", place]
        if sys.platform != "linux" or subprocess.run(command, capture_output=True).returncode:
            pytest.skip("file systems cannot be mounted here")
        places.append(place)
        return place

    yield mount
    for place in places:
        subprocess.run(["umount", place], check=True)


def test_a_full_disk_and_a_folder_for_reading_only(mounted):
    full = mounted("size=200k")
    (full / "a").write_bytes(b"old")
    with pytest.raises(WriteError, match="No space left.*free some space"):
        write_atomic(full / "a", bytes(300_000))
    assert [(p.name, p.read_bytes()) for p in full.iterdir()] == [("a", b"old")]
    with pytest.raises(WriteError, match="free some space|cannot be written"), sole_writer(full), all_at_once(full, "b") as aside:
        write_atomic(aside / "b", bytes(300_000))
    assert [p.name for p in full.iterdir()] == ["a"]
    fixed = mounted("ro,size=200k")
    for act in (lambda: write_atomic(fixed / "a", b"x"), lambda: sole_writer(fixed).__enter__(), lambda: make_folder(fixed / "b")):
        with pytest.raises(WriteError, match="Read-only file system"):
            act()


@pytest.mark.parametrize("name", ["Ärztin 上顎 🦷.json", "a b'c\"d.json", "-rf.json", "é" * 100 + ".json", "x" * 250])
def test_odd_names(tmp_path, name):
    write_atomic(tmp_path / name, b"1")
    write_atomic(tmp_path / name, b"2")
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [(name, b"2")]


def test_a_name_that_is_too_long_is_told(tmp_path):
    with pytest.raises(WriteError, match="cannot be written"):
        write_atomic(tmp_path / ("x" * 300), b"1")
    assert list(tmp_path.iterdir()) == []
