"""Pieces of Markdown that the references share: cells, anchors, tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

MADE = "<!-- Made from the code by `python3 dev.py docs`. Change the code, not this page. -->"


def cell(text: str) -> str:
    """A text as one cell of a table."""
    return " ".join(text.split()).replace("|", "\\|")


def code(text: str) -> str:
    """A text as code in a cell or a sentence."""
    fence = "``" if "`" in text else "`"
    return f"{fence} {text} {fence}" if "`" in text else f"`{text}`"


def anchor(*names: str) -> str:
    """A place that a link can lead to: names joined by "-", everything unusual left out."""
    return f'<a id="{anchor_name(*names)}"></a>'


def anchor_name(*names: str) -> str:
    """The name of such a place."""
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", "-".join(names)).strip("-")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; cells are Markdown already."""
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    lines += [f"| {' | '.join(cell(each) for each in row)} |" for row in rows]
    return "\n".join(lines)


def page(title: str, *parts: str) -> str:
    """A whole page."""
    return "\n\n".join([f"# {title}", MADE, *(part for part in parts if part)]) + "\n"


def sentence(docstring: str | None) -> str:
    """The first paragraph of a docstring, on one line."""
    return " ".join((docstring or "").strip().split("\n\n")[0].split())
