"""Planning: the class of an arch, the lines it turns about, and what the rules of the trade say of a design."""

from .classification import Classification, Space, classify, classify_chart
from .critique import Finding, critique
from .design import Design
from .rules import RULES, Rule
from .support import Fulcrum, Lever, fulcrum_lines, levers

__all__ = [
    "RULES",
    "Classification",
    "Design",
    "Finding",
    "Fulcrum",
    "Lever",
    "Rule",
    "Space",
    "classify",
    "classify_chart",
    "critique",
    "fulcrum_lines",
    "levers",
]
