"""The near end of a working process (`pipeline/serve.py` is the far one): start it, give it a task, look how far it is, stop it.

Nothing here waits unless asked to, and nothing heavy is imported, so a window can use it between two frames.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import Any

from .errors import Cancelled, ClaspwrightError, GeometryError

ROOT = FilePath(__file__).resolve().parents[1]
# The package's folder may have any name (a checkout, an installed extension): it is loaded under its own.
_BOOT = """
import importlib.util, json, sys
root, sys.path[:] = sys.argv[1], json.loads(sys.argv[2])
spec = importlib.util.spec_from_file_location("claspwright", root + "/__init__.py", submodule_search_locations=[root])
sys.modules["claspwright"] = module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
importlib.import_module("claspwright.core.pipeline.serve").main()
"""
_NO_WINDOW = getattr(subprocess, "CREATE_NO_WINDOW", 0)  # Windows would open a console


class Call:
    """One task under way. stage and share tell how far; once `over`, either `info` or `error` is set."""

    def __init__(self, arrays: FilePath) -> None:
        self.stage, self.share, self.over = "starting", 0.0, False
        self.info: dict[str, Any] = {}
        self.error: ClaspwrightError | None = None
        self.arrays = arrays

    def result(self) -> tuple[dict[str, Any], dict[str, Any]]:
        """What came out, and its arrays (their file is taken away). Raises the task's own error."""
        if self.error is not None:
            raise self.error
        import numpy as np

        if not self.arrays.exists():
            return self.info, {}
        with np.load(self.arrays, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        self.arrays.unlink()
        return self.info, arrays


class Process:
    """A process that does one task after another; started at the first one, and again after a stop."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[str] | None = None
        self._folder: FilePath | None = None
        self._call: Call | None = None
        self._count = 0

    @property
    def busy(self) -> bool:
        """Whether a task is under way."""
        return self._call is not None and not self._call.over

    @property
    def alive(self) -> bool:
        """Whether the process runs, busy or waiting."""
        return self._child is not None and self._child.poll() is None

    def start(self, do: str, **task: Any) -> Call:
        """Begin a task (`serve.TASKS`) and return at once. One at a time."""
        if self.busy:
            raise GeometryError("other work is still running; wait for it or stop it")
        if not self.alive:
            self._open()
        child, folder = self._child, self._folder
        assert child is not None and child.stdin is not None and folder is not None
        self._count += 1
        self._call = Call(folder / f"{self._count}.npz")
        line = json.dumps({"do": do, "arrays": str(folder / f"{self._count}.npz"), **task})
        try:
            child.stdin.write(line + "\n")
            child.stdin.flush()
        except OSError:
            self._call.error, self._call.over = GeometryError(self._last_words()), True
        return self._call

    def ask_stop(self) -> None:
        """Ask the task under way to end with Cancelled at its next step; what the process keeps for the next task stays."""
        child = self._child
        if child is not None and child.stdin is not None and self._call is not None and not self._call.over:
            try:
                child.stdin.write(json.dumps({"do": "stop", "arrays": str(self._call.arrays)}) + "\n")
                child.stdin.flush()
            except OSError:
                return  # it has ended: whoever listens to it will say so

    def stop(self) -> None:
        """End the process at once, and its task with Cancelled. What it had not finished is nowhere."""
        child, self._child = self._child, None
        if self._call is not None and not self._call.over:
            self._call.error, self._call.over = Cancelled("stopped; nothing was changed"), True
        if child is not None:
            child.kill()
            child.wait(timeout=10)
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def wait(self, call: Call, seconds: float = 3600.0) -> Call:
        """Until the task is over: for scripts and tests, not for a window."""
        end = time.monotonic() + seconds
        while not call.over and time.monotonic() < end:
            time.sleep(0.01)
        return call

    def _open(self) -> None:
        self.stop()
        self._folder = FilePath(tempfile.mkdtemp(prefix="claspwright-"))
        command = [sys.executable, "-s", "-c", _BOOT, str(ROOT), json.dumps(_search_path())]
        try:
            with open(self._folder / "words.txt", "w", encoding="utf-8") as words:
                self._child = subprocess.Popen(
                    command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=words, text=True, encoding="utf-8",
                    creationflags=_NO_WINDOW, cwd=self._folder,
                )  # fmt: skip
        except OSError as error:
            raise GeometryError(f"the working process could not be started ({error.strerror or error}); restart the program") from error
        threading.Thread(target=self._listen, args=(self._child, self._folder), daemon=True).start()

    def _listen(self, child: subprocess.Popen[str], folder: FilePath) -> None:
        assert child.stdout is not None
        for line in child.stdout:
            words, call = json.loads(line), self._call
            if child is not self._child or call is None:
                continue
            if "stage" in words:
                call.stage, call.share = words["stage"], float(words["share"])
            elif "stopped" in words:
                call.error, call.over = Cancelled(words["stopped"]), True
            elif "error" in words:
                call.error, call.over = GeometryError(words["error"]), True
            elif "done" in words:
                call.info, call.over = words["done"], True
        if child is self._child and self._call is not None and not self._call.over:
            self._call.error, self._call.over = GeometryError(self._last_words(folder)), True

    def _last_words(self, folder: FilePath | None = None) -> str:
        folder = folder or self._folder
        try:
            lines = (folder / "words.txt").read_text(encoding="utf-8", errors="replace").split("\n") if folder else []
        except OSError:
            lines = []
        last = next((line.strip() for line in reversed(lines) if line.strip()), "it said nothing")
        return f"the working process ended before its time ({last[:160]}); try again, and report it if it happens twice"


def _search_path() -> Sequence[str]:
    """Where this program finds its libraries; the working process must find the very same ones."""
    return [os.path.abspath(p) for p in sys.path if p and os.path.exists(p)]
