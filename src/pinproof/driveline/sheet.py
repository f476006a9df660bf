"""The settings sheet: everything the controller has to be told, whichever program writes it.

Answers: which number or word, why, resting on what, and how a log shows that it took? Blank where only the owner knows.
Units:   in words; metric or US as [drive] asks.
Touches: nothing.
Sources: what a controller of this kind has to be told, and the reasons: common practice, no source. Guards that hold
         or refuse a downshift by comparing predicted speeds: US patents 6,175,797 and
         5,738,607 (secondary).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from pinproof.design.model import Line, Truck, Value
from pinproof.design.model_drive import Drive, Sensor
from pinproof.driveline.lines import ends, over_speed, permitted, road, rpm
from pinproof.driveline.results import DriveSums, Lead, Pulses, Setting, worst_first
from pinproof.driveline.span import Span
from pinproof.driveline.stated import around_m, drive_of
from pinproof.driveline.tyre import rolled
from pinproof.errors import QuantityFault
from pinproof.quantities import format_value, parse, plain_number

PLACE = {
    "output": "on the output shaft",
    "propshaft": "on the propshaft",
    "wheel": "at the wheel",
    "turbine": "on the turbine",
}
# key of [drive.settings] or [drive.log]: topic, what, why, how the log proves it
OWNER: dict[str, tuple[str, str, str, str]] = {
    "enable": (
        "manual mode", "where the controller learns that manual is wanted",
        "Wired but not mapped, taps do nothing.",
        "Lever to manual, no tap: the manual state must change within a second; if it shows only after the first tap, "
        "write that down for the driver.",
    ),
    "lever": (
        "manual mode", "code that the lever reports in each detent, and in manual",
        "It is the code as REPORTED, not the position as drawn: read it live in every detent.",
        "Engine off, lever through every detent and back: each code must show once, and manual's in its own only.",
    ),
    "tap_codes": (
        "taps", "which reading means up, down, nothing",
        "Windows entered in ohms where volts or counts are wanted never match.",
        "Each button ten times with the engine off: ten steps of its own code each, no other code.",
    ),
    "debounce": (
        "taps", "how long a press must last to count",
        "Too short lets bounce through as a second tap, too long loses quick taps (80 to 300 ms are usual).",
        "Bounce (closed again within 50 ms) never gives a second step; a press of 80 ms always gives one.",
    ),
    "long_press": (
        "taps", "what a long press does", "A held paddle must do nothing that nobody wants.",
        "Hold each button for three seconds: one step, or what stands here.",
    ),
    "auto_repeat": (
        "taps", "whether a held button repeats", "One press, one step; for racing off.",
        "Hold up for three seconds in 2: the commanded gear rises by one only.",
    ),
    "tap_during_shift": (
        "taps", "what a tap during a shift does", "Lost, or kept for after it: the driver must know which.",
        "Two taps within half a second: one step or two, as written here.",
    ),
    "invalid_code": (
        "taps", "what a reading in no window does", "A broken wire must not shift. Keep the gear, and say so.",
        "Unplug the switches, engine off: no command, and the fault shows.",
    ),
    "at_limiter": (
        "limits", "at the limiter in manual: hold the gear, refuse, or shift up",
        "An unasked upshift in a climb can cost the stage; no upshift can cost the engine.",
        "One run to the limiter in 1, empty ground: what happens is what stands here.",
    ),
    "held_request": (
        "limits", "how long a refused downshift is kept waiting",
        "A held request comes late, as a shift that nobody expects; none refuses at once.",
        "Tap down above the permitted speed, then brake: refused for good, or within this time.",
    ),
    "lock_up": (
        "converter", "when the converter locks in manual",
        "Unlocked, engine speed says little of the gear, and every speed limit loses the slip.",
        "Engine and turbine within 1 % (or 50 rpm) a second after lock-up.",
    ),
    "pressure": (
        "clutches", "pressure of each shift", "The gearbox maker's limits rule. Too low for the torque, it slips.",
        "Turbine never more than 150 rpm above both sync speeds in a shift (flare).",
    ),
    "torque_reduction": (
        "clutches", "torque cut in each shift", "Without it shifts are long and hot under full load.",
        "Torque request drops during every full-load upshift; tap to new ratio within 0.8 s.",
    ),
    "torque_limit": (
        "clutches", "greatest input torque of each gear", "The gearbox maker's limits rule.",
        "Torque in each gear stays below its limit.",
    ),
    "re_entry": (
        "manual mode", "what ends manual: lever, time, both taps", "The driver needs a sure way back to automatic.",
        "Do it once while rolling slowly: automatic within what stands here.",
    ),
    "gear_shown_from": (
        "display", "where the gear on the dash comes from", "Commanded gear shown as real hides a shift that failed.",
        "Shown gear equals the gear from turbine ÷ output in steady drive.",
    ),
    "cold_below": (
        "limits", "oil temperature below which taps are refused", "Else a cold refusal looks like a broken button.",
        "Oil temperature beside the first refused tap of the day.",
    ),
}  # fmt: skip


NOT_SO = "NOT AS IT STANDS"
"""How the reason of a value begins that must not be entered as the file has it."""
WHERE = {"tap_codes": "[[line.window]]", "debounce": "[[input]] debounce"}
"""Rows that come from elsewhere in the design file, and from where."""


def settings_sheet(truck: Truck, sums: DriveSums) -> tuple[Setting, ...]:
    """All rows, computed ones first.

    Parameters
    ----------
    truck, sums : Truck, DriveSums
        The design and `drive_sums` of it.

    Raises
    ------
    DriveFault
        The design file says nothing of the driveline.
    """
    drive = drive_of(truck)
    found = [*_of_the_truck(drive, sums), *_limits(drive, sums), *_lines(drive, sums)]
    answers = {key: (each.text, each.basis, each.note) for key, each in drive.answers}
    known = _of_the_design(truck) | _of_the_log(drive)
    for key, (topic, what, reason, proof) in OWNER.items():
        value, basis, note = answers.get(key, ("", "", ""))
        if not value:
            value, basis = known.get(key, ("", ""))
        if not value and key in WHERE:
            reason = f"{reason} Write it as {WHERE[key]} of this design."
        found.append(Setting(topic, what, value, reason, f"{basis}: {note}" if note else basis, proof, True))
    return tuple(found)


AS_SET = "as set, by [drive.log]"


def _ends_of_manual(drive: Drive) -> Iterator[tuple[str, str, str, str]]:
    """Lowest and highest gear in manual: which, its name, which tap is then refused, on what it rests."""
    log = drive.log
    for which, name, way, stated in (
        ("lowest", drive.lowest_gear, "down", log.lowest_gear if log is not None else None),
        ("highest", drive.highest_gear, "up", log.highest_gear if log is not None else None),
    ):
        yield which, name, way, AS_SET if stated else "assumed, the gearbox's own"


def _of_the_log(drive: Drive) -> dict[str, tuple[str, str]]:
    """What [drive.log] says of the controller's settings."""
    log, found = drive.log, {}
    if log is None:
        return {}
    chosen = AS_SET
    codes = [f"{detent} {code}" for detent, code in log.lever]
    manual = f"manual is {' or '.join(log.lever_manual)}" if log.lever_manual else ""
    if manual:  # without it the row waits: the codes of the other detents tell nothing of manual
        found["lever"] = ("; ".join([*codes, manual]), chosen)
    for key in ("auto_repeat", "at_limiter"):
        if getattr(log, key):
            found[key] = (getattr(log, key), chosen)
    for key, none in (("held_request", "refused at once"), ("cold_below", "never")):
        said = getattr(log, key)
        if said is not None:
            found[key] = (none, chosen) if said == "none" else (said.text, said.basis)
    return found


def _of_the_truck(drive: Drive, sums: DriveSums) -> list[Setting]:
    around, rows, tyre = around_m(drive), [], rolled(drive.tyre)
    metric = f"{ends(around, 1.0, 4)} m ({ends(Span.exact(1000.0) / around, 1.0, 4)} rev/km)"
    us = f"{ends(around, 0.0254, 4)} in ({ends(Span.exact(1609.344) / around, 1.0, 4)} rev/mile)"
    both = f"{us}, {metric}" if drive.units == "us" else f"{metric}, {us}"
    one = around.value
    enter = f"{plain_number(one / 0.0254, 4)} in" if drive.units == "us" else f"{plain_number(one, 4)} m"
    rows.append(
        Setting(
            "truck", "rolling circumference", f"enter {enter}; it may be {both}",
            "Every road speed hangs on it.", f"{tyre.basis}, {tyre.how}",
            "Road speed against satellite speed on firm level ground, straight, over 30 s.",
        )
    )  # fmt: skip
    rows.append(
        Setting(
            "truck", "axle ratio", drive.axle.text, "With the tyre it makes road speed of output speed.",
            drive.axle.basis, "Propshaft ÷ wheel speed, straight, no wheelspin.",
        )
    )  # fmt: skip
    rows += [
        Setting(
            "truck", f"transfer ratio, {each.name}", each.ratio.text, "Road-speed limits change with it by this ratio; "
            "the controller must know which range is in.", each.ratio.basis,
            "Output ÷ propshaft speed in this range.",
        )
        for each in drive.transfers
    ]  # fmt: skip
    rows += [
        Setting(
            "truck", f"ratio of gear {each.name}", each.ratio.text, "From it the controller tells which gear is in and "
            "predicts the speed after a shift.", each.ratio.basis,
            "Turbine ÷ output within 3 % of it, held for 0.2 s, in this gear.",
        )
        for each in drive.gears
    ]  # fmt: skip
    rows += [_sensor(drive, each) for each in sums.sensors if each.place != "turbine"]
    rows += [_turbine(each) for each in drive.sensors if each.place == "turbine"]
    if not sums.sensors:
        rows.append(
            Setting(
                "truck", "teeth and place of each speed sensor", "", "A wrong count scales every speed.", "",
                "Sensor speed against engine speed, locked, in the direct gear.", True,
            )
        )  # fmt: skip
    return rows


def _sensor(drive: Drive, each: Pulses) -> Setting:
    per_km, per_mile = each.per_m * 1000.0, each.per_m * 1609.344
    far = f"{ends(per_mile, 1.0, 5)} per mile" if drive.units == "us" else f"{ends(per_km, 1.0, 5)} per km"
    return Setting(
        "truck", f"speed sensor {each.sensor}, {PLACE[each.place]}" + (f", {each.transfer}" if each.transfer else ""),
        f"{ends(each.per_turn, 1.0, 6)} pulses per turn, {far}", "A wrong count scales every speed.",
        _basis_of(drive, each.sensor), "Its speed against satellite speed, straight, no wheelspin.",
    )  # fmt: skip


def _turbine(each: Sensor) -> Setting:
    return Setting(
        topic="truck",
        what=f"speed sensor {each.id}, {PLACE[each.place]}",
        value=f"{ends(Span.of(each.teeth), 1.0, 6)} pulses per turn",
        reason="A wrong count looks like slip, or like the wrong gear.",
        basis=each.teeth.basis,
        proof="Equal to engine speed while the converter is locked.",
    )


def _basis_of(drive: Drive, sensor: str) -> str:
    return next(each.teeth.basis for each in drive.sensors if each.id == sensor)


def _limits(drive: Drive, sums: DriveSums) -> list[Setting]:
    rows = []
    limiter = "" if drive.limiter_rpm is None else drive.limiter_rpm.text
    rows.append(
        Setting(
            "limits", "engine limiter", limiter, f"The engine is never to turn above {drive.most_rpm.text}. Every up "
            "line must lie below it, with room for the time a shift takes.",
            "" if drive.limiter_rpm is None else drive.limiter_rpm.basis,
            "Highest engine speed of the day is below the engine's most.", drive.limiter_rpm is None,
        )
    )  # fmt: skip
    for each in sums.downshifts:
        range_ = f" ({each.transfer})" if len(drive.transfers) > 1 else ""
        value, reason = "never by command", "Margin and time leave nothing."
        if each.permitted_rpm >= 1.0:
            over = over_speed(each, drive.units)[0]
            value = "output shaft {}, or {}".format(*permitted(each, drive.units)) + f" (over-speeds above {over})"
            reason = (
                f"Kept below the limit: {each.margin * 100:.3g} % and {road(each.gained_m_per_s, drive.units)} for the "
                "time a shift takes. Output speed is better: it knows no tyre and no wheelspin."
            )
        what = f"highest speed for a shift down into {each.gear}{range_}"
        proof = "No shift into this gear begins above it; a tap above it is refused or held."
        rows.append(Setting("limits", what, value, reason, "computed", proof))
    rows += [_lead(each) for each in sums.leads if each.latest_rpm is not None]
    rows += [
        Setting(
            "limits", f"{which} gear in manual", name, "A tap beyond it is refused.", basis,
            f"In {name} a tap {way} gives no command.",
        )
        for which, name, way, basis in _ends_of_manual(drive)
    ]  # fmt: skip
    least = drive.least_rpm
    for before, after in pairwise(each.name for each in drive.gears):
        what = f"least speed for a shift up from {before} into {after}"
        proof = "No shift into this gear begins below it; a tap below it is refused."
        if least is None:
            rows.append(Setting("limits", what, "", "Write drive.engine.least to have it computed.", "", proof, True))
            continue
        low = math.ceil((Span.of(least) / Span.of(drive.gear(after).ratio)).high)
        reason = f"Below it the engine labours in the new gear, under {least.text}."
        rows.append(Setting("limits", what, f"output shaft {rpm(low * 1.0)}", reason, "computed", proof))
    return rows


def _lead(each: Lead) -> Setting:
    return Setting(
        "limits", f"latest command of an upshift in {each.gear}, at full throttle",
        f"engine {rpm(float(math.floor(each.latest_rpm or 0.0)))}",
        f"The engine climbs {rpm(each.gained_rpm)} further until the shift takes hold; later, it meets the limiter.",
        "computed", "At every full-throttle upshift the engine stays below the limiter.",
    )  # fmt: skip


def _lines(drive: Drive, sums: DriveSums) -> list[Setting]:
    rows = []
    for line in drive.lines:
        mine = [each for each in sums.lines if each.number == line.number]
        subject = f"{line.before} → {line.after}, {line.load}"
        several = len({each.transfer for each in mine}) > 1
        named = {f"{subject}, {each.transfer}" if several else subject: each.transfer for each in mine}
        bad = worst_first(each for each in sums.checks if each.verdict.exit_code and each.subject in named)
        where = f" in {named[bad[0].subject]} range" if bad and several else ""
        if several and line.given == "road":
            turns = ", ".join(f"{rpm(each.output_rpm)} in {each.transfer}" for each in mine)
        else:
            turns = rpm(mine[0].output_rpm)
        value = f"{line.at.text} ({line.given} speed); output shaft {turns}"
        rows.append(
            Setting(
                "lines", f"{line.before} → {line.after}, {line.load}", value,
                f"{NOT_SO}{where}: {bad[0].text}" if bad else "Judged and found to work.", line.at.basis,
                "The shift begins within 3 % of it, at this load.",
            )
        )  # fmt: skip
    if not drive.lines:
        rows.append(
            Setting(
                "lines", "up and down lines of each gear and load", "", "In automatic the controller shifts by them; "
                "in manual they can still act at the limiter and near idle.", "", "Shifts begin where the lines say.",
                True,
            )
        )  # fmt: skip
    return rows


def _of_the_design(truck: Truck) -> dict[str, tuple[str, str]]:
    """What the design already says of taps: windows or targets, and the debounce."""
    found = {}
    said = [f"{line.id}: {_codes(line)}" for line in truck.lines if not line.free and (line.windows or line.targets)]
    if said:
        bases = {each.basis for line in truck.lines for each in line.windows}
        bases |= {each.basis for line in truck.lines for each in line.targets}
        found["tap_codes"] = ("; ".join(said), ", ".join(sorted(bases)))
    waits: list[tuple[str, Value]] = [(each.id, each.debounce) for each in truck.inputs if each.debounce is not None]
    if waits:
        said = [f"{name} {value.text}" if len(waits) > 1 else value.text for name, value in waits]
        found["debounce"] = ("; ".join(said), ", ".join(sorted({value.basis for _, value in waits})))
    return found


def _with_unit(text: str, kind: str) -> str:
    """As the file has it; "2.88k" with the ohms that it means."""
    if kind != "ohm":
        return text
    try:
        return format_value(parse(text, "resistance"), "resistance", digits=5)
    except QuantityFault:  # such as "open"
        return text


def _codes(line: Line) -> str:
    parts = []
    for window in line.windows:
        ends = [_with_unit(text, window.kind) for text in (window.low_text, window.high_text) if text]
        words = " to ".join(ends) if len(ends) == 2 else f"{'from' if window.low is not None else 'up to'} {ends[0]}"
        parts.append(f"{window.meaning} {words}")
    parts += [f"{target.meaning} about {_with_unit(target.text, target.kind)}" for target in line.targets]
    return ", ".join(parts)


def blanks(sheet: Sequence[Setting]) -> int:
    """How many cells wait for the owner."""
    return sum(not each.value for each in sheet)
