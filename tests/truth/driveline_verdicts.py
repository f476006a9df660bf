"""What must be said of lines at which the controller shifts by itself, and of each cell of a stranger's table.

Answers: `checks` gives every verdict with its subject, `converted` every cell with its number and its mark.
Rules:   a shift down that can bring the engine above what is permitted is a fail, whichever corner does it; whether a
         line is ever reached is a pass if every corner reaches it, a fail if none does, else not shown; between an up
         and a down line 10 % are kept, below 5 % a table hunts (common practice, no source).
Touches: nothing of the product. Numbers from `driveline_truth`; `Said.tie` marks verdicts that hang on rounding.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from tests.truth import driveline_truth as dt

PASS, FAIL, OPEN = "pass", "fail", "not shown"
TIE = Fraction(1, 10**9)
OF_MARK = {"keep": PASS, "unsafe": FAIL, "hunts": FAIL, "pointless": OPEN, "not known": OPEN}
KEPT, HUNTS = Fraction(1, 10), Fraction(1, 20)


@dataclass(frozen=True)
class Said:
    """A verdict or mark; `tie` if what it hangs on is closer than rounding."""

    word: str
    tie: bool = False


def close(*pairs: tuple[Fraction, Fraction]) -> bool:
    """Do any two numbers lie so close together that rounding may turn them around? Exactly equal ones do too."""
    return any(abs(a - b) <= TIE * max(abs(a), abs(b), Fraction(1, 1000)) for a, b in pairs)


def below(got: dt.Span, top: dt.Box, strictly: bool = False) -> Said:
    """Is all of `got` below `top`: pass; none of it: fail; else not shown."""
    tie = close((got.high, top.low), (got.low, top.high))
    if got.high < top.low or (not strictly and got.high == top.low):
        return Said(PASS, tie)
    return Said(FAIL if got.low > top.high or (strictly and got.low == top.high) else OPEN, tie)


def subject(d: dt.Drive, line: dt.Line, rng: str, arrow: str = "→") -> str:
    """How a check names a line."""
    place = f", {rng}" if len(d.ranges) > 1 else ""
    return f"{d.names[line.before]} {arrow} {d.names[line.after]}, {line.load or 'any load'}{place}"


def together(one: dt.Line, other: dt.Line) -> bool:
    """Can both lines hold at one load? A line for any load holds at each."""
    return one.load == other.load or one.load is None or other.load is None


def pairs(d: dt.Drive) -> list[tuple[dt.Line, dt.Line]]:
    """Up and down lines of which one lies where the other has just shifted to."""
    return [
        (up, down)
        for up in d.lines
        for down in d.lines
        if up.up and not down.up and together(up, down) and (up.after == down.before or down.after == up.before)
    ]


def checks(d: dt.Drive) -> Iterator[tuple[str, str, Said]]:
    """Every check with its subject and its verdict."""
    if d.limiter is None:
        yield "limiter", "engine", Said(OPEN)
    else:
        yield "limiter", "engine", below(dt.Span(d.limiter.low, d.limiter.value, d.limiter.high), d.most)
    for rng in d.ranges:
        for line in d.lines:
            yield from (_up(d, rng, line) if line.up else _down(d, rng, line))
    if not d.lines:
        yield "up line", "all", Said(OPEN)
    paired = pairs(d)
    for rng in d.ranges:
        for up, down in paired:
            back = (up.before, up.after) == (down.after, down.before)
            named = up if up.load is not None else replace(up, load=down.load)  # the load at which both hold
            name = subject(d, named, rng, "↔" if back else "→")
            if not back:
                name = f"{d.names[down.before]} → {d.names[down.after]} with {name}"
            yield "separation", name, _apart(d, rng, up, down)
    for line in d.lines:
        if not any(line in pair for pair in paired):
            yield "separation", subject(d, line, "").removesuffix(", "), Said(OPEN)
    yield from _leads(d)


def _up(d: dt.Drive, rng: str, line: dt.Line) -> Iterator[tuple[str, str, Said]]:
    engine = dt.line_engine(d, rng, line)
    name = subject(d, line, rng)
    over, tie = _unheld(d, engine)
    reached = Said(OPEN, tie) if d.limiter is None else below(engine, d.limiter, strictly=True)
    if over:  # above the most, and nothing holds it there: a fail whatever the line's reach
        reached = Said(FAIL, tie)
    elif line.kind == "engine" and d.limiter is not None:
        whole = (engine.low, engine.high, d.limiter.low, d.limiter.high)
        if all(each.denominator == 1 for each in whole):  # whole rpm on both sides: nothing to round, no tie
            reached = Said(reached.word)
    yield "up line", name, reached
    if d.least is not None:
        after = dt.line_engine(d, rng, line, True)
        low, high = d.least.low, d.least.high
        tie = close((after.low, high), (after.high, low))
        yield "landing", name, Said(PASS if after.low >= high else FAIL if after.high < low else OPEN, tie)


def _unheld(d: dt.Drive, engine: dt.Span) -> tuple[bool, bool]:
    """Can an upshift there take the engine above its most, the limiter not holding it; and is that a tie?"""
    over = engine.high > d.most.low and (d.limiter is None or d.limiter.high > d.most.low)
    tie = close((engine.high, d.most.low)) or (d.limiter is not None and close((d.limiter.high, d.most.low)))
    return over, tie


def _down(d: dt.Drive, rng: str, line: dt.Line) -> Iterator[tuple[str, str, Said]]:
    """At the worst of all corners together: what the engine turns to against its most, less margin and gain."""
    room = dt.down_room(d, rng, line)
    tie = close((room.low + d.most.low, d.most.low))
    yield "down line", subject(d, line, rng), Said(PASS if room.low >= 0 else FAIL, tie)


def _apart(d: dt.Drive, rng: str, up: dt.Line, down: dt.Line) -> Said:
    gap = dt.separation(d, rng, up, down)
    tie = close((gap.low + 1, KEPT + 1), (gap.high + 1, HUNTS + 1))
    return Said(PASS if gap.low >= KEPT else FAIL if gap.high < HUNTS else OPEN, tie)


def _leads(d: dt.Drive) -> Iterator[tuple[str, str, Said]]:
    """The climbing engine stays below the limiter; what it gains at full throttle is a bound at any other load."""
    lacking = False
    for rng in d.ranges:
        for line in (x for x in d.lines if x.up and d.limiter is not None):
            spare = dt.line_spare(d, rng, line)
            if spare is None:
                lacking = True
                continue
            tie = close((spare.low + d.most.low, d.most.low), (spare.high + d.most.low, d.most.low))
            bad = FAIL if line.load in ("full", None) and spare.high < 0 else OPEN
            yield "lead", subject(d, line, rng), Said(PASS if spare.low >= 0 else bad, tie)
    if d.lead is not None:
        for gear in d.names[:-1]:
            needed = dt.lead_needed(d, gear)
            if needed is None:
                lacking = True
                continue
            yield "lead", f"at the limiter in {gear}", below(needed, d.lead)
    if lacking:
        yield "lead", "all", Said(OPEN)


@dataclass(frozen=True)
class Cell:
    """A converted cell, in m/s or output rpm: its range, what to enter, its mark. `split`: rounding is a tie."""

    span: dt.Span
    enter: Fraction
    mark: Said
    split: bool


def table(text: str) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Columns and rows of a table's text: commas, semicolons or tabs, # before a comment, empty rows left out."""
    kept = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    sign = next(s for s in "\t;," if s in kept[0])
    rows = list(csv.reader(io.StringIO("\n".join(kept)), delimiter=sign))
    wide = len(rows[0])
    return rows[0][1:], [(row[0].strip(), [c.strip() for c in (row + [""] * wide)[1:wide]]) for row in rows[1:]]


def converted(
    d: dt.Drive, rng: str, donor: dt.Donor, columns: list[str], body: list[tuple[str, list[str]]]
) -> dict[tuple[int, int], Cell]:
    """Each cell, by row and column; of shift speeds only those that hold a number for gears that both trucks have."""
    if donor.holds != "shift speeds":
        return _keyed(d, rng, donor, columns, body)
    spans: dict[tuple[int, int], tuple[dt.Span, Fraction, bool, int, int]] = {}
    for row, (head, cells) in enumerate(body):
        if not all(name in d.names for name in head.split(">")):
            continue
        before, after = (d.names.index(name) for name in head.split(">"))
        if donor.gears is not None and min(before, after) >= len(donor.gears):
            continue
        for column, cell in enumerate(cells):
            if not cell:
                continue
            got = dt.own_cell(d, rng, donor, Fraction(cell), min(before, after), True)
            span, enter, split = _entered(donor, got)
            spans[row, column] = span, enter, split, before, after
    found = {}
    for (row, column), (span, enter, split, before, after) in spans.items():
        mark = _safe(d, rng, donor, enter, before, after)
        if mark.word == "keep":
            beside = [(e, b, a, s) for (_, c), (_, e, s, b, a) in spans.items() if c == column]
            hunting = _hunting(enter, before, after, [(e, b, a) for e, b, a, _ in beside])
            mark = Said(hunting.word, hunting.tie or mark.tie or any(s for *_, s in beside))
        found[row, column] = Cell(span, enter, mark, split)
    return found


def whole(d: dt.Drive, tables: Mapping[str, str]) -> Said:
    """The verdict on everything: a fail if anything fails, else not shown if anything is not."""
    said = [each for *_, each in checks(d)]
    for donor in d.donors:
        for rng in d.ranges:
            columns, body = table(tables[donor.file])
            cells = converted(d, rng, donor, columns, body).values()
            said += [Said(OF_MARK[cell.mark.word], cell.mark.tie or cell.split) for cell in cells]
            if donor.holds == "shift speeds" and sum(bool(c) for _, row in body for c in row) > len(cells):
                said.append(Said(OPEN))  # a cell of a gear that one truck has not
    for word in (FAIL, OPEN):
        hit = [each for each in said if each.word == word]
        if hit:
            return Said(word, all(each.tie for each in hit) or (word == OPEN and any(each.tie for each in said)))
    return Said(PASS, any(each.tie for each in said))


def _entered(donor: dt.Donor, got: dt.Span) -> tuple[dt.Span, Fraction, bool]:
    """A converted number in m/s or rpm, what to enter (a road speed to a tenth, rpm whole), whether that is a tie."""
    places, unit = 10 if donor.keyed_by == "road speed" else 1, dt.UNIT[donor.unit]
    steps = got.value * places
    split = abs(steps % 1 - Fraction(1, 2)) < Fraction(1, 10**6)
    enter = Fraction(int(steps + Fraction(1, 2)), places) * unit
    return dt.Span(got.low * unit, got.value * unit, got.high * unit), enter, split


def _keyed(
    d: dt.Drive, rng: str, donor: dt.Donor, columns: list[str], body: list[tuple[str, list[str]]]
) -> dict[tuple[int, int], Cell]:
    """Rows that begin with a speed: cells are gears to be in, or other numbers of one gear or of any."""
    found = {}
    kind = "road" if donor.keyed_by == "road speed" else "output"
    top = d.names[-1]
    for row, (head, cells) in enumerate(body):
        span, enter, split = _entered(donor, dt.own_cell(d, rng, donor, Fraction(head), None, False))
        for column, cell in enumerate(cells):
            mark = Said("keep")
            if cell:
                names = columns[column].removeprefix("gear ") if columns[column].startswith("gear ") else top
                gear = cell if donor.holds == "gears" else names
                into = gear if donor.holds == "gears" else top
                if gear not in d.names:
                    mark = Said("not known")
                elif into != top:  # the controller goes down into it from any gear above
                    line = dt.Line(len(d.names) - 1, d.names.index(gear), None, kind, dt.exact(enter))
                    room = dt.down_room(d, rng, line)
                    mark = Said("unsafe" if room.low < 0 else "keep", close((room.low + d.most.low, d.most.low)))
                else:
                    mark = _reached(d, rng, gear, kind, enter)
            found[row, column] = Cell(span, enter, mark, split)
    return found


def _reached(d: dt.Drive, rng: str, gear: str, kind: str, enter: Fraction) -> Said:
    """Does the limiter let this gear get as quick?"""
    if d.limiter is None:
        return Said("not known")
    at = d.names.index(gear)
    engine = dt.line_engine(d, rng, dt.Line(at, at, None, kind, dt.exact(enter)))
    return Said({PASS: "keep", FAIL: "pointless", OPEN: "not known"}[(said := below(engine, d.limiter)).word], said.tie)


def _safe(d: dt.Drive, rng: str, donor: dt.Donor, enter: Fraction, before: int, after: int) -> Said:
    kind = "road" if donor.keyed_by == "road speed" else "output"
    line = dt.Line(before, after, None, kind, dt.exact(enter))
    if not line.up:
        room = dt.down_room(d, rng, line)
        return Said("unsafe" if room.low < 0 else "keep", close((room.low + d.most.low, d.most.low)))
    engine = dt.line_engine(d, rng, line)
    over, tie = _unheld(d, engine)
    if over or d.limiter is None:  # nothing holds the engine below its most
        return Said("unsafe" if over else "keep", tie)
    said = below(engine, d.limiter, strictly=True)
    return Said({PASS: "keep", FAIL: "pointless", OPEN: "not known"}[said.word], said.tie or tie)


def _hunting(enter: Fraction, before: int, after: int, beside: list[tuple[Fraction, int, int]]) -> Said:
    gaps = []
    for speed, b, a in beside:
        if (b < a) == (before < after) or not (after == b or a == before):
            continue
        up, down = (enter, speed) if after > before else (speed, enter)
        gaps.append(1 - down / up if up else Fraction(-1))
    worst = min(gaps, default=Fraction(1))
    return Said("hunts" if worst < HUNTS else "keep", any(close((gap + 1, HUNTS + 1)) for gap in gaps))
