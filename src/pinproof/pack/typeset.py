"""From data to a PDF: the one place that calls the typesetter.

Answers: how do blocks and drawings become pages, with the shipped typefaces and nothing else?
Touches: the shipped typefaces and the templates beside this module; no clock, no network, no system font.
Beside:  `blocks` makes the data.
Sources: PDF/UA-1 is ISO 14289-1: tags, reading order and words for every picture.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pinproof.drawings.measure import FILES, MissingTypeface
from pinproof.errors import PinproofError

_TEMPLATES = Path(__file__).parent
_LARGE = 300_000
"""Letters of data and drawings from which on what the typesetter keeps for a next time is dropped at once. [bytes]"""
_AT_ONCE = 500
"""Pieces that are measured in one run; more would only need more memory."""
_RUNS_KEPT = 12
"""The typesetter drops what its last ten runs did not use; one more, and one to spare."""


@dataclass
class CannotPrint(PinproofError):
    """The book could not be set. `what` is what the typesetter said."""

    what: str

    def __str__(self) -> str:
        return (
            f"The build book cannot be set: {self.what}. Nothing was written. Install Pinproof again; if it stays, "
            "report it."
        )


def typeset(data: Mapping[str, object], files: Mapping[str, str], template: str = "book.typ") -> bytes:
    """Set a book, or sheets.

    Parameters
    ----------
    data : mapping
        What the template reads, as plain JSON values.
    files : mapping of name to text
        Drawings that the data names.
    template : str
        "book.typ" or "sheets.typ", beside this module.

    Returns
    -------
    bytes
        A tagged PDF (PDF/UA-1), the same bytes for the same input.

    Raises
    ------
    CannotPrint
        On any error, and on any warning: a letter that is missing is only a warning.
    """
    import typst

    typesetter: Any = typst  # its type hints do not know files that are held in memory
    try:
        pdf, warnings = typesetter.compile_with_warnings(
            _sources(files, template), format="pdf", timestamp=0, pdf_standards="ua-1", **_how(data)
        )
    except typst.TypstError as fault:
        raise CannotPrint(str(fault)) from fault
    finally:
        _forget(data, files)
    if warnings:
        raise CannotPrint("; ".join(str(getattr(each, "message", each)) for each in warnings))
    if not isinstance(pdf, bytes):
        raise CannotPrint("the typesetter gave no single file")
    return pdf


def heights_mm(data: Mapping[str, object], files: Mapping[str, str]) -> list[float]:
    """How high each piece of `data["measure"]` is when it is set on the width of the page. [mm]

    Raises
    ------
    CannotPrint
        On any error.
    """
    import typst

    typesetter: Any = typst
    pieces = data["measure"]
    assert isinstance(pieces, list)
    found: list[float] = []
    for start in range(0, len(pieces), _AT_ONCE):
        some = {**data, "measure": pieces[start : start + _AT_ONCE]}
        try:
            told = typesetter.query(_sources(files), "<heights>", field="value", one=True, **_how(some))
        except (typst.TypstError, RuntimeError) as fault:
            raise CannotPrint(str(fault)) from fault
        finally:
            _forget(some, files)
        found += [float(each) for each in json.loads(told)]
    return found


def _forget(data: Mapping[str, object], files: Mapping[str, str]) -> None:
    """Make the typesetter drop what it keeps of a large run, so that the next one does not come on top of it.

    It has no call for that. It keeps results of its last runs, so some runs of an empty page push them out: a tenth of
    a second. If another version keeps them longer, more memory is used and nothing else changes.
    """
    import typst

    if sum(map(len, files.values())) + len(json.dumps(data, ensure_ascii=False)) < _LARGE:
        return
    for _ in range(_RUNS_KEPT):
        typst.compile(b"", format="pdf", ignore_system_fonts=True)


def _sources(files: Mapping[str, str], template: str = "book.typ") -> dict[str, bytes]:
    held = {name: text.encode("utf-8") for name, text in files.items()}
    return {**held, "main.typ": (_TEMPLATES / template).read_bytes()}


def _how(data: Mapping[str, object]) -> dict[str, Any]:
    return {
        "font_paths": font_paths(),
        "ignore_system_fonts": True,
        "sys_inputs": {"data": json.dumps(data, ensure_ascii=False)},
    }


def font_paths() -> list[str]:
    """Folders of the shipped typefaces; MissingTypeface if one is not installed."""
    found: list[str] = []
    for package, file in FILES.values():
        spec = find_spec(package)
        places = [Path(place, file) for place in (spec.submodule_search_locations or []) if spec] if spec else []
        path = next((each for each in places if each.is_file()), None)
        if path is None:
            raise MissingTypeface(package, file)
        found.append(str(path.parent))
    return list(dict.fromkeys(found))
