"""What a driveline does, by trying every corner of its box with exact fractions.

Written from docs/driveline.md. Knows nothing of the product: no module of it is imported here. (Its writer had read
the engine before, so a misreading of the page could be shared.) Slow and plain on purpose: each sum is one line of
the page, put in for every truck at a corner of the box; the least and the greatest of all of them is the range.
Lengths in metres, speeds in m/s, shafts in rpm, times in seconds, all `Fraction`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

PASS, FAIL, NOT_SHOWN = "pass", "fail", "not shown"
SAFE_FROM, HUNTS_BELOW = Fraction(10, 100), Fraction(5, 100)


@dataclass(frozen=True)
class Number:
    """A number with its range."""

    low: Fraction
    value: Fraction
    high: Fraction

    @property
    def ends(self) -> tuple[Fraction, ...]:
        return (self.low,) if self.low == self.high else (self.low, self.high)


def sure(value: Fraction | int | str) -> Number:
    """A number without a range."""
    one = Fraction(value)
    return Number(one, one, one)


ZERO, ONE = sure(0), sure(1)


@dataclass(frozen=True)
class Wheel:
    """A tyre: way over turns, or turns per metre, or factor times diameter; then growth and wear."""

    way_m: Number | None = None
    turns: Fraction = Fraction(1)
    per_m: Number | None = None
    factor: Number | None = None
    diameter_m: Fraction = Fraction(1)
    growth: Number = ZERO
    wear: Number = ZERO

    @property
    def numbers(self) -> tuple[Number, Number, Number]:
        first = self.way_m or self.per_m or self.factor
        assert first is not None
        return first, self.growth, self.wear

    def new_m(self, first: Fraction) -> Fraction:
        """C before growth and wear."""
        if self.way_m is not None:
            return first / self.turns
        return 1 / first if self.per_m is not None else first * self.diameter_m

    def around_m(self, first: Fraction, growth: Fraction, wear: Fraction) -> Fraction:
        return self.new_m(first) * (1 + growth) * (1 - wear)


@dataclass(frozen=True)
class Line:
    """Where the controller shifts by itself."""

    before: str
    after: str
    load: str
    given: str  # engine, output, road
    at: Number


@dataclass(frozen=True)
class Donor:
    """A borrowed table: rows of (head, cells)."""

    by_road: bool
    unit: Fraction  # of its speeds, in m/s or rpm
    decimals: int
    holds: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    wheel: Wheel | None = None
    axle: Number = ONE
    transfer: Number = ONE
    gears: tuple[Number, ...] | None = None


@dataclass(frozen=True)
class Driveline:
    """All of one truck."""

    wheel: Wheel
    axle: Number
    transfers: tuple[tuple[str, Number], ...]
    gears: tuple[tuple[str, Number], ...]
    slip: Number
    most: Number
    limiter: Number | None
    least: Number | None
    margin: Number
    latency_s: Number
    acceleration: Number
    sensors: tuple[tuple[str, str, Fraction], ...] = ()
    lines: tuple[Line, ...] = ()
    climbs: dict[str, Number] = field(default_factory=dict)
    upshift_time_s: Number | None = None
    lead: Number | None = None  # None: not written, or "none"
    donors: tuple[Donor, ...] = ()

    @property
    def names(self) -> list[str]:
        return [name for name, _ in self.gears]

    def ratio(self, name: str) -> Number:
        return dict(self.gears)[name]

    def is_up(self, line: Line) -> bool:
        return self.names.index(line.after) > self.names.index(line.before)


Range = tuple[Fraction, Fraction, Fraction]  # least, nominal, greatest


def trucks(numbers: tuple[Number, ...]) -> Iterator[tuple[Fraction, ...]]:
    """Every truck at a corner of these numbers."""
    return itertools.product(*(each.ends for each in numbers))


def over(sum_: Callable[..., Fraction], *numbers: Number) -> Range:
    """One sum for every truck at a corner, and for the nominal one."""
    found = [sum_(*truck) for truck in trucks(numbers)]
    return min(found), sum_(*(each.value for each in numbers)), max(found)


# one line of the page each


def circumference(d: Driveline) -> tuple[Range, Range]:
    """C new, and with growth and wear."""
    return over(d.wheel.new_m, d.wheel.numbers[0]), over(d.wheel.around_m, *d.wheel.numbers)


def gear_sums(d: Driveline, transfer: Number, gear: Number) -> dict[str, Range | None]:
    """Road speed at 1000 rpm of the turbine, at the limiter, at most; engine speed at 1 m/s; overall ratio."""
    wheel = d.wheel.around_m

    def road(first, growth, wear, axle, transfer, gear, slip, engine):  # type: ignore[no-untyped-def]
        return engine * (1 - slip) / gear / (axle * transfer) * wheel(first, growth, wear) / 60

    box = (*d.wheel.numbers, d.axle, transfer, gear)
    return {
        "overall": over(lambda a, t, g: a * t * g, d.axle, transfer, gear),
        "per_1000": over(road, *box, ZERO, sure(1000)),
        "reach": None if d.limiter is None else over(road, *box, d.slip, d.limiter),
        "most": over(road, *box, d.slip, d.most),
        "engine_at_1": over(
            lambda f, gr, w, a, t, g, s: 60 / wheel(f, gr, w) * a * t * g / (1 - s), *box, d.slip
        ),
    }  # fmt: skip


def at_speed(d: Driveline, transfer: Number, gear: Number, speed: Fraction) -> dict[str, Range]:
    """Output, turbine and engine at a road speed."""

    def output(f, gr, w, a, t):  # type: ignore[no-untyped-def]
        return 60 * speed / d.wheel.around_m(f, gr, w) * a * t

    box = (*d.wheel.numbers, d.axle, transfer)
    return {
        "output": over(output, *box),
        "turbine": over(lambda *x: output(*x[:-1]) * x[-1], *box, gear),
        "engine": over(lambda *x: output(*x[:-2]) * x[-2] / (1 - x[-1]), *box, gear, d.slip),
    }


def after_shift(d: Driveline, engine: Number, before: str, after: str) -> Range:
    """Engine speed after a shift; its slip then is another number than its slip before."""
    return over(
        lambda e, s, old, new, then: e * (1 - s) * new / old / (1 - then),
        engine, d.slip, d.ratio(before), d.ratio(after), d.slip,
    )  # fmt: skip


def limit(d: Driveline, gear: str) -> Range:
    """Output speed at which neither engine nor turbine turns above most."""
    return over(lambda most, s, g: min(most * (1 - s), most) / g, d.most, d.slip, d.ratio(gear))


def limit_road(d: Driveline, transfer: Number, gear: str) -> Range:
    return over(
        lambda most, s, g, f, gr, w, a, t: min(most * (1 - s), most) / g * d.wheel.around_m(f, gr, w) / (60 * a * t),
        d.most, d.slip, d.ratio(gear), *d.wheel.numbers, d.axle, transfer,
    )  # fmt: skip


def gained_mps(d: Driveline) -> Fraction:
    """Both at their greatest; braking earns nothing."""
    return max(Fraction(0), d.latency_s.high * d.acceleration.high)


def permitted(d: Driveline, transfer: Number, gear: str) -> tuple[Fraction, Fraction]:
    """Output rpm and road m/s that hold for the worst truck; zero where nothing is left."""
    least = limit(d, gear)[0] * (1 - d.margin.high)
    box = (*d.wheel.numbers, d.axle, transfer)
    per_mps = over(lambda f, gr, w, a, t: 60 * a * t / d.wheel.around_m(f, gr, w), *box)[2]  # least C, most reduction
    output = least - gained_mps(d) * per_mps
    return max(Fraction(0), output), max(Fraction(0), least / per_mps - gained_mps(d))


def line_sums(d: Driveline, transfer: Number, line: Line) -> dict[str, Range]:
    """A line in all three speeds, and the engine after it."""
    old, new = d.ratio(line.before), d.ratio(line.after)
    box = (*d.wheel.numbers, d.axle, transfer)

    def turns(f, gr, w, a, t):  # type: ignore[no-untyped-def]  # output turns per metre, times 60
        return 60 * a * t / d.wheel.around_m(f, gr, w)

    if line.given == "engine":
        return {
            "engine": over(lambda e: e, line.at),
            "output": over(lambda e, s, g: e * (1 - s) / g, line.at, d.slip, old),
            "road": over(lambda e, s, g, *x: e * (1 - s) / g / turns(*x), line.at, d.slip, old, *box),
            "after": after_shift(d, line.at, line.before, line.after),
        }
    if line.given == "output":
        return {
            "output": over(lambda o: o, line.at),
            "road": over(lambda o, *x: o / turns(*x), line.at, *box),
            "engine": over(lambda o, g, s: o * g / (1 - s), line.at, old, d.slip),
            "after": over(lambda o, g, s: o * g / (1 - s), line.at, new, d.slip),
        }
    return {
        "road": over(lambda v: v, line.at),
        "output": over(lambda v, *x: v * turns(*x), line.at, *box),
        "engine": over(lambda v, g, s, *x: v * turns(*x) * g / (1 - s), line.at, old, d.slip, *box),
        "after": over(lambda v, g, s, *x: v * turns(*x) * g / (1 - s), line.at, new, d.slip, *box),
    }


def separation(d: Driveline, transfer: Number, up: Line, down: Line) -> Range:
    """1 − down ÷ up, in output speed of one truck; its slip at each line is a number of its own."""

    def output(line: Line, at, g, s, f, gr, w, a, t):  # type: ignore[no-untyped-def]
        if line.given == "engine":
            return at * (1 - s) / g
        return at if line.given == "output" else at * 60 * a * t / d.wheel.around_m(f, gr, w)

    def apart(u, gu, su, v, gv, sv, *x):  # type: ignore[no-untyped-def]
        return 1 - output(down, v, gv, sv, *x) / output(up, u, gu, su, *x)

    return over(
        apart, up.at, d.ratio(up.before), d.slip, down.at, d.ratio(down.before), d.slip,
        *d.wheel.numbers, d.axle, transfer,
    )  # fmt: skip


def drop(d: Driveline, transfer: Number, line: Line) -> Range:
    """Engine speed before the shift less that after it; slip before and after are two numbers."""
    old, new = d.ratio(line.before), d.ratio(line.after)

    def fall(at, g, h, s, then, f, gr, w, a, t):  # type: ignore[no-untyped-def]
        if line.given == "engine":
            return at - at * (1 - s) * h / g / (1 - then)
        output = at if line.given == "output" else at * 60 * a * t / d.wheel.around_m(f, gr, w)
        return output * g / (1 - s) - output * h / (1 - then)

    return over(fall, line.at, old, new, d.slip, d.slip, *d.wheel.numbers, d.axle, transfer)


def hunting_pairs(d: Driveline) -> list[tuple[Line, Line]]:
    """Up and down lines at the same load of which one leads into the gear that the other leads out of."""
    ups = [each for each in d.lines if d.is_up(each)]
    downs = [each for each in d.lines if not d.is_up(each)]
    return [
        (up, down)
        for up in ups
        for down in downs
        if up.load == down.load and (down.after == up.before or down.before == up.after)
    ]


def pulses(d: Driveline, place: str, teeth: Fraction, transfer: Number, gear: Number) -> Range:
    """Pulses for one metre."""
    box = (*d.wheel.numbers, d.axle, transfer, gear)

    def per_m(f, gr, w, a, t, g):  # type: ignore[no-untyped-def]
        turns = {"wheel": 1, "propshaft": a, "output": a * t, "turbine": a * t * g}[place]
        return teeth * turns / d.wheel.around_m(f, gr, w)

    return over(per_m, *box)


# verdicts; a near tie is told by `tight`


@dataclass(frozen=True)
class Said:
    """A verdict, and how far from the nearest other one it lies, as a share."""

    verdict: str
    room: Fraction


def three(good: bool, bad: bool, *gaps: tuple[Fraction, Fraction]) -> Said:
    scale = max([Fraction(1), *(max(abs(a), abs(b)) for a, b in gaps)])
    return Said(PASS if good else FAIL if bad else NOT_SHOWN, min(abs(a - b) / scale for a, b in gaps))


def check_limiter(d: Driveline) -> Said:
    if d.limiter is None:
        return Said(NOT_SHOWN, Fraction(1))
    return three(
        d.limiter.high <= d.most.low, d.limiter.low > d.most.high,
        (d.limiter.high, d.most.low), (d.limiter.low, d.most.high),
    )  # fmt: skip


def check_up(d: Driveline, transfer: Number, line: Line) -> Said:
    low, _, high = line_sums(d, transfer, line)["engine"]
    if d.limiter is None:
        return three(False, high > d.most.low, (high, d.most.low))
    if high > d.most.low and d.limiter.high > d.most.low:  # nothing holds the engine below its most
        return Said(FAIL, min(high - d.most.low, d.limiter.high - d.most.low) / d.most.low)
    return three(high < d.limiter.low, low >= d.limiter.high, (high, d.limiter.low), (low, d.limiter.high))


def check_landing(d: Driveline, transfer: Number, line: Line) -> Said | None:
    if d.least is None:
        return None
    low, _, high = line_sums(d, transfer, line)["after"]
    return three(low >= d.least.high, high < d.least.low, (low, d.least.high), (high, d.least.low))


def check_down(d: Driveline, transfer: Number, line: Line) -> Said:
    """Does any truck, quicker by what it gains, turn above most less the margin?"""
    worst = None
    gear = d.ratio(line.after)
    box = (
        line.at, d.ratio(line.before), d.slip, *d.wheel.numbers, d.axle, transfer, d.most, d.slip, gear,
    )  # fmt: skip
    for at, old, slip, f, gr, w, a, t, most, then, new in trucks(box):
        per_mps = 60 * a * t / d.wheel.around_m(f, gr, w)
        output = {"engine": at * (1 - slip) / old, "output": at, "road": at * per_mps}[line.given]
        turbine = (output + gained_mps(d) * per_mps) * new
        left = most * (1 - d.margin.high) - max(turbine, turbine / (1 - then))
        worst = left if worst is None else min(worst, left)
    assert worst is not None
    return Said(PASS if worst >= 0 else FAIL, abs(worst) / d.most.high)


def check_separation(d: Driveline, transfer: Number, up: Line, down: Line) -> Said:
    low, _, high = separation(d, transfer, up, down)
    return three(low >= SAFE_FROM, high < HUNTS_BELOW, (low, SAFE_FROM), (high, HUNTS_BELOW))


def latest(d: Driveline, gear: str) -> Fraction | None:
    """Engine speed of the latest command that keeps off the limiter; None where something is not written."""
    if d.limiter is None or d.upshift_time_s is None or gear not in d.climbs:
        return None
    box = (d.limiter, d.climbs[gear], d.upshift_time_s)
    return min(lim - climb * time for lim, climb, time in trucks(box))


def check_line_lead(d: Driveline, transfer: Number, line: Line) -> Said:
    """Engine speed at the line + climb × time ≤ limiter; another load than full may climb not at all."""
    if d.limiter is None or d.upshift_time_s is None or line.before not in d.climbs:
        return Said(NOT_SHOWN, Fraction(1))
    low, _, high = line_sums(d, transfer, line)["engine"]
    climb, time = d.climbs[line.before], d.upshift_time_s
    slowest = climb.low * time.low
    good, bad = high + climb.high * time.high <= d.limiter.low, low + slowest > d.limiter.high
    return three(
        good, bad and line.load == "full",
        (high + climb.high * time.high, d.limiter.low), (low + slowest, d.limiter.high),
    )  # fmt: skip


def check_own_lead(d: Driveline, gear: str) -> Said:
    """lead ≥ climb × time; the limiter cancels."""
    assert d.lead is not None
    if d.upshift_time_s is None or gear not in d.climbs:
        return Said(NOT_SHOWN, Fraction(1))
    gained = over(lambda c, t: c * t, d.climbs[gear], d.upshift_time_s)
    return three(
        gained[2] <= d.lead.low, gained[0] > d.lead.high, (gained[2], d.lead.low), (gained[0], d.lead.high)
    )  # fmt: skip


# borrowed tables


def scale(d: Driveline, donor: Donor, transfer: Number) -> Range:
    """Own speed ÷ donor's at the same output speed."""
    if not donor.by_road:
        return Fraction(1), Fraction(1), Fraction(1)
    theirs = donor.wheel
    assert theirs is not None

    def of(f, gr, w, a, t, f2, gr2, w2, a2, t2):  # type: ignore[no-untyped-def]
        own, other = d.wheel.around_m(f, gr, w), theirs.around_m(f2, gr2, w2)
        return (a2 * t2 / other) * own / (a * t)

    return over(of, *d.wheel.numbers, d.axle, transfer, *theirs.numbers, donor.axle, donor.transfer)


@dataclass(frozen=True)
class Cell:
    """One cell: its range, what to enter exactly, and which marks it may have (several where it is a near tie)."""

    converted: Range
    exact: Fraction  # nominal, unrounded
    mark: str
    tie: bool


def enter(donor: Donor, exact: Fraction) -> Fraction:
    """The number to enter, rounded in the table's unit. [m/s or rpm]"""
    power = 10**donor.decimals
    return Fraction(round(exact / donor.unit * power), power) * donor.unit


def _output(d: Driveline, donor: Donor, transfer: Number, at: Fraction) -> tuple[Fraction, Fraction]:
    if not donor.by_road:
        return at, at
    box = (*d.wheel.numbers, d.axle, transfer)
    low, _, high = over(lambda f, gr, w, a, t: at * 60 * a * t / d.wheel.around_m(f, gr, w), *box)
    return low, high


def _near(*pairs: tuple[Fraction, Fraction]) -> bool:
    return any(abs(a - b) <= max(abs(a), abs(b), Fraction(1)) / 10**9 for a, b in pairs)


def mark_up(d: Driveline, before: str, output: tuple[Fraction, Fraction]) -> tuple[str, bool]:
    gear = d.ratio(before)
    low = min(output[0] * g / (1 - s) for g, s in trucks((gear, d.slip)))
    high = max(output[1] * g / (1 - s) for g, s in trucks((gear, d.slip)))
    over = _near((high, d.most.low))
    if d.limiter is None:
        return ("unsafe" if high > d.most.low else "keep"), over
    tie = _near((low, d.limiter.high), (high, d.limiter.low)) or over
    if high > d.most.low and d.limiter.high > d.most.low:  # the limiter does not hold it below its most
        return "unsafe", tie
    if low >= d.limiter.high:
        return "pointless", tie
    return ("not known" if high >= d.limiter.low else "keep"), tie


def _reach(d: Driveline, gear: str) -> Range | None:
    if d.limiter is None:
        return None
    return over(lambda lim, s, g: lim * (1 - s) / g, d.limiter, d.slip, d.ratio(gear))


def mark_into(d: Driveline, transfer: Number, gear: str, output: tuple[Fraction, Fraction]) -> tuple[str, bool]:
    most = permitted(d, transfer, gear)[0]
    return ("keep" if output[1] <= most else "unsafe"), _near((output[1], most))


def mark_beyond(d: Driveline, gear: str, output: tuple[Fraction, Fraction]) -> tuple[str, bool]:
    reach = _reach(d, gear)
    if reach is None:
        return "not known", False
    tie = _near((output[0], reach[2]), (output[1], reach[0]))
    if output[0] > reach[2]:
        return "pointless", tie
    return ("not known" if output[1] > reach[0] else "keep"), tie


def mark_down(d: Driveline, transfer: Number, before: str, after: str, output: tuple[Fraction, Fraction]) -> tuple[str, bool]:  # noqa: E501  # fmt: skip
    mark, tie = mark_into(d, transfer, after, output)
    if mark != "keep":
        return mark, tie
    reach = _reach(d, before)
    if reach is not None and output[0] > reach[2]:
        return "pointless", tie
    return "keep", tie or (reach is not None and _near((output[0], reach[2])))


def convert(d: Driveline, donor: Donor, transfer: Number) -> dict[tuple[int, str], Cell]:
    """Cells by row number and column."""
    found: dict[tuple[int, str], Cell] = {}
    spans = scale(d, donor, transfer)
    shifts: dict[tuple[int, str], tuple[str, str, Fraction]] = {}
    for number, (head, cells) in enumerate(donor.rows):
        for column, text in zip(donor.columns, cells, strict=True):
            if not text:
                continue
            key = (number, column)
            if donor.holds == "shift speeds":
                before, after = head.split(">")
                speed = Fraction(text) * donor.unit
                made = tuple(each * speed for each in spans)
                if before not in d.names or after not in d.names:
                    found[key] = Cell((speed, speed, speed), speed, "not known", False)
                    continue
                up = d.names.index(after) > d.names.index(before)
                held = before if up else after
                if donor.gears is not None:
                    at = d.names.index(held)
                    if at >= len(donor.gears):
                        found[key] = Cell((speed, speed, speed), speed, "not known", False)
                        continue
                    other, own = donor.gears[at], d.ratio(held)
                    low, nominal, high = made
                    made = (low * other.low / own.high, nominal * other.value / own.value, high * other.high / own.low)
                typed = enter(donor, made[1])
                output = _output(d, donor, transfer, typed)
                mark, tie = mark_up(d, before, output) if up else mark_down(d, transfer, before, after, output)
                shifts[key] = (before, after, typed)
                found[key] = Cell((made[0], made[1], made[2]), made[1], mark, tie)
                continue
            speed = Fraction(head) * donor.unit
            made = tuple(each * speed for each in spans)
            output = _output(d, donor, transfer, enter(donor, made[1]))
            if donor.holds == "gears":
                gear = text
                last = gear == d.names[-1]
            else:
                gear = column.removeprefix("gear ") if column.startswith("gear ") else d.names[-1]
                last = True
            if gear not in d.names:
                mark, tie = "not known", False
            elif last:
                mark, tie = mark_beyond(d, gear, output)
            else:
                mark, tie = mark_into(d, transfer, gear, output)
            found[key] = Cell((made[0], made[1], made[2]), made[1], mark, tie)
    return _hunting(d, found, shifts)


def _hunting(
    d: Driveline, found: dict[tuple[int, str], Cell], shifts: dict[tuple[int, str], tuple[str, str, Fraction]]
) -> dict[tuple[int, str], Cell]:
    hunts, ties = set(), set()
    names = d.names
    for (one, (before, after, up)), (other, (start, end, down)) in itertools.permutations(shifts.items(), 2):
        if one[1] != other[1] or names.index(after) < names.index(before) or names.index(end) > names.index(start):
            continue
        if (end == before or start == after) and up and down:
            apart = 1 - down / up
            if apart < HUNTS_BELOW:
                hunts |= {one, other}
            if _near((apart, HUNTS_BELOW)):
                ties |= {one, other}
    done = {}
    for key, cell in found.items():
        tie = cell.tie or key in ties
        mark = "hunts" if key in hunts and cell.mark == "keep" else cell.mark
        done[key] = Cell(cell.converted, cell.exact, mark, tie)
    return done
