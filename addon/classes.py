"""Registration of a module's classes, and forgetting what it held when they go."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import bpy


def registrar(classes: Sequence[type[Any]], *held: Any) -> tuple[Callable[[], None], Callable[[], None]]:
    """`register` and `unregister` of a module. held : dictionaries, lists or sets that are emptied when the classes go."""
    register, take_back = bpy.utils.register_classes_factory(classes)

    def unregister() -> None:
        take_back()
        for thing in held:
            thing.clear()

    return register, unregister
