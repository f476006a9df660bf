"""What the README and the tutorials show is what the commands print."""

from __future__ import annotations

from pathlib import Path

import pytest

from tools import sessions

PAGES = sessions.pages(Path(__file__).resolve().parent.parent)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_page_prints_what_it_shows(page: Path) -> None:
    """Every command of the page, in order, in an empty folder. `python3 dev.py docs` writes the outputs anew."""
    stale = sessions.check(page, write=False)
    assert not stale, "\n".join(["stale; `python3 dev.py docs` writes it anew:", *stale])


def test_there_are_sessions() -> None:
    """The README and three tutorials, each with several commands."""
    assert len(PAGES) >= 4
    for page in PAGES:
        found = [
            part for part in sessions.parts(page.read_text(encoding="utf-8")) if isinstance(part, sessions.Command)
        ]
        assert len(found) >= 3, page.name


@pytest.mark.parametrize(
    ("shown", "real", "same"),
    [
        (["a", "b"], ["a", "b"], True),
        (["a"], ["a", "b"], False),
        (["a", "[…]"], ["a", "b", "c"], True),
        (["[…]"], [], True),
        (["a", "[…]", "d"], ["a", "b", "c", "d"], True),
        (["a", "[…]", "d"], ["a", "b", "c"], False),
        (["a", "[…]", "c", "[…]", "e"], ["a", "b", "c", "d", "e"], True),
        (["a", "[…]", "a"], ["a"], False),
    ],
)
def test_left_out_lines(shown: list[str], real: list[str], same: bool) -> None:
    """A mark stands for any number of lines, also none, and for nothing else."""
    assert sessions.agrees(shown, real) is same


def test_a_stale_page_is_told_and_written_anew(tmp_path: Path) -> None:
    """A wrong output is found; writing keeps how it was shortened; a second look finds nothing."""
    page = tmp_path / "page.md"
    page.write_text("# x\n\n```\n$ pinproof --version\nnonsense\n```\n\nend\n", encoding="utf-8", newline="\n")
    assert sessions.check(page, write=True)
    assert not sessions.check(page, write=False)
    assert page.read_text(encoding="utf-8").endswith("```\n\nend\n")
