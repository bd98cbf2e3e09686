"""Planning: the class of an arch and the reasons for each part of a design."""

from .classification import Classification, Space, classify, classify_chart

__all__ = ["Classification", "Space", "classify", "classify_chart"]
