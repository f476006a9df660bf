"""What was read so far: each point's history, whether it moved, and striking out a slip."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from pinproof.chain.bench import bands_of
from pinproof.drawings.history_plot import plot_of
from pinproof.record import Entry, open_record, readings_csv, record_path
from pinproof.record.history import History, as_json, drift_words, histories_of, limit_words
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, File, Page, Parameter

STRIKE = "in the table below"
MOST_PLOTS = 8


def entries_of(ask: Ask) -> tuple[Entry, ...]:
    """Every reading on record, struck ones too; nothing where nothing was measured."""
    path = ask.site.workspace.own(record_path(ask.design.path))
    if not path.exists():
        return ()
    with open_record(path, ask.truck.id) as record:
        return record.entries(struck=True)


def result(ask: Ask) -> dict[str, Any]:
    """The record as the command gives it; `station` leaves only one."""
    station = ask.values.get("station", "")
    every = entries_of(ask)
    entries = [each for each in every if station in ("", each.station)]
    if station and not entries:
        raise Finding(404, f'No reading of "{station[:80]}" is kept.', "Choose one from the record.", "station")
    return {
        "design": ask.design.name, "hash": ask.design.hash, "station": station,
        **as_json(ask.truck.id, entries, histories_of(entries)),
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Histories in words and drawn: those that moved, and those with most to show."""
    station = found["station"]
    entries = [each for each in entries_of(ask) if station in ("", each.station)]
    histories = histories_of(entries)
    worth = sorted((each for each in histories if each.unit), key=lambda each: (not each.moved, -len(each.entries)))
    drawn = worth if station else [each for each in worth if each.moved or len(each.entries) > 1][:MOST_PLOTS]
    rows = [
        {
            "station": each.station, "which": each.which, "among": each.among, "moved": each.moved,
            "words": drift_words(each.drift, each.unit, STRIKE), "count": len(each.entries), "last": each.entries[-1],
            "limit": limit_words(each.entries[-1]), "word": each.drift.word,
            "plots": _plots(ask, each, number) if each in drawn else None,
        }
        for number, each in enumerate(histories)
    ]  # fmt: skip
    wanted = ask.values.get("strike", "")
    asked = next((each for each in entries if str(each.number) == wanted and not each.struck_utc), None)
    return {
        "found": found, "histories": rows, "moved": [row for row in rows if row["moved"]], "station": station,
        "entries": [(each, limit_words(each)) for each in reversed(entries)], "asked": asked,
        "meters": list(dict.fromkeys(each.meter for each in entries if each.meter)),
    }  # fmt: skip


def _plots(ask: Ask, history: History, number: int) -> tuple[Any, Any]:
    bands = ask.site.work.once(
        ("bands", ask.design.hash, history.station), lambda: bands_of(ask.truck, history.station)
    )
    words = drift_words(history.drift, history.unit, STRIKE)
    wide, narrow = (
        plot_of(history, *bands, words=words, layout=layout, ident=f"history-{number}-{layout}")
        for layout in ("wide", "narrow")
    )
    return wide, narrow


def _strike(ask: Ask) -> Done:
    """Strike a reading out: it stays on record, and counts no more."""
    number, reason = ask.text("number"), ask.text("why").strip()
    if not number.isdecimal():
        raise Finding(422, f'"{number[:20]}" is no number of a reading.', "Choose one from the record.", "number")
    if not reason:
        raise Finding(
            422, "A reading is struck out only with a reason; nothing was changed.", "Say what went wrong.", "why"
        )
    path = ask.site.workspace.own(record_path(ask.design.path))
    if not path.exists():
        raise Finding(404, "Nothing was measured yet.", "Begin with the bench sheet.")
    with open_record(path, ask.truck.id) as record:
        record.strike(int(number), datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), reason)
    return Done({"struck": int(number)}, ask.address("record", station=ask.text("station")))


def _csv(ask: Ask) -> Any:
    """All readings as a list that can be read in again; programs get its text with its name."""
    name, text = f"{ask.design.name}-readings.csv", readings_csv(entries_of(ask))
    if ask.is_json:
        return {"file": name, "csv": text}
    return File(name, text.encode("utf-8"), "text/csv; charset=utf-8")


PAGE = Page(
    "record", "/d/{design}/record", "Record", "What was measured so far, and which points have moved?",
    result, "record.html", context, links=("reading",),
    parameters=(Parameter("station", "Only this station."), Parameter("strike", "Number of a reading to strike out.")),
    actions=(
        Action(
            "strike", "Strikes a reading out; it stays on record and counts no more.", _strike,
            (
                Parameter("number", "Which reading.", required=True),
                Parameter("why", "The reason, kept with it.", required=True),
                Parameter("station", "Goes back to this station."),
            ),
        ),
    ),
)  # fmt: skip
LIST = Page(
    "record-list", "/d/{design}/record/list", "Readings as a list", "Which readings are on record, as a CSV list?",
    _csv, menu=False,
)  # fmt: skip
