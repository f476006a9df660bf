"""What a target of the search for hostile input is.

Answers: `Target`, `Room`.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.mutate import Mutation

Run = Callable[[bytes], None]
CORPUS = Path(__file__).resolve().parent / "corpus"


def of_corpus(name: str) -> list[bytes]:
    """Inputs that are kept in the tree for a target: between them they reach most of what long searches reached."""
    folder = CORPUS / name
    return [each.read_bytes() for each in sorted(folder.iterdir())] if folder.is_dir() else []


@dataclass(frozen=True)
class Target:
    """One reader.

    Attributes
    ----------
    name : str
        As on the command line.
    what : str
        What is read, in words.
    rooms : tuple of str
        Modules of pinproof whose branches count as reached or not, by the begin of their name.
    begin : function
        Takes an empty folder of its own, gives what runs one input. It raises Broken, or lets through what the reader
        raised; every deliberate refusal it takes and looks at itself.
    seeds : function
        Inputs to begin with, all read by the reader or refused by it for one reason each.
    kinds : tuple of Mutation
        How inputs are changed.
    words : tuple of str
        Words of the format beside those that stand in the code of `rooms`.
    limit_s : float
        Processor time that an input of usual size may take. [s]
    doubled : function or None
        An input with twice as much in it; None where a file cannot simply go on.
    """

    name: str
    what: str
    rooms: tuple[str, ...]
    begin: Callable[[Path], Run]
    seeds: Callable[[], Sequence[bytes]]
    kinds: tuple[Mutation, ...]
    words: tuple[str, ...] = ()
    limit_s: float = 2.0
    doubled: Callable[[bytes], bytes] | None = None
