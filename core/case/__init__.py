"""The case document: what is stored of a case, validated and written atomically."""

from .bases import BeadPlate, LatticeBase
from .clasps import IBar, ReciprocalArm, RetentiveArm
from .components import KINDS, Component
from .connectors import (
    ContinuousBar,
    LabialBar,
    LingualBar,
    LingualPlate,
    PalatalPlate,
    PalatalStraps,
    SublingualBar,
    UShapedPlate,
)
from .document import (
    Case,
    CastEntry,
    Chart,
    Manufacture,
    MaterialEntry,
    Opposing,
    Overrule,
    PathEntry,
    SoftTissueEntry,
    SulcusEntry,
    ToothEntry,
    case_from_json,
    case_to_json,
    load_case,
    save_case,
)
from .rests import CingulumRest, GuidePlate, MinorConnector, OcclusalRest
from .weights import PathWeights

__all__ = [
    "KINDS",
    "BeadPlate",
    "Case",
    "CastEntry",
    "Chart",
    "CingulumRest",
    "Component",
    "ContinuousBar",
    "GuidePlate",
    "IBar",
    "LabialBar",
    "LatticeBase",
    "LingualBar",
    "LingualPlate",
    "Manufacture",
    "MaterialEntry",
    "MinorConnector",
    "OcclusalRest",
    "Opposing",
    "Overrule",
    "PalatalPlate",
    "PalatalStraps",
    "PathEntry",
    "PathWeights",
    "ReciprocalArm",
    "RetentiveArm",
    "SoftTissueEntry",
    "SublingualBar",
    "SulcusEntry",
    "ToothEntry",
    "UShapedPlate",
    "case_from_json",
    "case_to_json",
    "load_case",
    "save_case",
]
