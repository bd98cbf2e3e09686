"""Planning: the class of an arch, the lines it turns about, a drafted design with its reasons, and what the rules say of a design."""

from .abutment import Abutment, Measured, measure_abutment, tip_gauge_mm
from .clasps import clasp_options
from .classification import Classification, Space, classify, classify_chart
from .critique import Finding, critique
from .design import Design
from .draft import Draft, Reason, draft
from .estimate import Estimate, estimate
from .ground import palate_shown
from .known import Known
from .mouth import Task, mouth_preparation
from .option import Option, Setting
from .rounds import Pair, Round, Settled, settle
from .rules import RULES, Rule
from .support import Fulcrum, Lever, fulcrum_lines, levers

__all__ = [
    "RULES",
    "Abutment",
    "Classification",
    "Design",
    "Draft",
    "Estimate",
    "Finding",
    "Fulcrum",
    "Known",
    "Lever",
    "Measured",
    "Option",
    "Pair",
    "Reason",
    "Round",
    "Rule",
    "Setting",
    "Settled",
    "Space",
    "Task",
    "clasp_options",
    "classify",
    "classify_chart",
    "critique",
    "draft",
    "estimate",
    "fulcrum_lines",
    "levers",
    "measure_abutment",
    "mouth_preparation",
    "palate_shown",
    "settle",
    "tip_gauge_mm",
]
