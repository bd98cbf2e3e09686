"""The same case gives the same bytes: whatever the order of its entries, on one thread or many. Two real builds, so behind `nightly`."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from .many_cases import one_case

BUILD = """
import json, os, sys
from pathlib import Path
threads, file, into = sys.argv[1:]
if threads == "one":
    os.cpu_count = lambda: 1
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from claspwright.core.pipeline import build_case
build_case(file, into, pages=False, exports="stl,3mf,ply")
"""


def built(case: Path, into: Path, threads: str) -> dict[str, str]:
    """Digest of every file but build.json, which tells times."""
    subprocess.run([sys.executable, "-c", BUILD, threads, case, into], check=True, timeout=600)
    listed = json.loads((into / "manifest.json").read_text())["files"]
    return {f["file"]: f["sha256"] for f in listed if f["file"] != "build.json"}


@pytest.mark.nightly
@pytest.mark.timeout(1300)
def test_same_bytes_in_any_order_on_any_number_of_threads(tmp_path):
    case = one_case(tmp_path / "in", 3)
    straight = built(case, tmp_path / "straight", "many")
    document = json.loads(case.read_text())
    document["components"].reverse()
    document["chart"]["teeth"].reverse()
    document["chart"]["missing"].reverse()
    case.write_text(json.dumps(dict(reversed(document.items()))))
    assert built(case, tmp_path / "shuffled", "one") == straight
    print(f"{len(straight)} files alike")
