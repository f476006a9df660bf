"""A text file in blocks of whole lines, as UTF-8, in bounded memory.

Answers: the next lines, whatever the encoding and the line ends.
Units:   bytes.
Touches: the file it is given, reading only.
"""

from __future__ import annotations

import codecs
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from pinproof.logs.faults import LogFault

BLOCK_BYTES = 8 * 2**20
LONGEST_LINE = 32 * 2**20
_REST_OF_LINE = 64 * 2**10
BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


def open_read(path: Path) -> bytes:
    """The first byte of a file, to see that it can be read; LogFault if not."""
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            raise LogFault(
                path.name, "no file", "This is no file but a device or a pipe.", hint="Copy the log to a file."
            )
        with path.open("rb") as file:
            return file.read(1)
    except FileNotFoundError:
        raise LogFault(path.name, "no file", "There is no such file.", hint="Check the name and the folder.") from None
    except IsADirectoryError:
        raise LogFault(path.name, "no file", "This is a folder.", hint="Name the log inside it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        what = "This is a folder." if os.path.isdir(path) else f"It cannot be read: {reason}."
        raise LogFault(path.name, "no file", what, hint="Check that it may be opened.") from None


def _to_a_line_end(file: BinaryIO, block: int) -> bytes:
    """The next `block` bytes and the rest of the line in which they end, so that nothing need be moved afterwards."""
    at = file.tell()
    file.seek(at + block)
    more = len(file.readline(_REST_OF_LINE))
    file.seek(at)
    return file.read(block + more)


def line_blocks(
    path: Path, encoding: str, skip_lines: int, block: int = 0, counts: dict[str, int] | None = None
) -> Iterator[bytes]:
    """Blocks of whole lines in UTF-8, of about `block` bytes (0: `BLOCK_BYTES`); the last one may lack a line feed.

    Zero bytes, with which a logger that lost its power fills a file, are
    taken off and counted as counts["padding"]. LogFault for a line longer than `LONGEST_LINE`.
    """
    block = block or BLOCK_BYTES
    decoder = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)("replace")
    rest = b""
    skipped = 0
    returns: bool | None = None  # lines end in a carriage return alone
    with path.open("rb") as file:
        start = file.read(4)
        bom = next((mark for mark, name in BOMS if start.startswith(mark) and name == encoding), b"")
        file.seek(len(bom))
        while True:
            read = _to_a_line_end(file, block) if decoder is None and not returns else file.read(block)
            data = decoder.decode(read, final=not read).encode("utf-8", "replace") if decoder else read
            if returns is None:
                returns = b"\r" in data and b"\n" not in data
            if returns:
                data = data.replace(b"\r", b"\n")
            if b"\0" in data:
                bare = data.replace(b"\0", b"")
                if counts is not None:
                    counts["padding"] = counts.get("padding", 0) + len(data) - len(bare)
                data = bare
            data = rest + data if rest else data
            end = data.rfind(b"\n") + 1 if read else len(data)
            data, rest = data[:end], data[end:]
            if len(rest) > LONGEST_LINE:
                raise LogFault(
                    path.name, "long line", f"There is a line of more than {LONGEST_LINE // 2**20} MB.",
                    "A line of a log has some hundred letters.", "Is this really a log, and whole?",
                    f"byte {file.tell() - len(rest)}",
                )  # fmt: skip
            while skipped < skip_lines and data:
                at = data.find(b"\n") + 1
                data = data[at:] if at else b""
                skipped += 1
            if data:
                yield data
            if not read:
                return
