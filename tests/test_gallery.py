"""The gallery in docs shows what the program computes today."""

from __future__ import annotations

from pathlib import Path

import pytest

from pinproof.examples import NAMES
from tools.gallery import files_of


@pytest.mark.parametrize("name", NAMES)
def test_gallery_is_not_stale(name: str, project_root: Path) -> None:
    """Every drawing and the text of every card are as they would be made now. To remake: tools/gallery.py."""
    folder = project_root / "docs" / "gallery" / name
    made = files_of(name)
    assert sorted(made) == sorted(path.name for path in folder.iterdir())
    for file, data in made.items():
        if file.endswith(".svg"):
            assert (folder / file).read_bytes() == data, f"{name}/{file} is stale: run tools/gallery.py"
