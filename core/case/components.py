"""What a prescription can ask for: one frozen dataclass a kind of component, by family in `rests`, `clasps`, `connectors`, `bases`.

A component is stored in survey terms (tooth, side, gauge, distance from the margin), never as coordinates, so that it can
be built again on another path or another scan. Lengths in mm, angles in degrees. Defaults and their sources: the handbook's
sections 2 to 6, named beside each (standard texts from memory where no other source is given).
"""

from __future__ import annotations

from typing import Any

from ..errors import CaseError
from .bases import BasePart
from .clasps import ClaspPart
from .connectors import ConnectorPart
from .fields import parse, unparse
from .rests import RestPart

Component = RestPart | ClaspPart | ConnectorPart | BasePart
KINDS: dict[str, type] = {c.kind: c for c in Component.__args__}


def parse_component(data: Any, where: str) -> Component:
    """A component from its JSON object; `kind` chooses the class. Raises CaseError naming the field."""
    if not isinstance(data, dict):
        raise CaseError(f"{where}: an object is needed")
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise CaseError(f"{where}.kind: {str(kind)[:40]!r} is not one of {', '.join(sorted(KINDS))}")
    return parse(KINDS[kind], {k: v for k, v in data.items() if k != "kind"}, where)


def unparse_component(component: Component) -> dict[str, Any]:
    """The JSON object of a component."""
    return {"kind": component.kind, **unparse(component)}
