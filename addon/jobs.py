"""Long work beside the window: a working process does it (core/background.py), a modal operator looks how far it is.

Blender's data is read before the task starts and written after it ended. Where there is no window (a script, a test), the operator waits.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from ..core.background import Call, Process
from ..core.errors import CaseError, ClaspwrightError
from . import derived, document, follow, live

builder = follow.builder  # builds and writes; kept after a build, so that an export need not build again


class Job:
    """A task under way, and what the panels say of it."""

    def __init__(self, words: str, process: Process, call: Call, scene: str) -> None:
        self.words, self.process, self.call, self.scene = words, process, call, scene


running: dict[str, Job] = {}  # at most one, under "now"


def current() -> Job | None:
    """The work that runs now."""
    return running.get("now")


def idle(context: Any) -> bool:
    """For polls: nothing runs."""
    return context.scene is not None and current() is None


def has_case(context: Any) -> bool:
    """For polls: a case is open and nothing runs."""
    return idle(context) and bool(document.settings(context.scene).case_text)


class NeedsCase:
    """Mixin of operators that work on the open case."""

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_case(context)


class JobOperator:
    """Mixin of operators with long work: `begin` reads Blender and starts the task, `land` writes what came back."""

    words = "Working"
    _job: Job | None = None
    _timer: Any = None

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        """Check everything and name the task; raises ClaspwrightError before anything is written."""
        raise NotImplementedError

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        """Write the result; raises ClaspwrightError before anything is written."""
        raise NotImplementedError

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            job = self._start(context)
            job.process.wait(job.call)
            running.pop("now", None)
            return self._land(context, job)

        return guarded(self, work)

    def invoke(self, context: Any, event: Any) -> set[Any]:
        if bpy.app.background:
            return self.execute(context)
        return guarded(self, lambda: self._watch(context))

    def _start(self, context: Any) -> Job:
        if current() is not None:
            raise CaseError("other work is still running; wait for it or stop it")
        process, do, task = self.begin(context)
        going = follow.take_over(process, do, task)
        if going is not None:
            running["now"] = Job(self.words, process, going, context.scene.name)
            return running["now"]
        if process.busy:  # crowns are being found at older marks: what is asked now goes first
            process.stop()
            derived.asked.clear()
            live.now.call = None
            follow.forget()
        running["now"] = Job(self.words, process, process.start(do, **task), context.scene.name)
        return running["now"]

    def _watch(self, context: Any) -> set[Any]:
        self._job = self._start(context)
        self._timer = context.window_manager.event_timer_add(0.1, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[Any]:
        job = self._job
        if job is None:
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        context.workspace.status_text_set(f"{job.words}: {job.call.stage} ({job.call.share:.0%})")
        derived.redraw(panels_only=True)
        if not job.call.over:
            return {"PASS_THROUGH"}
        self._finish(context)
        return guarded(self, lambda: self._land(context, job))

    def _land(self, context: Any, job: Job) -> set[Any]:
        info, arrays = job.call.result()
        if context.scene.name != job.scene:
            raise CaseError(f"the scene was changed meanwhile; go back to {job.scene} and do it again")
        return self.land(context, info, arrays)

    def _finish(self, context: Any) -> None:
        running.pop("now", None)
        if self._timer is not None:
            context.window_manager.event_timer_remove(self._timer)
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        self._job = self._timer = None
        derived.mark_stale()

    def cancel(self, context: Any) -> None:
        """Blender ends the operator (window closed, file loaded)."""
        if self._job is not None:
            self._job.process.stop()
            self._finish(context)


def guarded(operator: Any, work: Callable[[], set[Any]]) -> set[Any]:
    """Run `work`; a named error of the core becomes one line for the user, and CANCELLED."""
    try:
        return work()
    except ClaspwrightError as error:
        stopped = error.exit_code == 1
        operator.report({"INFO"} if stopped else {"ERROR"}, str(error))
        return {"CANCELLED"}
    finally:
        derived.mark_stale()


def hand_over(operator: Any, action: Any, **values: Any) -> set[Any]:
    """Let another of our operators do it. Where that refuses, its line becomes this operator's: Python would make a traceback of it."""
    try:
        action("INVOKE_DEFAULT", **values)
    except RuntimeError as error:
        operator.report({"ERROR"}, str(error).strip().removeprefix("Error: "))
        return {"CANCELLED"}
    return {"FINISHED"}


class CLASPWRIGHT_OT_stop(bpy.types.Operator):
    """Stop the running work at once; nothing is changed"""

    bl_idname = "claspwright.stop"
    bl_label = "Stop"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return current() is not None or follow.busy()

    def execute(self, context: Any) -> set[Any]:
        job = current()
        if job is not None:
            job.process.stop()
        else:
            follow.halt()
        return {"FINISHED"}


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_OT_stop)


def unregister() -> None:
    running.clear()
    builder.stop()
    bpy.utils.unregister_class(CLASPWRIGHT_OT_stop)
