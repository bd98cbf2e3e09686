"""Every check has a heading in words: the names are read from the source of the checks, so that a new check needs one here."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from claspwright.core.output.check_words import HEADINGS, heading

CHECKS = Path(__file__).resolve().parents[2] / "core" / "checks"


def names() -> Iterator[str]:
    """The fixed beginnings of the names that are first argument of a Check, or bound to `name` or `check_id` before it."""
    for path in sorted(CHECKS.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            texts: list[ast.expr] = []
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Check" and node.args:
                texts = [node.args[0]]
            elif isinstance(node, ast.Assign):
                left, right = (n.elts if isinstance(n, ast.Tuple) else [n] for n in (node.targets[0], node.value))
                texts = [v for n, v in zip(left, right, strict=False) if getattr(n, "id", "") in ("name", "check_id")]
            for text in [part for t in texts for part in ((t.body, t.orelse) if isinstance(t, ast.IfExp) else (t,))]:
                fixed = text.values[0] if isinstance(text, ast.JoinedStr) else text
                if isinstance(fixed, ast.Constant) and re.fullmatch(r"[a-z_]+(\.[a-z_]+)*\.?", str(fixed.value)):
                    yield str(fixed.value).rstrip(".")


def test_every_check_has_a_heading_and_every_heading_a_check():
    found = set(names())
    assert len(found) > 25
    assert found == set(HEADINGS)


@pytest.mark.parametrize(("name", "words"), [
    ("form.thickness", "Thickness"), ("form.thickness.lingual-bar", "Thickness: lingual bar"),
    ("insertion.tip.44", "Undercut at the clasp tip: 44"),
    ("retention.balance", "Retention of both sides alike"), ("arm.length.I-bar-34", "Length of the arm: I-bar 34"),
    ("retention.left", "Retention: left"), ("some.new_one", "Some new one"),
])  # fmt: skip
def test_headings(name: str, words: str):
    assert heading(name) == words


def test_headings_are_short_words():
    """The tab is narrow; two checks of one name could not be told apart."""
    assert len(set(HEADINGS.values())) == len(HEADINGS)
    assert all(len(words) <= 30 and not set("._") & set(words) for words in HEADINGS.values())
