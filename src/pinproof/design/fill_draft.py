"""A draft filled in from answers.

Answers: what is the text with these answers; does it count already, what is still open, what is wrong?
Touches: nothing.
Beside:  `draft_blanks` says what is asked; a face asks, and saves the text as it saves every other.
Why:     an answer that is still open is an answer. Until everything needed is known the draft stays behind #, answers
         and all, so that the file says what it said. Then the # go away by themselves.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pinproof.design.begin_draft import ASK, BESIDE, WIDTH
from pinproof.design.draft_blanks import IN_PLACE_OF, Blank, DraftForm, list_path
from pinproof.design.draft_lines import LISTS, DraftLine, has_blank, parts_of
from pinproof.design.edit import Change, to_toml, with_values
from pinproof.design.load import loads
from pinproof.design.messages import DesignFault, EditFault, Fault
from pinproof.design.model import Truck
from pinproof.errors import PinproofError

GOES_WITH = {"drive.tyre.turns": "drive.tyre.roll_out"}
"""Keys that mean nothing without another."""
NAMES = {"drive.transfer": ("high", "low")}
"""What the entries of a list are called; further ones, and those of others, by their number."""


@dataclass(frozen=True)
class Filled:
    """A text with answers in it. `counts`: its tables are in use, so the file says more than before.

    `open` are the paths that only the owner knows and that are not answered. `can_count`: it could be in use without
    them. `wrong` is what cannot be used, and then `text` is "".
    """

    text: str
    counts: bool
    open: tuple[str, ...]
    can_count: bool = False
    wrong: tuple[Fault, ...] = ()


def filled(
    form: DraftForm,
    answers: Mapping[str, str],
    check: Callable[[Truck], object] | None = None,
    *,
    early: bool = False,
) -> Filled:
    """The text with these answers.

    Parameters
    ----------
    answers : mapping of str to str
        By path; what is not among them stays as it is, "" makes it open (or usual) again.
    check : callable, optional
        May raise a `PinproofError` for what only the engine of this table sees; then nothing counts.
    early : bool
        Take it into use though something is open, if that can be.
    """
    values, typed = _values(form, answers), _typed_paths(form, answers)
    left = tuple(_open(form, values))
    try:
        loads(_text(form, values, live="all"), form.file)  # what is wrong with a half of a range is seen here only
    except DesignFault as fault:
        if wrong := _wrong(fault.faults, typed, left):
            return Filled("", False, left, wrong=wrong)
    except EditFault:
        pass
    try:
        live = _text(form, values, live="known")
        truck = loads(live, form.file)
    except DesignFault as fault:
        if wrong := _wrong(fault.faults, typed, left):
            return Filled("", False, left, wrong=wrong)
        return Filled(_text(form, values), False, left)
    except EditFault as fault:
        return Filled("", False, left, wrong=(Fault(form.file, 0, fault.path, fault.reason),))
    try:
        if check is not None:
            check(truck)
    except PinproofError as fault:
        if left:  # what is open is the likely cause
            return Filled(_text(form, values), False, left)
        told = fault.faults if isinstance(fault, DesignFault) else (Fault(form.file, 0, form.key, str(fault)),)
        return Filled("", False, left, wrong=tuple(told))
    if left and not early:
        return Filled(_text(form, values), False, left, can_count=True)
    return Filled(live, True, left, can_count=True)


def _typed_paths(form: DraftForm, answers: Mapping[str, str]) -> set[str]:
    """What somebody answered: what only the owner knows, and what is no longer as it was proposed."""
    shown = {each.path: "" if each.asked else each.text for each in form.blanks}
    return {path for path, text in answers.items() if text.strip() and text.strip() != shown.get(path, "")}


def _wrong(faults: Sequence[Fault], typed: set[str], left: Sequence[str]) -> tuple[Fault, ...]:
    """Faults that come from an answer; those that come from an open one are no faults."""

    def of_typed(path: str) -> bool:
        return any(path == each or each.startswith(f"{path}.") or list_path(path) == each for each in typed)

    def of_open(path: str) -> bool:
        return any(path == each or each.startswith(f"{path}.") or path.startswith(f"{each}.") for each in left)

    found = tuple(each for each in faults if of_typed(each.path) and not of_open(each.path))
    if found or left:
        return found
    return tuple(faults)


# what the answers make


def _values(form: DraftForm, answers: Mapping[str, str]) -> dict[str, Any]:
    """The value of each path after the answers, `ASK` where it is open; lists by their own path."""
    values: dict[str, Any] = {}
    for blank in form.blanks:
        text = answers.get(blank.path, blank.text).strip()
        whole = blank.path.removesuffix(f".{blank.part}") if blank.part else blank.path
        new: Any = _value(blank, text) if text else _empty(form, blank, whole)
        if blank.part:
            values.setdefault(whole, {})[blank.part] = new
        else:
            values[blank.path] = new
    for line in form.lines:
        if line.how in ("entry", "instead") and isinstance(line.value, dict) and line.path in values:
            rest = {name: one for name, one in line.value.items() if name in ("basis", "note")}
            told = {"basis": text} if (text := answers.get(f"{line.path}.basis", "").strip()) else {}
            values[line.path] = {**values[line.path], **rest, **told}
    return _states(form, values)


def _empty(form: DraftForm, blank: Blank, whole: str) -> Any:
    """What stands where nothing was typed: the usual, or the question."""
    if blank.optional or list_path(blank.path):
        return None if blank.optional else ([] if blank.asked else ["1"])
    return dict(parts_of(form.usual.get(whole))).get(blank.part, ASK)


def _value(blank: Blank, text: str) -> Any:
    kind = blank.key.kind if blank.key is not None else ""
    if blank.several:
        return [each.strip() for each in re.split(r"[,;]", text) if each.strip()]
    if kind == "flag" and text in ("true", "false"):
        return text == "true"
    if kind == "whole" and text.isdecimal() and len(text) < 10:
        return int(text)
    return text


def _states(form: DraftForm, values: dict[str, Any]) -> dict[str, Any]:
    """Between two neighbouring positions of a lever something is asked; other positions ask for other pairs."""
    for line in form.lines:
        if not line.path.endswith(".mid") or line.path not in values:
            continue
        device = next((each.value for each in form.lines if each.path == f"{line.table}.device"), "")
        positions = values.get(f"device.{device}.positions")
        if isinstance(positions, list):
            before = values[line.path]
            pairs = [f"{one}|{other}" for one, other in itertools.pairwise(positions)]
            values[line.path] = {pair: before.get(pair, ASK) for pair in pairs}
    return values


def _open(form: DraftForm, values: Mapping[str, Any]) -> Iterator[str]:
    """Paths that only the owner knows and that are not answered, but for those in whose place another one is."""
    instead = _replaced(values)
    for path, value in values.items():
        if path in instead:
            continue
        if path in LISTS:
            if not value:
                yield path
        elif isinstance(value, dict):
            yield from (f"{path}.{name}" for name, one in value.items() if has_blank(one))
        elif value is not None and has_blank(value):
            yield path


def _replaced(values: Mapping[str, Any]) -> set[str]:
    """Paths that are open and need no answer, because another one stands in their place."""
    return {
        path for table, (main, others) in IN_PLACE_OF.items()
        if has_blank(values.get(path := f"{table}.{main}", ASK)) and any(values.get(f"{table}.{one}") for one in others)
    }  # fmt: skip


def _text(form: DraftForm, values: Mapping[str, Any], *, live: str = "") -> str:
    """The text with these values: behind #, or in use. Of `live` "known" lines with an open answer stay behind it."""
    lines = form.text.splitlines(keepends=True)
    eol = "\r\n" if "\r\n" in form.text else "\n"
    stated = {each.path for each in form.lines if each.how == "entry"}
    changes: dict[str, Change] = {}
    written: set[str] = set()
    for line in form.lines:
        kind = line.table.rpartition(".")[0]
        if kind in LISTS:
            new = [] if kind in written else _list_text(kind, values, bool(live))
            new = [lines[line.at].rstrip("\r\n"), *new] if line.how == "may" else new
            written.add(kind)
        elif line.how == "head":
            new = [lines[line.at].rstrip("\r\n").removeprefix("#" if live else "")]
            named = [path for path in values if path.startswith(f"{line.table}.") and path not in stated
                     and path.count(".") == line.table.count(".") + 1 and values[path] is not None
                     and _is_added(form, path)]  # fmt: skip
            after = [_line(path.rpartition(".")[2], values[path], "", bool(live)) for path in named]
            if after:  # behind the id, which stands in the line after the head
                lines[line.at + 1] += "".join(f"{each}{eol}" for each in after) if _has_id(lines, line.at) else ""
                new += [] if _has_id(lines, line.at) else after
        elif line.how == "entry" and values.get(line.path, line.value) is None:
            new = []  # added once, and taken out again
        elif line.how == "entry":
            new = [_line(line.path.rpartition(".")[2], values.get(line.path, line.value), line.comment,
                         bool(live) and not _stays(line, values, live))]  # fmt: skip
        elif line.how == "instead":
            value = values.get(line.path, line.value)
            if live and not has_blank(value):
                changes[line.path] = value
                new = []
                _clear_words(lines, line)
            else:
                new = [f"#   {line.path.rpartition('.')[2]} = {to_toml(value)}"]
        else:
            continue
        tail = lines[line.at]
        kept = tail[tail.find("\n") + 1 :] if line.how != "head" and tail.count("\n") > 1 else ""
        lines[line.at] = "".join(f"{each}{eol}" for each in new) + kept
    text = "".join(lines)
    if live:
        text = _without_invitation(text, form)
    return with_values(text, changes, form.file) if changes else text


def _has_id(lines: Sequence[str], at: int) -> bool:
    return at + 1 < len(lines) and re.match(r"#?(id|name) = ", lines[at + 1]) is not None


def _is_added(form: DraftForm, path: str) -> bool:
    return any(each.path == path and each.optional for each in form.blanks)


def _stays(line: DraftLine, values: Mapping[str, Any], live: str) -> bool:
    """True for a line that is not used: it is open, or what it goes with is."""
    other = GOES_WITH.get(line.path, line.path)
    if live == "all":
        return other in _replaced(values)
    value = values.get(line.path, line.value)
    return has_blank(value) or (other != line.path and has_blank(values.get(other, ASK)))


def _line(name: str, value: Any, comment: str, live: bool) -> str:
    sign = "" if live else "#"
    line = f"{sign}{name} = {to_toml(value)}"
    beside = f"{line:<{BESIDE}} # {comment}" if comment else line
    return beside if len(beside) <= WIDTH or comment else line


def _list_text(kind: str, values: Mapping[str, Any], live: bool) -> list[str]:
    """The tables of a list that was answered in one line."""
    ratios = values.get(kind) or []
    sign = "" if live and ratios else "#"
    names = NAMES.get(kind, ())
    found = []
    for number, ratio in enumerate(ratios or [ASK], start=1):
        name = names[number - 1] if number <= len(names) else str(number)
        found += [f"{sign}[[{kind}]]", f"{sign}name = {to_toml(name)}", f"{sign}{LISTS[kind]} = {to_toml(ratio)}"]
    return found


def _clear_words(lines: list[str], line: DraftLine) -> None:
    """Take out the words that told what the line above would have to become."""
    for at in range(line.at - len(line.words), line.at):
        if lines[at].startswith("# "):
            lines[at] = ""


def _without_invitation(text: str, form: DraftForm) -> str:
    """Without the words that ask to fill it in, once that is done; other words stay."""
    found = re.search(r"^# [^\n]*\bdrafted (?:from what|for) this file\b", text, re.M)
    if found is None:
        return text
    end = re.compile(r"^(?:\s*$|# Before any test)", re.M).search(text, found.end())
    stop = end.start() if end is not None else len(text)
    head = {"harness": "The harness", "inhibit": "The start inhibit", "drive": "The driveline"}[form.key]
    if not text[found.start() :].startswith(f"# {head}"):
        return text
    return text[: found.start()] + text[stop:]
