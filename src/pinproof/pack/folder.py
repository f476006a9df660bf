"""The whole pack of one design: every file as bytes, and the writing of them.

Answers: which files go on the bench and into the cab, and how do they get into a folder whole?
Touches: the folder it is given, and in it only files of its own names; no clock, no network.
Beside:  `book`, `card`, `lists` and `figures` make what is written.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pinproof.design.model import Truck
from pinproof.drawings import swatch
from pinproof.drawings.svg import as_file
from pinproof.errors import PinproofError
from pinproof.faults import Against
from pinproof.inhibit import InhibitReport
from pinproof.meter import BenchSheet, bench_sheet, starter
from pinproof.pack.bench_sheet import bench_sheet_pdf
from pinproof.pack.book import book_pdf, part_name
from pinproof.pack.card import card_html
from pinproof.pack.cures import Cures
from pinproof.pack.figures import line_figures
from pinproof.pack.gears_page import charts
from pinproof.pack.lists import lists
from pinproof.pack.parts import parts_of
from pinproof.proof.results import TruckProof
from pinproof.wiring import line_view, physical

_LONGEST = 40  # letters of a line's id in a file's name
PACK_NAMES = re.compile(r"(line-\d+-.+|gears-\d+-.+|part-.+)\.svg\Z")
"""Names that a pack gives to what not every design has; so an earlier one may have left them."""
HARNESS_NAMES = re.compile(r"(plug-\d+-.+\.svg|formboard(-one-sheet|-a4|-letter)?\.(svg|pdf))\Z")
"""The same of the harness."""


@dataclass
class CannotWrite(PinproofError):
    """A folder or file that cannot be written; `place` is where, `why` what the system said."""

    place: str
    why: str

    def __str__(self) -> str:
        return f"{self.place} cannot be written: {self.why}. Name another folder with -o, or close the file."


def pack_files(
    truck: Truck, proof: TruckProof, *, paper: str = "a4", made_on: date | None = None, cures: Cures = (),
    faults: Sequence[Against] = (), sheet: BenchSheet | None = None, inhibit: InhibitReport | None = None,
) -> dict[str, bytes]:  # fmt: skip
    """Every file of the pack by its name.

    Parameters
    ----------
    truck : Truck
    proof : TruckProof
    paper : str
        "a4" or "letter".
    made_on : date or None
        Printed on book and card. The same design, paper, date and cures give the same bytes.
    cures : Cures, optional
        What was tried for lines that do not hold; see `pinproof.pack.cures`.
    faults : sequence of Against, optional
        The faults of each line for the book; see `pinproof.pack.faults_page`.

    sheet : BenchSheet, optional
        What to measure, and what was; without one, an ordinary meter and nothing measured.
    inhibit : InhibitReport, optional
        The start inhibit for the book; see `pinproof.pack.inhibit_page`.

    Raises
    ------
    CannotPrint
        If the book cannot be set.
    ValueError
        For an unknown paper.
    """
    netlist = physical(truck)
    views = {line.id: line_view(truck, line, netlist) for line in truck.lines}
    shown = made_on.isoformat() if made_on else None
    book = book_pdf(truck, proof, views, paper=paper, made_on=made_on, cures=cures, faults=faults, inhibit=inhibit)
    found = {"book.pdf": book}
    found["bench.pdf"] = bench_sheet_pdf(sheet or bench_sheet(truck, starter()), paper=paper, made_on=made_on)
    found["card.html"] = card_html(truck, proof, views, paper=paper, made_on=shown).encode("utf-8")
    found |= {name: text.encode("utf-8") for name, text in lists(truck, proof, views).items()}
    for number, line in enumerate(proof.lines, start=1):
        for each in line_figures(views[line.line], line, number):
            name = f"line-{number}-{_for_file(line.line)}-{each.name}.svg"
            found[name] = as_file(each.drawing.svg)
    for name, chart in charts(truck).items():
        found[f"{name}-saw-tooth.svg"] = as_file(chart.svg)
    for part in parts_of(truck):
        if part.ohm is not None:
            drawing = swatch(part.bands, part.code, f"{part.value} {part.tolerance}", ident=part_name(part))
            found[f"{part_name(part)}.svg"] = as_file(drawing.svg)
    return found


def _for_file(ident: str) -> str:
    return re.sub(r"[^A-Za-z0-9_-]", "-", ident)[:_LONGEST]


def left_words(left: Sequence[str]) -> str:
    """What to say of the files that `write_files` found left."""
    return f"From an earlier run, no longer true: {', '.join(left)}. Delete them by hand."


def write_files(folder: Path, files: Mapping[str, bytes], ours: re.Pattern[str] = PACK_NAMES) -> tuple[str, ...]:
    """Write every file whole: all beside their places first, then all into place.

    Files of these names are replaced; nothing else in the folder is touched.

    Parameters
    ----------
    folder : Path
    files : mapping of name to bytes
    ours : pattern
        Names that the same command gives to what not every design has.

    Returns
    -------
    tuple of str
        Names of that kind that lie in the folder and that this run did not write: left by an earlier one.

    Raises
    ------
    CannotWrite
        If the folder or a file cannot be written; then no file was replaced, or the message says which one stopped it.
    """
    parts: dict[Path, Path] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            part = folder / f"{name}.{os.getpid()}.part"
            parts[part] = folder / name
            with part.open("wb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        for part, place in parts.items():
            os.replace(part, place)
    except OSError as fault:
        place = fault.filename2 or fault.filename or folder
        raise CannotWrite(str(parts.get(Path(place), place)), fault.strerror or str(fault)) from fault
    finally:
        for part in parts:
            with suppress(OSError):  # a folder that became unwritable: the refusal above says so
                part.unlink(missing_ok=True)
    return tuple(sorted(each.name for each in folder.iterdir() if ours.match(each.name) and each.name not in files))
