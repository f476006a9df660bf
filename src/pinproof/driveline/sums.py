"""All sums of one driveline, joined.

Answers: speeds per gear, drop after each shift, safe downshifts, lines, sensors; every check.
Units:   rpm, m/s, metres.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pinproof.design.model import Truck, Value
from pinproof.design.model_drive import Drive, Geared, Sensor
from pinproof.driveline.leads import lead_checks, leads
from pinproof.driveline.lines import check_limiter, line_checks, line_row
from pinproof.driveline.results import AtSpeed, Downshift, DriveSums, GearRow, LineRow, Pulses, Step
from pinproof.driveline.span import Span, remains
from pinproof.driveline.speeds import (
    after_shift,
    downshift_limit,
    engine_rpm,
    gained_m_per_s,
    output_rpm,
    pulses_per_m,
    reachable,
    road_speed,
)
from pinproof.driveline.stated import around_m, drive_of, numbers, reduction_of
from pinproof.driveline.tyre import rolled


def drive_sums(truck: Truck, at_m_per_s: Sequence[float] = ()) -> DriveSums:
    """Everything `pinproof gears` says, borrowed tables apart.

    Parameters
    ----------
    truck : Truck
        With a driveline.
    at_m_per_s : sequence of float
        Road speeds at which the engine speed of every gear is wanted. [m/s]

    Raises
    ------
    DriveFault
        The design file says nothing of the driveline.

    Examples
    --------
    >>> from pinproof.design import load
    >>> from pinproof.driveline import drive_sums
    >>> from pinproof.examples import example_path
    >>> len(drive_sums(load(example_path("sandpiper"))).steps)
    5
    """
    drive = drive_of(truck)
    tyre = rolled(drive.tyre)
    pairs = [(transfer, gear) for transfer in drive.transfers for gear in drive.gears]
    lines = tuple(line_row(drive, line, transfer) for transfer in drive.transfers for line in drive.lines)
    downshifts = tuple(downshift(drive, transfer, gear) for transfer, gear in pairs if gear != drive.gears[-1])
    return DriveSums(
        truck.id, truck.name, drive.units, tyre.circumference_m, tyre.rolling_m, tyre.how, tyre.basis,
        tuple(gear_row(drive, *pair) for pair in pairs),
        tuple(at_speed(drive, *pair, speed) for speed in at_m_per_s for pair in pairs), steps(drive, lines),
        downshifts, leads(drive), lines, tuple(each for sensor in drive.sensors for each in sensor_rows(drive, sensor)),
        (check_limiter(drive), *line_checks(drive, lines, downshifts), *lead_checks(drive, lines)), rests_on(drive),
        Span.of(drive.most_rpm),
        None if drive.limiter_rpm is None else Span.of(drive.limiter_rpm),
    )  # fmt: skip


def gear_row(drive: Drive, transfer: Geared, gear: Geared) -> GearRow:
    """Speeds of one gear."""
    overall = reduction_of(drive, transfer) * Span.of(gear.ratio)
    around, share = around_m(drive), remains(drive.slip)

    def at(engine: Value) -> Span:
        return road_speed(Span.of(engine) * share, around, overall)

    reach = None if drive.limiter_rpm is None else at(drive.limiter_rpm)
    return GearRow(
        transfer.name, gear.name, Span.of(gear.ratio), overall, road_speed(Span.exact(1000.0), around, overall),
        output_rpm(Span.exact(1.0), around, overall) / share, reach, at(drive.most_rpm),
    )  # fmt: skip


def at_speed(drive: Drive, transfer: Geared, gear: Geared, speed_m_per_s: float) -> AtSpeed:
    """Engine speed at one road speed."""
    output = output_rpm(Span.exact(speed_m_per_s), around_m(drive), reduction_of(drive, transfer))
    ratio = Span.of(gear.ratio)
    engine = engine_rpm(output, ratio, remains(drive.slip))
    return AtSpeed(transfer.name, gear.name, speed_m_per_s, output, output * ratio, engine)


def steps(drive: Drive, lines: Sequence[LineRow]) -> tuple[Step, ...]:
    """Drop after each upshift, from its highest line that the engine can reach, else from what the engine can reach."""
    found = []
    reach, reached = reachable(
        Span.of(drive.most_rpm), None if drive.limiter_rpm is None else Span.of(drive.limiter_rpm)
    )
    share = remains(drive.slip)
    for gear, other in pairwise(drive.gears):
        old, new = Span.of(gear.ratio), Span.of(other.ratio)
        pair = (gear.name, other.name)
        ups = [row for row in lines if row.kind == "up" and (row.before, row.after) == pair]
        ups = [row for row in ups if row.engine_rpm.value <= reach.value]  # above it nothing is ever shifted
        top = max(ups, key=lambda row: row.engine_rpm.value, default=None)
        if top is None or top.given == "engine":
            before = reach if top is None else top.engine_rpm
            after = after_shift(before, old, new, share, share)
            left = after_shift(Span.exact(1.0), old, new, share, share)  # of each turn before
            drop = _times(before, (1.0 - left.high, 1.0 - left.value, 1.0 - left.low))
        else:
            before, after = top.engine_rpm, top.engine_after_rpm
            one, two = old / share, new / share  # engine turns for each of the output shaft
            drop = _times(top.output_rpm, (one.low - two.high, one.value - two.value, one.high - two.low))
        load, start = (top.load, f"line, {top.load}{_in_range(drive, top)}") if top is not None else ("", reached)
        found.append(Step(gear.name, other.name, old / new, before, load, after, drop, start))
    return tuple(found)


def _in_range(drive: Drive, row: LineRow) -> str:
    return f", {row.transfer}" if len(drive.transfers) > 1 and row.given == "road" else ""


def _times(span: Span, by: tuple[float, float, float]) -> tuple[float, float, float]:
    """Product where the second factor may be below zero."""
    low, value, high = by
    least = low * (span.low if low >= 0.0 else span.high)
    return least, value * span.value, high * (span.high if high >= 0.0 else span.low)


def downshift(drive: Drive, transfer: Geared, gear: Geared) -> Downshift:
    """Highest safe speed for a shift into this gear, at the worst of everything."""
    around, reduction = around_m(drive), reduction_of(drive, transfer)
    limit = downshift_limit(1.0, Span.of(gear.ratio), remains(drive.slip)) * Span.of(drive.most_rpm)
    gained = gained_m_per_s(drive.latency_s.high, drive.acceleration_m_per_s2.high)
    kept = limit.low * (1.0 - drive.margin.high)
    spent_rpm = output_rpm(Span.exact(gained), around, reduction).high
    permitted_m_per_s = road_speed(Span.exact(kept), around, reduction).low - gained
    return Downshift(
        transfer.name, gear.name, limit, road_speed(limit, around, reduction), max(0.0, kept - spent_rpm),
        max(0.0, permitted_m_per_s), drive.margin.high, gained,
    )  # fmt: skip


def sensor_rows(drive: Drive, sensor: Sensor) -> tuple[Pulses, ...]:
    """Pulses of one sensor, for each range and gear that change them."""
    teeth, around, axle = Span.of(sensor.teeth), around_m(drive), Span.of(drive.axle)
    if sensor.place == "wheel":
        return (Pulses(sensor.id, sensor.place, "", "", teeth, pulses_per_m(teeth, around, Span.exact(1.0))),)
    if sensor.place == "propshaft":
        return (Pulses(sensor.id, sensor.place, "", "", teeth, pulses_per_m(teeth, around, axle)),)
    gears = drive.gears if sensor.place == "turbine" else (None,)
    found = []
    for transfer in drive.transfers:
        for gear in gears:
            turns = (
                reduction_of(drive, transfer) if gear is None else reduction_of(drive, transfer) * Span.of(gear.ratio)
            )
            name = "" if gear is None else gear.name
            per_m = pulses_per_m(teeth, around, turns)
            found.append(Pulses(sensor.id, sensor.place, transfer.name, name, teeth, per_m))
    return tuple(found)


def rests_on(drive: Drive) -> tuple[Value, ...]:
    """Numbers of basis assumed or borrowed.

    The owner's own choices (margin, lines, lead) are no claims about the truck, and turns were counted.
    """
    chosen = {"drive.guard.margin", "drive.guard.acceleration", "drive.engine.least", "drive.engine.lead"}
    chosen |= {each.at.path for each in drive.lines}
    return tuple(each for each in numbers(drive) if each.basis in ("assumed", "borrowed") and each.path not in chosen)
