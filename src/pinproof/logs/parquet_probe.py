"""A Parquet file read for trial, in a process of its own.

Answers: can it be read at all? The library that reads it ends the whole process where a damaged size asks for
         absurd room; so that is let happen to a process that nobody needs (`parquet_trial` asks it).
Touches: the file that is named. Run as a script, and without anything of Pinproof, so that it starts quickly.
Talks:   one JSON object a line on standard input (`path`, `columns`, `head`), one answer a line on standard output:
         {"error": ""} or what is wrong. No answer means that the file ended the process.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

SLICE_ROWS = 262_144
"""Rows read at once: 46 MB of 22 channels. Fewer would open the file more often, more would not be quicker."""
SET_BYTES = 128 * 2**20
"""A larger file's columns are read in several sets, each of about so many of its bytes."""


def tried(path: str, columns: list[str], head: int) -> str:
    """What is wrong with reading these columns (no name: all) of the first `head` rows (0: of all); "" if nothing."""
    import polars as pl

    try:
        scan = pl.scan_parquet(path, glob=False)
        scan.collect_schema()
        many = min(max(len(columns), 1), 1 + os.path.getsize(path) // SET_BYTES)
        for first in range(many):  # in sets, so that one long row group of many columns is not held at once
            some = scan.select(columns[first::many]) if columns else scan
            at = 0
            while some.slice(at, head or SLICE_ROWS).collect().height == SLICE_ROWS:
                at += SLICE_ROWS
    except BaseException as error:  # a panic is none of Exception's kind; whatever it is, it is told
        return str(error) or type(error).__name__
    return ""


def main() -> None:
    """Answer until nobody asks any more."""
    for line in sys.stdin:
        asked: dict[str, Any] = json.loads(line)
        print(json.dumps({"error": tried(asked["path"], asked["columns"], asked["head"])}), flush=True)


if __name__ == "__main__":
    main()
