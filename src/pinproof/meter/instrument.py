"""A meter described once, in a file of its own apart from any truck.

Answers: how far may what this meter shows be from what is there?
Units:   ohms and volts, each in the unit of the range's quantity; degrees Celsius.
Touches: the meter file, in `load_instrument` and `save_starter`.
Sources: "± (percent of reading + digits)", a digit being the least step the display can show in that range: an
         instrument maker's help page (open copy). Beyond 18 to 28 °C the error grows by a share of itself per degree:
         0.15 in one bench meter's printed data (open copy), 0.1 in handhelds (memory). Leads 0.2 to 0.5 Ω, replaced
         above 1 Ω: a maker's page (secondary). Figures of the starter meter: common practice, no source.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from pinproof.design.edit import to_toml
from pinproof.design.load import decode, read_bytes, toml_of
from pinproof.design.model import BASES, Basis
from pinproof.design.save import save_atomic
from pinproof.errors import OutOfTable, PinproofError, printable
from pinproof.quantities import format_value, parse

Quantity = Literal["resistance", "voltage"]
MOST_RANGES = 40
_ACCURACY = re.compile(r"\s*±?\s*([0-9]+(?:[.,][0-9]+)?)\s*%\s*(?:\+\s*([0-9]{1,4}))?\s*(?:digits?|counts?)?\s*")
_HEAD = {
    "format", "name", "basis", "note", "counts", "input_resistance", "leads_low", "leads_high", "zeroed",
    "accurate_from", "accurate_to", "per_degree", "range",
}  # fmt: skip
_RANGE = {"full", "accuracy", "digit", "note"}


@dataclass(frozen=True)
class MeterRange:
    """One range. `full` is its highest reading, `digit` one step of the last digit, in the quantity's unit.

    The error is within ± (`relative` × reading + `digits` × `digit`).
    """

    quantity: Quantity
    full: float
    digit: float
    relative: float  # ratio
    digits: int


@dataclass(frozen=True)
class Instrument:
    """A meter. Outside `accurate_low_c` … `accurate_high_c` its error grows by `growth_per_k` of itself per degree."""

    name: str
    ranges: tuple[MeterRange, ...]
    input_ohm: float
    lead_low_ohm: float
    lead_high_ohm: float
    zeroed: bool = False  # True: the leads are taken off inside the meter
    accurate_low_c: float = 18.0
    accurate_high_c: float = 28.0
    growth_per_k: float = 0.1
    basis: Basis = "assumed"
    note: str = ""

    @property
    def words(self) -> str:
        """For a report: the name and how sure its figures are."""
        return f"{self.name} ({self.basis} figures)"

    @property
    def identity(self) -> str:
        """Hash of what makes this meter itself: its name and its ranges."""
        said = repr((self.name, self.ranges, self.input_ohm))
        return hashlib.sha256(said.encode("utf-8")).hexdigest()[:16]

    def top(self, quantity: Quantity) -> float:
        """Highest reading of any range of this quantity; above it the display shows OL."""
        return max(each.full for each in self.ranges if each.quantity == quantity)


@dataclass(frozen=True)
class Uncertainty:
    """Limit of the error either way, in the unit of the range's quantity, and what it came from.

    It is the most the error may be, not a share of cases: a guard band of this width is never too narrow (JCGM 100,
    4.3.7: all values within the limits).
    """

    limit: float
    used: MeterRange
    digit: float  # step that counts: the range's, or that of the last digit noted if coarser
    temperature_factor: float


@dataclass
class MeterFault(PinproofError):
    """Everything wrong with a meter file, or a reading the meter cannot show; nothing was written."""

    file: str
    faults: tuple[str, ...]

    def __str__(self) -> str:
        return "\n".join([*(printable(f"{self.file}  {said}") for said in self.faults), "Nothing was written."])


def error_limit(reading: float, relative: float, digits: int, digit: float, factor: float = 1.0) -> float:
    """± (relative × |reading| + digits × digit) × factor, in the unit of the reading."""
    return (relative * abs(reading) + digits * digit) * factor


def temperature_factor(ambient_c: float | None, low_c: float, high_c: float, growth_per_k: float) -> float:
    """Growth of the error away from the temperatures it is stated for; 1 inside them, and where nobody noted any."""
    if ambient_c is None:
        return 1.0
    outside_k = max(0.0, low_c - ambient_c, ambient_c - high_c)
    return 1.0 + growth_per_k * outside_k


def uncertainty(
    meter: Instrument, quantity: Quantity, reading: float, ambient_c: float | None = None, noted: float = 0.0
) -> Uncertainty:
    """How far a reading may be off.

    Parameters
    ----------
    meter : Instrument
    quantity : "resistance" or "voltage"
    reading : float
        As displayed. [Ω or V]
    ambient_c : float, optional
        Temperature of the meter. [°C] Left out, the stated temperatures are taken.
    noted : float
        Worth of the last digit that was written down. [Ω or V] A coarser one means a higher range was used, or digits
        were left out; either way that digit counts.

    Raises
    ------
    OutOfTable
        The meter has no range that shows this reading.

    Notes
    -----
    An autoranging meter takes the lowest range that shows the reading; so does this.

    Examples
    --------
    >>> from pinproof.meter.instrument import starter, uncertainty
    >>> round(uncertainty(starter(), "resistance", 1500.0, noted=1.0).limit, 3)
    15.5
    """
    fits = sorted(
        (each for each in meter.ranges if each.quantity == quantity and each.full >= abs(reading)),
        key=lambda each: each.full,
    )
    if not fits:
        tops = [each.full for each in meter.ranges if each.quantity == quantity]
        covered = (
            f"up to {format_value(max(tops), quantity)}; above that it shows OL" if tops else "nothing of the kind"
        )
        raise OutOfTable(f"The meter {meter.name}", format_value(reading, quantity), covered)
    used = next((each for each in fits if each.digit >= noted * (1.0 - 1e-9)), fits[0])
    digit = max(used.digit, noted)
    factor = temperature_factor(ambient_c, meter.accurate_low_c, meter.accurate_high_c, meter.growth_per_k)
    return Uncertainty(error_limit(reading, used.relative, used.digits, digit, factor), used, digit, factor)


STARTER = """# A meter, described once. Written by pinproof; edit it to what your meter's own booklet says.
# These are ordinary figures for a handheld of 6000 counts, not those of yours.
format = 1
name = "ordinary handheld, 6000 counts"
basis = "assumed"             # "published" once you have copied the booklet
counts = 6000                 # the highest number the display can show
input_resistance = "10 Mohm"  # on volts
leads_low = "0.1 ohm"         # what the leads add, held together
leads_high = "0.3 ohm"
zeroed = false                # true if you zero the leads in the meter before measuring
accurate_from = "18 °C"       # the accuracy below holds between these
accurate_to = "28 °C"
per_degree = "10 %"           # beyond them it grows by this share of itself per degree (memory)

# full: the highest reading of the range. accuracy: percent of reading + digits.
[[range]]
full = "600 ohm"
accuracy = "0.9 % + 2"
[[range]]
full = "6 kohm"
accuracy = "0.9 % + 2"
[[range]]
full = "60 kohm"
accuracy = "0.9 % + 2"
[[range]]
full = "600 kohm"
accuracy = "0.9 % + 2"
[[range]]
full = "6 Mohm"
accuracy = "0.9 % + 2"
[[range]]
full = "60 Mohm"
accuracy = "2 % + 5"
[[range]]
full = "600 mV"
accuracy = "0.5 % + 2"
[[range]]
full = "6 V"
accuracy = "0.5 % + 2"
[[range]]
full = "60 V"
accuracy = "0.5 % + 2"
"""


HEADS = (
    "name", "basis", "note", "counts", "input_resistance", "leads_low", "leads_high", "zeroed", "accurate_from",
    "accurate_to", "per_degree",
)  # fmt: skip


def written(text: str, file: str) -> tuple[dict[str, str], tuple[tuple[str, str], ...]]:
    """What a meter file says, as written: its heads, and full scale and accuracy of each range. MeterFault if none."""
    instrument_of(text, file)
    raw = toml_of(text)
    heads = {key: ("yes" if raw[key] is True else "no" if raw[key] is False else str(raw[key])) for key in HEADS
             if key in raw}  # fmt: skip
    return heads, tuple((str(each["full"]), str(each["accuracy"])) for each in raw["range"])


def instrument_text(heads: Mapping[str, str], ranges: Sequence[tuple[str, str]]) -> str:
    """A meter file from what was typed; MeterFault with all that is wrong with it.

    Parameters
    ----------
    heads : mapping
        Texts by the keys of `HEADS`; "" leaves one out. `zeroed` is "yes" or "no".
    ranges : sequence of (full, accuracy)
        As "6 kohm", "0.9 % + 2".
    """
    out = ["# A meter, described once. Written by pinproof; may be edited by hand.", "format = 1"]
    for key in HEADS:
        text = " ".join(heads.get(key, "").split())
        if key == "zeroed":
            out.append(f"zeroed = {'true' if text == 'yes' else 'false'}")
        elif key == "counts":
            out.append(f"counts = {text if re.fullmatch(r'[0-9]{1,9}', text) else to_toml(text)}")
        elif text:
            out.append(f"{key} = {to_toml(text)}")
    for full, accuracy in ranges:
        out += ["[[range]]", f"full = {to_toml(full)}", f"accuracy = {to_toml(accuracy)}"]
    made = "\n".join(out) + "\n"
    instrument_of(made, "the meter")
    return made


def starter() -> Instrument:
    """A meter with ordinary figures, basis assumed, for whoever has not described theirs yet."""
    return instrument_of(STARTER, "starter")


def save_starter(path: str | Path) -> None:
    """Write the starter meter as a file to edit; never over a file that is there (ChangedUnderneath)."""
    save_atomic(path, STARTER, None)


def load_instrument(path: str | Path) -> Instrument:
    """The meter in a file.

    Raises
    ------
    MeterFault
        All that is wrong with the file at once.
    DesignFault
        There is no such file, or it is no text.
    """
    file = Path(path).name
    return instrument_of(decode(read_bytes(str(path)), file).removeprefix("\ufeff"), file)


def instrument_of(text: str, file: str) -> Instrument:
    """The meter in the text of a meter file; MeterFault as `load_instrument`."""
    try:
        raw = toml_of(text)
    except (ValueError, RecursionError) as error:
        raise MeterFault(file, (f"This is not a meter file: {error}.",)) from None
    if "range" not in raw and "counts" not in raw:
        there = ", ".join(str(each)[:20] for each in list(raw)[:5]) or "nothing"
        what = f"This is not a meter file: it has {there}; a meter file has counts and [[range]]."
        raise MeterFault(file, (f"{what} `pinproof meter FILE --begin-meter` writes one.",))
    reader = _Reader(raw)
    made = reader.instrument()
    if reader.faults or made is None:
        raise MeterFault(file, tuple(reader.faults))
    return made


class _Reader:
    """One file; collects every fault."""

    def __init__(self, raw: dict[str, object]) -> None:
        self.raw = raw
        self.faults: list[str] = []

    def instrument(self) -> Instrument | None:
        self._keys(self.raw, _HEAD, "")
        if self.raw.get("format") != 1:
            self.faults.append("format: write format = 1.")
        counts = self.raw.get("counts")
        if isinstance(counts, bool) or not isinstance(counts, int) or not 99 <= counts <= 10_000_000:
            self.faults.append(f"counts: {counts!r} is not the highest number a display shows, such as 6000.")
            counts = 6000
        basis = self.raw.get("basis", "assumed")
        if basis not in BASES:
            self.faults.append(f"basis: {basis!r} is none of {', '.join(BASES)}.")
        listed = self.raw.get("range", [])
        if not isinstance(listed, list) or not listed or len(listed) > MOST_RANGES:
            self.faults.append(f"range: list every ohms and dc volts range as [[range]], 1 to {MOST_RANGES} of them.")
            listed = []
        ranges = [self._range(entry, number, counts) for number, entry in enumerate(listed, start=1)]
        known = [each for each in ranges if each is not None]
        for quantity, words in (("resistance", "ohms"), ("voltage", "dc volts")):
            if listed and not any(each.quantity == quantity for each in known):
                self.faults.append(f"range: there is no range for {words}.")
        lead_low = self._number(self.raw, "leads_low", "resistance", "")
        lead_high = self._number(self.raw, "leads_high", "resistance", "")
        input_ohm = self._number(self.raw, "input_resistance", "resistance", "")
        low_c = self._number(self.raw, "accurate_from", "temperature", "", "18 °C")
        high_c = self._number(self.raw, "accurate_to", "temperature", "", "28 °C")
        growth = self._number(self.raw, "per_degree", "ratio", "", "10 %")
        if lead_low > lead_high:
            self.faults.append("leads_low: it is above leads_high.")
        if input_ohm == 0.0:
            self.faults.append("input_resistance: a meter on volts is no short; 10 Mohm is usual.")
        if low_c > high_c:
            self.faults.append("accurate_from: it is above accurate_to.")
        if growth < 0.0:
            self.faults.append("per_degree: below zero; an error does not shrink away from its temperatures.")
        zeroed = self.raw.get("zeroed", False)
        if not isinstance(zeroed, bool):
            self.faults.append("zeroed: write true or false.")
        if self.faults:
            return None
        return Instrument(
            str(self.raw.get("name", "meter"))[:80], tuple(known), input_ohm, lead_low, lead_high, bool(zeroed),
            low_c, high_c, growth, cast(Basis, basis), str(self.raw.get("note", ""))[:200],
        )  # fmt: skip

    def _range(self, entry: object, number: int, counts: int) -> MeterRange | None:
        where = f"range {number}."
        if not isinstance(entry, dict):
            self.faults.append(f"range {number}: this is not a table.")
            return None
        self._keys(entry, _RANGE, where)
        text = str(entry.get("full", ""))
        quantity: Quantity = "voltage" if re.search(r"[vV]", text) else "resistance"
        full = self._number(entry, "full", quantity, where)
        digit = self._number(entry, "digit", quantity, where) if "digit" in entry else full / counts
        hit = _ACCURACY.fullmatch(str(entry.get("accuracy", "")))
        if hit is None:
            self.faults.append(f'{where}accuracy: write it as in "0.9 % + 2": percent of reading + digits.')
            return None
        if not full > 0.0 or not digit > 0.0:
            self.faults.append(f"{where}full: it must be above zero.")
            return None
        return MeterRange(quantity, full, digit, float(hit[1].replace(",", ".")) / 100.0, int(hit[2] or 0))

    def _number(self, table: dict[str, object], key: str, dimension: str, where: str, usual: str = "") -> float:
        text = table.get(key, usual)
        if text == "":
            self.faults.append(f"{where}{key}: it is missing.")
            return 0.0
        try:
            return parse(str(text), dimension)
        except PinproofError as fault:
            self.faults.append(f"{where}{key}: {fault}")
            return 0.0

    def _keys(self, table: dict[str, object], known: set[str], where: str) -> None:
        for key in table:
            if key not in known:
                self.faults.append(f"{where}{key}: there is no such key; there are {', '.join(sorted(known))}.")
