"""The bench sheet: everything in order, or one reading at a time, judged beside what it should be and kept."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

from pinproof.chain.bench import UNIT, Bench
from pinproof.drawings.reading_span import reading_span
from pinproof.errors import PinproofError
from pinproof.meter import BenchSheet, Instrument, Outcome, SheetRow, load_instrument, starter
from pinproof.meter.sheet import (
    TWO_RANGES,
    as_json,
    expectation_words,
    headline,
    nominal_words,
    reading_words,
    steps_of,
)
from pinproof.quantities import parse
from pinproof.record import record_path
from pinproof.verdict import Verdict
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.render import environment

METER_FILE = "meter.toml"
UNITS = {"resistance": (("ohm", "Ω"), ("k", "kΩ"), ("M", "MΩ")), "voltage": (("mV", "mV"), ("V", "V"))}
WRITTEN = {"ohm": " ohm", "k": "k", "M": "M", "mV": " mV", "V": " V"}
MARKS = {
    Outcome.AS_BUILT: Verdict.PASS, Outcome.WORKS: Verdict.WOULD_HOLD, Outcome.CANNOT_TELL: Verdict.NOT_SHOWN,
    Outcome.WRONG: Verdict.FAIL,
}  # fmt: skip
HEADS = {"ohms": "Ohms", "chassis": "Ohms", "volts": "Volts"}  # stations that are named by what is operated alone
MOST_LIST_BYTES = 5_000_000


def meter_of(ask: Ask) -> tuple[Instrument, bool]:
    """The meter that is described in the folder, or ordinary figures; and whether it is described."""
    path = ask.site.workspace.own(METER_FILE)
    return (load_instrument(path), True) if path.is_file() else (starter(), False)


def bench_of(ask: Ask, *, note: str = "") -> Bench:
    """The bench of this design: its blank sheet is worked out once for each version, meter and temperature."""
    design, truck = ask.design, ask.truck
    meter, _ = meter_of(ask)
    text = str(ask.form.get("ambient", "") or ask.values.get("ambient", "")).strip()
    ambient_c = parse(f"{text} °C" if _is_bare(text) else text, "temperature") if text else None
    bench = Bench(truck, design.path, meter, ambient_c, note, ask.site.workspace.own(record_path(design.path)))
    key = ("bench", design.hash, meter.identity, ambient_c)
    bench.__dict__["blank"] = ask.site.work.once(key, lambda: bench.blank)  # where the cached property keeps it
    return bench


def sheet_of(ask: Ask, bench: Bench) -> BenchSheet:
    """The sheet with everything that is on record, worked out once for each state of the record."""
    latest = bench.latest()
    numbers = tuple(sorted(each.number for each in latest.values()))
    key = ("sheet", ask.design.hash, repr(bench.meter), bench.ambient_c, numbers)
    sheet: BenchSheet = ask.site.work.once(key, bench.sheet) if numbers else bench.blank
    return sheet


def result(ask: Ask) -> dict[str, Any]:
    """The sheet as the command gives it, and which station is asked for."""
    bench = bench_of(ask)
    station = ask.values.get("at", "")
    if station and station not in bench.known:
        raise Finding(404, f'There is no station "{station[:80]}" on this sheet.', "Choose one from the sheet.", "at")
    return {"design": ask.design.name, "hash": ask.design.hash, "at": station, **as_json(sheet_of(ask, bench))}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The sheet in steps, or one station with what is before and after it."""
    bench = bench_of(ask)
    sheet = sheet_of(ask, bench)
    _, is_described = meter_of(ask)
    line = ask.values.get("line", "")
    ids = [line.id for line in ask.truck.lines]
    steps: list[dict[str, Any]] = []
    for number, name, setup, listed in steps_of(sheet):
        mine = [row for row in listed if not line or row.station.line in (None, line)]
        if mine:
            cautions = tuple(dict.fromkeys(care for row in mine for care in row.station.cautions))
            steps.append(
                {"number": number, "name": name, "setup": setup, "cautions": cautions, "rows": [_row(r) for r in mine]}
            )
    rows = [row for step in steps for row in step["rows"]]
    todo = next((row["id"] for row in rows if not row["outcome"]), "")
    ambient = ask.values.get("ambient", "")
    common = {
        "headline": headline(sheet), "steps": steps, "lines": ids if len(ids) > 1 else [], "line": line, "todo": todo,
        "meter": sheet.meter, "is_described": is_described, "two_ranges": TWO_RANGES, "cut_short": sheet.cut_short,
        "ambient": ambient, "wrong": "", "then": "", "typed": "", "unit": "", "said": "", "odd": False, "one": None,
        "design_id": ask.truck.id, "remark": "",
    }  # fmt: skip
    station = found["at"]
    return {**common, **_one(ask, bench, sheet, steps, station)} if station else common


def _one(ask: Ask, bench: Bench, sheet: BenchSheet, steps: Any, station: str) -> dict[str, Any]:
    """One station, for the thumb."""
    order = [(step, row) for step in steps for row in step["rows"]]
    ids = [row["id"] for _, row in order]
    if station not in ids:
        raise Finding(404, f'"{station[:80]}" belongs to another line.', "Choose one from the sheet.", "line")
    at = ids.index(station)
    step, row = order[at]
    kept = ask.values.get("kept", "")
    before = sheet.row(kept) if kept in bench.known and sheet.row(kept).judgement is not None else None
    full = sheet.row(station)
    return {
        "one": row, "step": step, "begins": row is step["rows"][0], "at": at + 1, "count": len(ids),
        "before": ids[at - 1] if at else "", "after": ids[at + 1] if at + 1 < len(ids) else "",
        "quantity": full.station.quantity, "units": UNITS.get(full.station.quantity, ()),
        "words": bench.meanings(station), "cautions": full.station.cautions,
        "others": [each for each in step["cautions"] if each not in full.station.cautions],
        "kept": _row(before) if before is not None else None,
        "kept_number": str(bench.latest()[kept].number) if before is not None else "",
        "kept_said": said_html(before, "kept") if before is not None else "",
        "read_before": said_html(full, "before") if full.judgement is not None else "",
    }  # fmt: skip


def _row(row: SheetRow) -> dict[str, Any]:
    found = row.judgement
    return {
        "id": row.station.id, "what": row.station.what, "head": _head(row), "probes": row.station.probe_words,
        "should": expectation_words(row), "nominal": nominal_words(row), "reading": reading_words(row),
        "outcome": str(found.outcome) if found else "", "mark": MARKS[found.outcome] if found else None,
        "quantity": row.station.quantity,
    }  # fmt: skip


def _head(row: SheetRow) -> str:
    """What is done at a station, as a heading."""
    what = row.station.what
    return f"{HEADS[row.station.kind]}: {what}" if row.station.kind in HEADS else what[:1].upper() + what[1:]


def said_html(row: SheetRow, ident: str = "span") -> str:
    """What a reading says, drawn beside what it should be, with the questions about it."""
    found, said = row.judgement, row.expectation
    assert found is not None
    drawing = None
    if said.as_built is not None and said.works is not None and not math.isnan(found.low + found.high):
        unit = UNIT[row.station.quantity]
        drawing = reading_span(said.as_built, said.works, found.low, found.high, unit, ident=ident)
    html: str = environment().get_template("meter_said.html").render(
        outcome=str(found.outcome), mark_of=MARKS[found.outcome], reading=reading_words(row), text=found.text,
        questions=[each.question for each in found.doubts], drawing=drawing,
    )  # fmt: skip
    return html


def is_odd(row: SheetRow) -> bool:
    """It should be looked at once more before it is kept."""
    found = row.judgement
    return found is not None and bool(found.doubts or found.outcome is Outcome.WRONG)


def typed_of(ask: Ask) -> str:
    """The reading as the record keeps it: what was typed with the unit that was pressed."""
    if ask.text("press"):
        return f"{ask.text('press')} {ask.text('remark')}".strip()
    text = ask.text("typed").strip()
    unit = ask.text("unit")
    if _is_bare(text) and unit not in WRITTEN:
        raise Finding(
            422, "The unit is missing: 2.88 may be ohms or kilohms, volts or millivolts.",
            "Press the unit that stands on the display.", "unit",
        )  # fmt: skip
    return text + WRITTEN[unit] if _is_bare(text) else text


def _is_bare(text: str) -> bool:
    return bool(text) and not any(each.isalpha() or each in "Ωµ°" for each in text)


def _judge(ask: Ask) -> Done:
    """What a reading would say; nothing is kept."""
    bench = bench_of(ask)
    try:
        text = typed_of(ask)
        if not text:
            return Done({"ok": False, "said": "", "html": "", "odd": False})
        row = bench.judged(ask.text("station"), text, sheet_of(ask, bench))
    except PinproofError as fault:
        return Done({"ok": False, "said": str(fault), "html": "", "odd": False})
    assert row.judgement is not None
    return Done(
        {
            "ok": True, "station": row.station.id, "reading": reading_words(row),
            "outcome": str(row.judgement.outcome), "text": row.judgement.text,
            "questions": [each.question for each in row.judgement.doubts], "odd": is_odd(row), "html": said_html(row),
        }
    )  # fmt: skip


def _keep(ask: Ask) -> Done:
    """Keep one reading; an odd one only if whoever read it insists."""
    station = ask.text("station")
    here = {"line": ask.text("line"), "ambient": ask.text("ambient")}
    address = ask.address("meter", at=station, **here)
    try:
        bench, text = bench_of(ask, note=ask.text("note")), typed_of(ask)
        if ask.text("base") != ask.design.hash:
            raise Finding(
                409, "The file was changed since this page was made, so what should be read may be another value now. "
                "Nothing was kept.", "Look at what should be read now, then keep the reading again.", "base",
            )  # fmt: skip
        if not text:
            raise Finding(422, "Nothing was typed.", "Type what the display shows, then its unit.", "typed")
        row = bench.judged(station, text, sheet_of(ask, bench))
        if is_odd(row) and ask.text("sure") != "yes":
            raise _Odd(row)
        entry = bench.entry(station, text, bench.ambient_c, "", bench.note)
        stated = ask.text("design_id") or ask.truck.id  # a page of another truck is refused by the record
        with bench.open() as record:
            kept = record.add(dataclasses.replace(entry, design_id=stated), bench.snapshot())
    except _Odd as fault:
        fields = {**_typed_fields(ask), "said": said_html(fault.row), "odd": True}
        finding = Finding(
            422, "This reading is odd. It was not kept yet.", "Measure again, or keep it as it was read.", "typed"
        )
        raise shown_again(ask, address, finding, {**fields, "wrong": ""}) from None
    except PinproofError as fault:
        if station not in bench_of(_plain(ask)).known:
            raise
        raise shown_again(ask, address, fault, _typed_fields(ask)) from None
    assert row.judgement is not None
    told = {"station": station, "number": kept.number, "reading": kept.text, "outcome": str(row.judgement.outcome)}
    following = _following(bench, station, ask.text("line"))
    go = ask.address("meter", at=following or station, kept=station, **here)
    return Done({**told, "text": row.judgement.text, "next": following}, go)


def _plain(ask: Ask) -> Ask:
    """The same request without a temperature that cannot be read."""
    return dataclasses.replace(ask, form={}, values={"design": ask.values["design"]})


def _typed_fields(ask: Ask) -> dict[str, Any]:
    return {name: ask.text(name) for name in ("typed", "unit", "remark")}


@dataclasses.dataclass
class _Odd(PinproofError):
    """A reading that asks for a second look."""

    row: SheetRow


def _following(bench: Bench, station: str, line: str) -> str:
    rows = [row.station for row in bench.blank.rows if not line or row.station.line in (None, line)]
    ids = [each.id for each in rows]
    at = ids.index(station) if station in ids else len(ids)
    return ids[at + 1] if at + 1 < len(ids) else ""


def _list(ask: Ask) -> Done:
    """Keep every reading of a list, or none."""
    sent = ask.uploads.get("list")
    if sent is None or not sent.data:
        raise Finding(422, "No list was sent.", "Choose a CSV file with the columns station and value.", "list")
    try:
        text = sent.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Finding(422, f"{sent.name} is not text in UTF-8.", "Save the list as CSV UTF-8.", "list") from None
    bench = bench_of(ask, note=ask.text("note"))
    stations = bench.take_list(text, sent.name)
    return Done({"kept": stations}, ask.address("meter"))


BASE = Parameter("base", "Hash of the version that the page was made from.", required=True)
READING = (
    Parameter("station", "Which station.", required=True),
    Parameter("typed", "The reading, with its unit: 2.880k, 0.4 ohm, 12.61 V, OL."),
    Parameter("unit", "The unit, where the reading is a bare number.", words=tuple(WRITTEN)),
    Parameter("press", "A reading that is a word: ok, bad, OL, or what the controller reports."),
    Parameter("remark", "Stands behind ok or bad."),
    Parameter("ambient", "Temperature where you measure."),
)
PAGE = Page(
    "meter", "/d/{design}/meter", "Meter",
    "What is measured now, between which points, what should it read, and what does the reading say?",
    result, "meter.html", context, links=("wire", "reading"),
    parameters=(
        Parameter("at", "One station of the sheet."), Parameter("line", "Only this line."),
        Parameter("ambient", "Temperature where you measure."),
    ),
    actions=(
        Action("judge", "Says what a reading would say; nothing is kept.", _judge, READING),
        Action(
            "keep", "Keeps one reading on record.", _keep,
            (
                BASE, *READING, Parameter("sure", "yes keeps an odd reading too.", words=("yes",)),
                Parameter("note", "Kept with the reading."),
                Parameter("design_id", "Id of the design that was measured; another one is refused."),
            ),
        ),
        Action(
            "list", "Keeps every reading of a CSV list, or none.", _list,
            (Parameter("list", "The file; columns station and value.", "file", required=True),),
            most_bytes=MOST_LIST_BYTES,
        ),
    ),
)  # fmt: skip
