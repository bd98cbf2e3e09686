"""The case document: what is stored of a case, validated and written atomically."""

from .components import (
    KINDS,
    CingulumRest,
    Component,
    GuidePlate,
    IBar,
    LatticeBase,
    LingualBar,
    MinorConnector,
    OcclusalRest,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
)
from .document import Case, CastEntry, Chart, Manufacture, PathEntry, ToothEntry, case_from_json, case_to_json, load_case, save_case

__all__ = [
    "KINDS",
    "Case",
    "CastEntry",
    "Chart",
    "CingulumRest",
    "Component",
    "GuidePlate",
    "IBar",
    "LatticeBase",
    "LingualBar",
    "Manufacture",
    "MinorConnector",
    "OcclusalRest",
    "PalatalStraps",
    "PathEntry",
    "ReciprocalArm",
    "RetentiveArm",
    "ToothEntry",
    "case_from_json",
    "case_to_json",
    "load_case",
    "save_case",
]
