"""Does the driveline agree with `driveline_truth`, written without sight of it? From the text of a design file.

    python3 dev.py truth 2000 --drive             two thousand, seeds 0 to 1999; after the older checker's
    python3 dev.py truth 2000 --drive --seed 7000

This module knows the product; the checker and the generator do not. Numbers must agree to 1e-9; a verdict that hangs on
a closer tie than that is taken either way.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import pairwise

from tests.truth import driveline_truth as dt
from tests.truth import driveline_verdicts as dv
from tests.truth.driveline_trucks import Made, make
from tests.truth.runner import Compared, command, run_seeds


class Outcome(Compared):
    """What one seed showed."""

    def span(self, what: str, wanted: dt.Span | dt.Box, found) -> None:  # type: ignore[no-untyped-def]
        """Two ranges with their nominals."""
        low, value, high = found if isinstance(found, tuple) else (found.low, found.value, found.high)
        for name, one, other in (
            ("low", wanted.low, low),
            ("nominal", wanted.value, value),
            ("high", wanted.high, high),
        ):
            self.near(f"{what} {name}", one, other)

    def same(self, what: str, wanted: object, found: object) -> None:
        """Two words, two lists."""
        if wanted != found:
            self.disagreements.append(f"{what}: checker {wanted}, product {found}")

    def verdict(self, what: str, wanted: dv.Said, found: str) -> None:
        """Two verdicts, or two marks."""
        self.seen[f"{what.split(':')[0]} {wanted.word}"] += 1
        if wanted.tie:
            self.seen["ties"] += 1
        else:
            self.same(what, wanted.word, found)


def compare(seed: int) -> Outcome:
    """One driveline in both."""
    return compare_made(seed, make(seed))


def compare_made(seed: int, made: Made) -> Outcome:
    """One driveline, already made, in both."""
    from pinproof.design import loads
    from pinproof.driveline import drive_sums

    out = Outcome(seed)
    out.seen.update(made.kinds)
    d = dt.read(made.text)
    try:
        truck = loads(made.text, f"seed {seed}")
    except Exception as fault:  # whatever is raised is the finding
        out.disagreements.append(f"not read: {fault}")
        return out
    out.seen["drivelines"] += 1
    speed = Fraction(1 + seed % 61)
    sums = drive_sums(truck, [float(speed)])
    out.span("circumference", dt.circumference_new(d.text["tyre"]), sums.circumference_m)  # type: ignore[arg-type]
    out.span("rolling", d.circumference, sums.rolling_m)
    _gears(out, d, sums, speed)
    _steps(out, d, sums)
    _downshifts(out, d, sums)
    _leads(out, d, sums)
    _lines(out, d, sums)
    _checks(out, d, sums)
    for donor, stated in zip(d.donors, truck.drive.borrowed, strict=True):  # type: ignore[union-attr]
        _borrowed(out, d, donor, made.tables[donor.file], truck, stated)
    return out


def _gears(out: Outcome, d: dt.Drive, sums, speed: Fraction) -> None:  # type: ignore[no-untyped-def]
    out.same("rows of gears", len(d.ranges) * len(d.gears), len(sums.gears))
    places = Counter(place for place, _ in d.sensors.values())
    rows = {"wheel": 1, "propshaft": 1, "output": len(d.ranges), "turbine": len(d.ranges) * len(d.gears)}
    out.same("rows of sensors", sum(rows[p] * n for p, n in places.items()), len(sums.sensors))
    for each in sums.sensors:
        place, _ = d.sensors[each.sensor]
        rng = each.transfer or next(iter(d.ranges))
        gear = each.gear or None
        out.same(f"sensor {each.sensor} names a gear", place == "turbine", gear is not None)
        out.span(f"sensor {place} {rng} {gear}", dt.pulses_per_metre(d, rng, each.sensor, gear), each.per_m)
    for rng in d.ranges:
        for gear in d.names:
            row, what = sums.gear(rng, gear), f"gear {rng} {gear}"
            out.span(
                f"{what} at 1000 rpm",
                dt.road_at_engine(d, rng, gear, dt.exact(1000), dt.LOCKED),
                row.per_1000_rpm_m_per_s,
            )
            out.span(f"{what} at most", dt.limit(d, rng, gear, "stated"), row.most_m_per_s)
            out.span(f"{what} at 1 m/s", dt.engine_at_road(d, rng, gear, dt.exact(1)), row.engine_rpm_at_1_m_per_s)
            reach = dt.reach(d, rng, gear)
            out.same(f"{what} has a reach", reach is not None, row.reach_m_per_s is not None)
            if reach is not None:
                out.span(f"{what} reach", reach, row.reach_m_per_s)
            at = next(each for each in sums.at if (each.transfer, each.gear) == (rng, gear))
            out.span(f"{what} at speed", dt.engine_at_road(d, rng, gear, dt.exact(speed)), at.engine_rpm)
            out.span(f"{what} turbine", dt.engine_at_road(d, rng, gear, dt.exact(speed), dt.LOCKED), at.turbine_rpm)


def lower_of(most: dt.Box, limiter: dt.Box | None) -> dt.Box:
    """End by end the lower of two numbers that stray each for itself: a limiter ends the climb before the most does."""
    if limiter is None:
        return most
    return dt.Box(*(min(getattr(most, end), getattr(limiter, end)) for end in ("low", "value", "high")))


def _steps(out: Outcome, d: dt.Drive, sums) -> None:  # type: ignore[no-untyped-def]
    names = d.names
    out.same("steps", list(pairwise(names)), [(s.before, s.after) for s in sums.steps])
    for found in sums.steps:
        what = f"step {found.before} > {found.after}"
        out.span(f"{what} ratio", dt.step(d, found.before, found.after), found.ratio)
        ups = [x for x in d.lines if (names[x.before], names[x.after]) == (found.before, found.after)]
        top = lower_of(d.most, d.limiter)
        told = [(dt.line_engine(d, r, x), dt.line_engine(d, r, x, True)) for r in d.ranges for x in ups]
        told = [each for each in told if each[0].value <= top.value]  # a line above that is never used
        if not told:  # from the highest speed that the engine has on any truck of the range: most or limiter
            out.span(f"{what} from", top, found.before_rpm)
            out.span(f"{what} to", dt.after_shift(d, found.before, found.after, top, "any"), found.after_rpm)
            out.span(f"{what} drop", dt.drop(d, found.before, found.after, top), found.drop_rpm)
            continue
        highest = max(before.value for before, _ in told)
        out.near(f"{what} from the highest line", highest, found.before_rpm.value)
        afters = [after for before, after in told if before.value == highest]
        if len(afters) == 1:
            out.span(f"{what} lands", afters[0], found.after_rpm)


def _downshifts(out: Outcome, d: dt.Drive, sums) -> None:  # type: ignore[no-untyped-def]
    out.same(
        "downshifts", [(r, g) for r in d.ranges for g in d.names[:-1]], [(x.transfer, x.gear) for x in sums.downshifts]
    )
    for found in sums.downshifts:
        what = f"down into {found.gear} {found.transfer}"
        out.span(f"{what} limit", dt.limit(d, found.transfer, found.gear), found.limit_m_per_s)
        out.near(
            f"{what} permitted road",
            max(Fraction(0), dt.permitted(d, found.transfer, found.gear).low),
            found.permitted_m_per_s,
        )
        rpm = dt.permitted_output(d, found.transfer, found.gear).low
        out.near(f"{what} permitted output", max(Fraction(0), rpm), found.permitted_rpm)
        out.seen["nothing permitted"] += rpm <= 0


def _leads(out: Outcome, d: dt.Drive, sums) -> None:  # type: ignore[no-untyped-def]
    told = {x.gear: x for x in sums.leads}
    for gear in d.names[:-1]:
        needed, latest = dt.lead_needed(d, gear), dt.latest_command(d, gear)
        out.same(f"lead of {gear} told", needed is not None, gear in told)
        if needed is not None and gear in told:
            out.span(f"lead of {gear}", needed, told[gear].gained_rpm)
            out.same(f"latest of {gear} told", latest is not None, told[gear].latest_rpm is not None)
            if latest is not None:
                out.near(f"latest of {gear}", max(Fraction(0), latest.low), told[gear].latest_rpm)


def _lines(out: Outcome, d: dt.Drive, sums) -> None:  # type: ignore[no-untyped-def]
    out.same("rows of lines", len(d.ranges) * len(d.lines), len(sums.lines))
    for (rng, line), row in zip(((r, x) for r in d.ranges for x in d.lines), sums.lines, strict=True):
        what = f"line {rng} {d.names[line.before]}>{d.names[line.after]} by {line.kind}"
        out.same(f"{what} is", "up" if line.up else "down", row.kind)
        out.span(f"{what} output", dt.line_output(d, rng, line), row.output_rpm)
        out.span(f"{what} road", dt.line_road(d, rng, line), row.road_m_per_s)
        out.span(f"{what} engine", dt.line_engine(d, rng, line), row.engine_rpm)
        out.span(f"{what} after", dt.line_engine(d, rng, line, True), row.engine_after_rpm)
        out.seen["skip lines"] += abs(line.before - line.after) > 1


def _checks(out: Outcome, d: dt.Drive, sums) -> None:  # type: ignore[no-untyped-def]
    wanted: dict[tuple[str, str], list[dv.Said]] = {}
    for check, subject, said in dv.checks(d):
        wanted.setdefault((check, subject), []).append(said)
    found: dict[tuple[str, str], list[str]] = {}
    for each in sums.checks:
        found.setdefault((each.check, each.subject), []).append(str(each.verdict))
    for key in sorted(wanted.keys() | found.keys()):
        one, other = wanted.get(key, []), found.get(key, [])
        if len(one) != len(other):
            out.disagreements.append(f"check {key[0]}: {key[1]}: checker {[x.word for x in one]}, product {other}")
            continue
        for said, verdict in zip(one, other, strict=True):
            out.verdict(f"{key[0]}: {key[1]}", said, verdict)


def _borrowed(out: Outcome, d: dt.Drive, donor: dt.Donor, text: str, truck, stated) -> None:  # type: ignore[no-untyped-def]
    from pinproof.driveline import convert

    done = convert(truck, stated, text)
    out.same("converted for", list(d.ranges), [x.transfer for x in done])
    columns, body = dv.table(text)
    for found in done:
        rng = found.transfer
        truth = dv.converted(d, rng, donor, columns, body)
        out.same("rows of the table", len(body), len(found.rows))
        for row, (head, cells) in enumerate(found.rows):
            for column, got in enumerate(cells):
                want, what = truth.get((row, column)), f"cell {donor.name} {rng} {head} {columns[column]}"
                if want is None:
                    out.same(f"{what} has no number", None, got.converted)
                    out.same(f"{what} mark", "not known" if body[row][1][column] else "keep", got.mark)
                    continue
                out.seen["cells"] += 1
                out.span(what, want.span, got.converted)
                if not want.split:
                    out.near(f"{what} to enter", want.enter, got.enter)
                    out.verdict(f"mark: {what}", want.mark, got.mark)


def run(count: int, start: int, jobs: int) -> tuple[int, Counter[str]]:
    """Compare `count` seeds and print what differs; the number of seeds that disagree, and what was compared."""
    return run_seeds(compare, count, start, jobs)


if __name__ == "__main__":
    command("--drive", 300, run)
