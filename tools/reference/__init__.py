"""The references in docs/reference, made from the code: nothing in them is typed.

    python3 dev.py docs          writes them anew, among the other outputs in the docs
    python -m tools.reference    compares them; ends with 1 if one is stale; --write writes them

`commands` reads the argument parsers, `design_keys` the key tables of the loader, `checks` the names and sentences of
checks and findings, `errors` the classes of errors and every sentence that is raised, `library` the public names.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDER = "docs/reference"


def pages() -> dict[str, str]:
    """Every page by its path in the project, made now."""
    from tools.reference import checks, commands, design_keys, errors, library

    makers: dict[str, Callable[[], str]] = {
        "commands.md": commands.page_text,
        "design-file.md": design_keys.page_text,
        "checks.md": checks.page_text,
        "errors.md": errors.page_text,
        "library.md": library.page_text,
    }
    return {f"{FOLDER}/{name}": make() for name, make in makers.items()} | {library.STUB: library.stub_text()}
