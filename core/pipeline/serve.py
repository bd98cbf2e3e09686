"""The core at work in a process of its own: one task a line on standard input, its progress and its end on standard output.

A window that must not freeze cannot do this work in a thread: the boolean kernel keeps Python's lock for many seconds at a time
(measured: 27 s of the master cast in one piece). `core/background.py` is the other end. Lines are JSON objects; arrays go in a file.
"""

from __future__ import annotations

import dataclasses
import json
import os
import queue
import sys
import threading
from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from ..case import Case, CastEntry, case_from_json, case_to_json, save_case
from ..case.edit import mark_tooth
from ..cast import Cast, load_cast
from ..errors import Cancelled, CaseError, ClaspwrightError
from ..files import make_folder, sole_writer, write_atomic
from ..memory import one_heap
from ..teeth import propose_seeds
from .advice import arm_rows
from .build import STAGES, Build, Clock, build, cast_of, crowns
from .kept import Kept
from .live import LiveBench
from .outputs import OUTPUT_STAGES, write_outputs
from .path_choice import path_choice
from .plan import plan

Answer = tuple[dict[str, Any], dict[str, np.ndarray]]
Tell = Callable[[str, float], None]


class Bench:
    """Does the tasks, and keeps what it made for the next one: the cast, its crowns, the site of single parts, the last build."""

    def __init__(self) -> None:
        self._build: tuple[str, Build] | None = None
        self._kept = Kept()
        self._live = LiveBench(self._kept)
        self.stopped: set[str] = set()  # files of the tasks that are no longer wanted

    def open_scan(self, task: dict[str, Any], tell: Tell) -> Answer:
        """A new case on a scan: its document, and the cast. scan: path; arch: "upper", "lower" or "" to find out."""
        path = FilePath(task["scan"])
        tell("read scan", 0.1)
        found = load_cast(path, arch=task["arch"] or None, add_base=True)
        rows: Any = tuple(tuple(float(v) for v in row) for row in found.to_cast)
        title = f"{found.arch.capitalize()} framework"  # not the file's name, which is often the patient's
        case = Case(CastEntry(path.name, found.sha256, found.arch, rows), title=title, folder=str(path.resolve().parent))
        tell("mend and close", 0.6)
        info, arrays = self._shown(case_from_json(case_to_json(case), folder=case.folder))
        # the second reading starts from a known placement, so what the first one asked and did is told here
        info.update(questions=list(found.questions), changes=list(found.changes))
        return info, arrays

    def open_case(self, task: dict[str, Any], tell: Tell) -> Answer:
        """The cast of a case."""
        tell("read scan", 0.2)
        return self._shown(_case(task))

    def _shown(self, case: Case) -> Answer:
        cast = self._read(case)
        info = {
            "case": case_to_json(case), "folder": case.folder, "unit": cast.unit, "closed": cast.closed,
            "changes": list(cast.changes), "questions": list(cast.questions),
        }  # fmt: skip
        return info, {"vertices": cast.mesh.vertices, "faces": cast.mesh.faces}

    def _read(self, case: Case) -> Cast:
        return cast_of(case, Clock(None, None, self._kept))[0]

    def find_teeth(self, task: dict[str, Any], tell: Tell) -> Answer:
        """FDI number a vertex of the cast, from the marks of the case."""
        case = _case(task)
        tell("read scan", 0.0)
        clock = Clock(None, None, self._kept)
        cast_of(case, clock)
        tell("find crowns", 0.3)
        _, teeth, _ = crowns(case, clock)
        flags = [f"{t.fdi}: {words}" for t in teeth.teeth.values() for words in t.flags]
        return {"flags": flags, "found": sorted(teeth.teeth)}, {"labels": np.asarray(teeth.labels, dtype=np.int32)}

    def propose_marks(self, task: dict[str, Any], tell: Tell) -> Answer:
        """The case with a mark on every crown that is found without clicks; marks that are there stay."""
        case = _case(task)
        cast = self._read(case)
        tell("look for crowns", 0.4)
        there = {t.fdi for t in case.chart.teeth if t.seeds}
        for fdi, seeds in propose_seeds(cast.mesh, case.cast.arch, case.chart.missing).items():
            if fdi not in there and fdi not in case.chart.missing:
                case = mark_tooth(case, int(fdi), tuple(float(c) for c in seeds[0]))
        return {"case": case_to_json(case), "folder": case.folder}, {}

    def draft(self, task: dict[str, Any], tell: Tell) -> Answer:
        """The case with components drafted from its chart and its measured crowns, the reasons, and what the rules say."""
        made = plan(_case(task), progress=tell)
        reasons = [f"{r.part}: {r.words}" for r in made.draft.reasons]
        findings = [f"{f.severity}: {f.words}" + (f" ({f.detail})" if f.detail else "") for f in made.findings]
        case = made.draft.case
        return {"case": case_to_json(case), "folder": case.folder, "reasons": reasons, "open": [*made.draft.open, *findings]}, {}

    def path(self, task: dict[str, Any], tell: Tell) -> Answer:
        """The map of paths of placement of a case, and the paths to choose from."""
        return path_choice(_case(task), Clock(None, None, self._kept), tell)

    def build(self, task: dict[str, Any], tell: Tell) -> Answer:
        """The framework of a case."""
        made = self._made(task, tell, 1.0)
        meshes = {"prepared": made.prepared.mesh, "master": made.master.mesh, "framework": made.framework}
        arrays = {f"{name}_{part}": getattr(mesh, part) for name, mesh in meshes.items() for part in ("vertices", "faces")}
        tips = [(name, tip) for name, b in made.assembly.built.items() for tip in b.tips]
        arrays |= {f"tip_{k}": tip.points for k, (_, tip) in enumerate(tips)}
        info = {
            "checks": [c.as_dict() for c in made.checks], "refused": made.refused, "remarks": list(made.remarks),
            "arms": arm_rows(made.case, made.mechanics),
            "seconds": sum(made.stages.values()), "digest": made.framework.digest,
            "tips": [{"component": name, "tooth": tip.tooth, "planned_mm": tip.planned_mm} for name, tip in tips],
        }  # fmt: skip
        return info, arrays

    def _made(self, task: dict[str, Any], tell: Tell, share: float) -> Build:
        case = _case(task)
        key = json.dumps([case_to_json(case), case.folder, bool(task["quick"])], sort_keys=True)
        if self._build is None or self._build[0] != key:
            self._build = None  # two builds at once would need twice the memory
            made = build(
                case, quick=bool(task["quick"]), kept=self._kept, progress=lambda stage, done: tell(stage, done * share),
                cancelled=lambda: task.get("arrays", "") in self.stopped,
            )  # fmt: skip
            self._build = (key, made)
        return self._build[1]

    def part(self, task: dict[str, Any], tell: Tell) -> Answer:
        """One component by itself, and where to take hold of it. name: its id; handles, fresh: as in `live`."""
        made = self._live.part(_case(task), task["name"], handles=task["handles"], fresh=task["fresh"], tell=tell)
        info = {
            "name": task["name"], "facts": made.facts, "warnings": list(made.warnings), "refused": made.refused,
            "handles": [dataclasses.asdict(h) for h in made.handles],
        }  # fmt: skip
        if made.mesh is None:
            return info, {}
        mesh = made.mesh
        flat = {"vertices": mesh.vertices, "normals": mesh.vertex_normals}
        return info, {name: np.asarray(v, dtype=np.float32) for name, v in flat.items()} | {"faces": np.asarray(mesh.faces, dtype=np.int32)}

    def write(self, task: dict[str, Any], tell: Tell) -> Answer:
        """All files of a build, as the command line writes them, and the case beside its scan; built first where it is not at hand."""
        case, folder = _case(task), FilePath(task["into"])
        made = self._made(task, tell, 0.7)
        step = 0.3 / (len(OUTPUT_STAGES) + 1)
        with sole_writer(make_folder(folder)):
            seconds = write_outputs(made, folder, progress=lambda s, _: tell(s, 0.7 + step * OUTPUT_STAGES.index(s)))
            tell("case file", 1.0 - step)
            write_case(case, folder / "case.json")
        return {"seconds": sum(seconds.values()), "folder": str(folder)}, {}


def _case(task: dict[str, Any]) -> Case:
    return case_from_json(task["case"], folder=task["folder"])


def write_case(case: Case, path: FilePath) -> None:
    """The case file, and its scan beside it when it goes to another folder. Another file of the scan's name there is not overwritten."""
    target = path.parent / case.cast.file
    if target.resolve() != case.scan.resolve():
        try:
            scan = case.scan.read_bytes()
        except OSError as error:
            raise CaseError(f"{case.cast.file}: cannot be read ({error.strerror}); put the scan back into its folder") from error
        if target.exists() and target.read_bytes() != scan:
            raise CaseError(f"{target.name}: another file of this name is in that folder; choose an empty folder")
        write_atomic(target, scan)
    save_case(case, path)


TASKS: dict[str, Callable[[Bench, dict[str, Any], Tell], Answer]] = {
    "open_scan": Bench.open_scan, "open_case": Bench.open_case, "find_teeth": Bench.find_teeth,
    "propose_marks": Bench.propose_marks, "draft": Bench.draft, "build": Bench.build,
    "part": Bench.part, "path": Bench.path, "write": Bench.write,
}  # fmt: skip


def answer(bench: Bench, task: dict[str, Any], say: Callable[[dict[str, Any]], None]) -> None:
    """Do one task and say how it went; named errors are said, any other ends the process with its traceback on standard error."""
    try:
        info, arrays = TASKS[task["do"]](bench, task, lambda stage, done: say({"stage": stage, "share": round(done, 4)}))
        if arrays:
            with open(task["arrays"], "wb") as stream:
                np.savez(stream, **arrays)  # type: ignore[arg-type]
        say({"done": info})
    except Cancelled as error:
        say({"stopped": " ".join(str(error).split())})
    except ClaspwrightError as error:
        say({"error": " ".join(str(error).split())})
    except MemoryError:
        say({"error": "not enough memory for this cast; reduce the scan or close other programs"})


def main() -> None:
    """Answer tasks until standard input closes. Nothing else may write to standard output, so it is kept aside first."""
    one_heap()
    out = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    tasks: queue.Queue[dict[str, Any]] = queue.Queue()
    bench = Bench()

    def listen() -> None:
        for line in sys.stdin:
            task = json.loads(line)
            if task["do"] == "stop":
                bench.stopped.add(task["arrays"])
            else:
                tasks.put(task)
        os._exit(0)  # the window is gone: whatever is being done is for nobody

    def say(words: dict[str, Any]) -> None:
        out.write(json.dumps(words) + "\n")
        out.flush()

    threading.Thread(target=listen, daemon=True).start()
    say({"ready": list(STAGES)})
    while True:
        answer(bench, tasks.get(), say)
