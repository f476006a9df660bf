"""How a session at an unknown pin begins, and what may be told or set for it.

Answers: which line is learned; a new session with its loads; the session in a file; the session with what was told.
Units:   ohms, volts; shares of full scale.
Touches: the session file, read through `pinproof.learn`.
Beside:  `learning` works on the session.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pinproof.choose.drawer import Drawer
from pinproof.design.model import Line, Truck
from pinproof.learn import LearnFault, Part, Session, VoltMeter, begin, load_session
from pinproof.learn.entry import last_digit, read_accuracy
from pinproof.learn.session import side_of
from pinproof.meter import Instrument, uncertainty
from pinproof.quantities import parse

TOLD = ("date", "meter", "setting", "reference_v", "compares", "faults")
USUAL_METER = "0.5 % + 2"
COMPARES = ("reference", "battery", "volts", "unknown")


@dataclass
class NotThus(LearnFault):
    """An answer or a setting that cannot be taken as it was given. Nothing was kept of it."""

    def __str__(self) -> str:
        return self.message


@dataclass
class Doubted(LearnFault):
    """A reading that does not go with the others; kept only if whoever read it insists."""

    def __str__(self) -> str:
        return self.message


def line_of(truck: Truck, input_id: str = "") -> Line:
    """The line whose pin is learned; NotThus if there is none, or several and nothing says which."""
    mine = [each for each in truck.lines if not input_id or each.input == input_id]
    if not mine:
        known = ", ".join(e.id for e in truck.inputs)
        raise NotThus("input", f'There is no line on an input "{input_id}". Inputs: {known}.')
    if len(mine) > 1 and not input_id:
        names = ", ".join(each.input for each in mine)
        raise NotThus("input", f"The file has several lines. Name the input: {names}.")
    return mine[0]


def new_session(truck: Truck, line: Line, drawer: Drawer | None) -> Session:
    """A session with nothing read; loads from the drawer, or E12 where there is none."""
    needed = dict.fromkeys([line.idle, *(each.asks for each in truck.contacts_of(line))])
    faults = tuple(
        dict.fromkeys([w.meaning for w in line.windows if w.fault] + [t.meaning for t in line.targets if t.fault])
    )
    search = begin(side_of(line), stock=stock_of(drawer), expected=needed, faults=faults)
    return Session(truck.id, line.id, VoltMeter(), search)


def stock_of(drawer: Drawer | None) -> tuple[Part, ...] | None:
    """The owner's drawer as loads; None: E12 is assumed."""
    if drawer is None or not drawer.parts:
        return None
    return tuple(
        Part(
            each.nominal_ohm,
            max(each.high_ohm - each.nominal_ohm, each.nominal_ohm - each.low_ohm),
            each.label,
            each.count,
        )
        for each in drawer.parts
    )


def with_settings(
    session: Session, *, meter: str = "", instrument: Instrument | None = None, one_range: bool = False,
    pot: bool = False, resolution: str = "", hidden: str = "", accepted: str = "",
    told: tuple[tuple[str, str], ...] = (),
) -> Session:  # fmt: skip
    """The session with what was set or told.

    Parameters
    ----------
    meter : str
        Its accuracy on volts, as "0.5 % + 2".
    resolution, hidden, accepted : str
        Shares of full scale, as "1 %".
    told : tuple of (key, value)
        Keys of `TOLD`.

    Raises
    ------
    NotThus, QuantityFault
        What cannot be taken, and what would be right.
    """
    known = dict(session.told)
    for key, value in told:
        if key not in TOLD:
            raise NotThus("told", f'There is no "{key}" to tell; there are {", ".join(TOLD)}.')
        if key == "compares" and value not in COMPARES:
            raise NotThus("told", "compares is reference, battery, volts or unknown.")
        known[key] = value
        if key == "reference_v":
            known[key] = f"{parse(_volts(value), 'voltage'):g}"
            known["reference_digit_v"] = f"{last_digit(value):g}"
    volt = session.meter
    if instrument is not None:
        volt = dataclasses.replace(volt, input_ohm=instrument.input_ohm)
        known.setdefault("meter", instrument.name)
    elif meter:
        volt = dataclasses.replace(volt, gain=read_accuracy(meter)[0])
        known["accuracy"] = meter
    if known.get("reference_digit_v") and (instrument is not None or meter or "reference_v" in dict(told)):
        known["reference_reach_v"] = f"{_reference_reach_v(known, instrument):g}"
    if one_range:
        volt = dataclasses.replace(volt, one_range=True)
    search = session.search
    changes: dict[str, Any] = {}
    for key, text in (("resolution", resolution), ("hidden", hidden), ("accepted", accepted)):
        if text:
            changes[key] = parse(text, "ratio")
            if not 0.0 < changes[key] < 1.0:
                raise NotThus(key, f"{key} is a share of full scale, as in 1 %.")
    if pot and not search.rest_latches:
        changes["method"] = "pot"
    if known.get("faults"):
        changes["faults"] = tuple(each.strip() for each in known["faults"].split(",") if each.strip())
    return dataclasses.replace(session, meter=volt, told=known, search=dataclasses.replace(search, **changes))


def _volts(text: str) -> str:
    return text if text.rstrip()[-1:].isalpha() else f"{text} V"


def _reference_reach_v(known: Mapping[str, str], instrument: Instrument | None) -> float:
    """How far the told reference may be off by the meter, its last digits included, as every other reading. [V]"""
    reference_v, digit_v = abs(float(known["reference_v"])), float(known["reference_digit_v"])
    if instrument is not None:
        return uncertainty(instrument, "voltage", reference_v, noted=digit_v).limit
    gain, counts = read_accuracy(known.get("accuracy", USUAL_METER))
    return gain * reference_v + counts * digit_v


def opened(truck: Truck, line: Line, path: Path, drawer: Drawer | None) -> tuple[Session, str | None]:
    """The session in a file, with the file's hash, or a new one.

    Raises
    ------
    NotThus
        The session is of another design or line.
    LearnFault, DesignFault
        As `load_session`.
    """
    if not path.exists():
        return new_session(truck, line, drawer), None
    session, seen = load_session(path)
    if session.design_id != truck.id or session.line != line.id:
        raise NotThus("session", f"{path.name} is of another design or line ({session.design_id}, {session.line}).")
    return session, seen
