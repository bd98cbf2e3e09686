"""What an operator shows while a person points at the view: words in the header and the status bar, a cross for a pointer."""

from __future__ import annotations

from typing import Any

from . import derived


def begin(context: Any, operator: Any) -> None:
    """Take the events of the window from here on."""
    context.window.cursor_modal_set("CROSSHAIR")
    context.window_manager.modal_handler_add(operator)


def tell(context: Any, words: str, hint: str) -> None:
    """Say what is under the pointer, and what keys do."""
    if context.area is None:
        return
    context.area.header_text_set(f"{words}        {hint}")
    context.workspace.status_text_set(hint)


def end(context: Any) -> None:
    """Everything as it was before."""
    context.window.cursor_modal_restore()
    if context.area is not None:
        context.area.header_text_set(None)
    context.workspace.status_text_set(None)
    derived.mark_stale()
