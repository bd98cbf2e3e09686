"""Classification against an independent second statement of the rules, for every pattern of an arch, and against published patterns.

The second statement works on letters: the arch is written as a word, and the class is read from the word's shape with patterns.
Kennedy's classes and Applegate's rules: McCracken's Removable Partial Prosthodontics, from memory.
"""

from __future__ import annotations

import re

import pytest
from claspwright.core.case import Chart, ToothEntry
from claspwright.core.errors import CaseError
from claspwright.core.planning import classify, classify_chart

UPPER = [18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28]
LOWER = [38, 37, 36, 35, 34, 33, 32, 31, 41, 42, 43, 44, 45, 46, 47, 48]


def by_letters(row: list[int], standing: set[int], replaced: set[int]) -> tuple[str, int]:
    """t a tooth, o a replaced one, nothing for one that is neither; a bar at the midline."""
    half = ["".join("t" if f in standing else "o" if f in replaced else "" for f in part) for part in (row[:8], row[8:])]
    word = f"{half[0]}|{half[1]}"
    if "o" not in word or "t" not in word:
        return "", 0
    plain = word.replace("|", "")
    gaps = len(re.findall("o+", plain))
    left, right = plain.startswith("o"), plain.endswith("o")
    if left and right:
        return "I", gaps - 2
    if left or right:
        return "II", gaps - 1
    if re.fullmatch(r"t+o+\|o+t+", word):
        return "IV", 0
    return "III", gaps - 1


@pytest.mark.slow
@pytest.mark.parametrize("row", [UPPER, LOWER], ids=["upper", "lower"])
@pytest.mark.parametrize("thirds", [False, True], ids=["thirds not replaced", "thirds replaced"])
def test_all_patterns_of_an_arch(row: list[int], thirds: bool) -> None:
    arch = "upper" if row is UPPER else "lower"
    counts: dict[str, int] = {}
    for bits in range(2**16):
        standing = {f for k, f in enumerate(row) if bits >> k & 1}
        replaced = {f for f in row if f not in standing and (thirds or f % 10 != 8)}
        made = classify(arch, standing, replaced)
        assert (made.kennedy, made.modifications) == by_letters(row, standing, replaced), (standing, replaced)
        counts[made.kennedy] = counts.get(made.kennedy, 0) + 1
    assert set(counts) == {"", "I", "II", "III", "IV"}


# Case set of the project's methods page: missing teeth, teeth not replaced, class, modifications. Third molars absent unless said.
CASES = {
    "A": ([35, 36, 37, 45, 46, 47], [], "I", 0),
    "B": ([34, 35, 36, 37, 44, 45, 46, 47], [], "I", 0),
    "C": ([36, 37, 45, 46], [], "II", 1),
    "D": ([15, 16, 25, 26], [], "III", 1),
    "E": ([12, 11, 21, 22], [], "IV", 0),
    "F": ([15, 16, 17, 25, 26, 27], [], "I", 0),
    "G": ([46], [], "III", 0),
    "H lower": ([37], [37], "", 0),
    "H upper": ([27], [27], "", 0),
    "I": ([11, 12, 21, 16], [], "III", 1),
    "J": ([31, 32, 41, 42, 36, 37], [], "II", 1),
    "K": ([18, 28], [18, 28], "", 0),
    "L": ([35, 36, 45, 46, 47], [], "II", 1),
    "M": ([34, 35, 36, 37, 44, 45, 46, 47, 31, 41], [], "I", 1),
    "N": ([34, 35, 36, 37, 44, 45, 46, 47], [], "I", 0),
}


@pytest.mark.parametrize("name", CASES)
def test_published_patterns(name: str) -> None:
    missing, not_replaced, kennedy, modifications = CASES[name]
    row = UPPER if missing[0] < 30 else LOWER
    thirds = [f for f in row if f % 10 == 8]
    teeth = tuple(ToothEntry(f) for f in row if f not in missing and f not in thirds)
    chart = Chart(teeth, tuple({*missing, *thirds}), tuple({*not_replaced, *thirds}))
    made = classify_chart("upper" if row is UPPER else "lower", chart)
    assert (made.kennedy, made.modifications) == (kennedy, modifications)


def test_second_molar_not_replaced_is_left_out_and_a_standing_third_molar_counts() -> None:
    thirds = {38, 48}
    standing = set(LOWER) - thirds - {37, 45}
    assert classify("lower", standing, {45}).kennedy == "III"
    assert classify("lower", standing, {45, 37}).kennedy == "II"
    bounded = classify("lower", standing | thirds, {45, 37})
    assert (bounded.kennedy, bounded.modifications) == ("III", 1)


def test_spaces_know_their_abutments_and_what_bears_them() -> None:
    made = classify("lower", [34, 33, 32, 31, 41, 42, 43, 44, 47], [35, 36, 37, 45, 46])
    assert made.name == "Kennedy class II, modification 1"
    first, second = made.spaces
    assert first.teeth == (37, 36, 35) and first.extension and first.abutments == (34,) and first.support == "tooth and tissue"
    assert second.abutments == (44, 47) and not second.extension and second.support == "tooth"
    assert made.deciding == (first,)


def test_charts_that_contradict_themselves_are_refused() -> None:
    with pytest.raises(CaseError, match="not a tooth of the lower arch"):
        classify("lower", [11], [36])
    with pytest.raises(CaseError, match="36 is charted both"):
        classify("lower", [36, 37], [36])
