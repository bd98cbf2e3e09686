"""HTML tables of the report."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], kind: str, classes: Sequence[str] = ()) -> str:
    """rows hold HTML; `classes` one a row or none."""
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    lines = []
    for i, row in enumerate(rows):
        mark = f' class="{classes[i]}"' if classes else ""
        lines.append(f"<tr{mark}>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>")
    return f'<table class="{kind}"><thead><tr>{head}</tr></thead><tbody>\n' + "\n".join(lines) + "\n</tbody></table>"
