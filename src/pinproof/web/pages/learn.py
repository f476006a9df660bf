"""Learning an unknown pin: cautions, one load after the other, what is known by now, and what is written of it."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pinproof.chain.learn_begin import Doubted, NotThus, new_session, opened, with_settings
from pinproof.chain.learning import Asked, Learning, plain
from pinproof.design.load import decode, read_bytes, text_hash
from pinproof.design.messages import ChangedUnderneath
from pinproof.design.model import Line
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError
from pinproof.learn import progress, refreshed, session_path, windows_of
from pinproof.learn.session import session_text
from pinproof.learn.words import (
    CAUTIONS,
    PREPARE,
    edge_notes,
    edge_rows,
    ohms,
    progress_words,
    source_sentences,
    step_text,
    volts_text,
    whole_percent,
    window_rows,
)
from pinproof.meter import load_instrument
from pinproof.quantities import parse
from pinproof.web.finding import Finding
from pinproof.web.history import History
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.pages.meter import METER_FILE, WRITTEN
from pinproof.web.work import drawer_beside

TAKEN = "{} in the field below"
BEGUN = "cautions"
MOST_DIFFERENCES = 200


def line_of(ask: Ask, values: Mapping[str, Any]) -> Line:
    """The line whose pin is learned: the one of the input that was named, or the first."""
    lines = ask.truck.lines
    wanted = str(values.get("input", ""))
    found = next((each for each in lines if wanted in ("", each.input)), None)
    if found is None:
        known = ", ".join(each.input for each in lines) or "none"
        raise Finding(404, f'There is no line on an input "{wanted[:60]}".', f"Inputs with a line: {known}.", "input")
    return found


def work_of(ask: Ask, values: Mapping[str, Any]) -> Learning:
    """The session of that line, or a new one that is not on the disk yet."""
    truck, line = ask.truck, line_of(ask, values)
    path = ask.site.workspace.own(session_path(ask.design.path, line.input))
    session, seen = opened(truck, line, path, drawer_beside(truck, ask.site.workspace.folder))
    file = ask.site.workspace.own(METER_FILE)
    instrument = load_instrument(file) if file.is_file() else None
    if instrument is not None:
        session = with_settings(session, instrument=instrument)
    return Learning(truck, path, refreshed(session, truck), seen, instrument)


def history_of(ask: Ask, line: Line) -> History:
    """Versions of the session, for going back."""
    return History(ask.site.workspace.folder / ".pinproof" / "learn" / f"{ask.design.name}.{line.input}")


def result(ask: Ask) -> dict[str, Any]:
    """What is known, as the command gives it, and the hash of the session."""
    work = work_of(ask, ask.values)
    known = plain(work.session, work.found, ask.design.path.name, work.is_done())
    return {"design": ask.design.name, "hash": ask.design.hash, "session": work.seen or "", **known}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The cautions, or what is asked now; beside it what is known."""
    work = work_of(ask, ask.values)
    session, state, line = work.session, work.session.search, work.line
    begun = BEGUN in session.told or bool(session.readings or state.visits)
    asked = work.asked() if begun else None
    heads, edges = edge_rows(state)
    window_heads, windows = window_rows(windows_of(state)) if state.visits else ((), ())
    seen = progress(state)
    meanings = dict.fromkeys([*line.meanings, "invalid", *(each.meaning for each in state.visits)])
    enough = asked is not None and asked.step is not None and asked.step.optional and session.told.get("more") != "yes"
    return {
        "input": line.input, "inputs": [each.input for each in ask.truck.lines], "session": work.seen or "",
        "begun": begun, "cautions": CAUTIONS, "prepare": PREPARE, "asked": asked, "enough": enough,
        "instruction": _instruction(work, asked), "meanings": [each for each in meanings if each],
        "source": source_sentences(session, work.found) if session.readings else [],
        "heads": heads, "edges": edges, "window_heads": window_heads, "windows": windows,
        "notes": edge_notes(state, TAKEN) if state.visits else [], "progress": progress_words(state),
        "unseen": whole_percent(seen.unseen) if state.visits and seen.unseen > max(state.resolution, state.accepted)
        else "",
        "readings": len(session.readings), "spans": _visits(work),
        "settings_now": _settings(work), "done": work.is_done(), "can_write": work.has_result(),
        "can_back": history_of(ask, line).standing().at > 0, "write": _change(ask, work) if "write" in ask.values
        else None,
        "wrong": "", "then": "", "typed": "", "doubt": "", "answer": {},
    }  # fmt: skip


def _instruction(work: Learning, asked: Asked | None) -> str:
    if asked is None:
        return ""
    if asked.volts is not None:
        return volts_text(asked.volts, work.found.least_ohm)
    if asked.step is not None:
        return step_text(asked.step, work.session.search)
    return "Nothing on the pin. Read it on the AC range, or with min/max for ten seconds."


def _visits(work: Learning) -> list[tuple[str, str, str]]:
    """Every reading so far: what was on the pin, from where, what it showed."""
    state = work.session.search
    return [
        (ohms(state.bounds(each)[1]), "key turned on there" if each.direction == "none" else each.direction,
         each.meaning + (" (set aside)" if each.aside else ""))
        for each in state.visits
    ]  # fmt: skip


def _settings(work: Learning) -> dict[str, Any]:
    told = work.session.told
    return {
        "accuracy": told.get("accuracy", ""), "reference_v": told.get("reference_v", ""),
        "compares": told.get("compares", ""), "setting": told.get("setting", ""),
        "one_range": work.session.meter.one_range, "pot": work.session.search.method == "pot",
        "described": work.instrument.words if work.instrument is not None else "",
    }  # fmt: skip


def _change(ask: Ask, work: Learning) -> dict[str, Any]:
    """What would be written, line by line."""
    design = ask.design
    after, kept_out = work.design_after(design.text)
    lines = list(difflib.unified_diff(design.text.splitlines(), after.splitlines(), lineterm="", n=1))[2:]
    return {"lines": lines[:MOST_DIFFERENCES], "more": max(0, len(lines) - MOST_DIFFERENCES), "kept_out": kept_out}


# what can be done


def _changed(ask: Ask, do: Callable[[Learning], None], what: str, more: Mapping[str, Any] | None = None) -> Done:
    """Do something to the session, keep the version before, and go on."""
    line = line_of(ask, ask.form)
    address = ask.address("learn", input=line.input)
    try:
        with ask.site.workspace.lock:
            work = work_of(ask, ask.form)
            if ask.text("session") != (work.seen or ""):
                raise Finding(
                    409, "This session went on in another tab or in the terminal. Nothing was written.",
                    "Look at where it stands now, then answer again.", "session",
                )  # fmt: skip
            if not work.session.told.get("date"):
                told = {**work.session.told, "date": date.today().isoformat()}
                work.session = dataclasses.replace(work.session, told=told)
            before = session_text(work.session)
            do(work)
            history = history_of(ask, line)
            history.meet(before, "before")
            history.meet(session_text(work.session), what)
    except Finding as fault:
        raise shown_again(ask, address, fault, more or {}) from None
    except Doubted as fault:
        told_ = Finding(422, fault.message, "Measure again, or keep it as it is.", "typed")
        raise shown_again(ask, address, told_, {**(more or {}), "doubt": fault.message, "wrong": ""}) from None
    except PinproofError as fault:
        raise shown_again(ask, address, fault, more or {}) from None
    known = plain(work.session, work.found, ask.design.path.name, work.is_done())
    return Done({**known, "session": work.seen}, address)


def _begin(ask: Ask) -> Done:
    def do(work: Learning) -> None:
        work.take(dataclasses.replace(work.session, told={**work.session.told, BEGUN: "read"}))

    return _changed(ask, do, "cautions read")


def _answer(ask: Ask) -> Done:
    """One answer to what is asked now."""
    names = ("typed", "feed", "supply", "ac", "low", "high", "unit", "press")
    given = {name: ask.text(name).strip() for name in names}
    unknown = bool(ask.text("unknown"))

    def insist(doubt: str) -> None:
        if ask.text("sure") != "yes":
            raise Doubted("reading", doubt)

    def do(work: Learning) -> None:
        asked = work.asked()
        if asked is None:
            raise NotThus("step", "Nothing more is asked.")
        work.question = insist
        if asked.volts is not None:
            both = f"{given['feed']} {given['typed']}" if asked.volts.from_feed else given["typed"]
            work.answer_volts(asked.volts, None if unknown else _some(both), given["supply"])
        elif asked.kind == "look":
            work.answer_look(None if unknown else _looked(given))
        else:
            assert asked.step is not None
            work.answer_step(asked.step, None if unknown else _seen(given, asked.step.kind))

    return _changed(ask, do, "an answer", {"typed": given["typed"], "answer": given})


def _some(text: str) -> str:
    if not text.strip():
        raise NotThus("reading", "Nothing was typed. Type what the display shows, or press Don't know.")
    return text


def _looked(given: Mapping[str, str]) -> str:
    parts = [f"{key}={given[name].replace(' ', '')}" for key, name in (("ac", "ac"), ("min", "low"), ("max", "high"))
             if given[name]]  # fmt: skip
    return _some(" ".join(parts))


def _seen(given: Mapping[str, str], kind: str) -> str:
    typed, press = given["typed"], given["press"]
    bare = bool(typed) and not any(each.isalpha() or each == "Ω" for each in typed)
    ohms = typed + WRITTEN[given["unit"]].replace(" ", "") if bare and given["unit"] in WRITTEN else typed
    if kind == "measure":
        if bare and ohms == typed:
            raise NotThus("reading", "The unit is missing. Press Ω, kΩ or MΩ, as the display shows it.")
        return _some(ohms)
    if kind == "pot":
        if bare and ohms == typed:
            raise NotThus("reading", "The unit is missing. Press Ω, kΩ or MΩ, as the display shows it.")
        _some(typed)
        return f"{_some(press)} {ohms.replace(' ', '')}"
    return _some(press or typed)


def _more(ask: Ask) -> Done:
    def do(work: Learning) -> None:
        work.take(dataclasses.replace(work.session, told={**work.session.told, "more": "yes"}))

    return _changed(ask, do, "going on")


def _settle(ask: Ask) -> Done:
    """Meter, reference and the like."""

    def do(work: Learning) -> None:
        told = [(key, ask.text(key).strip()) for key in ("reference_v", "compares", "setting") if ask.text(key).strip()]
        for key, value in told:
            if key == "reference_v":
                parse(value if value[-1:].isalpha() else f"{value} V", "voltage")
        work.take(
            with_settings(
                work.session, meter=ask.text("accuracy").strip(), one_range=bool(ask.text("one_range")),
                pot=bool(ask.text("pot")), accepted=ask.text("accepted").strip(), told=tuple(told),
            )
        )  # fmt: skip

    return _changed(ask, do, "settings")


def _back(ask: Ask) -> Done:
    """One step back; what was answered can be answered again."""
    line = line_of(ask, ask.form)
    path = ask.site.workspace.own(session_path(ask.design.path, line.input))
    with ask.site.workspace.lock:
        history = history_of(ask, line)
        if path.exists():
            history.meet(_text_of(path))
        now = history.standing()
        text = history.text_of(now.versions[now.at - 1].hash) if now.at > 0 else None
        if text is None:
            raise Finding(422, "This is the first step.", "Go on with what is asked.")
        save_atomic(path, text, text_hash(read_bytes(str(path))) if path.exists() else None)
        history.move(-1)
    return Done(result(_named(ask, line)), ask.address("learn", input=line.input))


def _text_of(path: Path) -> str:
    return decode(read_bytes(str(path)), path.name)


def _anew(ask: Ask) -> Done:
    def do(work: Learning) -> None:
        work.take(new_session(work.truck, work.line, drawer_beside(work.truck, ask.site.workspace.folder)))

    return _changed(ask, do, "begun anew")


def _write(ask: Ask) -> Done:
    """Write what was learned into the design; its comments stay."""
    line = line_of(ask, ask.form)
    work = work_of(ask, ask.form)
    design = ask.design
    if ask.text("session") != (work.seen or ""):
        raise Finding(
            409, "The session went on since this change was shown. Nothing was written.",
            "Look at the change again, then write it.", "session",
        )  # fmt: skip
    after, kept_out = work.design_after(design.text)
    if after == design.text:
        raise Finding(422, f"There is nothing to write yet. {kept_out}".strip(), "Go on with what is asked.")
    base = ask.text("base")
    if design.hash != base:
        raise ChangedUnderneath(design.path.name)
    made = ask.site.workspace.write(design.name, after, base, f"what was learned of {line.input}")
    done = {"design": made.name, "hash": made.hash, "kept_out": kept_out}
    return Done(done, ask.address("learn", input=line.input, written="1"))


def _named(ask: Ask, line: Line) -> Ask:
    return dataclasses.replace(ask, values={**ask.values, "input": line.input})


INPUT = Parameter("input", "The input, where the file has several.")
SESSION = Parameter("session", 'Hash of the session that the page was made from; "" for a new one.')
PAGE = Page(
    "learn", "/d/{design}/learn", "Learn the pin",
    "What source is behind this pin, and at which ohms does its meaning change?",
    result, "learn.html", context, links=("pin", "meaning"),
    parameters=(INPUT, Parameter("write", "1 shows what would be written.")),
    actions=(
        Action("begin", "Notes that the cautions were read.", _begin, (INPUT, SESSION)),
        Action(
            "answer", "Answers what is asked now.", _answer,
            (
                INPUT, SESSION, Parameter("typed", "Volts at the pin, or ohms, or a meaning."),
                Parameter("feed", "Volts before the resistor, where the pin is fed."),
                Parameter("supply", "The battery's volts, if read."), Parameter("ac", "Volts on the AC range."),
                Parameter("low", "Least volts."), Parameter("high", "Highest volts."),
                Parameter("unit", "The unit of bare ohms.", words=("ohm", "k", "M")),
                Parameter("press", "The meaning that shows; end for a potentiometer at its end."),
                Parameter("unknown", "1: don't know."), Parameter("sure", "yes keeps an odd reading.", words=("yes",)),
            ),
        ),
        Action("more", "Goes on though all that the design needs is found.", _more, (INPUT, SESSION)),
        Action(
            "settings", "Tells the meter, the reference and the like.", _settle,
            (
                INPUT, SESSION, Parameter("accuracy", "Of the meter on volts, as 0.5 % + 2."),
                Parameter("one_range", "1: all volts on one fixed range."), Parameter("pot", "1: a potentiometer."),
                Parameter("reference_v", "Volts of the reference."), Parameter("compares", "Judged against what."),
                Parameter("setting", "Version of the controller's setting."),
                Parameter("accepted", "Unseen stretches up to this share of full scale are taken as they look."),
            ),
        ),
        Action("back", "Goes one step back.", _back, (INPUT,)),
        Action("anew", "Begins anew; the former session is kept for going back.", _anew, (INPUT, SESSION)),
        Action(
            "write", "Writes what was learned into the design as measured; comments stay.", _write,
            (INPUT, SESSION, Parameter("base", "Hash of the version that the change was shown for.", required=True)),
        ),
    ),
)  # fmt: skip
