"""Checked rows made into the model.

Answers: the `Truck` of a file in which no fault was found.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

from pinproof.design.build_drive import drive_table
from pinproof.design.build_harness import harness_tables
from pinproof.design.build_inhibit import inhibit_table
from pinproof.design.model import (
    UNKNOWN,
    Basis,
    Cavity,
    Contact,
    Defaults,
    Device,
    Element,
    Input,
    Line,
    Parts,
    Place,
    Plug,
    Pull,
    Rail,
    Resistor,
    Run,
    SituationRule,
    Supply,
    Target,
    Truck,
    Value,
    Window,
)
from pinproof.design.rows import Reading, Row, as_resistor, weakest

_Listed = TypeVar("_Listed", Window, Target)


def build(row: Row, *, source_path: str, text_hash: str, warnings: tuple[str, ...], lines: dict[str, int]) -> Truck:
    """The model of a truck whose rows hold no fault."""
    supply, defaults, parts = row.get("supply"), row.get("defaults"), row.get("parts")
    stated: dict[str, Any] = dict(defaults.values) if defaults is not None else {}
    numbers = {name: value for name, value in stated.items() if isinstance(value, Value)}
    inputs = tuple(_input(one) for one in row.rows("input"))
    return Truck(
        format=row.get("format"),
        id=row.get("id"),
        name=row.get("name", ""),
        note=row.get("note", ""),
        supply=Supply(**{name: supply.get(name) for name in ("run", "crank", "after_run", "jump_start", "load_dump")}),
        temperature=row.get("temperature"),
        defaults=Defaults(**numbers, open_none="open" in stated and stated["open"] is None),
        parts=Parts(**parts.values) if parts is not None else Parts(),
        inputs=inputs,
        lines=tuple(_with_own_pull(_line(one, numbers), inputs) for one in row.rows("line")),
        devices=tuple(_device(one) for one in row.rows("device")),
        contacts=tuple(_contact(one, numbers) for one in row.rows("contact")),
        places=tuple(
            Place(temperature=one.get("temperature"), inside=one.get("inside", False), **_labels(one))
            for one in row.rows("place")
        ),
        runs=tuple(_run(one) for one in row.rows("run")),
        plugs=tuple(_plug(one) for one in row.rows("plug")),
        **harness_tables(row),
        inhibit=inhibit_table(row),
        drive=drive_table(row),
        warnings=warnings,
        source_path=source_path,
        text_hash=text_hash,
        source_lines=lines,
    )


def _labels(row: Row) -> dict[str, Any]:
    return {"id": row.id, "name": row.get("name", ""), "note": row.get("note", ""), "path": row.path}


def _two(found: tuple[str, ...]) -> tuple[str, str]:
    return found[0], found[1]


def _pull(row: Row, key: str) -> Pull:
    found: object = row.get(key)
    if found is UNKNOWN:
        return UNKNOWN
    if not isinstance(found, Row):
        return None
    made: Resistor | None = as_resistor(found, {}, fallback_zero=True)[0]
    return made


def _resistor(row: Row, key: str, defaults: dict[str, Value]) -> Resistor | None:
    found = row.get(key)
    return None if found is None else as_resistor(found, defaults)[0]


def _input(row: Row) -> Input:
    return Input(
        pull_up=_pull(row, "pull_up"),
        pull_up_to=row.get("pull_up_to", "reference"),
        pull_down=_pull(row, "pull_down"),
        compares=row.get("compares"),
        error=row.get("error"),
        reference=row.get("reference"),
        full_scale=row.get("full_scale"),
        full_counts=row.get("full_counts"),
        filter=row.get("filter"),
        filter_capacitance=row.get("filter_capacitance"),
        debounce=row.get("debounce"),
        max_pin=row.get("max_pin"),
        controller=row.get("controller", ""),
        plug=row.get("plug"),
        cavity=row.get("cavity"),
        **_labels(row),
    )


def source_side(row: Row) -> Rail:
    """The rail that a line's contacts lead to."""
    form = row.get("form")
    if form == "elements":
        side: Rail = row.get("source_side")
        return side
    if form == "pull-down" or (form == "ladder" and row.get("ladder_to") == "supply"):
        return "feed"
    return "return"


def _line(row: Row, defaults: dict[str, Value]) -> Line:
    plain = (
        "input", "form", "idle", "enable", "taps_fed", "ladder_to", "wire", "source_wire", "return_offset", "feed_from",
        "feed_drop", "series_diode", "leak_to_ground", "leak_to_supply", "feed", "feed_cavity", "returns_to",
    )  # fmt: skip
    return Line(
        **{name: row.get(name) for name in plain},
        source_side=source_side(row),
        idle_resistor=_resistor(row, "idle_resistor", defaults),
        top_resistor=_resistor(row, "top_resistor", defaults),
        end_resistor=_resistor(row, "end_resistor", defaults),
        windows=tuple(_window(one) for one in row.rows("window")),
        targets=tuple(_target(one) for one in row.rows("target")),
        free=row.has("windows"),
        situations=tuple(
            SituationRule(one.get("operated"), one.get("allowed"), one.path, one.get("note", ""))
            for one in row.rows("situation")
        ),
        elements=tuple(_element(one, defaults) for one in row.rows("element")),
        **_labels(row),
    )


def _with_own_pull(line: Line, inputs: tuple[Input, ...]) -> Line:
    """Where a list in ohms names no pull, this pin's own nominal pull is meant; None stays where that is unknown."""
    owner = next(each for each in inputs if each.id == line.input)
    own = owner.pull_up if line.source_side == "return" else owner.pull_down
    ohm = own.ohm if isinstance(own, Resistor) else None

    def filled(entry: _Listed) -> _Listed:
        if entry.kind != "ohm" or entry.by_substitution or entry.with_pull_ohm is not None:
            return entry
        return replace(entry, with_pull_ohm=ohm, own_pull=True)

    return replace(
        line, windows=tuple(filled(each) for each in line.windows), targets=tuple(filled(each) for each in line.targets)
    )


def _off(row: Row, side: str, kind: str) -> float | None:
    """How far one edge may lie off, where that is stated for it alone."""
    edge: Reading | None = row.get(side)
    own: Reading | None = row.get(f"uncertainty_{side}")
    if edge is None or own is None:
        return None
    return abs(edge.value) * own.value if own.kind == "ratio" and kind in ("ohm", "volt") else own.value


def _window(row: Row) -> Window:
    low: Reading | None = row.get("low")
    high: Reading | None = row.get("high")
    spread: Reading | None = row.get("uncertainty")
    own: Basis = row.get("basis", "assumed")
    edges = [edge for edge in (low, high) if edge is not None]
    kind = edges[0].kind
    return Window(
        meaning=row.get("meaning"),
        kind=kind,
        low=low.value if low is not None else None,
        high=high.value if high is not None else None,
        uncertainty_low=_off(row, "low", kind),
        uncertainty_high=_off(row, "high", kind),
        uncertainty=spread.value if spread is not None else 0.0,
        uncertainty_relative=spread is not None and spread.kind == "ratio" and kind in ("ohm", "volt"),
        with_pull_ohm=row.get("with_pull").value if row.has("with_pull") else None,
        by_substitution=row.has("found"),
        fault=row.get("fault", False),
        basis=weakest(edge.basis or own for edge in edges),
        path=row.path,
        low_text=low.text if low is not None else "",
        high_text=high.text if high is not None else "",
        note=" ".join(text for text in (row.get("note", ""), *(edge.note for edge in edges)) if text),
    )


def _target(row: Row) -> Target:
    reading: Reading = row.get("reading")
    return Target(
        meaning=row.get("meaning"),
        kind=reading.kind,
        reading=reading.value,
        with_pull_ohm=row.get("with_pull").value if row.has("with_pull") else None,
        by_substitution=row.has("found"),
        fault=row.get("fault", False),
        basis=reading.basis or row.get("basis", "assumed"),
        path=row.path,
        text=reading.text,
        note=" ".join(text for text in (row.get("note", ""), reading.note) if text),
    )


def _element(row: Row, defaults: dict[str, Value]) -> Element:
    kind = row.get("kind")
    return Element(
        id=row.id,
        kind=kind,
        between=_two(row.get("between")),
        resistor=_resistor(row, "value", defaults) if kind == "resistor" else None,
        contact=row.get("contact"),
        wire=row.get("value") if kind == "wire" else None,
        leak=row.get("value") if kind == "leak" else None,
        path=row.path,
        note=row.get("note", ""),
    )


def _device(row: Row) -> Device:
    return Device(
        place=row.get("place"),
        exclusive=row.get("exclusive", ()),
        plug=row.get("plug"),
        positions=row.get("positions", ()),
        **_labels(row),
    )


def _own(row: Row, key: str, defaults: dict[str, Value]) -> Value | None:
    """The entry's own number, or the default under the entry's own path."""
    if row.has(key) or key not in defaults:
        found: Value | None = row.get(key)
        return found
    return replace(defaults[key], path=f"{row.path}.{key}", from_default=True)


def _contact(row: Row, defaults: dict[str, Value]) -> Contact:
    closed = _own(row, "closed", defaults)
    assert closed is not None  # crosscheck has seen to it
    return Contact(
        line=row.get("line"),
        device=row.get("device"),
        kind=row.get("kind"),
        action=row.get("action"),
        asks=row.get("asks"),
        resistor=_resistor(row, "resistor", defaults),
        closed=closed,
        open=_own(row, "open", defaults),
        with_=row.get("with", ()),
        only_when=row.get("only_when", ()),
        material=row.get("material"),
        bounce=row.get("bounce"),
        station=row.get("station"),
        positions=row.get("positions", ()),
        **_labels(row),
    )


def _plug(row: Row) -> Plug:
    cavities = tuple(
        Cavity(one.id, one.get("signal", ""), one.get("note", ""), one.path, one.get("terminal"), one.get("seal"))
        for one in row.rows("cavity")
    )
    return Plug(
        place=row.get("place"),
        cavities=cavities,
        bus=row.get("bus", False),
        terminal=row.get("terminal"),
        seal=row.get("seal"),
        part=row.get("part", ""),
        columns=row.get("columns"),
        numbered_from=row.get("numbered_from", "wire side"),
        unit=row.get("unit"),
        **_labels(row),
    )


def _run(row: Row) -> Run:
    return Run(
        between=_two(row.get("between")),
        length=row.get("length"),
        environment=row.get("environment", "bundle"),
        temperature=row.get("temperature"),
        hot=row.get("hot", False),
        splices=row.get("splices", True),
        clip=row.get("clip", ""),
        **_labels(row),
    )
