"""Invented example trucks, shipped with the package.

Answers: which examples there are and where their files lie. Every scenario in them is made up.
Touches: the package's own files, read only.
"""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent
NAMES = ("sandpiper", "heron", "wagtail", "dunlin")
WIRED = ("dunlin",)  # of these a whole truck, with its harness and start inhibit


def example_path(name: str) -> Path:
    """File of one example; KeyError if there is none of that name."""
    if name not in NAMES:
        raise KeyError(name)
    return FOLDER / f"{name}.toml"


def companions(name: str) -> tuple[Path, ...]:
    """Files that an example names: what must lie beside a copy of it."""
    return tuple(sorted(FOLDER.glob(f"{name}-*.csv")))
