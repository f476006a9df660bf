"""What `pinproof gears` prints. No sums: what is printed is what a result holds."""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.cli.show import hung, table
from pinproof.driveline import Check, Converted, DriveSums, Setting, blanks, worst_first
from pinproof.driveline.lines import ends, over_speed, permitted, road, rpm
from pinproof.driveline.span import Span
from pinproof.verdict import Verdict

HEAD = {
    Verdict.PASS: "SAFE AND KNOWN",
    Verdict.NOT_SHOWN: "NOT KNOWN",
    Verdict.FAIL: "UNSAFE",
    Verdict.WOULD_HOLD: "WOULD HOLD IF",
}
MARKS = {"keep": "keep", "unsafe": "UNSAFE", "pointless": "POINTLESS", "hunts": "HUNTS", "not known": "NOT KNOWN"}
MOST_RESTS = 6


def sums_words(sums: DriveSums, checks: Sequence[Check]) -> str:
    """Everything but tables and sheet."""
    worst = min((each.verdict for each in checks), key=lambda each: each.rank)
    resting = f", resting on {len(sums.rests_on)} numbers nobody measured or published" if sums.rests_on else ""
    out = [*_head(f"{HEAD[worst]}{resting}  {sums.name or sums.truck}", sums, worst, checks), "", *_tyre(sums)]
    several = len({row.transfer for row in sums.gears}) > 1
    out += ["", *_gears(sums, several)]
    out += ["", *_steps(sums), "", *_downs(sums, several)]
    if sums.leads:
        out += ["", *_leads(sums)]
    if sums.lines:
        out += ["", *_lines(sums, several)]
    if sums.sensors:
        out += ["", *_sensors(sums)]
    return "\n".join([*out, "", *checks_words(checks), *_rests(sums)])


def _head(first: str, sums: DriveSums, worst: Verdict, checks: Sequence[Check]) -> list[str]:
    """The verdict, and whose it is where only a borrowed table is worse than the truck itself."""
    if sums.verdict is worst:
        return [first]
    tables = [each.subject for each in checks if each.check == "borrowed table" and each.verdict is worst]
    return [
        first,
        *hung(
            f"{HEAD[worst]} is only what was borrowed: {'; '.join(tables)}. The truck's own lines and limits: "
            f"{HEAD[sums.verdict]}.",
            "  ", "  ",
        ),
    ]  # fmt: skip


def _tyre(sums: DriveSums) -> list[str]:
    around = sums.rolling_m
    per_km, per_mile = Span.exact(1000.0) / around, Span.exact(1609.344) / around
    metric, us = (
        (f"{ends(around)} m", f"{ends(per_km)} rev/km"),
        (f"{ends(around, unit=0.0254)} in", f"{ends(per_mile)} rev/mile"),
    )
    first, second = (us, metric) if sums.units == "us" else (metric, us)
    said = (
        f"One turn of the wheel: {first[0]} ({second[0]}), {first[1]}, {second[1]}. "
        f"From {sums.tyre} [{sums.tyre_basis}], with growth and wear."
    )
    return hung(said, "  ", "  ")


def _gears(sums: DriveSums, several: bool) -> list[str]:
    units = sums.units
    rows = [
        (
            *((row.transfer,) if several else ()), row.gear, ends(row.ratio), ends(row.overall),
            road(row.per_1000_rpm_m_per_s, units), "–" if row.reach_m_per_s is None else road(row.reach_m_per_s, units),
            road(row.most_m_per_s, units),
        )
        for row in sums.gears
    ]  # fmt: skip
    limiter = "" if sums.limiter_rpm is None else f" ({rpm(sums.limiter_rpm)})"
    most = rpm(sums.most_rpm)
    out = [f"  Road speed per gear: at 1000 rpm without slip; at the limiter{limiter}; at the engine's most ({most})"]
    heads = (*(("range",) if several else ()), "gear", "ratio", "overall", "at 1000 rpm", "at limiter", "at its most")
    out.append(table(rows, heads))
    for speed in dict.fromkeys(each.speed_m_per_s for each in sums.at):
        at = [each for each in sums.at if each.speed_m_per_s == speed]
        out += ["", f"  At {road(speed, units)}:"]
        out.append(
            table(
                [(*((e.transfer,) if several else ()), e.gear, rpm(e.output_rpm), rpm(e.turbine_rpm), rpm(e.engine_rpm))
                 for e in at],
                (*(("range",) if several else ()), "gear", "output shaft", "turbine", "engine, slip included"),
            )
        )  # fmt: skip
    return out


def _steps(sums: DriveSums) -> list[str]:
    rows = []
    for each in sums.steps:
        low, high = f"{each.drop_rpm[0]:.0f}", f"{each.drop_rpm[2]:.0f}"
        drop = low if low == high else f"{low} to {high}"
        rows.append(
            (
                f"{each.before} → {each.after}", ends(each.ratio), rpm(each.before_rpm),
                each.start, rpm(each.after_rpm), f"{drop} rpm",
            )
        )  # fmt: skip
    return ["  Drop after each shift up:", table(rows, ("shift", "step", "from", "which is", "to", "drop"))]


def _downs(sums: DriveSums, several: bool) -> list[str]:
    rows = []
    for each in sums.downshifts:
        units = sums.units
        rows.append(
            (
                *((each.transfer,) if several else ()), each.gear, *over_speed(each, units), *permitted(each, units),
            )
        )  # fmt: skip
    heads = (
        *(("range",) if several else ()), "into", "over-speeds above: output shaft", "road",
        "permitted: output shaft", "road",
    )  # fmt: skip
    out = ["  Highest speed for a shift down, at the worst of tyre and slip:"]
    if not rows:
        return [*out, "  (one gear only)"]
    first = sums.downshifts[0]
    why = (
        f"Permitted is {first.margin * 100:.3g} % below the limit, and {road(first.gained_m_per_s, sums.units)} less "
        "for what the truck gains until the new gear is in."
    )
    return [*out, table(rows, heads), *hung(why, "  ", "  ")]


def _leads(sums: DriveSums) -> list[str]:
    rows = [
        (
            each.gear, f"{ends(each.climb_rpm_per_s)} rpm/s", rpm(each.gained_rpm),
            "–" if each.latest_rpm is None else rpm(float(int(each.latest_rpm))),
        )
        for each in sums.leads
    ]  # fmt: skip
    heads = ("gear", "climbs by", "gains until the shift takes hold", "latest command")
    return ["  How early an upshift must be commanded to keep off the limiter, at full throttle:", table(rows, heads)]


def _lines(sums: DriveSums, several: bool) -> list[str]:
    rows = [
        (
            *((each.transfer,) if several else ()), f"{each.before} → {each.after}", each.load, each.given,
            rpm(each.output_rpm), road(each.road_m_per_s, sums.units), rpm(each.engine_rpm), rpm(each.engine_after_rpm),
        )
        for each in sums.lines
    ]  # fmt: skip
    heads = (
        *(("range",) if several else ()), "line", "load", "given as", "output shaft", "road", "engine before", "after",
    )  # fmt: skip
    return ["  Lines at which the controller shifts by itself:", table(rows, heads)]


def _sensors(sums: DriveSums) -> list[str]:
    rows = []
    for each in sums.sensors:
        if each.place == "turbine" and each.gear != sums.gears[0].gear:
            continue  # in every gear another number, and nobody enters them: the first shows what to expect
        where = (
            each.place + (f", {each.transfer}" if each.transfer else "") + (f", gear {each.gear}" if each.gear else "")
        )
        per_m = each.per_m
        rows.append(
            (
                each.sensor,
                where,
                ends(each.per_turn),
                ends(per_m),
                ends(per_m * 1000.0, digits=5),
                ends(per_m * 1609.344, digits=5),
            )
        )
    heads = ("sensor", "place", "per turn", "per metre", "per km", "per mile")
    return ["  Pulses of the speed sensors:", table(rows, heads)]


def checks_words(checks: Sequence[Check]) -> list[str]:
    """What does not hold, each with its cure; then how many hold."""
    bad = worst_first(each for each in checks if each.verdict is not Verdict.PASS)
    out = ["Checks:"]
    for each in bad:
        cure = f" Cure: {each.cure}" if each.cure else ""
        word = HEAD[each.verdict].lower()
        out += hung(f"[{word}] {each.check}, {each.subject}: {each.text}{cure}", "  - ", "    ")
    good = [each for each in checks if each.verdict is Verdict.PASS]
    for name in dict.fromkeys(each.check for each in good):
        same = [each for each in good if each.check == name]
        out += hung(f"[safe] {name}: {'; '.join(each.subject for each in same)}.", "  - ", "    ")
    return out


def _rests(sums: DriveSums) -> list[str]:
    if not sums.rests_on:
        return []
    out = ["", "Rests on:"]
    for each in sums.rests_on[:MOST_RESTS]:
        out += hung(f"{each.path} = {each.text} [{each.basis}]", "  - ", "    ")
    more = len(sums.rests_on) - MOST_RESTS
    return [*out, f"  … and {more} more (all with --json)."] if more > 0 else out


def table_words(found: Converted) -> str:
    """A borrowed table as it would be entered, and every cell that may not simply stay."""
    out = [f"Table {found.id} ({found.file}), {found.transfer} range, keyed by {found.keyed_by}, in {found.unit}"]
    for note in found.notes:
        out += hung(note, "  ", "  ")
    rows = []
    for head, cells in found.rows:
        shown = []
        for cell in cells:
            text = cell.enter_text if found.holds == "shift speeds" else cell.read
            shown.append(f"{text or '?'} {MARKS[cell.mark]}" if cell.mark != "keep" else text)
        rows.append((head, *shown))
    out += ["", table(rows, ("shift" if found.holds == "shift speeds" else found.unit, *found.columns))]
    marked = [cell for cell in found.cells if cell.mark != "keep"]
    out.append("" if marked else "\n  Every cell may stay as converted.")
    for cell in marked:
        out += hung(f"{MARKS[cell.mark]} {cell.row}, {cell.column} (was {cell.read}): {cell.why}.", "  - ", "    ")
    return "\n".join(out)


def sheet_words(sheet: Sequence[Setting], name: str) -> str:
    """The settings sheet, topic by topic."""
    left = blanks(sheet)
    said = f"{left} left blank for you" if left else "nothing left blank"
    out = [f"What the controller of {name} has to be told: {len(sheet)} settings, {said}."]
    out.append("Enter them with whatever program writes the controller. Design aid, not approval.")
    for topic in dict.fromkeys(each.topic for each in sheet):
        out += ["", topic.upper()]
        last = ("", "")
        for each in sheet:
            if each.topic != topic:
                continue
            if last not in (("", ""), (each.reason, each.proof)):
                out += _why(*last)
            last = (each.reason, each.proof)  # rows with the same reason stand together, it follows the last of them
            basis = f"  [{each.basis}]" if each.basis and each.value else ""
            out += hung(f"{each.what}: {each.value or '____________________'}{basis}", "  ", "      ")
        out += _why(*last)
    return "\n".join(out)


def _why(reason: str, proof: str) -> list[str]:
    return [*hung(f"why: {reason}", "      ", "      "), *hung(f"log: {proof}", "      ", "      ")]
