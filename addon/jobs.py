"""Long work beside the window: a thread that runs the core on plain data, and an operator that waits for it.

Blender's data is touched before the thread starts and after it ended, never by it. In background mode, and when a script calls the
operator, the same work runs at once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import bpy

from ..core.errors import Cancelled, ClaspwrightError
from . import document, shading

Work = Callable[[Callable[[str, float], None], Callable[[], bool]], Any]


class Job:
    """One piece of work in its own thread."""

    def __init__(self, words: str, work: Work) -> None:
        self.words, self.stage, self.fraction = words, "", 0.0
        self.result: Any = None
        self.error: BaseException | None = None
        self._stop = threading.Event()
        self._work = work
        self.thread = threading.Thread(target=self._run, name="claspwright", daemon=True)

    def _run(self) -> None:
        try:
            self.result = self._work(self.tell, self._stop.is_set)
        except BaseException as error:  # noqa: BLE001 (carried to the main thread and raised there)
            self.error = error

    def tell(self, stage: str, fraction: float) -> None:
        """Called by the work."""
        self.stage, self.fraction = stage, min(max(fraction, 0.0), 1.0)

    def cancel(self) -> None:
        """Ask the work to stop at its next step."""
        self._stop.set()

    @property
    def stopping(self) -> bool:
        """Whether it was asked to stop."""
        return self._stop.is_set()


running: dict[str, Job] = {}  # at most one, under "now"


def current() -> Job | None:
    """The work that runs now."""
    return running.get("now")


class JobOperator:
    """Mixin of operators with long work: `begin` reads Blender, the work runs, `land` writes Blender."""

    words = "Working"
    _job: Job | None = None
    _timer: Any = None

    def begin(self, context: bpy.types.Context) -> Work:
        """Read and check everything; raises ClaspwrightError before anything is written."""
        raise NotImplementedError

    def land(self, context: bpy.types.Context, result: Any) -> set[str]:
        """Write the result; raises ClaspwrightError before anything is written."""
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> set[str]:
        return guarded(self, lambda: self.land(context, self.begin(context)(lambda *_: None, lambda: False)))

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if bpy.app.background:
            return self.execute(context)
        return guarded(self, lambda: self._start(context))

    def _start(self, context: bpy.types.Context) -> set[str]:
        if current() is not None:
            self.report({"WARNING"}, "Other work is still running: wait for it or stop it")  # type: ignore[attr-defined]
            return {"CANCELLED"}
        self._job = running["now"] = Job(self.words, self.begin(context))
        self._timer = context.window_manager.event_timer_add(0.1, window=context.window)
        context.window_manager.modal_handler_add(self)  # type: ignore[arg-type]
        self._job.thread.start()
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        job = self._job
        if job is None:
            return {"CANCELLED"}
        if event.type == "ESC" and event.value == "PRESS" and not job.stopping:
            job.cancel()
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        context.workspace.status_text_set(f"{self.words}: {job.stage} ({job.fraction:.0%})   Esc: stop")
        shading.redraw()
        if job.thread.is_alive():
            return {"PASS_THROUGH"}
        self._finish(context)
        return guarded(self, lambda: self._land_or_raise(context, job))

    def _land_or_raise(self, context: bpy.types.Context, job: Job) -> set[str]:
        if job.error is not None:
            raise job.error
        if job.stopping:
            raise Cancelled("stopped; nothing was changed")
        return self.land(context, job.result)

    def _finish(self, context: bpy.types.Context) -> None:
        running.pop("now", None)
        if self._timer is not None:
            context.window_manager.event_timer_remove(self._timer)
        context.workspace.status_text_set(None)
        self._job = self._timer = None

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender ends the operator (window closed, file loaded)."""
        if self._job is not None:
            self._job.cancel()
            self._finish(context)


def guarded(operator: Any, work: Callable[[], set[str]]) -> set[str]:
    """Run `work`; a named error of the core becomes one line for the user, and CANCELLED."""
    try:
        return work()
    except Cancelled as stopped:
        operator.report({"INFO"}, str(stopped))
    except ClaspwrightError as error:
        operator.report({"ERROR"}, str(error))
    return {"CANCELLED"}


class CLASPWRIGHT_OT_stop(bpy.types.Operator):
    """Stop the running work at its next step; nothing is changed"""

    bl_idname = "claspwright.stop"
    bl_label = "Stop"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return current() is not None

    def execute(self, context: bpy.types.Context) -> set[str]:
        job = current()
        if job is not None:
            job.cancel()
        return {"FINISHED"}


def has_case(context: bpy.types.Context) -> bool:
    """For polls: a case is open and nothing runs."""
    return bool(context.scene and document.settings(context.scene).case_text) and current() is None


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_stop)


def unregister() -> None:
    job = running.pop("now", None)
    if job is not None:
        job.cancel()
        job.thread.join(timeout=10)
    bpy.utils.unregister_class(CLASPWRIGHT_OT_stop)
