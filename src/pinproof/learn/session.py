"""One session at one pin: the volts, what the user told, the search for edges. Stopped and taken up at any reading.

Answers: the source as it stands, what may go on the pin, the search with the right scale; the session file.
Units:   volts, ohms.
Touches: the session file, in `load_session` and `save_session`, written whole or not at all.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from pinproof.design.load import decode, read_bytes, text_hash
from pinproof.design.model import Input, Line, Truck
from pinproof.design.save import save_atomic
from pinproof.errors import NoSolution
from pinproof.learn.declared import made_of
from pinproof.learn.pulls import Pulls, Referred, Side, least_load_ohm, pulls_of, strobed, tell_referral
from pinproof.learn.reference import needs_reference, not_told_apart
from pinproof.learn.source import PinReading, Source, VoltMeter, fit_source
from pinproof.learn.state import LearnFault, State, from_json, plain_tree, read_tree, scale_of, to_json
from pinproof.learn.uncertain import COVERAGE_K

SESSION_FORMAT = 1
SAME_SUPPLY_V = 0.3
MOST_READINGS = 2_000


@dataclass(frozen=True)
class Look:
    """The open pin on the meter's AC range or min/max. [V]"""

    volts_v: float
    ac_v: float | None = None
    low_v: float | None = None
    high_v: float | None = None


@dataclass(frozen=True)
class Session:
    """All that was read and told. `told` holds words: date, meter, setting, compares, reference_v …"""

    design_id: str
    line: str
    meter: VoltMeter
    search: State
    readings: tuple[PinReading, ...] = ()
    looks: tuple[Look, ...] = ()
    told: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Found:
    """What the volts of a session say. `why_not` tells what keeps the source from being written; with `asks_reference`
    the volts at the reference's own pin would tell."""

    source: Source | None
    referred: Referred | None
    pulls: Pulls | None
    strobed: bool | None
    least_ohm: float
    why_not: str
    asks_reference: bool = False


def side_of(line: Line) -> Side:
    """Where a coded line takes its pin, and so where a load's other end goes."""
    return "ground" if line.source_side == "return" else "supply"


def number_told(session: Session, key: str) -> float | None:
    """A number that the user told, None if not."""
    text = session.told.get(key, "")
    return float(text) if text else None


def reference_reach_v(session: Session) -> float:
    """How far the reference may lie from where it was told, by the meter and the digits that it was told with. [V]"""
    kept = number_told(session, "reference_reach_v")
    if kept is not None:
        return kept
    return session.meter.gain * (number_told(session, "reference_v") or 0.0) + session.meter.offset_v


def at_one_supply(readings: tuple[PinReading, ...]) -> tuple[PinReading, ...]:
    """Readings that belong together: those at the supply of the first, or where none was noted."""
    first = next((each.supply_v for each in readings if each.supply_v is not None), None)
    return tuple(
        each for each in readings
        if each.supply_v is None or first is None or abs(each.supply_v - first) <= SAME_SUPPLY_V
    )  # fmt: skip


def found_of(session: Session, truck: Truck) -> Found:
    """The source, the pulls and what may be put on the pin, from the readings so far."""
    line = truck.line(session.line)
    owner = truck.input_of(line)
    together = at_one_supply(session.readings)
    source: Source | None = None
    why_not = ""
    try:
        source = fit_source(together, session.meter)
    except NoSolution as fault:
        why_not = str(fault)
    referred: Referred | None = None
    pairs = [(each.supply_v, each.volts_v) for each in session.readings if each.is_open and each.supply_v is not None]
    if len({supply for supply, _ in pairs}) > 1:
        referred = tell_referral(pairs, session.meter)
    shaky = None
    if session.looks:
        shaky = any(
            strobed(each.volts_v, ac_v=each.ac_v, low_v=each.low_v, high_v=each.high_v) for each in session.looks
        )
    pulls, asks_reference, rail = None, False, owner.reference
    if source is not None and not source.is_resistor:
        why_not = f"It is no plain resistor. It may be a {' or a '.join(source.candidates)}."
    elif source is not None and shaky:
        why_not = "It is switched on and off (strobed): a meter shows only its mean."
    elif source is not None:
        reference = number_told(session, "reference_v")
        supply = next((each.supply_v for each in together if each.supply_v is not None), None)
        referral = None if referred is None or referred.kind == "not told apart" else referred.kind
        u_reference = reference_reach_v(session) / COVERAGE_K
        pulls = pulls_of(
            source, reference_v=reference, u_reference_v=u_reference, supply_v=supply, referral=referral,
            stated_v=(rail.low, rail.high) if rail is not None else None,
        )  # fmt: skip
        if pulls is None:
            asks_reference = needs_reference(referral, reference)
            why_not = (
                "Its volts follow both the battery and something regulated." if referral == "both"
                else not_told_apart(source, (rail.low, rail.value, rail.high) if rail is not None else None, reference)
            )  # fmt: skip
    least = least_load_ohm(
        side_of(line), source, supply_high_v=_supply_high_v(truck, line),
        max_pin_v=owner.max_pin.value if owner.max_pin is not None else None,
        reference_v=number_told(session, "reference_v"),
    )  # fmt: skip
    return Found(source, referred, pulls, shaky, least, why_not, asks_reference)


def _supply_high_v(truck: Truck, line: Line) -> float:
    """The highest volts that a feed may have."""
    if line.feed_from == "reference":
        owner = truck.input_of(line)
        return owner.reference.high if owner.reference is not None else 5.0
    return truck.supply.run.high


def divisor_v(session: Session, truck: Truck, owner: Input) -> float:
    """What full scale is in volts. [V]"""
    compares = session.told.get("compares") or owner.compares
    supply = next((each.supply_v for each in session.readings if each.supply_v is not None), truck.supply.run.value)
    if compares == "reference":
        nominal = owner.reference.value if owner.reference is not None else 5.0
        return number_told(session, "reference_v") or nominal
    if compares == "volts" and owner.full_scale is not None:
        return owner.full_scale.value
    return supply


def refreshed(session: Session, truck: Truck) -> Session:
    """The same session with its search spaced by the source as it is known now."""
    line = truck.line(session.line)
    found = found_of(session, truck)
    scale = session.search.scale
    if found.source is not None and found.source.ohm < float("inf"):
        feed = 0.0
        if side_of(line) == "supply":
            feed = next((e.feed_v for e in session.readings if e.feed_v is not None), _supply_high_v(truck, line))
        learned = scale_of(found.source, divisor_v(session, truck, truck.input_of(line)), feed_v=feed)
        if abs(learned.open_reading - learned.far_reading) > 0.01:
            scale = learned
    return replace(session, search=replace(session.search, scale=scale, least_ohm=found.least_ohm))


def note_of(session: Session) -> str:
    """What stands beside every number that is written: date, meter, supply, setting version."""
    told = session.told
    parts = [told.get("date", ""), told.get("meter", "")]
    supply = next((each.supply_v for each in session.readings if each.supply_v is not None), None)
    parts.append(f"supply {supply:g} V" if supply is not None else "")
    parts.append(f"setting {told['setting']}" if told.get("setting") else "")
    return ", ".join(["learned with known loads", *(part for part in parts if part)])


def reference_learned(session: Session, found: Found) -> tuple[float, float] | None:
    """Volts of the reference and their tolerance, where they were told, or the open pin shows them: it agrees with
    the stated ones, so that nothing speaks for a second pull."""
    told = number_told(session, "reference_v")
    if told is not None and told > 0.0:
        return told, reference_reach_v(session) / told
    pulls, source = found.pulls, found.source
    if pulls is None or source is None or pulls.up_ohm is None or pulls.down_ohm is not None:
        return None
    if pulls.up_to != "reference":
        return None
    return source.volts_v, COVERAGE_K * source.u_volts_v / source.volts_v


# the file


def session_path(design: Path, input_id: str) -> Path:
    """Where a session is kept: beside the design."""
    return design.with_name(f"{design.stem}.learn.{input_id}.json")


def load_session(path: str | os.PathLike[str]) -> tuple[Session, str]:
    """A session and the hash of its file.

    Raises
    ------
    LearnFault
        Not a session, or damaged.
    DesignFault
        No such file, or no text.
    """
    name = os.path.basename(os.fspath(path))
    data = read_bytes(os.fspath(path))
    try:
        text = decode(data, name).removeprefix("\ufeff")
        tree = json.loads(text, parse_constant=_finite, parse_float=_finite)
        json.dumps(tree, ensure_ascii=False).encode("utf-8")  # ValueError: half a letter, which could not be saved
        if tree["session"] != SESSION_FORMAT:
            raise LearnFault(name, f"It has format {tree['session']!r}; this program reads {SESSION_FORMAT}.")
        readings = tuple(_reading(each) for each in tree["readings"])
        if len(readings) > MOST_READINGS:
            raise LearnFault(name, f"More than {MOST_READINGS} readings. Is it the right file?")
        told = {str(key): str(each) for key, each in tree["told"].items()}
        for key in ("reference_v", "reference_digit_v", "reference_reach_v"):
            if told.get(key):
                float(told[key])
        return Session(
            str(tree["design_id"]), str(tree["line"]), made_of(VoltMeter, read_tree(tree["meter"])),
            from_json(tree["search"]),
            readings, tuple(made_of(Look, each) for each in tree["looks"]), told,
        ), text_hash(data)  # fmt: skip
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise LearnFault(name, f"It is not a session of this program, or damaged ({error}).") from None


def _finite(text: str) -> float:
    """A number of the file; NaN, Infinity and 1e308 stand in none that this program wrote."""
    number = float(text)
    if not abs(number) < 1e15:
        raise ValueError(f"{text} is no number")
    return number


def _reading(tree: dict[str, Any]) -> PinReading:
    kept = {key: each for key, each in tree.items() if each is not None or key == "load_ohm"}
    for key in ("reach", "feed_reach"):
        if key in kept:
            kept[key] = tuple(kept[key])
    return made_of(PinReading, {**kept, "load_ohm": read_tree(kept["load_ohm"])})


def session_text(session: Session) -> str:
    """The session as its file holds it."""
    tree = {
        "session": SESSION_FORMAT, "design_id": session.design_id, "line": session.line,
        "meter": plain_tree(asdict(session.meter)), "readings": [plain_tree(asdict(each)) for each in session.readings],
        "looks": [asdict(each) for each in session.looks], "told": session.told, "search": to_json(session.search),
    }  # fmt: skip
    return json.dumps(tree, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def save_session(path: str | os.PathLike[str], session: Session, seen: str | None) -> str:
    """Write a session file; `seen` is the hash it had, None if there was none. Returns the new hash.

    Raises
    ------
    ChangedUnderneath, SaveFailed
        As `pinproof.design.save.save_atomic`.
    """
    return save_atomic(path, session_text(session), seen)
