"""What a verdict rests on: the numbers of weak basis that it leans on, in the order in which to measure them.

Answers: which assumed or borrowed number, if it is wrong, overturns the verdict soonest; how many parts use it.
Units:   ohms and volts; readings in ratio or volts.
Touches: nothing.

The order is by strain: how far a number may move until the verdict is overturned, in units of how wrong a number of
its basis usually is (`doubts`). A number that several parts share through [defaults] stands once, under the part that
is overturned soonest. Each part is moved alone; several that are wrong together give way earlier.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from pinproof.design.model import Resistor, Truck, Value
from pinproof.proof.budgets import gains, parameters_of, strain
from pinproof.proof.doubts import WEAK, shares_of
from pinproof.proof.judging import Judged
from pinproof.proof.results import DriftBudget, RestsOn, SituationProof, margin_percent
from pinproof.quantities import format_value
from pinproof.verdict import Window
from pinproof.verdict.doubt import USUAL_ERROR
from pinproof.wiring import LineView

LEAST_EDGE = 0.01  # of full scale: an edge or a reading error near zero is in doubt by a share of this, not of itself


def rests_on(view: LineView, rows: Sequence[SituationProof], judged: Sequence[Judged]) -> tuple[RestsOn, ...]:
    """Numbers of weak basis that the verdict leans on, the one whose error would overturn it soonest first."""
    found: dict[str, RestsOn] = {}
    for each in _all(view, rows, judged):
        known = found.get(each.number)
        if known is None or each.urgency < known.urgency:
            found[each.number] = each
    return tuple(sorted(found.values(), key=lambda each: each.urgency))


def _all(view: LineView, rows: Sequence[SituationProof], judged: Sequence[Judged]) -> Iterator[RestsOn]:
    entries = view.truck.entries()
    resistors = {branch.id: branch.resistor for branch in view.branches if branch.kind == "resistor"}
    for row in rows:
        for budget in row.budgets:
            resistor = resistors.get(budget.parameter)
            if resistor is not None:
                yield from _spread(view, row, budget, resistor)
            elif budget.basis in WEAK:
                yield _number(view, entries, budget.parameter, budget.basis, budget.strain, _story(row, budget))
    for state in judged:
        if state.key_state != "run":
            continue
        if any(not row.verdict.holds for row in state.rows):
            yield from _failing(view, state, entries, resistors)
        for row in state.rows:
            if row.window and math.isfinite(row.margin):
                yield from _edges(view, state, row)
                yield from _reading_error(view, state, row)


def _number(
    view: LineView, entries: Mapping[str, Value | Resistor], path: str, basis: str, strained: float, what: str
) -> RestsOn:
    """A number with a path of its own, or of [defaults] where the entry there stands in for it."""
    truck, entry = view.truck, entries.get(path)
    text = entry.text if entry is not None else ""
    if isinstance(entry, Value) and entry.from_default:
        key = path.rsplit(".", 1)[1]
        parts = tuple(
            each.path for each in entries.values()
            if isinstance(each, Value) and each.from_default and each.path.endswith(f".{key}")
        )  # fmt: skip
        return RestsOn(path, basis, text, _line_of(truck, f"defaults.{key}"), strained, what, f"defaults.{key}", parts)
    return RestsOn(path, basis, text, _line_of(truck, path), strained, what)


def _line_of(truck: Truck, path: str) -> int | None:
    lines = truck.source_lines
    return lines.get(path) or (lines.get(path.rsplit(".", 1)[0]) if path.count(".") >= 2 else None)


def _spread(view: LineView, row: SituationProof, budget: DriftBudget, resistor: Resistor) -> Iterator[RestsOn]:
    """The shares of a coder resistor's spread that nobody looked up."""
    truck, first = view.truck, _first(budget)
    if first is None:
        return
    for share in shares_of(truck, resistor):
        if share.basis not in WEAK:
            continue
        strained = strain("ohm", budget.end, first, share.doubt)
        what = _told(row, budget, f"Were it so large that the {_part_words(budget.parameter)} reaches {_shown(budget)}")
        if not share.default:
            size = format_value(share.size, "ratio")
            if share.name == "tempco":  # as the file states it, not what it comes to at the hottest
                size = format_value(resistor.tempco_per_k, "tempco")
            text = resistor.text if share.name == "ohms" else f"{share.name} {size}"
            yield RestsOn(
                budget.parameter, share.basis, text, _line_of(truck, budget.parameter), strained,
                _story(row, budget) if share.name == "ohms" else what,
            )  # fmt: skip
            continue
        stated: Value | None = getattr(truck.defaults, share.name, None) or truck.temperature
        assert stated is not None
        parts = tuple(
            each.path
            for each in truck.entries().values()
            if isinstance(each, Resistor) and share.name in each.defaulted
        )
        yield RestsOn(
            share.default, share.basis, stated.text, _line_of(truck, share.default),
            strained, what, share.default, parts,
        )  # fmt: skip


def _first(budget: DriftBudget) -> float | None:
    return budget.lost_at if budget.lost_at is not None else budget.false_at


def _shown(budget: DriftBudget) -> str:
    first = _first(budget)
    assert first is not None
    return format_value(first, "resistance" if budget.unit == "ohm" else "voltage", digits=3)


def _part_words(path: str) -> str:
    """ "resistor of lever_up" for contact.lever_up.resistor, "idle resistor of taps" for line.taps.idle_resistor."""
    pieces = path.split(".")
    if len(pieces) == 5 and pieces[2] == "element":
        return f"element {pieces[3]} of {pieces[1]}"
    return f"{pieces[-1].replace('_', ' ')} of {pieces[1]}" if len(pieces) == 3 else path


def _named(row: SituationProof) -> str:
    return " + ".join(row.operated) or "nothing operated"


def _told(row: SituationProof, budget: DriftBudget, condition: str) -> str:
    if budget.lost_at is None:
        return f"{condition}, {_named(row)} could read as {budget.false_as}."
    return f"{condition}, {_named(row)} would no longer surely read as {row.meaning or 'allowed'}."


def _story(row: SituationProof, budget: DriftBudget) -> str:
    return _told(row, budget, f"At {_shown(budget)}")


def _failing(
    view: LineView,
    state: Judged,
    entries: Mapping[str, Value | Resistor],
    resistors: Mapping[str, Resistor | None],
) -> Iterator[RestsOn]:
    """Numbers that, known exactly, would help what does not hold. Measuring a chosen resistor would not."""
    known = gains(view, state)
    for index, row in enumerate(state.rows):
        if row.verdict.holds:
            continue
        basis = {each.path: each.basis for each in parameters_of(view, state, state.situations[index].key)}
        for path, gain in known[index].items():
            resistor = resistors.get(path)
            if basis.get(path) in WEAK and (resistor is None or resistor.basis == "borrowed"):
                what = f"Known exactly, it would add {margin_percent(gain)} to the margin of {_named(row)}."
                needed = -row.margin / gain if row.margin < 0.0 else 0.0
                yield _number(view, entries, path, basis[path], needed, what)


def _edges(view: LineView, state: Judged, row: SituationProof) -> Iterator[RestsOn]:
    """The window that decides a situation, where its edges are of weak basis."""
    line = view.line
    paths = {each.meaning: each.path for each in line.windows} | {each.meaning: each.path for each in line.targets}
    bases = {each.meaning: each.basis for each in line.windows}
    for window in state.windows:
        basis = bases.get(window.meaning, window.basis)
        if window.meaning != row.window or basis not in WEAK:
            continue
        room = abs(row.margin) * window.nominal_half_width
        at = max(_deciding_edge(row, window), LEAST_EDGE * state.space.full_scale)
        path = paths.get(window.meaning, f"line.{line.id}.window.{window.meaning}")
        size = f"{room:.3g} V" if row.unit == "V" else f"{format_value(room, 'ratio', digits=2)} of full scale"
        what = f"{_named(row)} keeps {size} from its edge."
        if row.margin < 0.0:
            what = f"{_named(row)} reaches {size} past its edge."
        number = view.truck.source_lines.get(path)
        yield RestsOn(path, basis, f"window {window.meaning}", number, room / at / USUAL_ERROR[basis], what)


def _deciding_edge(row: SituationProof, window: Window) -> float:
    """Where the edge lies that the margin is measured to."""
    inside = row.window == row.meaning or row.window in row.allowed
    wanted = window.lower if (row.side == "low") == inside else window.upper
    edge = wanted or window.lower or window.upper
    return edge.nominal if edge is not None else 0.0


def _reading_error(view: LineView, state: Judged, row: SituationProof) -> Iterator[RestsOn]:
    """The reading error of the input: it eats into every window."""
    error, full = view.input.error, state.space.full_scale
    half = next((each.nominal_half_width for each in state.windows if each.meaning == row.window), None)
    if error.basis not in WEAK or half is None or row.margin < 0.0:
        return
    room = row.margin * half / full
    told = f"At {format_value(error.value + room, 'ratio', digits=2)} of full scale, {_named(row)} would no longer "
    what = told + (f"surely read as {row.meaning}." if row.meaning else f"be sure to stay clear of {row.window}.")
    strained = room / max(error.value, LEAST_EDGE) / USUAL_ERROR[error.basis]
    yield RestsOn(error.path, error.basis, error.text, _line_of(view.truck, error.path), strained, what)
