"""Design files: read, cross-checked, wired; changed by the program and read again; proven."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from pathlib import Path

from pinproof.design import DesignFault, Truck, load, loads
from pinproof.design.edit import with_values
from pinproof.errors import PinproofError
from pinproof.examples import example_path
from pinproof.proof import as_json, prove
from pinproof.wiring import line_view, physical
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, fit_to_print, plain, refused, untouched
from tests.fuzz.target import Run, Target, of_corpus

EXAMPLES = ("wagtail", "heron", "sandpiper", "dunlin")
NAME = "in.toml"
PROVEN_ELEMENTS = 24  # trucks with more branches are read and wired, and not proven here


def examples() -> Sequence[bytes]:
    """The invented trucks."""
    return [example_path(name).read_bytes() for name in EXAMPLES]


def faults_say_where(fault: DesignFault, data: bytes) -> None:
    """Each fault names the file, and a line that is there."""
    refused(fault, NAME)
    most = data.count(b"\n") + data.count(b"\r") + 1
    for each in fault.faults:
        if not 0 <= each.line <= most:
            raise Broken("a fault in a line that is not there", f"line {each.line} of {most}: {each}")
        if each.path and not each.line:
            raise Broken("a fault in an entry without a line", str(each))


def wired(truck: Truck) -> int:
    """The one netlist and each pin's view of it; the number of branches."""
    for warning in truck.warnings:
        fit_to_print(warning, "a warning")
    netlist = physical(truck)
    for line in truck.lines:
        line_view(truck, line, netlist)
    return len(netlist.branches)


def changed(truck: Truck, data: bytes) -> None:
    """A change by the program keeps the file readable, and changes only what it names."""
    text = data.decode("utf-8")
    try:
        made = with_values(text, {"name": "another name"}, NAME)
    except PinproofError as fault:
        refused(fault, NAME)
        return
    again = loads(made, NAME)
    if again.name != "another name" or [each.id for each in again.lines] != [each.id for each in truck.lines]:
        raise Broken("a change changed something else", made[:400])


def begin_reading(folder: Path) -> Run:
    """Read, wire; change one in eight."""
    path = folder / NAME

    def run(data: bytes) -> None:
        path.write_bytes(data)
        try:
            truck = load(path)
        except DesignFault as fault:
            faults_say_where(fault, data)
        else:
            wired(truck)
            if zlib.crc32(data) % 8 == 0:
                changed(truck, data)
        untouched(path, data, frozenset())

    return run


def begin_proving(folder: Path) -> Run:
    """Prove what loads, with everything beside the verdict; one in four with all that the report tells."""

    def run(data: bytes) -> None:
        try:
            truck = loads(data.decode("utf-8", "replace"), NAME)
        except DesignFault as fault:
            refused(fault, NAME)
            return
        if wired(truck) > PROVEN_ELEMENTS:
            return
        try:
            proof = prove(truck, samples=200, drift=zlib.crc32(data) % 4 == 0)
        except PinproofError as fault:
            refused(fault)
            return
        plain(as_json(proof), "a proof")

    return run


def doubled(data: bytes) -> bytes:
    """All tables of lists once more."""
    at = data.find(b"\n[[")
    return data + (data[at:] if at >= 0 else data)


def small() -> Sequence[bytes]:
    """Those that are quick to prove."""
    return [*of_corpus("design"), *(example_path(name).read_bytes() for name in EXAMPLES[:2])]


WORDS = (
    "[[contact]]", "[[line]]", "[[input]]", "[[line.window]]", "[[line.target]]", "[[device]]", "[[situation]]",
    '"1 kohm"', '"open"', '"none"', '"unknown"', '"5 %"', '"12 V"', "{ low = \"1 V\", high = \"2 V\" }",
    'basis = "measured"', "true", "false", "[]", "{}", '["a", "b"]', "1979-05-27T07:32:00Z", "0x10", "1e3",
)  # fmt: skip
TARGETS = (
    Target(
        "design", "design files", ("pinproof.design",), begin_reading, examples, mutate.TOML, WORDS, doubled=doubled
    ),
    Target(
        "proof", "design files that load, proven", ("pinproof.wiring", "pinproof.observe", "pinproof.proof",
        "pinproof.network", "pinproof.verdict"), begin_proving, small, mutate.TOML, WORDS, limit_s=60.0,
    ),
)  # fmt: skip
