"""What a log is compared with, on plain numbers: the design's and what the controller was told.

Answers: which gears, speeds, windows, spans and times does a check take, and which of them did nobody state?
Units:   `_s`, `_rpm`, `_v`, `_c`, `_m`; readings in the reading space of the input.
Touches: nothing. The proof's spans are worked out without its drift budgets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.design.model import Input, Line, Truck, Value
from pinproof.driveline import drive_sums, remains
from pinproof.driveline.span import Span
from pinproof.driveline.stated import around_m, reduction_of
from pinproof.logs import limits
from pinproof.observe import spaces_of, windows_in
from pinproof.proof import prove
from pinproof.verdict import Window

Ends = tuple[float, float]


@dataclass(frozen=True)
class LineSettings:
    """One coded line, in the first reading space of its input."""

    id: str
    input: str
    unit: str  # "1" for a share of the reference or the battery, "V" for volts
    divides_by: str  # "reference", "battery", "" for plain volts
    divisor_v: float  # nominal; 1 for plain volts
    error: float  # reading error either way, in the reading space
    debounce_s: Ends | None
    windows: tuple[Window, ...]
    spans: tuple[tuple[str, str, float, float], ...]  # key state, meaning, low, high of the proof
    idle: str
    has_manual: bool

    @property
    def least_debounce_s(self) -> float:
        """What a tap must last at least to count; a usual value where nobody stated one."""
        return limits.DEBOUNCE_UNKNOWN_S if self.debounce_s is None else self.debounce_s[0]

    @property
    def greatest_debounce_s(self) -> float:
        """From this length on a press surely counts."""
        return limits.DEBOUNCE_UNKNOWN_S if self.debounce_s is None else self.debounce_s[1]

    def window(self, meaning: str) -> Window | None:
        """The first window of a meaning."""
        return next((each for each in self.windows if each.meaning == meaning), None)

    def span(self, meaning: str, states: tuple[str, ...]) -> Ends | None:
        """Where the proof has every situation of this meaning in these key states."""
        ends = [(low, high) for state, mine, low, high in self.spans if mine == meaning and state in states]
        if not ends or any(math.isnan(end) for pair in ends for end in pair):
            return None
        return min(low for low, _ in ends), max(high for _, high in ends)


@dataclass(frozen=True)
class DriveSettings:
    """The driveline of the design. Gears count from 1, the lowest first."""

    names: tuple[str, ...]
    ratios: tuple[float, ...]
    ratio_spread: float  # greatest share by which a ratio may be off
    reductions: tuple[tuple[str, Span], ...]
    around_m: Span
    slip: Ends  # least and greatest 1 − turbine ÷ engine
    most_rpm: Ends
    limiter_rpm: Ends | None
    least_rpm: float | None
    permitted_rpm: tuple[float, ...]  # output speed for a shift down into each gear; infinite for the highest
    limit_rpm: tuple[Ends, ...]  # output speed at which that shift over-speeds
    lowest: int
    highest: int

    def name(self, gear: float) -> str:
        """What a gear is called."""
        number = int(gear) if math.isfinite(gear) else 0
        return self.names[number - 1] if 1 <= number <= len(self.names) else f"{number}"


@dataclass(frozen=True)
class Settings:
    """Everything checks compare with. `None` where nobody stated it."""

    lines: tuple[LineSettings, ...]
    drive: DriveSettings | None
    supply_v: dict[str, Ends]
    temperature_c: Ends
    lever_manual: tuple[str, ...]
    detents: dict[str, str]
    command_median_s: float
    command_95_s: float
    ratio_95_s: float
    ratio_worst_s: float
    answer_s: float | None
    held_request_s: float
    held_request_stated: bool
    at_limiter: str  # "hold", "shift up", ""
    forced_down_rpm: float
    cold_c: float  # -inf: never
    repeats: bool

    @property
    def debounce_s(self) -> Ends | None:
        """Over all lines: the least and the greatest debounce; None if none is stated."""
        known = [each.debounce_s for each in self.lines if each.debounce_s is not None]
        return (min(low for low, _ in known), max(high for _, high in known)) if known else None

    @property
    def least_interval_s(self) -> float:
        """A tap can hide between samples further apart than this."""
        return limits.DEBOUNCE_UNKNOWN_S if self.debounce_s is None else self.debounce_s[0]

    def line(self, line_id: str) -> LineSettings | None:
        """A line by its id."""
        return next((each for each in self.lines if each.id == line_id), None)


def settings_of(truck: Truck) -> Settings:
    """Everything checks compare with, of a design file."""
    drive = truck.drive
    told = drive.log if drive is not None else None
    command = _number(told.tap_to_command) if told else None
    ratio = _number(told.tap_to_ratio) if told else None
    held = told.held_request if told else None
    cold = told.cold_below if told else None
    forced = _number(told.forced_down_below) if told else None
    proofs = {each.line: each for each in prove(truck, samples=0, drift=False).lines}
    spans = {
        name: tuple((row.key_state, row.meaning, row.low, row.high) for row in each.situations if row.meaning)
        for name, each in proofs.items()
    }
    return Settings(
        lines=tuple(_line(truck, line, spans.get(line.id, ())) for line in truck.lines),
        drive=None if drive is None else _drive(truck),
        supply_v={name: (value.low, value.high) for name, value in truck.supply.states.items()},
        temperature_c=(truck.temperature.low, truck.temperature.high),
        lever_manual=told.lever_manual if told else (),
        detents=dict(told.lever) if told else {},
        command_median_s=limits.COMMAND_MEDIAN_S if command is None else command * 2.0 / 3.0,
        command_95_s=limits.COMMAND_95_S if command is None else command,
        ratio_95_s=limits.RATIO_95_S if ratio is None else ratio,
        ratio_worst_s=limits.RATIO_WORST_S if ratio is None else ratio * 1.25,
        answer_s=_number(told.answer) if told else None,
        held_request_s=0.0
        if held == "none"
        else (held.high if isinstance(held, Value) else limits.HELD_REQUEST_UNKNOWN_S),
        held_request_stated=held is not None,
        at_limiter=(told.at_limiter or "") if told else "",
        forced_down_rpm=limits.FORCED_DOWN_RPM if forced is None else forced,
        cold_c=-math.inf if cold == "none" else (cold.high if isinstance(cold, Value) else limits.COLD_C),
        repeats=bool(told and told.auto_repeat == "on"),
    )


def _number(value: Value | None) -> float | None:
    return None if value is None else value.value


def _line(truck: Truck, line: Line, spans: tuple[tuple[str, str, float, float], ...]) -> LineSettings:
    owner: Input = truck.input_of(line)
    space = spaces_of(truck, owner)[0]
    windows = () if line.free else windows_in(truck, line, space)
    wait = owner.debounce
    divides_by = {"reference": "reference", "battery": "battery"}.get(space.name, "")
    return LineSettings(
        line.id, owner.id, space.unit, divides_by, space.divisor_nominal_v, owner.error.value * space.full_scale,
        None if wait is None else (wait.low, wait.high), windows, spans, line.idle, "manual" in line.meanings,
    )  # fmt: skip


def _drive(truck: Truck) -> DriveSettings:
    drive, sums = truck.drive, drive_sums(truck)
    assert drive is not None
    ratios = [each.ratio for each in drive.gears]
    permitted, limit = [], []
    for gear in drive.gears:
        rows = [each for each in sums.downshifts if each.gear == gear.name]
        permitted.append(min((each.permitted_rpm for each in rows), default=math.inf))
        limit.append(
            (
                min((r.limit_rpm.low for r in rows), default=math.inf),
                max((r.limit_rpm.high for r in rows), default=math.inf),
            )
        )
    passed = remains(drive.slip)
    limiter = drive.limiter_rpm
    return DriveSettings(
        tuple(each.name for each in drive.gears),
        tuple(each.value for each in ratios),
        max(max(each.high / each.value - 1.0, 1.0 - each.low / each.value) for each in ratios),
        tuple((each.name, reduction_of(drive, each)) for each in drive.transfers),
        around_m(drive),
        (1.0 - passed.high, 1.0 - passed.low),
        (drive.most_rpm.low, drive.most_rpm.high),
        None if limiter is None else (limiter.low, limiter.high),
        None if drive.least_rpm is None else drive.least_rpm.high,
        tuple(permitted),
        tuple(limit),
        drive.place_of(drive.lowest_gear) + 1,
        drive.place_of(drive.highest_gear) + 1,
    )
