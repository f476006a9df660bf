"""What people type: quantities, markings, answers, readings, loads."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from pinproof.chain import interview
from pinproof.chain.stock import last_digit_ohm, meter_error_ohm
from pinproof.design import load
from pinproof.errors import PinproofError
from pinproof.examples import example_path
from pinproof.find import Diagnosis
from pinproof.find import read as read_look
from pinproof.learn import begin
from pinproof.learn.entry import load_of, part_of, read_accuracy, read_entry
from pinproof.learn.stock import Load
from pinproof.meter.typed import read_typed
from pinproof.quantities import (
    DIMENSIONS,
    format_ohm_short,
    format_value,
    is_plus_minus,
    parse,
    parse_gauge,
    parse_span,
)
from pinproof.quantities.codes import read_chip_code, read_letter_code
from pinproof.quantities.markings import read_bands
from pinproof.quantities.tyre_size import diameter_of_size
from pinproof.record.table import utc_text
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken, fit_to_print, refused
from tests.fuzz.target import Run, Target


def _finite(value: float, what: str, *, also_open: bool = False) -> None:
    if not math.isfinite(value) and not (also_open and value == math.inf):
        raise Broken(f"{what} that is no number", repr(value))


def begin_quantities(folder: Path) -> Run:
    """One text as two of all quantities, as a range, gauge, marking."""
    names = sorted(DIMENSIONS)

    def run(data: bytes) -> None:
        text = data.decode("utf-8", "surrogateescape")
        mark = zlib.crc32(data)
        for name in (names[mark % len(names)], names[mark // 97 % len(names)]):
            try:
                value = parse(text, name, allow_open=True)
                _finite(value, name, also_open=name == "resistance")
                if math.isfinite(value):
                    fit_to_print(format_value(value, name), f"a written {name}")
            except PinproofError as fault:
                refused(fault)
            try:
                low, high = parse_span(text, name)
                _finite(low, name)
                _finite(high, name)
                if low > high:
                    raise Broken("a range upside down", f"{low} to {high}")
            except PinproofError as fault:
                refused(fault)
        is_plus_minus(text)
        for read in (parse_gauge, read_bands, read_letter_code, read_chip_code, diameter_of_size):
            try:
                read(text)
            except PinproofError as fault:
                refused(fault)
        try:
            ohm = parse(text, "resistance", allow_milli=False)
            fit_to_print(format_ohm_short(ohm), "ohms in short")
        except PinproofError as fault:
            refused(fault)

    return run


def begin_typed(folder: Path) -> Run:
    """One text as every answer and every reading."""
    truck = load(example_path("wagtail"))
    diagnosis = Diagnosis(truck, truck.lines[0].id)
    state = begin()

    def loads_of(text: str) -> Load:
        return load_of(text, state)

    readers: list[tuple[str, Callable[[str], Any]]] = [
        ("a look", lambda text: read_look(diagnosis, text)),
        ("an entry", read_entry),
        ("a load", loads_of),
        ("a part", lambda text: part_of(text, state.stock)),
        ("an accuracy", read_accuracy),
        ("ohms", lambda text: read_typed(text, "resistance")),
        ("volts", lambda text: read_typed(text, "voltage")),
        ("a want list", interview.read_list),
        ("a meter's error", lambda text: meter_error_ohm("1.497k", text)),
    ]
    questions = interview.QUESTIONS
    readers += [(each.key, lambda text, each=each: interview.understand(each, text)) for each in questions]  # type: ignore[misc]

    def run(data: bytes) -> None:
        text = data.decode("utf-8", "surrogateescape")
        for _, read in readers:
            try:
                read(text)
            except PinproofError as fault:
                refused(fault)
        if len(text) <= 64:
            last_digit_ohm_of(text)
        try:
            utc_text(text)
        except ValueError as fault:  # its own documented refusal
            if type(fault) is not ValueError or not any(each in str(fault) for each in ("is not a time", "beyond")):
                raise

    return run


def last_digit_ohm_of(text: str) -> None:
    """Only asked of texts that are ohms."""
    try:
        if parse(text, "resistance") > 0.0:
            _finite(last_digit_ohm(text), "a last digit")
    except PinproofError as fault:
        refused(fault)


def quantities() -> Sequence[bytes]:
    """As written in shops, and odd ones."""
    return [
        each.encode()
        for each in (
            "4.42k", "4k7", "1 500 ohm", "-20 °C", "31.5 in", "±5 %", "1,5 kohm", "9 V to 16 V", "-20 to 85 °C",
            "12..16 V", "20 AWG", "0.75 mm2", "brown grey black black brown", "4K7F", "472", "01C", "100 ppm/K",
            "1/4 W",
            "2 1/2 in", "5 ft 3 in", "35x12.5R17", "265/70R17", "526 rev/mile", "10 ms", "60 mph", "3.73", "0.25 W",
            "open",
            "1e5 ohm", "800 rpm", "9.1 mohm", "1'000 ohm", "∞", "6 1/2", "3 hours", "22 µF", "1.497k", "30 N", "90 s",
        )
    ]  # fmt: skip


def answers() -> Sequence[bytes]:
    """As typed at the prompts."""
    return [
        each.encode()
        for each in (
            "ohms idle = OL", "volts up = 4.1 at 12.6", "meaning up = manual", "open volts=4.98",
            "load=1k//10k means=down from=below", "pot=1.234k means=up", "load=2k2+470 volts=2.41 supply=12.6",
            "part=4k7 ohms=4.68k", "short volts=0.01", "key=cycled load=1k", "0.5 % + 2",
            "up 2.88k, down 1.27k, manual 8.25k",
            "up 1.2 to 1.8 V; down 2-3 V", "up 20 %, down 40 %", "up 2.88k, down 1.27k with 1k", "don't know", "yes",
            "no",
            "lever, paddles", "E96 1 %", "470 ohm to 10k", "1k measured", "2026-03-01T18:30:00Z", "battery", "OL",
            "-0.2",
            "12.60 V", "4.420k", "at=end ohms=10.1k", "min=1 max=2 ac=0.1", "up below 1k", "fuse", "ground",
        )
    ]  # fmt: skip


WORDS = ("to", "..", "-", "–", "±", "+/-", "k", "M", "m", "µ", "Ω", "°C", "%", "AWG", "mm²", "V", "=", "at", "@",
"//", "+",
         "e", "E", ".", ",", "'", '"', "/", "open", "OL", "with", "basis", "measured", "  ")  # fmt: skip
KINDS = (
    mutate.flip,
    mutate.cut,
    mutate.again,
    mutate.insert,
    mutate.insert,
    mutate.overwrite,
    mutate.splice,
    mutate.number,
)
TARGETS = (
    Target(
        "quantity", "quantities", ("pinproof.quantities",), begin_quantities, quantities, KINDS, WORDS, 0.5,
        lambda data: data + data,
    ),
    Target(
        "typed", "answers and readings", ("pinproof.quantities", "pinproof.chain.interview", "pinproof.learn.entry",
        "pinproof.meter.typed", "pinproof.find.session",
        "pinproof.find.looks"), begin_typed, answers, KINDS, WORDS, 1.0,
        lambda data: data + data,
    ),
)  # fmt: skip
