"""The driveline in the book: speeds, safe downshifts, the saw-tooth chart, what the controller has to be told.

Answers: how quickly may each gear turn, up to where is a downshift safe, which settings are still blank?
Touches: nothing.
Beside:  `pinproof.driveline` works it out, `pinproof.drawings.saw_tooth` draws it. Borrowed tables lie in files of
         their own and are judged by `pinproof gears`.
"""

from __future__ import annotations

from pinproof.design.model import Truck
from pinproof.drawings import Drawing, words
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.driveline import DriveSums, Setting, blanks, drive_sums, measure_first, settings_sheet, worst_first
from pinproof.driveline.lines import ends, over_speed, permitted, road, rpm
from pinproof.driveline.sheet import NOT_SO
from pinproof.pack import blocks
from pinproof.pack.blocks import Block
from pinproof.verdict import Verdict

SAFE = {Verdict.PASS: "safe", Verdict.FAIL: "unsafe", Verdict.NOT_SHOWN: "not known"}
CAUTION = (
    "First drive in an empty area, slowly, with a second person and a known way back to automatic. The limits of the "
    "gearbox maker and the rules of the event come first. Never weaken the over-speed guard."
)


def charts(truck: Truck) -> dict[str, Drawing]:
    """The saw-tooth chart of each range of the transfer case, by a name that fits a file; empty without a driveline."""
    if truck.drive is None:
        return {}
    sums = drive_sums(truck)
    names = [each.name for each in truck.drive.transfers]
    return {
        f"gears-{number}": saw_tooth(sums, transfer=name, ident=f"saw-tooth-{number}")
        for number, name in enumerate(names, start=1)
    }


def gears_blocks(truck: Truck, drawings: dict[str, Drawing]) -> list[Block]:
    """The driveline's pages; nothing without a driveline. The first range's chart goes into `drawings`."""
    if truck.drive is None:
        return []
    sums = drive_sums(truck)
    name, drawing = next(iter(charts(truck).items()))
    drawings[name] = drawing
    return [
        blocks.heading("Driveline", 2),
        blocks.para(_summary(truck, sums)),
        *_checks(sums),
        blocks.figure(f"{name}.svg", drawing.width_mm, f"{drawing.title}. {drawing.description}"),
        *_speeds(sums),
        *_down(sums),
        *_leads(sums),
        *_settings(truck, sums),
    ]


def cover_words(truck: Truck) -> str:
    """The driveline's verdict for the book's front; "" where there is no driveline or all of it is safe."""
    checks = [each.verdict for each in drive_sums(truck).checks] if truck.drive is not None else []
    counted = [(checks.count(verdict), SAFE[verdict]) for verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)]
    told = words.all_of([f"{count} {word}" for count, word in counted if count])
    return f"Driveline: of {len(checks)} checks {told}; see its chapter." if told else ""


def _summary(truck: Truck, sums: DriveSums) -> str:
    held = sum(each.verdict is Verdict.PASS for each in sums.checks)
    inches = sums.units == "us"
    turn = f"{ends(sums.rolling_m, unit=0.0254)} in" if inches else f"{ends(sums.rolling_m)} m"
    told = f"{held} of {len(sums.checks)} checks hold. One turn of the wheel is {turn} ({sums.tyre})."
    weak = measure_first(truck, sums)
    if weak is not None:
        told += f" Measure first: {weak.text}."
    if truck.drive is not None and truck.drive.borrowed:
        told += " Borrowed tables are not judged here: pinproof gears."
    return told


def _checks(sums: DriveSums) -> list[Block]:
    bad = worst_first(each for each in sums.checks if each.verdict is not Verdict.PASS)
    if not bad:
        return []
    rows = [
        (
            blocks.name_cell(f"{each.check}, {each.subject}"),
            f"{each.text} Cure: {each.cure}" if each.cure else each.text,
            blocks.marked_cell(each.verdict, SAFE.get(each.verdict, words.VERDICTS[each.verdict])),
        )
        for each in bad
    ]  # fmt: skip
    return [blocks.table("What does not hold", (("Check", 2.4), ("Found", 6.0), ("Verdict", 0.0)), rows)]


def _speeds(sums: DriveSums) -> list[Block]:
    rows = [
        (
            blocks.name_cell(each.gear), each.transfer, ends(each.ratio), road(each.per_1000_rpm_m_per_s, sums.units),
            "not known" if each.reach_m_per_s is None else road(each.reach_m_per_s, sums.units),
            road(each.most_m_per_s, sums.units),
        )
        for each in sums.gears
    ]  # fmt: skip
    limiter = "the limiter" if sums.limiter_rpm is None else f"the limiter ({rpm(sums.limiter_rpm)})"
    caption = (
        f"Road speed per gear: at 1000 rpm without slip, at {limiter}, at the engine's most ({rpm(sums.most_rpm)})"
    )
    heads = (
        ("Gear", 0.8), ("Range", 1.0), ("Ratio", 1.0), ("At 1000 rpm", 2.0), ("At the limiter", 2.2), ("At most", 2.2),
    )  # fmt: skip
    return [blocks.table(caption, heads, rows)]


def _down(sums: DriveSums) -> list[Block]:
    if not sums.downshifts:
        return []
    rows = [
        (blocks.name_cell(each.gear), each.transfer, *over_speed(each, sums.units), *permitted(each, sums.units))
        for each in sums.downshifts
    ]
    heads = (
        ("Into", 0.8), ("Range", 1.0), ("Over-speeds above: output", 2.0), ("Road", 1.6),
        ("Permitted: output", 2.0), ("Road", 1.6),
    )  # fmt: skip
    return [
        blocks.table("Highest speed for a shift down, at the worst of tyre and slip", heads, rows),
        blocks.para(CAUTION, soft=True),
    ]


def _leads(sums: DriveSums) -> list[Block]:
    rows = [
        (
            blocks.name_cell(each.gear), f"{ends(each.climb_rpm_per_s)} rpm/s", rpm(each.gained_rpm),
            "not known" if each.latest_rpm is None else rpm(float(int(each.latest_rpm))),
        )
        for each in sums.leads
    ]  # fmt: skip
    if not rows:
        return []
    heads = (("Gear", 0.8), ("Climbs by", 2.2), ("Gains until the shift takes hold", 2.2), ("Latest command", 2.0))
    return [blocks.table("Upshifts at full throttle that keep off the limiter", heads, rows)]


def _enter(one: Setting) -> str | blocks.Cell:
    """What to enter; first that it must not be entered so."""
    if not one.value:
        return blocks.blank_cell()
    warned = one.reason.startswith(NOT_SO)
    return f"{one.reason.partition(':')[0]}: see What does not hold. {one.value}" if warned else one.value


def _settings(truck: Truck, sums: DriveSums) -> list[Block]:
    sheet = settings_sheet(truck, sums)
    rows = [(blocks.name_cell(each.what), _enter(each), each.basis if each.value else "", each.proof) for each in sheet]
    left = blanks(sheet)
    said = f"{len(sheet)} settings; {left} wait for you. Enter them with whatever program writes the controller."
    heads = (("Setting", 2.8), ("Enter", 3.4), ("Basis", 1.4), ("How a log shows it", 3.6))
    return [
        blocks.heading("What the controller has to be told", 2),
        blocks.para(said, leads=True),
        blocks.table("Settings", heads, rows),
    ]
