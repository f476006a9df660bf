"""Remake the gallery in docs: the books, charts and cards of the invented examples.

    .venv/bin/python tools/gallery.py        (Windows: .venv\\Scripts\\python tools\\gallery.py)

The date in the books is fixed, so that a picture changes only when what it shows changes.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from pinproof.cli.cmd_faults import known_faults
from pinproof.cli.cmd_inhibit import inhibit_of
from pinproof.cli.cmd_prove import cures_of
from pinproof.design import load
from pinproof.examples import NAMES, example_path
from pinproof.pack.folder import pack_files, write_files
from pinproof.proof import prove

MADE_ON = date(2026, 11, 24)
GALLERY = Path(__file__).resolve().parent.parent / "docs" / "gallery"
KEPT = ("-circuit.svg", "gears-1-", "-drift.svg", "-readings-run-", "book.pdf", "bench.pdf", "card.html")


def files_of(name: str) -> dict[str, bytes]:
    """The files of one example that the gallery shows."""
    truck = load(example_path(name))
    proof = prove(truck)
    cures = cures_of(truck, proof)
    made = pack_files(truck, proof, paper="a4", made_on=MADE_ON, cures=cures, faults=known_faults(truck),
                      inhibit=inhibit_of(truck))  # fmt: skip
    return {file: data for file, data in made.items() if any(part in file for part in KEPT)}


def main() -> None:
    """Write the files of every example."""
    for name in NAMES:
        write_files(GALLERY / name, files_of(name))
        print(GALLERY / name)


if __name__ == "__main__":
    main()
