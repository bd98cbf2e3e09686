"""Kennedy's classes with Applegate's rules, and how each space is borne.

Rules (McCracken, from memory; Applegate's eight): classify after planned extractions; a missing third molar that is not replaced is
left out; a third molar that stands counts; a missing second molar that is not replaced is left out; the most posterior space decides;
other spaces are modifications, counted and not measured; class IV has none.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from ..case import Chart
from ..errors import CaseError
from ..teeth.numbering import order, side

LONG_SPAN = 4  # own limit: a tooth-borne space of more teeth leans on the tissue as well


@dataclass(frozen=True)
class Space:
    """A run of missing teeth that are to be replaced.

    teeth : FDI, in the order of the arch from -X to +X; before, after : the standing teeth that end it there, None where the arch ends
    """

    teeth: tuple[int, ...]
    before: int | None
    after: int | None

    @property
    def extension(self) -> bool:
        """No tooth stands behind it."""
        return self.before is None or self.after is None

    @property
    def abutments(self) -> tuple[int, ...]:
        """The standing teeth beside it, one or two."""
        return tuple(t for t in (self.before, self.after) if t is not None)

    @property
    def crosses_midline(self) -> bool:
        """Teeth on both sides of the midline are missing."""
        return len({side(t) for t in self.teeth}) == 2

    @property
    def support(self) -> str:
        """What bears the base over it: "tooth", or "tooth and tissue"."""
        return "tooth and tissue" if self.extension or len(self.teeth) > LONG_SPAN else "tooth"


@dataclass(frozen=True)
class Classification:
    """kennedy : "I" to "IV", or "" where there is nothing to classify; reason : why not, in words

    modifications : number of further spaces; spaces : all of them, from -X to +X; deciding : those that make the class
    """

    kennedy: str
    modifications: int
    spaces: tuple[Space, ...]
    deciding: tuple[Space, ...]
    reason: str = ""

    @property
    def name(self) -> str:
        """For example "Kennedy class II, modification 1"."""
        if not self.kennedy:
            return f"not classified: {self.reason}"
        return f"Kennedy class {self.kennedy}" + (f", modification {self.modifications}" if self.modifications else "")


def spaces_of(arch: str, standing: Collection[int], replaced: Collection[int]) -> tuple[Space, ...]:
    """Spaces to be restored. Teeth neither standing nor replaced count as if the arch closed over them."""
    row = [t for t in order(arch) if t in standing or t in replaced]
    found: list[Space] = []
    run: list[int] = []
    before: int | None = None
    for tooth in [*row, None]:
        if tooth is not None and tooth in replaced:
            run.append(tooth)
            continue
        if run:
            found.append(Space(tuple(run), before, tooth))
        run, before = [], tooth
    return tuple(found)


def classify(arch: str, standing: Collection[int], replaced: Collection[int]) -> Classification:
    """Class of an arch.

    standing : FDI numbers that stand when the denture is worn (after planned extractions)
    replaced : missing FDI numbers that a base is to carry. Raises CaseError for teeth of another arch or in both lists.
    """
    row = set(order(arch))
    for fdi in (*standing, *replaced):
        if fdi not in row:
            raise CaseError(f"{fdi} is not a tooth of the {arch} arch; correct the chart")
    both = set(standing) & set(replaced)
    if both:
        raise CaseError(f"{min(both)} is charted both as standing and as replaced; correct the chart")
    spaces = spaces_of(arch, standing, replaced)
    if not spaces:
        return Classification("", 0, (), (), "no missing tooth is to be replaced")
    if not standing:
        return Classification("", 0, spaces, (), "no tooth stands; a complete denture is another matter")
    free = tuple(s for s in spaces if s.extension)
    # A last lone tooth or group leaves an extension on both sides; one free end alone is one-sided whatever it crosses.
    if len(free) == 2:
        return Classification("I", len(spaces) - 2, spaces, free)
    if free:
        return Classification("II", len(spaces) - 1, spaces, free)
    if len(spaces) == 1 and spaces[0].crosses_midline:
        return Classification("IV", 0, spaces, spaces)
    return Classification("III", len(spaces) - 1, spaces, (_most_posterior(arch, spaces),))


def _most_posterior(arch: str, spaces: tuple[Space, ...]) -> Space:
    row = order(arch)

    def reach(space: Space) -> float:
        return max(abs(row.index(t) - 7.5) for t in space.teeth)

    return max(spaces, key=reach)


def standing_teeth(chart: Chart) -> tuple[int, ...]:
    """Charted teeth that stand when the denture is worn."""
    return chart.standing


def replaced_teeth(chart: Chart) -> tuple[int, ...]:
    """Missing teeth, and teeth to be taken out, that a base is to carry.

    A missing third molar is replaced only where the chart does not list it as not replaced.
    """
    return tuple(t for t in chart.lost if t not in chart.not_replaced)


def classify_chart(arch: str, chart: Chart) -> Classification:
    """Class of a charted arch. Raises CaseError for a chart that contradicts itself."""
    return classify(arch, standing_teeth(chart), replaced_teeth(chart))
