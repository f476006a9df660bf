"""Resistor values: chosen in the background with a certificate, shown with their bands, written and proven again."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pinproof.chain.choosing import (
    USUAL_HIGH,
    USUAL_LOW,
    check_choosable,
    check_range,
    reach_words,
    source_of,
    stock_used,
    text_with,
)
from pinproof.choose import Choice, ChosenResistor, Drawer, Piece, choose
from pinproof.choose.pick import series_of
from pinproof.design import Truck, loads
from pinproof.drawings import swatch, words
from pinproof.errors import NoSolution, QuantityFault
from pinproof.pack.sentences import headline
from pinproof.proof.results import margin_percent
from pinproof.quantities import format_value, parse
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.saving import conflict

WORK = "pinproof.web.pages.choose:choose_it"
SERIES = ("E12", "E24", "E48", "E96", "E192")
AS_FILE, DRAWER = "as the file says", "drawer"
MOST_MARGINS = 12
FIELDS = ("line", "parts", "tolerance", "low", "high")
LEAST_COST = 1e-3


def choose_it(
    text: str, name: str, line: str, source: str | Drawer, reach: float | None, low_ohm: float, high_ohm: float,
    say: Callable[..., None],
) -> Choice:  # fmt: skip
    """The work of a process of its own: values, runners-up, the proof rerun with them, and why if nothing holds."""
    truck = loads(text, name)
    say("Looks at every combination of values, then at the next best …", None)
    return choose(truck, line, source=source, low_ohm=low_ohm, high_ohm=high_ohm, tolerance=reach)


def _asked(ask: Ask) -> dict[str, str]:
    """The fields as asked for, from the form or the address; what is usual is left out."""
    read = (lambda name: ask.text(name)) if ask.form else (lambda name: ask.values.get(name, ""))
    found = {name: read(name).strip() for name in FIELDS}
    if found["parts"] == AS_FILE:
        found["parts"] = ""
    return found


def drawer_path(ask: Ask) -> Path | None:
    """The drawer beside the design: the one that [parts] names, else drawer.toml; None if neither is there."""
    path = ask.site.workspace.folder / Path(ask.truck.parts.drawer or "drawer.toml").name
    return path if path.is_file() and path.resolve().parent == ask.site.workspace.folder else None


def _line(truck: Truck, wanted: str) -> str:
    names = [line.id for line in truck.lines]
    if not names:
        raise Finding(422, "This design has no coded line yet, so there is nothing to choose.", "Add a [[line]] first.")
    if not wanted:
        return names[0]
    if wanted not in names:
        raise Finding(404, f'There is no line "{wanted[:60]}".', f"There is {', '.join(names)}.", "line")
    return wanted


def _number(text: str, dimension: str, field: str, example: str) -> float:
    try:
        return parse(text, dimension)
    except QuantityFault as fault:
        raise Finding(422, f"{fault}", f"Write it with its unit, as in {example}.", field) from None


def _task(ask: Ask, asked: Mapping[str, str]) -> tuple[tuple[Any, ...], str]:
    """Arguments of the work, and where its values come from in words."""
    truck, design = ask.truck, ask.design
    parts, drawer = asked["parts"], None
    if parts not in ("", DRAWER, *SERIES):
        known = f"There is {', '.join(SERIES)}, {DRAWER}."
        raise Finding(422, f'"{parts[:40]}" is no source of values here.', known, "parts")
    if parts == DRAWER:
        drawer = drawer_path(ask)
        if drawer is None:
            raise Finding(422, "There is no drawer beside this design yet.", "Write down your stock first.", "parts")
    reach = _number(asked["tolerance"], "tolerance", "tolerance", "1 %") if asked["tolerance"] else None
    if drawer is not None and reach is not None:
        raise Finding(
            422, "Each part of a drawer has its own tolerance.", "Leave the tolerance empty, or take a series.",
            "tolerance",
        )  # fmt: skip
    low = _number(asked["low"] or USUAL_LOW, "resistance", "low", USUAL_LOW)
    high = _number(asked["high"] or USUAL_HIGH, "resistance", "high", USUAL_HIGH)
    try:
        check_range(low, high, reach)
    except NoSolution as fault:
        where = "low" if "from" in fault.what else "tolerance"
        raise Finding(422, fault.what, fault.cure, where) from None
    series = parts if parts in SERIES else None
    folder = ask.site.workspace.folder
    taken = source_of(truck, folder, design.path.name, series=series, drawer=drawer, tolerance=reach)
    return (design.text, design.path.name, _line(truck, asked["line"]), taken.source, reach, low, high), taken.origin


def _job(ask: Ask, asked: Mapping[str, str]) -> tuple[Any, str]:
    """The work for what is asked, if it was begun, and where its values come from."""
    try:
        task, origin = _task(ask, asked)
    except NoSolution:
        return None, ""
    return ask.site.jobs.find(_key(ask.design.hash, task)), origin


def _key(base: str, task: tuple[Any, ...]) -> tuple[Any, ...]:
    return ("choose", base, *(repr(each) for each in task[2:]))


def result(ask: Ask) -> dict[str, Any]:
    """What `pinproof choose --json` prints, once it is worked out."""
    asked = _asked(ask)
    truck = ask.truck
    job, origin = _job(ask, asked) if truck.lines else (None, "")
    choice: Choice | None = job.result if job is not None and job.state == "done" else None
    return {
        "design": ask.design.name, "hash": ask.design.hash, "asked": asked, "origin": origin,
        "choice": None if choice is None else _plain(choice), "job": job.as_json() if job is not None else None,
    }  # fmt: skip


def _plain(found: Choice) -> dict[str, Any]:
    """The choice for a program: the proof as a whole stands at the page "proof" once the values are written."""
    fields = {name: getattr(found, name) for name in found.__dataclass_fields__ if name not in ("truck", "proof")}
    return {"values": found.values, **fields}


def _cost(cost: float) -> str:
    """What another choice costs of the smallest margin; figures smaller than any resistor is exact say so."""
    if cost <= 0.0:
        return "nothing"
    return (
        f"less than {format_value(LEAST_COST, 'ratio')}" if cost < LEAST_COST else format_value(cost, "ratio", digits=2)
    )


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """What can be asked, and what came out."""
    truck, asked = ask.truck, found["asked"]
    plain: dict[str, Any] = {
        "lines": [line.id for line in truck.lines], "asked": asked, "series": SERIES, "drawer": drawer_path(ask),
        "as_file": AS_FILE, "usual": truck.parts.drawer or series_of(truck), "choice": None, "job": None,
        "usual_low": USUAL_LOW, "usual_high": USUAL_HIGH,
        "why_not": None,
    }  # fmt: skip
    if not truck.lines:
        return plain
    line = _line(truck, asked["line"])
    plain["line"] = line
    try:
        check_choosable(truck, line, ask.design.path.name)
        task, plain["origin"] = _task(ask, asked)
    except NoSolution as fault:
        return {**plain, "why_not": fault, "unknown": "unknown" in str(fault)}
    job, _ = _job(ask, asked)
    if job is None or job.state != "done":
        return {**plain, "job": found["job"]}
    choice: Choice = job.result
    source = task[3]
    used = stock_used(choice, source) if isinstance(source, Drawer) else ()
    return {**plain, **_told(choice), "choice": choice, "used": used, "reach": reach_words(choice)}


def _told(found: Choice) -> Mapping[str, Any]:
    rows = {(row.key_state, row.space, row.operated): row for row in found.proof.situations}
    told = found.told
    what = "gap between two readings" if found.taught else "margin"
    unit = "of full scale" if found.taught else "of half a window"
    return {
        "resistors": [_resistor(each, number) for number, each in enumerate(found.resistors)],
        "margins": [
            (each, words.wanted(rows[each.key_state, each.space, each.operated]), margin_percent(each.margin))
            for each in told[:MOST_MARGINS]
        ],
        "more": max(0, len(told) - MOST_MARGINS), "what": what, "unit": unit, "smallest": margin_percent(found.margin),
        "headline": headline(found.verdict), "certificate": str(found.certificate),
        "runners": [
            {
                "values": [
                    (words.parameter(at), format_value(ohm, "resistance"))
                    for at, ohm in each.unlike(found.values).items()
                ],
                "margin": margin_percent(each.margin), "cost": _cost(each.cost),
                "parts": each.different_parts, "proven": each.proven,
            }
            for each in found.runners_up
        ],
        "tried": [
            (each.what, margin_percent(each.margin), each.parts)
            for each in (found.collision.tried if found.collision is not None else ())
        ],
    }  # fmt: skip


def _resistor(each: ChosenResistor, number: int) -> Mapping[str, Any]:
    pieces = [
        (piece, swatch(piece.bands, piece.letter_code, _size(piece), ident=f"part-{number}-{place}"))
        for place, piece in enumerate(each.pieces)
    ]
    return {
        "where": words.parameter(each.path), "value": format_value(each.ohm, "resistance"), "pieces": pieces,
        "join": each.join, "series": each.series, "tolerance": format_value(each.tolerance, "ratio", digits=2),
        "room": "" if each.room is None else str(each.room),
    }  # fmt: skip


def _size(piece: Piece) -> str:
    ohms = format_value(piece.ohm, "resistance")
    return f"{ohms} measured" if math.isnan(piece.tolerance) else f"{ohms} {format_value(piece.tolerance, 'ratio')}"


def _run(ask: Ask) -> Done:
    """Begin choosing; the address keeps what was asked."""
    asked = _asked(ask)
    task, _ = _task(ask, asked)
    check_choosable(ask.truck, task[2], ask.design.path.name)
    back = ask.address("choose", **{name: text for name, text in asked.items() if text})
    job = ask.site.jobs.start(
        f"Choosing values for {ask.design.title}", WORK, task, key=_key(ask.design.hash, task), back=back
    )
    return Done(job.as_json(), back)


def _write(ask: Ask) -> Done:
    """The chosen values into the file they were chosen for, and on to its proof."""
    asked, design = _asked(ask), ask.design
    task, origin = _task(ask, asked)
    base = ask.text("base")
    job = ask.site.jobs.find(_key(base, task))
    choice: Choice | None = job.result if job is not None and job.state == "done" else None
    if choice is None:
        raise Finding(409, "No values were chosen for this version of the file. Nothing was written.", "Choose again.")
    if not choice.feasible:
        raise Finding(422, "No values hold, so none are written.", "Look at what collides, and at cures of the proof.")
    if base != design.hash:
        raise conflict(ask, choice.changes, base)
    text = text_with(design.text, choice, origin, design.path.name)
    now = ask.site.workspace.write(design.name, text, design.hash, f"values chosen for {choice.line}")
    values = {"design": design.name, "hash": now.hash, "written": dict(choice.changes)}
    return Done(values, ask.address("proof", line=choice.line))


BASE = Parameter("base", "Hash of the version that the page was made from.", required=True)
ASKED = (
    Parameter("line", "The line; the first where it is left out."),
    Parameter("parts", "A series or the drawer; as the file says where it is left out.", words=(*SERIES, DRAWER)),
    Parameter("tolerance", "Of the parts to be bought, as in 1 %."), Parameter("low", "Least resistance to try."),
    Parameter("high", "Greatest resistance to try."),
)  # fmt: skip
PAGE = Page(
    "choose", "/d/{design}/choose", "Resistors",
    "Which resistors keep every reading as far from its neighbours as can be, and how sure is that?",
    result, "choose.html", context, links=("resistor",), parameters=ASKED,
    actions=(
        Action("run", "Chooses values in the background.", _run, ASKED),
        Action("write", "Writes the chosen values into the file; comments stay.", _write, (BASE, *ASKED)),
    ),
)  # fmt: skip
