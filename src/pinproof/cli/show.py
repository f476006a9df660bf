"""Results in words for a terminal. No sums: what is printed is what a result holds."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from pinproof.drawings import words
from pinproof.proof import (
    Finding,
    LineProof,
    RestsOn,
    SituationProof,
    TruckProof,
    margin_percent,
    resting_words,
)
from pinproof.quantities import format_value
from pinproof.verdict import Verdict, Window

if TYPE_CHECKING:
    from pinproof.choose import Choice, ChosenResistor

WORDS = {
    Verdict.PASS: "PASS",
    Verdict.WOULD_HOLD: "WOULD HOLD IF",
    Verdict.NOT_SHOWN: "NOT SHOWN",
    Verdict.FAIL: "FAIL",
}
HEADLINE = {
    Verdict.PASS: "PROVEN",
    Verdict.WOULD_HOLD: "WOULD HOLD IF the assumed windows are right",
    Verdict.NOT_SHOWN: "NOT SHOWN",
    Verdict.FAIL: "PROOF FAILED",
}
WIDTH = 108
MOST_RESTS = 5
MOST_FINDINGS = 3
MOST_BUDGETS = 3
MOST_FAILING = 3
MOST_MARGINS = 6
BOTH_WAYS = (
    'It is not known what the controller divides by (compares = "unknown"), so each situation stands here once for '
    "each way it may judge (column reads), and all must hold. Find that out before anything else is changed: "
    "`pinproof next` says how."
)
PERCENT = re.compile(r"-?[0-9.]+ %|–|none")


def reading_words(value: float, unit: str) -> str:
    """One reading: percent of full scale for a ratio, volts otherwise."""
    if math.isnan(value):
        return "–"
    return f"{value * 100:.1f} %" if unit == "1" else f"{value:.3f} V"


def span_words(row: SituationProof) -> str:
    """A span as low to high, with its gap where it is not exact."""
    if math.isnan(row.low):
        return "floats"
    low, high = reading_words(row.low, row.unit), reading_words(row.high, row.unit)
    low = low[:-2] if low[-2:] == high[-2:] else low
    return f"{low} to {high}" + ("" if row.exact else " (bracket)")


def margin_words(margin: float) -> str:
    """A margin in percent of half the window, cut so that nothing looks better than it is."""
    return "–" if margin == math.inf else margin_percent(margin)


def table(rows: Iterable[Sequence[str]], heads: Sequence[str]) -> str:
    """Columns padded to their widest cell; a column of numbers in percent stands flush right."""
    lines = [tuple(heads), *(tuple(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(heads))]
    right = [all(PERCENT.fullmatch(line[column]) for line in lines[1:]) for column in range(len(heads))]
    out = [
        "  ".join(
            cell.rjust(width) if flush else cell.ljust(width)
            for cell, width, flush in zip(line, widths, right, strict=True)
        ).rstrip()
        for line in lines
    ]
    out.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join("  " + line for line in out)


def truck_words(proof: TruckProof, *, every: bool = False) -> str:
    """A whole proof for the terminal."""
    parts = [f"{headline(proof)}  {proof.name or proof.id}"]
    for line in proof.lines:
        parts += ["", line_words(line, every=every)]
    if proof.rests_on:
        parts += ["", "Rests on (measure the first one first):"]
        for each in proof.rests_on[:MOST_RESTS]:
            parts += wrapped(rests_words(each))
        more = len(proof.rests_on) - MOST_RESTS
        if more > 0:
            parts.append(f"  … and {more} more of basis assumed or borrowed (all in the report and with --json).")
    return "\n".join(parts)


def headline(proof: TruckProof) -> str:
    """The verdict in one line; whatever it leans on that nobody measured is counted in it."""
    told = HEADLINE[proof.verdict]
    resting = resting_words(proof.rests_on)
    if proof.verdict is Verdict.PASS and resting:
        return f"{told}, resting on {resting}"
    if proof.verdict is Verdict.WOULD_HOLD and resting:
        return f"{told}, resting on {resting}"
    return told


def rests_words(each: RestsOn) -> str:
    """One number that the verdict leans on: where it stands, what it is, what error of it would matter."""
    where = f"line {each.line}: " if each.line else ""
    stated = "" if each.text.startswith("window ") or not each.text else f" = {each.text}"
    used, what = "", each.what
    if each.parts:
        used = f", used by {len(each.parts)} part{'' if len(each.parts) == 1 else 's'}"
        if len(each.parts) > 1 and each.parameter != each.number:
            what = f"{what.removesuffix('.')}; that is for {words.parameter(each.parameter)} alone."
    return f"{where}{words.parameter(each.number)}{stated} [{each.basis}]{used}. {words.sentence(what)}"


def line_words(line: LineProof, *, every: bool = False) -> str:
    """One line's proof: what decides, the table, findings."""
    head = f"line {line.line} on {line.input} ({line.form}): {WORDS[line.verdict]}"
    if line.reason:
        return "\n".join([head, f"  Not shown because {line.reason}.", *findings_words(line, every=every)])
    parts = [head]
    worst = line.worst
    if worst is not None:
        parts += wrapped(worst_words(line, worst), "")
    if len(line.windows) > 1:
        parts += wrapped(BOTH_WAYS, "")
    shown = [row for row in line.situations if every or _is_shown(row, line)]
    rows = [
        (
            row.key_state,
            *((row.space,) if len(line.windows) > 1 else ()),
            words.operated(row.operated),
            span_words(row),
            wanted_words(row, line),
            margin_words(row.margin),
            WORDS[row.verdict],
        )
        for row in shown
    ]
    heads = ("key", *(("reads",) if len(line.windows) > 1 else ()), "operated", "span", "wanted", "margin", "verdict")
    parts += ["", table(rows, heads)]
    left = len(line.situations) - len(shown)
    if left:
        more = "1 more situation holds" if left == 1 else f"{left} more situations hold"
        parts.append(f"  ({more} with room to spare; all with --all)")
    parts += budgets_words(line)
    parts += findings_words(line, every=every)
    return "\n".join(parts)


def wanted_words(row: SituationProof, line: LineProof) -> str:
    """What a situation must read, or which commands it must keep clear of."""
    if row.rule == 1:
        return " or ".join(row.allowed)
    if row.meaning:
        return row.meaning
    names = _forbidden(row, line)
    if len(names) == 1:
        return f"not {names[0]}"
    return f"neither {names[0]} nor {names[1]}" if len(names) == 2 else f"none of {words.all_of(names)}"


def _is_shown(row: SituationProof, line: LineProof) -> bool:
    if row.verdict is not Verdict.PASS and row.verdict is not line.verdict:
        return True
    return row.key_state == "run" and (bool(row.meaning) or row.margin < 0.5)


def _forbidden(row: SituationProof, line: LineProof) -> list[str]:
    commands = {window.meaning for windows in line.windows.values() for window in windows if window.kind == "command"}
    return sorted(commands - set(row.allowed)) or ["another command"]


def worst_words(line: LineProof, worst: SituationProof) -> str:
    """The situation that decides, in one or two sentences."""
    name = words.operated(worst.operated)
    count = situations_words(line)
    if math.isnan(worst.low):
        return f"{count}. {name}: {worst.why}."
    text = f"{count}. Closest: {name} ({worst.key_state}) reads {span_words(worst)}"
    if worst.window:
        windows = line.windows.get(worst.space, ())
        match = [window for window in windows if window.meaning == worst.window]
        if match:
            text += f"; {worst.window} is {_edge_words(*match[0].stated(), worst.unit)}"
            text += _reserve_words(line, worst, match[0])
    text += f"; margin {margin_words(worst.margin)}."
    if worst.verdict is Verdict.FAIL and worst.reads_as:
        text += f" The controller can take it for {words.either(worst.reads_as)}."
    if worst.weakest:
        text += f" Weakest link: {words.parameter(worst.weakest)}."
    return text


def situations_words(line: LineProof) -> str:
    """How many sets of contacts were looked at, and in how many key states where there are several."""
    sets, states = len({row.operated for row in line.situations}), len({row.key_state for row in line.situations})
    return f"{sets} situations" + (f", each in {states} key states" if states > 1 else "")


def _reserve_words(line: LineProof, worst: SituationProof, window: Window) -> str:
    """How far the reading must keep from the edges as stated, and why."""
    edges = [edge for edge in (window.lower, window.upper) if edge is not None and edge.exists]
    reserve = max((max(edge.high - edge.nominal, edge.nominal - edge.low) for edge in edges), default=0.0)
    if reserve <= 0.0:
        return ""
    error = line.reading_error.get(worst.space, 0.0)
    why = "the reading error" if reserve <= error * (1.0 + 1e-9) else "the reading error and the edge's uncertainty"
    why = "the edge's uncertainty" if error == 0.0 else why
    side = "inside" if worst.window in worst.allowed else "clear of"
    return f", and the reading must stay {side} it by {_room_words(reserve, worst.unit)} for {why}"


def _room_words(size: float, unit: str) -> str:
    return f"{format_value(size, 'ratio', digits=2)}" if unit == "1" else f"{size:.3g} V"


def _edge_words(low: float, high: float, unit: str) -> str:
    if math.isinf(low) and math.isinf(high):
        return "everything"
    if math.isinf(low):
        return f"up to {reading_words(high, unit)}"
    if math.isinf(high):
        return f"from {reading_words(low, unit)}"
    return words.span(reading_words(low, unit), reading_words(high, unit))


def budgets_words(line: LineProof) -> list[str]:
    """What does not hold already, then the nearest drift budgets of the line, in sentences."""
    nearest = sorted(
        ((budget, row) for row in line.situations for budget in row.budgets if math.isfinite(budget.strain)),
        key=lambda pair: pair[0].urgency,
    )
    failing: dict[tuple[str, ...], SituationProof] = {}  # each set of contacts once, in its worst key state
    for row in sorted(line.situations, key=lambda row: (row.verdict.rank, row.margin)):
        if not row.verdict.holds:
            failing.setdefault(row.operated, row)
    seen: set[str] = set()
    out = [each for row in list(failing.values())[:MOST_FAILING] for each in wrapped(failing_sentence(row))]
    left = len(failing) - MOST_FAILING
    if left > 0:
        out.append(f"  ({left} more {'does' if left == 1 else 'do'} not hold)")
    for budget, row in nearest:
        if budget.parameter in seen or len(seen) >= MOST_BUDGETS:
            continue
        seen.add(budget.parameter)
        out += wrapped(budget_sentence(budget, row))
    return ["", "  What gives way first:", *out] if out else []


def failing_sentence(row: SituationProof) -> str:
    """A situation that gives way before anything drifts."""
    state = "" if row.key_state == "run" else f" ({row.key_state})"
    through = f", through the {words.parameter(row.weakest)}" if row.weakest else ""
    how = "does not hold as it is" if row.verdict is Verdict.FAIL else "is not shown to hold as it is"
    return f"{words.operated(row.operated)}{state}: {how}, margin {margin_words(row.margin)}{through}."


def budget_sentence(budget: object, row: SituationProof) -> str:
    """One drift budget in a sentence."""
    from pinproof.proof import DriftBudget

    assert isinstance(budget, DriftBudget)
    dimension = "resistance" if budget.unit == "ohm" else "voltage"

    def shown(value: float) -> str:
        return format_value(value, dimension, digits=3)

    name = words.operated(row.operated)
    text = f"{name}: {words.parameter(budget.parameter)} may go {budget.direction} from {shown(budget.end)}"
    if budget.lost_at is not None:
        text += f" to {shown(budget.lost_at)} before {row.meaning or 'it'} is no longer sure"
    if budget.false_at is not None and budget.lost_at is not None and shown(budget.lost_at) == shown(budget.false_at):
        text += f" and it can read as {budget.false_as}"
    elif budget.false_at is not None:
        joiner = "," if budget.lost_at is not None else ""
        text += f"{joiner} to {shown(budget.false_at)} before it can read as {budget.false_as}"
    return text + f" [{budget.basis}]{'' if budget.exact else ', perhaps earlier'}."


def findings_words(line: LineProof, *, every: bool = False) -> list[str]:
    """Findings of the other checks: those that decide, false commands, then a few with a cure; the rest counted."""

    def rank(finding: Finding) -> int:
        if finding.verdict is not None:
            return finding.verdict.rank
        return 5 if finding.numbers.get("effect") == "false command" else 9

    order = sorted(line.findings, key=rank)
    loud = [each for each in order if rank(each) < 9]
    quiet = [each for each in order if rank(each) == 9 and each.cure]
    shown = order if every else [*loud, *quiet[: max(0, MOST_FINDINGS - len(loud))]]
    out = ["", "  Beside the windows:"] if shown else []
    for each in shown:
        mark = f"{WORDS[each.verdict]}, " if each.verdict is not None else ""
        out += wrapped(f"{mark}{each.check}: {each.text}" + (f" Cure: {each.cure}" if each.cure else ""))
    left = len(line.findings) - len(shown)
    if left:
        out.append(f"  ({left} more notes; all with --all and in the report)")
    return out


def wrapped(text: str, mark: str = "- ") -> list[str]:
    """One finding, wrapped and indented under its mark; a number keeps its unit on its line."""
    return hung(text, "  " + mark, "    ")


def hung(text: str, head: str, later: str | None = None, *, width: int = WIDTH) -> list[str]:
    """Lines of a text behind `head`, the later ones as far in as `later` says, or as the first."""
    held = re.sub(r"(?<=\d) (?=[%ΩkMmµnVAWs°])", "\u00a0", text)
    lines = textwrap.wrap(
        held, width, initial_indent=head, subsequent_indent=head if later is None else later, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace("\u00a0", " ") for line in lines]


def choice_words(found: Choice) -> str:
    """A choice of values for the terminal."""
    best = f"no values do better{found.certificate.under}" if found.certificate.settled else str(found.certificate)
    size = _size_words(found.margin, found)
    head = (
        f"CHOSEN for line {found.line}: smallest {size}, {best}."
        if found.feasible
        else f"NOTHING HOLDS for line {found.line}. Nearest miss: {size}, {best}."
    )
    rows = [
        (
            words.parameter(each.path),
            format_value(each.ohm, "resistance"),
            _pieces(each),
            " ".join(each.pieces[0].bands)
            if len(each.pieces) == 1
            else "; ".join(" ".join(p.bands) for p in each.pieces),
            ", ".join(piece.letter_code for piece in each.pieces),
        )
        for each in found.resistors
    ]
    parts = [head]
    if found.advice:
        parts += ["", table(rows, ("where", "value", "part", "bands", "code"))]
    free = [(words.parameter(each.path), str(each.room)) for each in found.resistors if each.room is not None]
    if free:
        parts += [
            "",
            "  One of them alone may also be, with the others as above, and every reading still holds (heat apart):",
        ]
        wide = max(len(where) for where, _ in free)
        parts += [f"  - {where:<{wide}}  {room}" for where, room in free]
    rows_of = {(row.key_state, row.space, row.operated): row for row in found.proof.situations}
    margins: list[tuple[str, ...]] = []
    several = len(found.proof.windows) > 1  # the controller may judge in several ways
    for each in found.told[:MOST_MARGINS]:
        row = rows_of[each.key_state, each.space, each.operated]
        wanted = wanted_words(row, found.proof)
        said = (words.operated(each.operated), wanted, margin_words(each.margin), WORDS[each.verdict])
        margins.append((each.key_state, *((each.space,) if several else ()), *said))
    title = "Proof rerun with these values, tightest first:"
    if not found.advice:
        title = "How the nearest miss reads, tightest first. Its values are not told: they are not worth fitting."
    heads = ("key", *(("reads",) if several else ()), "operated", "wanted", "margin", "verdict")
    parts += ["", *wrapped(title, ""), table(margins, heads)]
    if found.collision is not None:
        parts += ["", *wrapped(found.collision.text, "")]
        if found.collision.tried:
            parts += wrapped("Tried alone, each with all values chosen again:", "")
        parts += [
            line
            for each in found.collision.tried
            for line in wrapped(
                f"{each.what}: margin {margin_words(each.margin)}" + (" — that parts them." if each.parts else ".")
            )
        ]
    if found.runners_up and found.advice:
        parts += ["", "  Next best, what is not named as above:"]
        for other in found.runners_up:
            values = ", ".join(
                f"{words.parameter(path)} {format_value(ohm, 'resistance')}"
                for path, ohm in other.unlike(found.values).items()
            )
            parts += wrapped(f"{values}: {_size_words(other.margin, found)}, {other.different_parts} different parts")
    return "\n".join(parts)


def _size_words(margin: float, found: Choice) -> str:
    """What values were compared by. A controller that can be taught has no windows yet: there it is a gap."""
    if found.taught:
        return f"gap between two readings {margin_words(margin)} of full scale"
    return f"margin {margin_words(margin)}"


def _pieces(each: ChosenResistor) -> str:
    names = [piece.name or format_value(piece.ohm, "resistance") for piece in each.pieces]
    joined = f" in {each.join} ".join(names) if len(names) > 1 else names[0]
    return f"{joined}, {format_value(each.tolerance, 'ratio', digits=2)}"
