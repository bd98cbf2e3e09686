"""One case of many: built unless it is built already, and what came of it in one small file that is written last."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ... import __version__
from ..case import load_case
from ..errors import ClaspwrightError
from ..files import make_folder, sole_writer, write_atomic
from ..pipeline import Build, build, wanted_exports, write_outputs
from ..pipeline.outputs import MANIFEST, peak_memory_gb
from .cases import BatchCase

OUTCOME = "outcome.json"
STATES = ("passed", "failed", "refused", "died")
"""All checks passed or accepted; built, but a check failed; not built, the message says why; its process ended twice in mid-build."""


@dataclass(frozen=True)
class Settings:
    """What all cases of a batch are built with."""

    quick: bool = False
    exports: str = "stl,3mf"
    pages: bool = True


@dataclass(frozen=True)
class Outcome:
    """What came of a case. key : of all that it hangs on; state : one of STATES; message : why refused, or the worst check"""

    name: str
    key: str
    state: str
    message: str = ""
    failed: int = 0
    warned: int = 0
    triangles: int = 0
    seconds: float = 0.0
    peak_memory_gb: float | None = None
    framework_sha256: str = ""
    process: int = 0


def key_of_case(case: BatchCase, settings: Settings) -> str:
    """SHA-256 over this release, the settings, the case file and the scans that it names; what cannot be read counts as empty."""
    digest = hashlib.sha256(json.dumps([__version__, dataclasses.asdict(settings)], sort_keys=True).encode())
    text = _bytes(case.file)
    names: list[Any] = []
    try:
        document = json.loads(text)
        names = [document["cast"]["file"], (document.get("opposing") or {}).get("file")]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass  # the build will say what is wrong with it
    for data in (text, *(_bytes(case.file.parent / n) for n in names if isinstance(n, str) and Path(n).name == n)):
        digest.update(hashlib.sha256(data).digest())
    return digest.hexdigest()


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except (OSError, ValueError):
        return b""


def finished(case: BatchCase, key: str) -> Outcome | None:
    """What came of this case before, if nothing that it hangs on has changed and its files are all there."""
    try:
        outcome = Outcome(**json.loads((case.into / OUTCOME).read_text(encoding="utf-8")))
        if outcome.key != key or outcome.state not in STATES[:3]:
            return None
        if outcome.state != "refused":
            listed = json.loads((case.into / MANIFEST).read_text(encoding="utf-8"))["files"]
            if any((case.into / f["file"]).stat().st_size != f["bytes"] for f in listed):
                return None
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return dataclasses.replace(outcome, name=case.name)


def work(case: BatchCase, settings: Settings) -> Outcome:
    """Build one case and write its files and its outcome; a case that is finished is left as it is. Raises WriteError only."""
    key = key_of_case(case, settings)
    with sole_writer(make_folder(case.into)):
        before = finished(case, key)
        if before is not None:
            return before
        begin = time.perf_counter()
        try:
            made = build(load_case(case.file), quick=settings.quick)
            write_outputs(made, case.into, exports=wanted_exports(settings.exports), pages=settings.pages)
            outcome = _built(case.name, key, made)
        except MemoryError:
            outcome = Outcome(case.name, key, "refused", "not enough memory for this cast; reduce the scan or use fewer --jobs")
        except ClaspwrightError as error:
            outcome = Outcome(case.name, key, "refused", " ".join(str(error).split()))
        outcome = dataclasses.replace(
            outcome, seconds=round(time.perf_counter() - begin, 2), peak_memory_gb=peak_memory_gb(), process=os.getpid()
        )
        write_outcome(case, outcome)
    return outcome


def write_outcome(case: BatchCase, outcome: Outcome) -> None:
    """The small file that says the case is done."""
    write_atomic(case.into / OUTCOME, (json.dumps(dataclasses.asdict(outcome), indent=1) + "\n").encode())


def _built(name: str, key: str, made: Build) -> Outcome:
    checks = made.checks
    failed = [c for c in checks if c.status == "fail"]
    warned = sum(c.status == "warn" for c in checks)
    state = "failed" if any(c.stops for c in checks) else "passed"
    worst = f"{failed[0].id} {failed[0].where}".strip() if failed else ""
    return Outcome(name, key, state, worst, len(failed), warned, len(made.cast.mesh.faces), framework_sha256=made.framework.digest)
