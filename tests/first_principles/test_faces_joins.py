"""What pages and commands share on the truck's side: one judgement, one search, one meter file, one history."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from pinproof.chain.bench import Bench
from pinproof.design import load
from pinproof.drawings.reading_span import reading_span
from pinproof.examples import example_path
from pinproof.find import Diagnosis, Said, Session, read
from pinproof.find.why import why
from pinproof.meter import Band, Taken, bench_sheet, starter
from pinproof.meter.instrument import STARTER, MeterFault, instrument_of, instrument_text, written
from pinproof.meter.sheet import judged_in
from pinproof.meter.stations import SUPPLIES
from pinproof.record import Entry
from pinproof.record.history import as_json, drift_words, histories_of


@pytest.mark.parametrize("name", ["heron", "dunlin"])
def test_one_reading_is_judged_as_the_whole_sheet_judges_it(name: str, tmp_path: Path) -> None:
    """The quick way and the whole sheet agree on every station, with the leads read before and a cold meter."""
    truck, meter = load(str(example_path(name))), starter()
    before = {"truck/leads/all": Taken("0.25 ohm", None)}
    sheet = bench_sheet(truck, meter, before, ambient_c=12.0)
    texts = {"resistance": ("8.240k", "0.4 ohm", "OL"), "voltage": ("4.98 V",), "note": ("bad chafed",)}
    tried = 0
    for row in sheet.rows:
        if row.station.id in SUPPLIES.values():
            continue
        for text in texts.get(row.station.quantity, ("invalid",)):
            whole = bench_sheet(truck, meter, {**before, row.station.id: Taken(text, None)}, ambient_c=12.0)
            quick = judged_in(sheet, meter, row.station.id, Taken(text, None), 12.0)
            assert repr(quick) == repr(whole.row(row.station.id)), (row.station.id, text)
            tried += 1
    assert tried > 30
    bench = Bench(truck, tmp_path / "none.toml", meter, None, "", tmp_path / "none.sqlite")
    supply = SUPPLIES[7]
    assert bench.judged(supply, "12.6 V", bench.blank) == bench.judged(supply, "12.6 V")


def test_a_search_told_something_else_is_as_one_begun_anew() -> None:
    """What is shared between two diagnoses of a line changes no probability and no next look."""
    truck = load(str(example_path("wagtail")))
    base = Diagnosis(truck, "buttons")
    Session(base).advice()
    for said in (Said("in service", frozenset({"water"})), Said("new build"), Said(symptoms=frozenset({"loads"}))):
        told = Session(base.told(said)).adding(read(base, "ohms idle = 8.2k")).advice()
        fresh = Diagnosis(truck, "buttons", said)
        anew = Session(fresh).adding(read(fresh, "ohms idle = 8.2k")).advice()
        assert [(c.name, c.probability) for c in told.posterior.classes] == [
            (c.name, c.probability) for c in anew.posterior.classes
        ]
        assert told.step == anew.step


def test_why_is_the_posterior_without_each_reading() -> None:
    """Each reading left out by hand gives the same, and the largest change comes first."""
    diagnosis = Diagnosis(load(str(example_path("wagtail"))), "buttons")
    seen = [read(diagnosis, "ohms idle = OL"), read(diagnosis, "meaning button_up = invalid")]
    session = Session(diagnosis).adding(*seen)
    name = diagnosis.posterior(seen).first.name
    found = why(session, name)
    by_hand = {one.look.id: diagnosis.posterior([other for other in seen if other is not one]).of(name) for one in seen}
    assert {each.look: each.without for each in found} == by_hand
    moved = [abs(math.log((e.now / (1 - e.now)) / (e.without / (1 - e.without)))) for e in found]
    assert moved == sorted(moved, reverse=True)
    with pytest.raises(KeyError):
        why(session, "gremlins")


def test_a_meter_file_is_written_as_it_was_read() -> None:
    """What the form shows of the starter makes the starter again; faults are named all at once."""
    heads, ranges = written(STARTER, "starter")
    assert instrument_of(instrument_text(heads, ranges), "again") == instrument_of(STARTER, "starter")
    with pytest.raises(MeterFault) as fault:
        instrument_text({**heads, "counts": "many", "leads_low": "9 ohm"}, [("6 kohm", "good")])
    told = str(fault.value)
    assert "counts" in told and "range 1.accuracy" in told and "range for dc volts" in told


def entry(mark: str, value: float, taken: str, station: str = "a/ohms/idle") -> Entry:
    """A reading with a meter that may be off by 10 ohms."""
    return Entry(station, mark, value, "ohm", f"{value:g} ohm", taken, "meter", 10.0)


def test_histories_keep_circuits_apart() -> None:
    """Two circuits of one station are two histories; a struck reading counts in neither."""
    struck = Entry(
        "a/ohms/idle", "x", 5.0, "ohm", "5", "2026-03-01T10:00:00Z", "meter", 1.0, struck_utc="2026", number=9
    )
    entries = [
        entry("x", 100.0, "2026-03-01T10:00:00Z"), entry("y", 500.0, "2026-03-02T10:00:00Z"),
        entry("x", 200.0, "2026-03-03T10:00:00Z"), struck,
    ]  # fmt: skip
    found = histories_of(entries)
    assert [(e.fingerprint, e.which, e.among, len(e.entries), e.moved) for e in found] == [
        ("x", 1, 2, 2, True), ("y", 2, 2, 1, False)
    ]  # fmt: skip
    assert "+100 Ω in 2 days" in drift_words(found[0].drift, "ohm")
    assert len(as_json("truck", entries, found)["readings"]) == 4  # type: ignore[arg-type]


def test_a_reading_is_drawn_where_it_lies() -> None:
    """Inside, beyond on either side, open: bars keep their order, arrows point where the reading is."""
    built, works = Band(95.0, 105.0), Band(80.0, 130.0)
    inside = reading_span(built, works, 98.0, 102.0, "ohm")
    assert "read: 98 Ω to 102 Ω" in inside.description.replace("\u00a0", " ")

    def bar(svg: str) -> list[tuple[float, float]]:
        return [
            (float(x), float(x) + float(w))
            for x, w in re.findall(r'<rect x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"', svg)
        ]

    (works_low, works_high), (built_low, built_high), (low, high) = bar(inside.svg)
    assert works_low < built_low < low < high < built_high < works_high
    assert (built_high - built_low) / (works_high - works_low) == pytest.approx(10.0 / 50.0, abs=0.002)
    above, below = (reading_span(built, works, *ends, "ohm").svg for ends in ((900.0, 910.0), (1.0, 2.0)))
    assert "<path" in above and "<path" in below and above != below
    opened = reading_span(Band(10e6, math.inf), Band(1e6, math.inf), 60e6, math.inf, "ohm")
    assert "or more" in opened.description
    with pytest.raises(ValueError):
        reading_span(built, works, 98.0, 102.0, "A")
    with pytest.raises(ValueError):
        reading_span(built, works, math.nan, 102.0, "ohm")
