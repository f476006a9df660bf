"""A proposal of a logger map, from the headers and first rows of a log. Nothing in it counts until it is confirmed.

Answers: the text of a map with every entry `confirmed = false`, and what the owner has to decide.
Units:   as the file states them; "?" where it states none.
Touches: the beginning of the file it is given. Loads polars only when called.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pinproof.errors import printable
from pinproof.logs.faults import LogFault, shown
from pinproof.logs.logger_map import UNKNOWN, same_code
from pinproof.logs.roles import ROLES, TIME_SPELLINGS, TIME_UNITS, Role, scale_of
from pinproof.logs.sniff import Sniffed, sniff, split_headers
from pinproof.logs.stamps import is_clock, layouts_that_fit
from pinproof.quantities import format_value

# Words of a header, in lower case without signs, that suggest a role. Common practice, no source; only for proposals.
_WORDS: tuple[tuple[str, str], ...] = (
    ("gear_commanded", r"(gear.*(command|cmd|req|target|desired|wanted))|((command|cmd|target|desired|req).*gear)"),
    ("tap_up", r"((tap|shift|paddle|button).*(up|plus)\b|up ?(tap|shift|paddle|button))"),
    ("tap_down", r"((tap|shift|paddle|button).*(down|dn|minus)\b|(down|dn) ?(tap|shift|paddle|button))"),
    ("gear", r"(\bgear\b|current gear|actual gear)(?!.*(ratio|box|oil|temp))"),
    ("lever", r"(lever|selector|range pos|prndl?|shifter pos)"),
    ("mode", r"(manual|tap mode|tip mode|sport mode)"),
    ("lockup", r"(lock ?up|tcc|converter clutch)"),
    ("turbine", r"(turbine|input shaft|input speed|input rpm|gearbox input|transmission input|\bt?iss\b|\btis\b)"),
    ("output", r"(output shaft|output (speed|rpm)|(gearbox|transmission) output|tail ?shaft|\bt?oss\b|\btos\b)"
               r"|(^|trans\w* |gearbox )out ?(rpm|speed|spd)"),
    ("engine", r"(engine speed|engine rpm|crank|\brpm\b|\bengine\b(?!.*(temp|load|torque|oil|hour)))"),
    ("road", r"(road speed|vehicle speed|ground speed|wheel speed|\bspeed\b|\bvss\b|\bgps speed\b)"),
    ("throttle", r"(throttle|accelerator|pedal pos|\btps\b|\bapp\b)"),
    ("brake", r"\bbrake"),
    ("oil", r"((gearbox|transmission|trans|atf|\btft\b).*temp|oil temp|temp.*(gearbox|transmission|atf)|^oil$)"),
    ("ambient", r"(ambient|outside|air) ?temp"),
    ("coder_temperature", r"(coder|handle|lever|switch).*temp"),
    ("supply", r"(battery|supply|system volt|\bvbat|\bubat|ecu volt|\bvoltage\b)"),
    ("limp", r"(limp|fail ?safe|default mode)"),
    ("refused", r"(refused|rejected|inhibited).*|shift.*(refused|rejected)"),
    ("vertical", r"(accel\w* ?z|\bz ?accel|vertical|\bg ?z\b|\baz\b)"),
)  # fmt: skip
_TIME = r"(^| )(time|timestamp|time ?stamp|seconds?|secs?|elapsed|clock|t|zeit|date ?time|utc)( |$)"
_SHORT_GEARS = {"P": 0, "N": 0, "R": -1}


@dataclass(frozen=True)
class Proposed:
    """One channel of a proposal. `unit` is "?" where the file states none that fits."""

    role: str
    header: str
    unit: str
    codes: tuple[tuple[str, str], ...] = ()
    question: str = ""


@dataclass(frozen=True)
class MapProposal:
    """A map to be looked at; `text` is the file to write."""

    file: str
    text: str
    channels: tuple[Proposed, ...]
    left: tuple[str, ...]  # headers without a proposal
    questions: tuple[str, ...]


@dataclass(frozen=True)
class _Column:
    header: str
    unit: str
    samples: tuple[str, ...]

    @property
    def plain(self) -> str:
        parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", self.header)
        return " ".join(re.sub(r"[^\w]|_", " ", parted).lower().split())

    @property
    def numeric(self) -> bool:
        filled = [each for each in self.samples if each]
        return bool(filled) and all(_number(each) is not None for each in filled)


def _number(text: str) -> float | None:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def propose_map(path: str | Path, dbc: str | Path | None = None) -> MapProposal:
    """A proposal for the logger that wrote this file.

    `dbc` names the signals of a CAN recording and is needed there. Raises LogFault for a file that cannot be used.
    """
    where = Path(path)
    found = sniff(where)
    head = ["format = 1", f"logger = {_quoted(where.stem)}", ""]
    questions = list(found.doubts)
    if found.kind == "can":
        from pinproof.logs.can_files import signals_in

        if dbc is None:
            raise LogFault(
                where.name, "no DBC", "This is a CAN recording; only a DBC file says what its frames mean.",
                hint="Name the DBC of this bus.",
            )  # fmt: skip
        columns = [
            _Column(header, unit, samples) for header, unit, samples in signals_in(where, Path(dbc), found.can_format)
        ]
        head += ["[file]", 'kind = "can"', "confirmed = false", "", "[can]", f"dbc = {_quoted(Path(dbc).name)}", ""]
        return _proposal(where.name, head, columns, questions, [])
    if found.kind == "parquet":
        columns = _parquet(where)
        head += ["[file]", 'kind = "parquet"', "confirmed = false", ""]
    elif found.kind == "mdf":
        from pinproof.logs.mdf_files import columns_in

        columns = [_Column(header, unit, samples) for header, unit, samples in columns_in(where)]
        head += ["[file]", 'kind = "mdf"', "confirmed = false", "", "[time]", 'header = "time"', 'unit = "s"',
                 "confirmed = false", ""]  # fmt: skip
        return _proposal(where.name, head, columns, questions, [])
    else:
        columns = _text(found)
        form = found.form
        head += [
            "[file]", 'kind = "text"', f"encoding = {_quoted(form.encoding)}", f"delimiter = {_quoted(form.delimiter)}",
            f"decimal = {_quoted(form.decimal)}", f"skip_lines = {form.skip_lines}",
            f"unit_row = {'true' if form.unit_row else 'false'}", "confirmed = false", "",
        ]  # fmt: skip
    time, lines = _time(columns, questions)
    return _proposal(where.name, [*head, *lines, ""], [each for each in columns if each not in time], questions, time)


def _text(found: Sniffed) -> list[_Column]:
    columns = []
    for at, header in enumerate(found.headers):
        samples = tuple(row[at] if at < len(row) else "" for row in found.samples)
        columns.append(_Column(header, found.units[at], samples))
    return columns


def _parquet(path: Path) -> list[_Column]:
    import polars as pl

    from pinproof.logs.parquet_files import HEAD_ROWS, columns_of
    from pinproof.logs.parquet_trial import damaged

    columns_of(path)
    try:
        frame = pl.scan_parquet(path, glob=False).head(HEAD_ROWS).collect()
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise damaged(path.name, str(error)) from None
    names, units = split_headers(list(frame.columns))
    columns = []
    for at, name in enumerate(names):
        cells = frame.to_series(at)
        if cells.dtype.is_temporal():
            cells = cells.cast(pl.String)
        samples = tuple("" if each is None else f"{each}" for each in cells.to_list())
        columns.append(_Column(name, units[at], samples))
    return columns


def _time(columns: Sequence[_Column], questions: list[str]) -> tuple[list[_Column], list[str]]:
    """The column or columns of time, and the lines of [time]."""
    clocks = [each for each in columns if is_clock(each.samples)]
    stamps = [(each, layouts_that_fit(each.samples)) for each in columns if not each.numeric]
    dated = [(each, layouts) for each, layouts in stamps if layouts]
    if dated:
        column, layouts = dated[0]
        if len(layouts) > 1:
            questions.append(f'"{column.header}" can be read as {" or ".join(layouts)}: day and month may be swapped.')
        lines = [
            "[time]",
            f"header = {_quoted(column.header)}",
            'kind = "date-time"',
            f"layout = {_quoted(layouts[0])}",
        ]
        return [column], [*lines, "confirmed = false"]
    if clocks:
        column = clocks[0]
        dates = [each for each in columns if re.search(r"\b(date|datum|day)\b", each.plain) and each is not column]
        if dates:
            joined = [f"{a} {b}" for a, b in zip(dates[0].samples, column.samples, strict=False) if a and b]
            layouts = layouts_that_fit(joined)
            if layouts:
                if len(layouts) > 1:
                    questions.append(f"The date can be read as {' or '.join(layouts)}. Correct layout.")
                lines = ["[time]", f"header = {_quoted(column.header)}", 'kind = "date and clock"',
                         f"date_header = {_quoted(dates[0].header)}", f"layout = {_quoted(layouts[0])}"]  # fmt: skip
                return [column, dates[0]], [*lines, "confirmed = false"]
        return [column], ["[time]", f"header = {_quoted(column.header)}", 'kind = "clock"', "confirmed = false"]
    rising = [each for each in columns if each.numeric and _rises(each)]
    named = [each for each in rising if re.search(_TIME, each.plain)]
    likely = [*named, *(each for each in rising if each is columns[0])]
    if not likely:
        questions.append("No column looks like a time. Name it in [time], or write the rate of the rows.")
        lines = ["[time]", 'header = ""', 'kind = "rows"', f'rate = "{UNKNOWN}"', "confirmed = false"]
        return [], lines
    column = likely[0]
    unit = TIME_SPELLINGS.get(column.unit, column.unit)
    if unit not in TIME_UNITS:
        numbers = [value for value in (_number(each) for each in column.samples) if value is not None]
        steps = sorted(b - a for a, b in itertools.pairwise(numbers) if b > a)
        step = steps[len(steps) // 2] if steps else 0.0
        said = f' and says "{shown(column.unit, 20)}"' if column.unit else ""
        as_s, as_ms = (format_value(each / step, "frequency") if step else "" for each in (1.0, 1000.0))
        rates = f"{as_s}, as milliseconds {as_ms}" if step else "of no known rate"
        questions.append(
            f'"{column.header}" states no unit that is known{said}. Its steps are {step:g}: as seconds the rows would '
            f"be {rates}. Write the unit."
        )
        unit = UNKNOWN
    lines = ["[time]", f"header = {_quoted(column.header)}", 'kind = "number"', f"unit = {_quoted(unit)}"]
    return [column], [*lines, "confirmed = false"]


def _rises(column: _Column) -> bool:
    numbers = [value for value in (_number(each) for each in column.samples) if value is not None]
    steps = [b - a for a, b in itertools.pairwise(numbers)]
    return len(numbers) > 1 and sum(each > 0.0 for each in steps) > 0.5 * len(steps) and min(steps) > -1e9


def _proposal(
    name: str, head: list[str], columns: Sequence[_Column], questions: list[str], time: Sequence[_Column]
) -> MapProposal:
    taken: dict[str, _Column] = {}
    for role, pattern in _WORDS:
        for column in columns:
            if column in taken.values() or role in taken or not re.search(pattern, column.plain):
                continue
            if _unlikely(ROLES[role], column):
                continue
            taken[role] = column
    made = []
    for column in columns:
        role = next((each for each, one in taken.items() if one is column), "")
        if role:
            made.append(_proposed(ROLES[role], column))
    questions[:] = [printable(each) for each in (*questions, *(each.question for each in made)) if each]
    left = [each for each in columns if each not in taken.values()]
    lines = [
        "# A proposal, read from the file. Look at each entry, correct it, and set confirmed = true.",
        "# What is not confirmed does not count. Units that the file does not state are \"?\".",
        *(f"# ? {question}" for question in questions), *head,
    ]  # fmt: skip
    for each in made:
        lines += [
            "[[channel]]", f"role = {_quoted(each.role)}", f"header = {_quoted(each.header)}",
            f"unit = {_quoted(each.unit)}",
        ]  # fmt: skip
        if each.codes:
            told: dict[str, str] = {}  # letters that cannot be printed are blanks in the map: one code of such may stay
            for code, means in each.codes:
                told.setdefault(same_code(quotable(code)), f"{_quoted(code)} = {means}")
            lines.append(f"codes = {{ {', '.join(told.values())} }}")
        lines += ["confirmed = false", ""]
    if left:
        lines.append(
            "# Without a proposal. The coded pin is role pin.LINE, what the controller made of it meaning.LINE,"
        )
        lines.append("# with LINE as in your design file. Copy an entry above for each that you know.")
        lines += [
            f"#   {_quoted(each.header)}" + (f" [{shown(each.unit, 20)}]" if each.unit else "") for each in left[:200]
        ]
        if len(left) > 200:
            lines.append(f"#   and {len(left) - 200} more")
    return MapProposal(
        name, "\n".join(lines) + "\n", tuple(made), tuple(each.header for each in left), tuple(questions)
    )


def _unlikely(role: Role, column: _Column) -> bool:
    """A stated unit of another dimension speaks against a role."""
    unit = column.unit
    if not unit or role.kind != "number" or scale_of(role, unit) is not None:
        return (
            role.kind != "number"
            and bool(unit)
            and any(
                scale_of(other, unit) is not None
                for other in ROLES.values()
                if other.dimension in ("rotation", "speed", "temperature")
            )
        )
    return any(scale_of(other, unit) is not None for other in ROLES.values())


def _proposed(role: Role, column: _Column) -> Proposed:
    words = list(dict.fromkeys(same_code(each) for each in column.samples if each))
    if role.kind == "number" and (column.numeric or not role.share):
        unit = column.unit if column.unit and scale_of(role, column.unit) is not None else UNKNOWN
        question = "" if unit != UNKNOWN else f'"{column.header}" states no unit that {role.name} can have. Write it.'
        return Proposed(role.name, column.header, unit, question=question)
    codes: list[tuple[str, str]] = []
    if role.kind == "word" or not column.numeric:
        for word in words[:40]:
            means = f'"{UNKNOWN}"'
            if role.kind == "gear":
                number = _number(word)
                gear = _SHORT_GEARS.get(word.upper(), number if number is not None and number == int(number) else None)
                means = f"{int(gear)}" if gear is not None else means
            shown_word = f"{int(float(word))}" if re.fullmatch(r"-?\d+\.0", word) else word
            codes.append((shown_word, means))
    question = ""
    if codes:
        question = f'"{column.header}" holds codes: write what each means. There may be more than in the first rows.'
    return Proposed(role.name, column.header, "code", tuple(codes), question)


def quotable(text: str) -> str:
    """A text without what cannot stand in a map's quotes."""
    return "".join(letter if letter.isprintable() or letter == "\t" else " " for letter in text)


def _quoted(text: str) -> str:
    made = quotable(text).replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t")
    return f'"{made}"'
