"""Invented trucks and proofs for the drawings and the report, made by hand and by random search.

Nothing here is a measured number: values are chosen so that every verdict, open edges, wide and narrow spans, a
floating pin and long names occur.
"""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import strategies as st

from pinproof.design.model import Contact, Device, Input, Line, Resistor, Supply, Truck, Value
from pinproof.proof.results import DriftBudget, Finding, LineProof, RestsOn, SituationProof, TruckProof
from pinproof.verdict import Edge, Verdict, Window

INF = math.inf


def value(low: float, nominal: float, high: float, dimension: str, path: str, text: str = "") -> Value:
    """A number of an invented design."""
    return Value(nominal, low, high, dimension, path, text or f"{low} to {high}", "published")


def resistor(ohm: float | None, path: str) -> Resistor:
    """A coder resistor of 1 %."""
    return Resistor(ohm, 0.01, 0.01, 1e-4, False, path, f"{ohm} ohm", "measured")


def truck(names: tuple[str, ...], *, line_id: str = "taps", compares: str = "reference", name: str = "") -> Truck:
    """A truck with one pull-up line and a contact for every name."""
    owner = Input(
        id="tap_pin",
        pull_up=resistor(1000.0, "input.tap_pin.pull_up"),
        pull_up_to="reference",
        pull_down=None,
        compares=compares,  # type: ignore[arg-type]
        error=value(0.01, 0.01, 0.01, "ratio", "input.tap_pin.error"),
        reference=value(4.95, 5.0, 5.05, "voltage", "input.tap_pin.reference"),
        full_scale=value(5.0, 5.0, 5.0, "voltage", "input.tap_pin.full_scale"),
    )
    contacts = tuple(
        Contact(
            each, line_id, "lever", "normally open", "momentary", each,
            resistor(4420.0 + 100.0 * index, f"contact.{each}.resistor"),
            value(0.0, 0.0, 50.0, "resistance", f"contact.{each}.closed"), None, path=f"contact.{each}",
        )
        for index, each in enumerate(names)
    )  # fmt: skip
    return Truck(
        1, "pp-made-1", Supply(value(10.5, 13.8, 15.5, "voltage", "supply.run")),
        value(-10.0, 20.0, 80.0, "temperature", "temperature"), (owner,),
        (
            Line(
                line_id, "tap_pin", "pull-up", "automatic", "return", path=f"line.{line_id}",
                wire=value(0.0, 0.5, 1.0, "resistance", f"line.{line_id}.wire"),
                source_wire=value(0.0, 0.5, 1.0, "resistance", f"line.{line_id}.source_wire"),
                return_offset=value(-0.1, 0.0, 0.1, "voltage", f"line.{line_id}.return_offset"),
            ),
        ),
        (Device("lever"),), contacts, name=name, text_hash="0" * 64,
    )  # fmt: skip


def window(
    meaning: str, low: float | None, high: float | None, off: float, kind: str = "command", basis: str = "published"
) -> Window:
    """A window with both edges known to `off`."""

    def edge(at: float | None) -> Edge | None:
        return None if at is None else Edge(at - off, at + off, at)

    width = (1.0 if high is None else high) - (0.0 if low is None else low)
    return Window(meaning, edge(low), edge(high), width / 2.0, basis, kind)


def situation(
    operated: tuple[str, ...], allowed: tuple[str, ...], low: float, high: float, verdict: Verdict, margin: float,
    **other: object,
) -> SituationProof:  # fmt: skip
    """One row, exact unless said otherwise."""
    plain = SituationProof(
        key_state="run", space="reference", operated=operated, allowed=allowed,
        meaning=allowed[0] if len(allowed) == 1 else "", rule=5 if "invalid" in allowed else 3, low=low, high=high,
        inner_low=low, inner_high=high, unit="1", exact=True, verdict=verdict, margin=margin, window=allowed[0],
        side="low", reads_as=(allowed[0],),
    )  # fmt: skip
    return replace(plain, **other)  # type: ignore[arg-type]


def budget(parameter: str, direction: str, lost: float | None, false: float | None, false_as: str = "") -> DriftBudget:
    """A drift budget in ohms."""
    return DriftBudget(parameter, direction, 50.0, lost, false, false_as, "ohm", "assumed", 2.0 if lost else 7.0)


def made() -> tuple[Truck, TruckProof]:
    """A proof in which every verdict occurs, with budgets, findings and what it rests on."""
    one = truck(("lever_manual", "lever_up", "lever_down", "wheel_up", "wheel_down"), name="Sandpiper (invented)")
    windows = (
        window("shorted", None, 0.107, 0.01, "fault"),
        window("down", 0.213, 0.39, 0.018),
        window("up", 0.474, 0.623, 0.016),
        window("manual", 0.697, 0.818, 0.02, "command", "assumed"),
        window("automatic", 0.889, None, 0.02, "idle", "assumed"),
    )
    weak = (
        budget("contact.lever_up.closed", "up", 410.0, 1200.0, "manual"),
        budget("line.taps.leak_to_ground", "down", 22_000.0, 8_000.0, "down"),
        budget("line.taps.wire", "up", 300.0, None),
        budget("contact.wheel_up.open", "down", None, None),
    )
    rows = (
        situation((), ("automatic",), 0.93, 0.99, Verdict.WOULD_HOLD, 0.21, rule=2, weakest="line.taps.leak_to_ground"),
        situation(
            ("lever_manual",), ("manual",), 0.742, 0.799, Verdict.WOULD_HOLD, 0.026, rule=4,
            weakest="contact.lever_manual.closed",
        ),
        situation(
            ("lever_manual", "lever_up"), ("up",), 0.5313, 0.5688, Verdict.PASS, 0.51, budgets=weak,
            weakest="contact.lever_up.closed",
        ),
        situation(
            ("lever_manual", "lever_down"), ("down",), 0.2956, 0.4111, Verdict.FAIL, -0.44, side="high",
            reads_as=("down", "invalid"), weakest="contact.lever_down.closed",
        ),
        situation(("lever_manual", "wheel_up"), ("up",), 0.47, 0.5688, Verdict.NOT_SHOWN, -0.27, exact=False,
                  inner_low=0.5, inner_high=0.55, reads_as=("up", "invalid")),
        situation(("lever_manual", "wheel_down"), ("down",), 0.2956, 0.3411, Verdict.PASS, 0.44),
        situation(
            ("lever_manual", "lever_up", "wheel_up"), ("automatic", "invalid", "manual", "up"), 0.41, 0.45,
            Verdict.NOT_SHOWN, -0.02, window="down", reads_as=("down", "invalid"),
        ),
        situation(
            ("lever_manual", "lever_up", "wheel_down"), ("automatic", "invalid", "manual", "up", "down"),
            0.229, 0.256, Verdict.PASS, INF, window="",
        ),
        situation(
            ("lever_manual", "lever_down", "wheel_down"), ("automatic", "invalid", "manual", "down"),
            math.nan, math.nan, Verdict.NOT_SHOWN, -INF, inner_low=math.nan, inner_high=math.nan, window="",
            reads_as=("invalid",),
            why="nothing holds the pin in some corner of the box: it floats, and may read anything",
        ),
    )  # fmt: skip
    crank = tuple(replace(row, key_state="crank") for row in rows[:4])
    line = LineProof(
        "taps", "tap_pin", "pull-up", Verdict.FAIL, (*rows, *crank), {"reference": windows},
        findings=(
            Finding("wetting", None, "lever_up", "The contact carries 1.1 mA; a silver contact wants more.", {},
                    "Fit a load resistor beside the contact, and prove again."),
            Finding("heat", Verdict.PASS, "lever_up", "The hottest resistor takes 12 mW at a jump start of 24 V."),
            Finding("open-wire", Verdict.NOT_SHOWN, "line.taps.wire", "A broken wire reads like automatic.", {},
                    "A far-end idle resistor would tell the two apart."),
        ),
        rests_on=(
            RestsOn("line.taps.window.manual", "assumed", "2.3 kohm", 41, 0.4, "an edge 3 % lower and manual is lost"),
            RestsOn("contact.lever_up.closed", "assumed", "0 to 50 ohm", None, 2.0, "410 Ω in the contact"),
        ),
    )  # fmt: skip
    return one, TruckProof(
        one.id, one.name, one.text_hash, Verdict.FAIL, (line,), ("truck.toml:4  note: odd but usable",)
    )


NAMES = st.text(
    alphabet=st.sampled_from("abcdefghijklmnopqrstuvwxyz_-ABCXYZ0123456789éßЖΩ名ع<>&\"'\u0007 "),
    min_size=1,
    max_size=40,
).map(lambda text: text.strip() or "x")
READINGS = st.one_of(st.floats(0.0, 1.0), st.sampled_from([0.0, 1.0, -0.3, 1.7, 1e-12, 0.5, 0.5 + 1e-12]))
MARGINS = st.one_of(st.floats(-50.0, 50.0), st.sampled_from([INF, -INF, math.nan, 0.0, 1e-7, -1e-7]))


@st.composite
def windows(draw: st.DrawFn) -> Window:
    """Any window: narrow, wide, open on a side, its edges' ranges crossing, running off the rule."""
    low, high = sorted((draw(st.floats(0.0, 0.999)), draw(st.floats(0.0, 0.999))))
    if high - low < 1e-6:
        high = low + 1e-6
    made = window(
        draw(NAMES), draw(st.sampled_from([low, None])), draw(st.sampled_from([high, None])), draw(st.floats(0.0, 0.2)),
        draw(st.sampled_from(["command", "idle", "fault"])), draw(st.sampled_from(["assumed", "published"])),
    )  # fmt: skip
    return made


@st.composite
def situations(draw: st.DrawFn, names: tuple[str, ...], meanings: tuple[str, ...]) -> SituationProof:
    """Any row: exact or bracket, settled or floating, within the rule or beyond it."""
    low, high = sorted((draw(READINGS), draw(READINGS)))
    a, b = sorted((draw(st.floats(0.0, 1.0)), draw(st.floats(0.0, 1.0))))
    if draw(st.integers(0, 9)) == 0:
        low = high = math.nan
    exact = draw(st.booleans())
    allowed = tuple(draw(st.lists(st.sampled_from([*meanings, "invalid"]), min_size=1, max_size=4, unique=True)))
    return situation(
        tuple(draw(st.lists(st.sampled_from(names), max_size=5, unique=True))), allowed, low, high,
        draw(st.sampled_from(list(Verdict))), draw(MARGINS), exact=exact, rule=draw(st.sampled_from([1, 2, 3, 4, 5])),
        inner_low=low if exact else low + a * (high - low), inner_high=high if exact else low + b * (high - low),
        why=draw(st.sampled_from(["", "it floats, and may read anything at all"])),
        reads_as=tuple(draw(st.lists(st.sampled_from(meanings), max_size=3, unique=True))),
        weakest=draw(st.sampled_from(["", "supply", f"contact.{names[0]}.closed"])),
    )  # fmt: skip


@st.composite
def proofs(draw: st.DrawFn, most: int = 40) -> tuple[Truck, LineProof]:
    """A truck with one line and any proof of it."""
    names = tuple(draw(st.lists(NAMES, min_size=1, max_size=6, unique=True)))
    one = truck(names, line_id=draw(NAMES))
    found = tuple(draw(st.lists(windows(), max_size=9)))
    meanings = tuple(dict.fromkeys(w.meaning for w in found)) or ("automatic",)
    rows = tuple(draw(st.lists(situations(names, meanings), max_size=most)))
    line = LineProof(
        one.lines[0].id, "tap_pin", "pull-up", draw(st.sampled_from(list(Verdict))), rows, {"reference": found},
        reason=draw(st.sampled_from(["", "the pull of input tap_pin is unknown"])),
    )  # fmt: skip
    return one, line
