"""Do the driveline's sums agree with the slow checker? On generated awkward drivelines, from the text of a design file.

    python3 dev.py truth 500 --drive             five hundred, seeds 0 to 499
    python3 dev.py truth 500 --drive --seed 7000 five hundred from seed 7000

This module knows the product; the checker `driveline_check` does not. Each number is generated as text; the checker
gets its exact fraction. Where a verdict hangs on a tie closer than rounding, either is taken.
"""

from __future__ import annotations

import csv
import io
import random
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tests.truth import driveline_check as dc
from tests.truth.runner import NEAR, Compared, command, run_seeds

UNITS: dict[str, dict[str, Fraction]] = {
    "length": {"m": Fraction(1), "in": Fraction(254, 10000), "ft": Fraction(3048, 10000)},
    "per_length": {"rev/mile": Fraction(1000, 1609344), "rev/km": Fraction(1, 1000)},
    "speed": {"km/h": Fraction(10, 36), "mph": Fraction(44704, 100000), "m/s": Fraction(1)},
    "time": {"s": Fraction(1), "ms": Fraction(1, 1000)},
    "push": {"m/s2": Fraction(1), "ft/s2": Fraction(3048, 10000), "g": Fraction(980665, 100000)},
    "share": {"%": Fraction(1, 100), "": Fraction(1)},
    "rpm": {"rpm": Fraction(1)},
    "rate": {"rpm/s": Fraction(1)},
    "ratio": {"": Fraction(1), ":1": Fraction(1)},
}


class Outcome(Compared):
    """What one seed showed."""

    def range(self, what: str, wanted: dc.Range, found: object) -> None:
        low, value, high = found if isinstance(found, tuple) else (found.low, found.value, found.high)  # type: ignore[attr-defined]
        self.seen["ranges"] += 1
        for name, one, other in zip(("low", "nominal", "high"), wanted, (low, value, high), strict=True):
            self.near(f"{what} {name}", one, other)

    def verdict(self, what: str, wanted: dc.Said, found: str) -> None:
        self.seen[f"{what.split(':')[0]} {wanted.verdict}"] += 1
        if wanted.room <= NEAR:
            self.seen["ties"] += 1
        elif wanted.verdict != found:
            self.disagreements.append(f"{what}: checker {wanted.verdict}, product {found}")

    def same(self, what: str, wanted: object, found: object) -> None:
        if wanted != found:
            self.disagreements.append(f"{what}: checker {wanted}, product {found}")


class Writer:
    """Numbers as a person may write them, with their exact fractions."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng

    def plain(self, low: float, high: float, digits: int) -> str:
        return f"{self.rng.uniform(low, high):.{digits}f}"

    def number(
        self, low: float, high: float, kind: str, digits: int = 3, spread: float = 0.05
    ) -> tuple[str, dc.Number]:
        """A TOML value between SI `low` and `high`, and what it means."""
        rng = self.rng
        unit, scale = rng.choice(list(UNITS[kind].items()))
        gap = "" if unit in ("", ":1") else " "
        low, high = low / float(scale), high / float(scale)

        def said(number: Fraction) -> str:
            return f"{float(number):.12g}{gap}{unit}".strip()

        middle = Fraction(self.plain(low, high, digits))
        width = Fraction(self.plain(0, spread * (high - low), digits + 1))
        ends = sorted((max(Fraction(str(round(low, digits))), middle - width), middle + width))
        how = rng.choice(["exact", "to", "ends", "three", "tolerance"])
        if how == "to":
            value = sum(ends) / 2
            return f'"{said(ends[0])} to {said(ends[1])}"', dc.Number(ends[0] * scale, value * scale, ends[1] * scale)
        if how == "ends":
            value = sum(ends) / 2
            text = f'{{ low = "{said(ends[0])}", high = "{said(ends[1])}", basis = "measured" }}'
            return text, dc.Number(ends[0] * scale, value * scale, ends[1] * scale)
        if how == "three" and ends[0] <= middle <= ends[1]:
            text = f'{{ low = "{said(ends[0])}", value = "{said(middle)}", high = "{said(ends[1])}" }}'
            return text, dc.Number(ends[0] * scale, middle * scale, ends[1] * scale)
        if how == "tolerance" and middle > 0 and kind not in ("share", "push"):
            share = Fraction(rng.choice(["0.1", "0.5", "1", "2.5"]))
            text = f'{{ value = "{said(middle)}", tolerance = "{float(share):g} %" }}'
            reach = share / 100
            return text, dc.Number(middle * (1 - reach) * scale, middle * scale, middle * (1 + reach) * scale)
        return f'"{said(middle)}"', dc.sure(middle * scale)

    def tyre(self, own: bool) -> tuple[list[str], dc.Wheel]:
        rng, lines, known = self.rng, [], {}
        for key, high in (("growth", 0.03), ("wear", 0.05)):
            if rng.random() < 0.2 and (own or rng.random() < 0.5):
                lines.append(f'{key} = "none"')
            elif own or rng.random() < 0.5:
                text, known[key] = self.number(0.0, high, "share", 4, 0.5)
                lines.append(f"{key} = {text}")
        how = rng.choice(["roll_out", "revolutions", "metric", "inch"])
        if how == "roll_out":
            turns = rng.choice([1, 3, 10])
            text, way = self.number(2.2 * turns, 3.4 * turns, "length", 3, 0.02)
            return [f"roll_out = {text}", f'turns = "{turns}"', *lines], dc.Wheel(
                way_m=way, turns=Fraction(turns), **known
            )
        if how == "revolutions":
            text, per_m = self.number(0.3, 0.45, "per_length", 2, 0.05)
            return [f"revolutions = {text}", *lines], dc.Wheel(per_m=per_m, **known)
        if how == "metric":
            width, aspect, rim = rng.choice([(315, 75, 16), (285, 70, 17), (255, 85, 16)])
            size, across = f"{width}/{aspect}R{rim}", Fraction(254, 10000) * rim + Fraction(2 * width * aspect, 100_000)
        else:
            size, across = rng.choice([("37x12.50R17", 37), ("39x13.50-17", 39), ("31x10.50R15", 31)])
            across = Fraction(254, 10000) * across
        lines.insert(0, f'size = "{size}"')
        factor = dc.Number(Fraction("2.95"), Fraction("3.05"), Fraction("3.15"))
        if rng.random() < 0.5:
            text = self.plain(2.9, 3.2, 2)
            lines.append(f'factor = "{text}"')
            factor = dc.sure(text)
        return lines, dc.Wheel(factor=factor, diameter_m=across, **known)


@dataclass
class Case:
    """A design file's text, what it means, and the borrowed tables' texts."""

    text: str
    drive: dc.Driveline
    transfers: list[str]
    tables: list[str]


def case(seed: int) -> Case:
    """One awkward driveline."""
    rng = random.Random(f"drive {seed}")
    write = Writer(rng)
    rows = ['format = 1', 'id = "pp-x"', 'temperature = "20 °C"', "[supply]", 'run = "13.8 V"', "[drive]"]  # fmt: skip
    tyre, wheel = write.tyre(True)
    rows += ["[drive.tyre]", *tyre]
    axle_text, axle = write.number(2.7, 7.0, "ratio", 2, 0.02)
    rows += ["[drive.axle]", f"ratio = {axle_text}"]
    transfers = []
    for name in ["high", "low", "crawl"][: rng.choice([1, 1, 2, 2, 3])]:
        text, ratio = write.number(1.0, 1.2, "ratio") if name == "high" else write.number(1.8, 4.0, "ratio", 3, 0.02)
        transfers.append((name, ratio))
        rows += ["[[drive.transfer]]", f'name = "{name}"', f"ratio = {text}"]
    gears, climbs = [], {}
    top = rng.uniform(2.5, 6.0)
    count = rng.choice([1, 2, 3, 3, 4, 6])
    for number in range(count):
        text, ratio = write.number(top * 0.985, top, "ratio", 3, 0.3)
        gears.append((str(number + 1), ratio))
        rows += ["[[drive.gear]]", f'name = "{number + 1}"', f"ratio = {text}"]
        if rng.random() < 0.7:
            text, climbs[str(number + 1)] = write.number(100, 4000, "rate", 0, 0.2)
            rows.append(f"climb = {text}")
        top *= rng.uniform(0.55, 0.93)
    slip_text, slip = ('"none"', dc.ZERO) if rng.random() < 0.2 else write.number(-0.05, 0.2, "share", 4, 0.3)
    rows += ["[drive.converter]", f"slip = {slip_text}"]
    most_text, most = write.number(4000, 8000, "rpm", 0, 0.02)
    rows += ["[drive.engine]", f"most = {most_text}"]
    limiter = None
    if rng.random() < 0.8:
        middle = float(most.value) * rng.choice([0.93, 0.97, 0.99, 1.0, 1.02])
        text, limiter = write.number(middle - 60, middle + 60, "rpm", 0, 0.6)
        rows.append(f"limiter = {text}")
    else:
        rows.append('limiter = "unknown"')
    least = None
    if rng.random() < 0.5:
        text, least = write.number(1200, 3500, "rpm", 0, 0.05)
        rows.append(f"least = {text}")
    upshift_time = lead = None
    if rng.random() < 0.7:
        text, upshift_time = write.number(0.02, 0.5, "time", 4, 0.2)
        rows.append(f"upshift_time = {text}")
    if rng.random() < 0.5:
        text, lead = write.number(20, 1500, "rpm", 0, 0.1)
        rows.append(f"lead = {text}")
    elif rng.random() < 0.3:
        rows.append('lead = "none"')
    margin_text, margin = write.number(0.0, 0.12, "share", 4, 0.2)
    latency_text, latency = write.number(0.0, 1.2, "time", 4, 0.4)
    push_text, push = write.number(-3.0, 4.0, "push", 3, 0.3)
    rows += ["[drive.guard]", f"margin = {margin_text}", f"latency = {latency_text}", f"acceleration = {push_text}"]
    sensors = []
    for place in rng.sample(["turbine", "output", "propshaft", "wheel"], rng.randint(0, 4)):
        teeth = rng.randint(1, 120)
        sensors.append((f"s_{place}", place, Fraction(teeth)))
        rows += ["[[drive.sensor]]", f'id = "s_{place}"', f'place = "{place}"', f'teeth = "{teeth}"']
    d = dc.Driveline(
        wheel, axle, tuple(transfers), tuple(gears), slip, most, limiter, least, margin, latency, push, tuple(sensors),
        climbs=climbs, upshift_time_s=upshift_time, lead=lead,
    )  # fmt: skip
    lines = _lines(rng, write, d, rows)
    donors, tables = _donors(rng, write, d, rows)
    whole = dc.Driveline(**{**d.__dict__, "lines": tuple(lines), "donors": tuple(donors)})
    return Case("\n".join(rows) + "\n", whole, [name for name, _ in transfers], tables)


def _lines(rng: random.Random, write: Writer, d: dc.Driveline, rows: list[str]) -> list[dc.Line]:
    found: list[dc.Line] = []
    names = d.names
    if len(names) < 2:
        return found
    for _ in range(rng.randint(0, 7)):
        at = rng.randrange(len(names) - 1)
        before, after = names[at], names[at + 1]
        if rng.random() < 0.25:
            before, after = rng.sample(names, 2)
        elif rng.random() < 0.5:
            before, after = after, before
        load = rng.choice(["full", "full", "half"])
        given = rng.choice(["engine", "output", "road"])
        up = names.index(after) > names.index(before)
        engine = float(d.most.value) * (rng.uniform(0.85, 1.02) if up else rng.uniform(0.4, 0.75))
        held = float(d.ratio(before if up or given == "engine" else after).value)
        output = engine * (1 if up else 1.15) / held
        around = float(d.wheel.around_m(*(each.value for each in d.wheel.numbers)))
        centre, kind, digits = {
            "engine": (engine, "rpm", 0),
            "output": (output, "rpm", 0),
            "road": (output * around / float(d.axle.value) / 60.0, "speed", 2),
        }[given]
        text, number = write.number(centre * 0.97, centre * 1.03, kind, digits, 0.2)
        if found and rng.random() < 0.15 and found[-1].given == given:  # the very same number: separation of nothing
            number = dc.sure(found[-1].at.value)
            unit = "m/s" if given == "road" else "rpm"
            text = f'"{float(number.value):.15g} {unit}"'
        if given == "engine" and up and d.limiter is not None and rng.random() < 0.15:  # exactly on the limiter
            number = dc.sure(rng.choice([d.limiter.low, d.limiter.high]))
            text = f'"{float(number.value):.15g} rpm"'
        number = number if number.low != number.high else dc.sure(number.value)
        rows += ["[[drive.shift]]", f'from = "{before}"', f'to = "{after}"', f'load = "{load}"', f"{given} = {text}"]
        found.append(dc.Line(before, after, load, given, number))
    return found


def _donors(rng: random.Random, write: Writer, d: dc.Driveline, rows: list[str]) -> tuple[list[dc.Donor], list[str]]:
    donors, tables = [], []
    for number in range(rng.randint(0, 2)):
        by_road = rng.random() < 0.6
        unit = rng.choice(["km/h", "mph", "m/s"]) if by_road else "rpm"
        scale = UNITS["speed"][unit] if by_road else Fraction(1)
        holds = rng.choice(["shift speeds", "shift speeds", "gears", "other"])
        rows += ["[[drive.borrowed]]", f'id = "t{number}"', 'file = "t.csv"', f'holds = "{holds}"', f'unit = "{unit}"']
        rows += [f'keyed_by = "{"road" if by_road else "output"} speed"']
        wheel, axle, transfer, gears = None, dc.ONE, dc.ONE, None
        if by_road:
            axle_text, axle = write.number(2.7, 6.0, "ratio", 2, 0.02)
            transfer_text, transfer = write.number(1.0, 2.0, "ratio", 2, 0.02)
            rows += [f"axle = {axle_text}", f"transfer = {transfer_text}"]
        if rng.random() < 0.5:
            rows.append('gears = "same"')
        else:
            made = [write.number(float(g.value) * 0.9, float(g.value) * 1.1, "ratio", 3) for _, g in d.gears]
            made = made[: rng.randint(1, len(made))]
            rows.append(f"gears = [{', '.join(text for text, _ in made)}]")
            gears = tuple(ratio for _, ratio in made)
        if by_road:
            tyre, wheel = write.tyre(False)
            rows += ["[drive.borrowed.tyre]", *tyre]
        columns, body = _table(rng, d, holds, scale, by_road)
        donors.append(dc.Donor(by_road, scale, 1 if by_road else 0, holds, columns, body, wheel, axle, transfer, gears))
        out = io.StringIO()
        writer = csv.writer(out, delimiter=rng.choice(",;\t"), lineterminator="\n")
        writer.writerow(["key", *columns])
        writer.writerows([head, *cells] for head, cells in body)
        tables.append(out.getvalue())
    return donors, tables


def _table(
    rng: random.Random, d: dc.Driveline, holds: str, scale: Fraction, by_road: bool
) -> tuple[tuple[str, ...], tuple[tuple[str, tuple[str, ...]], ...]]:
    top = 60.0 if by_road else float(d.most.value / d.gears[-1][1].value)

    def speed() -> str:
        return f"{rng.uniform(0.03, 1.1) * top / float(scale):.{rng.choice([0, 1])}f}"

    names = [*d.names, "9"]
    if holds == "shift speeds":
        columns = ("low", "full")
        heads = {f"{a}>{b}" for a, b in (rng.sample(names, 2) for _ in range(6))}
        heads |= {f"{a}>{b}" for a, b in pairwise(d.names)} | {f"{b}>{a}" for a, b in pairwise(d.names)}
        body = {head: [rng.choice([speed(), speed(), ""]) for _ in columns] for head in sorted(heads)}
        for head, cells in body.items():  # some pairs as close as a twentieth
            before, after = head.split(">")
            back = body.get(f"{after}>{before}")
            if before in d.names and after in d.names and d.names.index(before) < d.names.index(after) and back:
                for at, cell in enumerate(cells):
                    if cell and rng.random() < 0.5:
                        back[at] = f"{float(cell) * rng.uniform(0.91, 0.98):.1f}"
        return columns, tuple((head, tuple(cells)) for head, cells in body.items())
    if holds == "gears":
        columns = ("low", "full")
        return columns, tuple((speed(), tuple(rng.choice(names) for _ in columns)) for _ in range(6))
    columns = ("pressure", f"gear {rng.choice(names)}")
    return columns, tuple((speed(), ("5 bar", "6 bar")) for _ in range(6))


# the comparison


def compare(seed: int) -> Outcome:
    """One driveline in both."""
    from pinproof.design import loads
    from pinproof.driveline import drive_sums

    out, made = Outcome(seed), case(seed)
    d = made.drive
    try:
        truck = loads(made.text, f"seed {seed}")
    except Exception as fault:  # whatever is raised is the finding
        out.disagreements.append(f"not read: {fault}")
        return out
    speed = Fraction(random.Random(seed).randint(1, 60))
    sums = drive_sums(truck, [float(speed)])
    out.seen["drivelines"] += 1
    new, rolled = dc.circumference(d)
    out.range("circumference", new, sums.circumference_m)
    out.range("rolling", rolled, sums.rolling_m)
    _gears(out, d, sums, speed)
    _steps(out, d, sums)
    _downshifts(out, d, sums)
    _lines_of(out, d, sums)
    _checks(out, d, sums)
    for donor, text, stated in zip(d.donors, made.tables, truck.drive.borrowed, strict=True):  # type: ignore[union-attr]
        _borrowed(out, d, donor, text, truck, stated)
    return out


def _gears(out: Outcome, d: dc.Driveline, sums, speed: Fraction) -> None:  # type: ignore[no-untyped-def]
    for where, transfer in d.transfers:
        for name, gear in d.gears:
            row, wanted = sums.gear(where, name), dc.gear_sums(d, transfer, gear)
            what = f"gear {where} {name}"
            out.range(f"{what} overall", wanted["overall"], row.overall)  # type: ignore[arg-type]
            out.range(f"{what} at 1000", wanted["per_1000"], row.per_1000_rpm_m_per_s)  # type: ignore[arg-type]
            out.range(f"{what} most", wanted["most"], row.most_m_per_s)  # type: ignore[arg-type]
            out.range(f"{what} at 1 m/s", wanted["engine_at_1"], row.engine_rpm_at_1_m_per_s)  # type: ignore[arg-type]
            out.same(f"{what} has a reach", wanted["reach"] is None, row.reach_m_per_s is None)
            if wanted["reach"] is not None:
                out.range(f"{what} reach", wanted["reach"], row.reach_m_per_s)
            at = next(each for each in sums.at if (each.transfer, each.gear) == (where, name))
            truth = dc.at_speed(d, transfer, gear, speed)
            for key in ("output", "turbine", "engine"):
                out.range(f"{what} at {speed} m/s {key}", truth[key], getattr(at, f"{key}_rpm"))
        for sensor, place, teeth in d.sensors:
            for each in sums.sensors:
                if each.sensor == sensor and each.transfer in ("", where):
                    gear = d.ratio(each.gear) if each.gear else dc.ONE
                    out.range(
                        f"sensor {sensor} {where} {each.gear}", dc.pulses(d, place, teeth, transfer, gear), each.per_m
                    )
    wanted = {"wheel": 1, "propshaft": 1, "output": len(d.transfers), "turbine": len(d.transfers) * len(d.gears)}
    out.same("sensor rows", sum(wanted[place] for _, place, _ in d.sensors), len(sums.sensors))


def _steps(out: Outcome, d: dc.Driveline, sums) -> None:  # type: ignore[no-untyped-def]
    out.same("steps", max(0, len(d.gears) - 1), len(sums.steps))
    ends = [d.most] if d.limiter is None else [d.most, d.limiter]
    top = dc.Number(*(min(getattr(each, end) for each in ends) for end in ("low", "value", "high")))
    for step in sums.steps:
        ups = [line for line in d.lines if (line.before, line.after) == (step.before, step.after)]
        told = [dc.line_sums(d, t, line)["engine"][1] for line in ups for _, t in d.transfers]
        told = [each for each in told if each <= top.value]  # a line above what the engine can reach is never used
        if told:  # the highest: compared as a line
            nominal = max(told)
            out.near(f"step {step.before} from", nominal, step.before_rpm.value)
            tops = [
                (t, line) for line in ups for _, t in d.transfers
                if abs(dc.line_sums(d, t, line)["engine"][1] - nominal) <= NEAR * nominal
            ]  # fmt: skip
            if len(tops) == 1:
                out.range(f"step {step.before} drop", dc.drop(d, *tops[0]), step.drop_rpm)
            continue
        out.range(f"step {step.before} after", dc.after_shift(d, top, step.before, step.after), step.after_rpm)
        out.range(
            f"step {step.before} drop",
            dc.drop(d, dc.ONE, dc.Line(step.before, step.after, "", "engine", top)), step.drop_rpm,
        )  # fmt: skip


def _downshifts(out: Outcome, d: dc.Driveline, sums) -> None:  # type: ignore[no-untyped-def]
    out.same("downshifts", (len(d.gears) - 1) * len(d.transfers), len(sums.downshifts))
    for where, transfer in d.transfers:
        for name in d.names[:-1]:
            found, what = sums.downshift(where, name), f"downshift {where} {name}"
            out.range(f"{what} limit", dc.limit(d, name), found.limit_rpm)
            out.range(f"{what} road limit", dc.limit_road(d, transfer, name), found.limit_m_per_s)
            output, road = dc.permitted(d, transfer, name)
            out.near(f"{what} permitted rpm", output, found.permitted_rpm)
            out.near(f"{what} permitted m/s", road, found.permitted_m_per_s)
            out.seen["nothing permitted"] += output == 0
    leads = {each.gear: each for each in sums.leads}
    for name in d.names[:-1]:
        known = d.upshift_time_s is not None and name in d.climbs
        out.same(f"lead {name} is known", known, name in leads)
        if known and name in leads:
            latest = dc.latest(d, name)
            out.same(f"lead {name} has a latest", latest is None, leads[name].latest_rpm is None)
            if latest is not None:
                out.near(f"lead {name} latest", max(latest, Fraction(0)), leads[name].latest_rpm)
            assert d.upshift_time_s is not None
            gained = dc.over(lambda c, t: c * t, d.climbs[name], d.upshift_time_s)
            out.range(f"lead {name} gains", gained, leads[name].gained_rpm)


def _lines_of(out: Outcome, d: dc.Driveline, sums) -> None:  # type: ignore[no-untyped-def]
    rows = iter(sums.lines)
    for where, transfer in d.transfers:
        for line in d.lines:
            row, wanted = next(rows), dc.line_sums(d, transfer, line)
            what = f"line {where} {line.before}>{line.after} {line.given}"
            out.range(f"{what} output", wanted["output"], row.output_rpm)
            out.range(f"{what} road", wanted["road"], row.road_m_per_s)
            out.range(f"{what} engine", wanted["engine"], row.engine_rpm)
            out.range(f"{what} after", wanted["after"], row.engine_after_rpm)
            skip = abs(d.names.index(line.before) - d.names.index(line.after)) > 1
            out.seen["skip shifts"] += skip


def _checks(out: Outcome, d: dc.Driveline, sums) -> None:  # type: ignore[no-untyped-def]
    from pinproof.driveline.lines import gap

    wanted: list[tuple[str, str, dc.Said]] = [("limiter", "engine", dc.check_limiter(d))]
    several = len(d.transfers) > 1
    never = dc.Said(dc.NOT_SHOWN, Fraction(1))

    def subject(line: dc.Line, where: str) -> str:
        return f"{line.before} → {line.after}, {line.load}" + (f", {where}" if several else "")

    for where, transfer in d.transfers:
        for line in d.lines:
            if not d.is_up(line):
                wanted.append(("down line", subject(line, where), dc.check_down(d, transfer, line)))
                continue
            wanted.append(("up line", subject(line, where), dc.check_up(d, transfer, line)))
            landing = dc.check_landing(d, transfer, line)
            if landing is not None:
                wanted.append(("landing", subject(line, where), landing))
    pairs = dc.hunting_pairs(d)
    rows = {(row.transfer, row.number): row for row in sums.lines}
    for where, transfer in d.transfers:
        for up, down in pairs:
            name = subject(up, where)
            back = (down.before, down.after) == (up.after, up.before)
            name = name.replace("→", "↔") if back else f"{down.before} → {down.after} with {name}"
            wanted.append(("separation", name, dc.check_separation(d, transfer, up, down)))
            one, other = (rows[where, d.lines.index(each) + 1] for each in (up, down))
            out.range(f"separation {name}", dc.separation(d, transfer, up, down), gap(one, other))
    partnered = [id(each) for pair in pairs for each in pair]
    wanted += [
        ("separation", f"{x.before} → {x.after}, {x.load}", never) for x in d.lines if id(x) not in partnered
    ]  # fmt: skip
    if not d.lines:
        wanted.append(("up line", "all", never))
    wanted += _leads(d, subject)
    found: dict[tuple[str, str], list[str]] = {}
    for each in sums.checks:
        found.setdefault((each.check, each.subject), []).append(str(each.verdict))
    truth: dict[tuple[str, str], list[dc.Said]] = {}
    for check, name, said in wanted:
        truth.setdefault((check, name), []).append(said)
    out.same(
        "checks made", sorted((k, len(v)) for k, v in truth.items()), sorted((k, len(v)) for k, v in found.items())
    )
    for key in truth.keys() & found.keys():
        for said, verdict in zip(truth[key], found[key], strict=False):
            out.verdict(f"{key[0]}: {key[1]}", said, verdict)


def _leads(d: dc.Driveline, subject) -> list[tuple[str, str, dc.Said]]:  # type: ignore[no-untyped-def]
    wanted, lacking = [], False
    for where, transfer in d.transfers:
        for line in d.lines:
            if d.is_up(line) and d.limiter is not None:
                if d.upshift_time_s is None or line.before not in d.climbs:
                    lacking = True
                else:
                    wanted.append(("lead", subject(line, where), dc.check_line_lead(d, transfer, line)))
    if d.lead is not None:
        for name in d.names[:-1]:
            if d.upshift_time_s is None or name not in d.climbs:
                lacking = True
            else:
                wanted.append(("lead", f"at the limiter in {name}", dc.check_own_lead(d, name)))
    return [*wanted, ("lead", "all", dc.Said(dc.NOT_SHOWN, Fraction(1)))] if lacking else wanted


def _borrowed(out: Outcome, d: dc.Driveline, donor: dc.Donor, text: str, truck, stated) -> None:  # type: ignore[no-untyped-def]
    from pinproof.driveline import convert

    done = convert(truck, stated, text)
    out.same("tables", [name for name, _ in d.transfers], [each.transfer for each in done])
    for (where, transfer), found in zip(d.transfers, done, strict=True):
        what = f"table {stated.id} {where}"
        out.range(f"{what} scale", dc.scale(d, donor, transfer), found.scale)
        cells = dc.convert(d, donor, transfer)
        power = 10**donor.decimals
        split = any(abs(c.exact / donor.unit * power % 1 - Fraction(1, 2)) < Fraction(1, 10**6) for c in cells.values())
        out.seen["cells"] += len(cells)
        for (number, column), cell in cells.items():
            got = found.rows[number][1][donor.columns.index(column)]
            name = f"{what} {donor.rows[number][0]} {column}"
            if got.converted is not None:
                out.range(name, cell.converted, got.converted)
                if not split:
                    out.near(f"{name} to enter", dc.enter(donor, cell.exact), got.enter)
            out.seen[f"mark {cell.mark}"] += 1
            if not cell.tie and not split:
                out.same(f"{name} mark", cell.mark, got.mark)


def run(count: int, start: int, jobs: int) -> tuple[int, Counter[str]]:
    """Compare `count` seeds and print what differs; the number of seeds that disagree, and what was compared."""
    return run_seeds(compare, count, start, jobs)


if __name__ == "__main__":
    command("--drive", 300, run)
