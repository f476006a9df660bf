"""Write the table of addresses in docs/web.md anew from the one route list.

python tools/web_addresses.py
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BEGIN, END = "<!-- addresses -->", "<!-- end -->"


def table() -> str:
    """One row for each page: address, question, what can be done there."""
    from pinproof.web.routes import PAGES

    rows = ["| address | question | can be done there |", "|---|---|---|"]
    for page in PAGES:
        deeds = " ".join(f"`{action.name}`: {action.does}" for action in page.actions)
        rows.append(f"| `{page.path}` | {page.answers} | {deeds or '–'} |")
    return "\n".join(rows)


def with_table(text: str) -> str:
    """The documentation with the table between its marks."""
    head, _, rest = text.partition(BEGIN)
    _, _, tail = rest.partition(END)
    return f"{head}{BEGIN}\n{table()}\n{END}{tail}"


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT / "src"))
    path = ROOT / "docs" / "web.md"
    path.write_text(with_table(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
