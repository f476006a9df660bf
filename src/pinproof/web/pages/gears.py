"""The driveline: speeds, safe downshifts, shift lines, borrowed tables marked, the settings sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from pinproof.chain.drive_report import DriveReport, drive_report, in_units
from pinproof.design import Truck
from pinproof.design.load import decode, read_bytes
from pinproof.design.model_drive import Borrowed
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.driveline import Check, Converted, DriveSums, blanks, convert, converted_csv, measure_first, worst_first
from pinproof.driveline.lines import ends, over_speed, permitted, road, rpm
from pinproof.errors import PinproofError, QuantityFault
from pinproof.pack import blocks
from pinproof.pack.blocks import Block, Cell
from pinproof.pack.gears_page import CAUTION, SAFE
from pinproof.quantities import parse
from pinproof.verdict import Verdict
from pinproof.web.finding import Finding, finding_of
from pinproof.web.fragments import fragment
from pinproof.web.page import Ask, File, Page, Parameter
from pinproof.web.pages.drafting import PLAIN, actions, draft_context

Rows = list[tuple[str | Cell, ...]]
MOST_M_PER_S = 500.0
HEADS = {
    Verdict.PASS: "Safe and known", Verdict.NOT_SHOWN: "Not known", Verdict.FAIL: "Unsafe",
    Verdict.WOULD_HOLD: "Would hold if",
}  # fmt: skip
OF_LINES = ("up line", "down line", "separation")  # checks that a shift line answers to
MARKS = {
    "keep": Verdict.PASS, "unsafe": Verdict.FAIL, "hunts": Verdict.FAIL, "pointless": Verdict.NOT_SHOWN,
    "not known": Verdict.NOT_SHOWN,
}  # fmt: skip


def report_of(ask: Ask) -> tuple[DriveReport | None, list[Finding]]:
    """The driveline in the visitor's units, without the borrowed tables that cannot be read, and why they cannot.

    None where the file says nothing of a driveline.
    """
    at = ask.values.get("at", "").strip()
    return report_for(ask, ask.truck, [_speed(at, _units(ask))] if at and ask.truck.drive is not None else [])


def _units(ask: Ask) -> Literal["metric", "us"]:
    return "us" if ask.settings.units == "us" else "metric"


def report_for(ask: Ask, truck: Truck, speeds: Sequence[float] = ()) -> tuple[DriveReport | None, list[Finding]]:
    """The same for a truck that need not be saved."""
    units = _units(ask)
    if truck.drive is None:
        return None, []
    texts: dict[str, str] = {}
    unread: list[Finding] = []
    for each in truck.drive.borrowed:
        try:
            texts[each.id] = _text(ask.site.workspace.folder, each)
            convert(truck, each, texts[each.id])
        except PinproofError as fault:
            texts.pop(each.id, None)
            unread.append(finding_of(fault))
    kept = tuple(each for each in truck.drive.borrowed if each.id in texts)
    truck = replace(truck, drive=replace(truck.drive, borrowed=kept))
    key = ("gears", truck.text_hash, units, tuple(speeds), tuple(texts.items()))
    report: DriveReport = ask.site.work.once(
        key, lambda: drive_report(in_units(truck, units), lambda each: texts[each.id], speeds)
    )
    return report, unread


def _text(folder: Path, borrowed: Borrowed) -> str:
    """A borrowed table's text; only files of the folder itself are read."""
    path = folder / Path(borrowed.file.replace("\\", "/")).name
    if not path.is_file() or path.resolve().parent != folder:
        raise Finding(
            422, f'The borrowed table "{borrowed.id}" names the file {borrowed.file}, and that is not beside the '
            "design.", "Put it into the same folder, or correct its name in the design file.",
            f"drive.borrowed.{borrowed.id}.file",
        )  # fmt: skip
    return decode(read_bytes(str(path)), path.name)


def _speed(text: str, units: str) -> float:
    try:
        speed = parse(text, "speed")
    except QuantityFault as fault:
        raise Finding(422, str(fault), "Write a road speed with its unit, as in 100 km/h or 60 mph.", "at") from None
    if not 0.0 < speed <= MOST_M_PER_S:
        most = road(MOST_M_PER_S, units)
        raise Finding(422, f"{text[:40]} is no speed of a truck.", f"Write more than 0 and no more than {most}.", "at")
    return speed


def result(ask: Ask) -> dict[str, Any]:
    """What `pinproof gears --json` prints; `drive` is None where the file says nothing of a driveline."""
    report, unread = report_of(ask)
    return {
        "design": ask.design.name, "hash": ask.design.hash, "drive": None if report is None else report.as_json(),
        "unread": [{"where": each.where, "what": each.what, "next": each.next} for each in unread],
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The chart of each range, tables, borrowed tables and the settings sheet."""
    report, unread = report_of(ask)
    if report is None:
        return {**PLAIN, "report": None, "draft": draft_context(ask, "drive")}
    sums = report.sums
    ranges = list(dict.fromkeys(row.transfer for row in sums.gears))
    charts = [
        (name, *(
            saw_tooth(sums, transfer=name, layout=layout, ident=f"saw-{number}-{layout}")
            for layout in ("wide", "narrow")
        ))
        for number, name in enumerate(ranges)
    ]  # fmt: skip
    good = [each for each in report.checks if each.verdict is Verdict.PASS]
    verdict = whole(report, unread)
    return {
        "report": report, "unread": unread, "verdict": verdict, "head": HEADS[verdict],
        "weak": measure_first(ask.truck, sums), "charts": charts,
        "bad": bad_of(report), "saved": ask.values.get("saved", "") == "1",
        "good": [(name, [c.subject for c in good if c.check == name]) for name in dict.fromkeys(c.check for c in good)],
        "wheel": _wheel(sums), "at": ask.values.get("at", ""), "speeds": fragment(_speeds(sums, len(ranges) > 1)),
        "downs": fragment(_downs(sums, len(ranges) > 1)), "caution": CAUTION,
        "lines": fragment(lines_of(sums, len(ranges) > 1)), "sensors": fragment(sensors_of(sums)),
        "tables": [_borrowed(each) for several in report.tables.values() for each in several],
        "of_lines": OF_LINES, "sheet": _sheet(report), "blanks": blanks(report.sheet),
    }  # fmt: skip


def bad_of(report: DriveReport) -> list[tuple[Check, str]]:
    """What does not hold, the worst first, each with its word."""
    bad = worst_first(each for each in report.checks if each.verdict is not Verdict.PASS)
    return [(each, SAFE.get(each.verdict, str(each.verdict))) for each in bad]


def whole(report: DriveReport, unread: Sequence[Finding]) -> Verdict:
    """A table that cannot be read is not shown to hold."""
    return min((report.verdict, *(Verdict.NOT_SHOWN for _ in unread)), key=lambda each: each.rank)


def _wheel(sums: DriveSums) -> str:
    around = sums.rolling_m
    said = f"{ends(around, unit=0.0254)} in" if sums.units == "us" else f"{ends(around)} m"
    return f"One turn of the wheel is {said}, with growth and wear: from {sums.tyre}, {sums.tyre_basis}."


def _range(several: bool) -> tuple[tuple[str, float], ...]:
    return (("Range", 1.0),) if several else ()


def _in(several: bool, transfer: str) -> tuple[str, ...]:
    return (transfer,) if several else ()


def _speeds(sums: DriveSums, several: bool) -> list[Block]:
    units = sums.units
    rows: Rows = [
        (
            blocks.name_cell(row.gear), *_in(several, row.transfer), ends(row.ratio), ends(row.overall),
            road(row.per_1000_rpm_m_per_s, units),
            "not known" if row.reach_m_per_s is None else road(row.reach_m_per_s, units), road(row.most_m_per_s, units),
        )
        for row in sums.gears
    ]  # fmt: skip
    limiter = "the limiter" if sums.limiter_rpm is None else f"the limiter ({rpm(sums.limiter_rpm)})"
    caption = f"Road speed in each gear: at 1000 rpm without slip, at {limiter}, at the most ({rpm(sums.most_rpm)})"
    heads = (
        ("Gear", 0.8), *_range(several), ("Ratio", 1.0), ("Overall", 1.0), ("At 1000 rpm", 2.0),
        ("At the limiter", 2.0), ("At the most", 2.0),
    )  # fmt: skip
    body = [blocks.table(caption, heads, rows)]
    if sums.at:
        rows = [
            (
                blocks.name_cell(each.gear), *_in(several, each.transfer), rpm(each.output_rpm), rpm(each.turbine_rpm),
                rpm(each.engine_rpm),
            )
            for each in sums.at
        ]  # fmt: skip
        at = road(sums.at[0].speed_m_per_s, units)
        heads = (("Gear", 0.8), *_range(several), ("Output shaft", 2.0), ("Turbine", 2.0), ("Engine, with slip", 2.0))
        body.insert(0, blocks.table(f"At {at}", heads, rows))
    steps: Rows = [
        (
            blocks.name_cell(f"{each.before} → {each.after}"), ends(each.ratio), rpm(each.before_rpm),
            each.start, rpm(each.after_rpm),
        )
        for each in sums.steps
    ]  # fmt: skip
    if steps:
        heads = (("Shift", 1.0), ("Step", 1.0), ("From", 2.0), ("Which is", 2.0), ("Lands at", 2.0))
        body.append(blocks.table("Where the engine lands after each shift up", heads, steps))
    return body


def _downs(sums: DriveSums, several: bool) -> list[Block]:
    rows: Rows = [
        (
            blocks.name_cell(each.gear), *_in(several, each.transfer), *over_speed(each, sums.units),
            *permitted(each, sums.units),
        )
        for each in sums.downshifts
    ]  # fmt: skip
    if not rows:
        return []
    first = sums.downshifts[0]
    heads = (
        ("Into", 0.8), *_range(several), ("Over-speeds above: output shaft", 2.0), ("Road", 1.6),
        ("Permitted up to: output shaft", 2.0), ("Road, permitted", 1.6),
    )  # fmt: skip
    why = (
        f"Permitted is {first.margin * 100:.3g} % below the limit, and {road(first.gained_m_per_s, sums.units)} less "
        "for what the truck gains until the new gear is in."
    )
    caption = "Highest speed for a shift down, at the worst of tyre and slip"
    return [blocks.table(caption, heads, rows), blocks.para(why)]


def lines_of(sums: DriveSums, several: bool) -> list[Block]:
    body = []
    rows: Rows = [
        (
            blocks.name_cell(f"{each.before} → {each.after}"), *_in(several, each.transfer), each.load, each.given,
            rpm(each.output_rpm), road(each.road_m_per_s, sums.units), rpm(each.engine_rpm), rpm(each.engine_after_rpm),
        )
        for each in sums.lines
    ]  # fmt: skip
    if rows:
        heads = (
            ("Line", 1.0), *_range(several), ("Load", 1.0), ("Given as", 1.0), ("Output shaft", 2.0), ("Road", 1.6),
            ("Engine before", 2.0), ("After", 2.0),
        )  # fmt: skip
        body.append(blocks.table("Lines at which the controller shifts by itself", heads, rows))
    leads: Rows = [
        (
            blocks.name_cell(each.gear), f"{ends(each.climb_rpm_per_s)} rpm/s", rpm(each.gained_rpm),
            "not known" if each.latest_rpm is None else rpm(float(int(each.latest_rpm))),
        )
        for each in sums.leads
    ]  # fmt: skip
    if leads:
        heads = (("Gear", 0.8), ("Climbs by", 2.0), ("Gains until the shift takes hold", 2.0), ("Latest command", 2.0))
        body.append(blocks.table("Upshifts at full throttle that keep off the limiter", heads, leads))
    return body


def sensors_of(sums: DriveSums) -> list[Block]:
    first = sums.gears[0].gear
    rows: Rows = [
        (
            blocks.name_cell(each.sensor), ", ".join(part for part in (each.place, each.transfer) if part),
            ends(each.per_turn), ends(each.per_m),
            ends(each.per_m * (1609.344 if sums.units == "us" else 1000.0), digits=5),
        )
        for each in sums.sensors
        if each.place != "turbine" or each.gear == first
    ]  # fmt: skip
    if not rows:
        return []
    far = "Per mile" if sums.units == "us" else "Per km"
    heads = (("Sensor", 1.0), ("Place", 1.0), ("Pulses per turn", 1.0), ("Per metre", 1.6), (far, 1.6))
    return [blocks.table("Pulses of the speed sensors", heads, rows)]


def _borrowed(found: Converted) -> Mapping[str, Any]:
    """A borrowed table as it would be entered, and why cells may not simply stay."""
    speeds = found.holds == "shift speeds"
    marked = [cell for cell in found.cells if cell.mark != "keep"]
    rows = [
        (head, [(cell.enter_text if speeds else cell.read, cell.mark, MARKS[cell.mark]) for cell in cells])
        for head, cells in found.rows
    ]
    return {
        "id": found.id, "transfer": found.transfer, "file": found.file, "keyed_by": found.keyed_by, "unit": found.unit,
        "notes": found.notes, "first": "shift" if speeds else found.unit, "columns": found.columns, "rows": rows,
        "marked": [(cell, MARKS[cell.mark]) for cell in marked], "verdict": _worst(marked),
    }  # fmt: skip


def _worst(marked: Sequence[Any]) -> Verdict:
    return min((MARKS[cell.mark] for cell in marked), key=lambda each: each.rank, default=Verdict.PASS)


def _sheet(report: DriveReport) -> list[Mapping[str, Any]]:
    """Topics of the settings sheet, with how many of each wait."""
    body: list[Mapping[str, Any]] = []
    for topic in dict.fromkeys(each.topic for each in report.sheet):
        rows: Rows = [
            (
                blocks.name_cell(each.what), each.value or blocks.blank_cell(), each.basis if each.value else "",
                each.reason, each.proof,
            )
            for each in report.sheet
            if each.topic == topic
        ]  # fmt: skip
        heads = (("Setting", 2.4), ("Enter", 3.0), ("Basis", 1.2), ("Why", 3.0), ("How a log shows it", 3.0))
        named = f"{topic[:1].upper()}{topic[1:]}"
        waits = sum(each.topic == topic and not each.value for each in report.sheet)
        table = fragment([blocks.table(named, heads, rows)])
        body.append({"topic": named, "count": len(rows), "blanks": waits, "table": table})
    return body


def _table(ask: Ask) -> Any:
    """One borrowed table as a list of cells; programs get its text with its name."""
    wanted = ask.values["table"]
    report, _ = report_of(ask)
    tables = report.tables if report is not None else {}
    if wanted not in tables:
        told = f"There is {', '.join(tables)}." if tables else "The design names none."
        raise Finding(404, f'There is no borrowed table "{wanted[:60]}".', told, "table")
    name, text = f"{ask.design.name}-{wanted}.csv", converted_csv(tables[wanted])
    if ask.is_json:
        return {"file": name, "csv": text}
    return File(name, text.encode("utf-8"), "text/csv; charset=utf-8")


PAGE = Page(
    "gears", "/d/{design}/gears", "Driveline",
    "How fast is each gear, which shift down is safe, what must the controller be told?",
    result, "gears.html", context, links=("gear",), folds="all-but-first",
    parameters=(
        Parameter("at", "A road speed, as in 100 km/h: every gear's engine speed there."),
        Parameter("saved", "1 right after a save.", words=("1",)),
    ),
    actions=actions("drive", "gears", "a draft of the driveline", lambda truck: drive_report(truck, lambda _: "")),
)  # fmt: skip
TABLE = Page(
    "gears-table", "/d/{design}/gears/table/{table}", "Borrowed table", "What would be entered of a borrowed table?",
    _table, menu=False,
)  # fmt: skip
