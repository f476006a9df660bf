"""Instrument, typed readings, judging and questions."""

from __future__ import annotations

import dataclasses
import math
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.design import load
from pinproof.errors import OutOfTable, QuantityFault
from pinproof.examples import NAMES, example_path
from pinproof.meter import (
    Band,
    BenchSheet,
    Expectation,
    MeterFault,
    Outcome,
    Station,
    Taken,
    bench_sheet,
    judge,
    load_instrument,
    read_typed,
    starter,
    uncertainty,
)
from pinproof.meter.instrument import STARTER, instrument_of, save_starter
from pinproof.meter.judge import decide, judge_words, leads_of
from pinproof.meter.sheet import as_json, headline, sheet_csv, sheet_tables
from pinproof.meter.typed import last_digit

OHMS = Station("taps/ohms/up", 5, "ohms", "resistance", "taps", "up", operated=("up",))
NUMBERS = st.floats(-1e3, 1e6)


def test_starter_is_what_its_file_says(tmp_path: Path) -> None:
    """The built-in meter and the file that is written are the same; the file is never written over."""
    path = tmp_path / "meter.toml"
    save_starter(path)
    assert load_instrument(path) == starter()
    with pytest.raises(Exception, match=r"meter\.toml"):
        save_starter(path)


@pytest.mark.parametrize(
    ("reading", "ambient_c", "limit"),
    [
        (100.0, None, 1.1),  # 0.9 % of 100 + 2 steps of 0.1
        (1500.0, None, 15.5),  # + 2 steps of 1
        (1500.0, 23.0, 15.5),
        (1500.0, 5.0, 15.5 * 2.3),  # 13 degrees below 18, a tenth each
        (5.999e6, None, 0.009 * 5.999e6 + 2000.0),
        (10e6, None, 0.02 * 10e6 + 50_000.0),
        (0.0, None, 0.2),
    ],
)
def test_uncertainty_of_the_starter(reading: float, ambient_c: float | None, limit: float) -> None:
    """Arithmetic of percent + digits on the range that an autoranging meter takes."""
    assert uncertainty(starter(), "resistance", reading, ambient_c).limit == pytest.approx(limit, rel=1e-12)


def test_uncertainty_counts_what_was_written_down() -> None:
    """Fewer digits, or a higher range, weigh more; never less."""
    fine = uncertainty(starter(), "resistance", 1500.0, noted=1.0).limit
    assert fine == pytest.approx(15.5)
    assert uncertainty(starter(), "resistance", 1500.0, noted=0.1).limit == pytest.approx(15.5)
    assert uncertainty(starter(), "resistance", 1500.0, noted=10.0).limit == pytest.approx(33.5)
    assert uncertainty(starter(), "resistance", 1500.0, noted=100.0).limit == pytest.approx(213.5)
    with pytest.raises(OutOfTable, match="60 MΩ"):
        uncertainty(starter(), "resistance", 61e6)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("counts = 6000", 'counts = "many"', "counts"),
        ('basis = "assumed" ', 'basis = "hoped" ', "basis"),
        ('leads_low = "0.1 ohm"', 'leads_low = "0.9 ohm"', "leads_low"),
        ('full = "60 Mohm"', 'full = "60"', "range 6.full"),
        ('accuracy = "2 % + 5"', 'accuracy = "good"', "range 6.accuracy"),
        ("zeroed = false", 'zeroed = "no"', "zeroed"),
        ("zeroed = false", "zerod = false", "zerod"),
        ("format = 1", "format = 2", "format"),
        ('accurate_to = "28 °C"', 'accurate_to = "8 °C"', "accurate_from"),
        ('per_degree = "10 %"', 'per_degree = "-10 %"', "per_degree"),
    ],
)
def test_a_bad_meter_file_says_where(old: str, new: str, said: str) -> None:
    """Each fault is named by its key."""
    assert old in STARTER
    with pytest.raises(MeterFault) as caught:
        instrument_of(STARTER.replace(old, new), "meter.toml")
    assert said in str(caught.value)


def test_all_faults_of_a_meter_file_at_once() -> None:
    """One run names them all; rubbish is refused."""
    text = STARTER.replace("counts = 6000", "counts = 0").replace('accuracy = "2 % + 5"', 'accuracy = "x"')
    with pytest.raises(MeterFault) as caught:
        instrument_of(text, "meter.toml")
    assert len(caught.value.faults) == 2
    for rubbish in ("", "[[", "range = 3", "format = 1\nrange = [1]", "range = []"):
        with pytest.raises(MeterFault):
            instrument_of(rubbish, "meter.toml")


@pytest.mark.parametrize(
    ("text", "quantity", "value", "noted"),
    [
        ("2.880k", "resistance", 2880.0, 1.0),
        ("2.88 kohm", "resistance", 2880.0, 10.0),
        ("4k7", "resistance", 4700.0, 100.0),
        ("470R", "resistance", 470.0, 1.0),
        ("0.4 Ω", "resistance", 0.4, 0.1),
        ("-0.4 ohm", "resistance", -0.4, 0.1),
        ("12.60 V", "voltage", 12.6, 0.01),
        ("-43 mV", "voltage", -0.043, 0.001),
        ("1,497 Mohm", None, 0.0, 0.0),
        ("OL", "resistance", math.inf, 0.0),
        ("0.L", "resistance", math.inf, 0.0),
        ("open", "resistance", math.inf, 0.0),
    ],
)
def test_readings_as_people_type_them(text: str, quantity: str | None, value: float, noted: float) -> None:
    """Value and worth of the last digit; what reads two ways is refused."""
    if quantity is None:
        with pytest.raises(QuantityFault):
            read_typed(text, "resistance")
        return
    typed = read_typed(text, quantity)  # type: ignore[arg-type]
    assert typed.value == pytest.approx(value)
    assert typed.noted == pytest.approx(noted)


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("4.42", "resistance"), ("5 V", "resistance"), ("5 ohm", "voltage"), ("OL", "voltage"), ("1", "resistance"),
     ("", "resistance"), ("nan", "voltage"), ("inf V", "voltage"), ("4O ohm", "resistance")],
)  # fmt: skip
def test_what_is_no_reading_is_refused(text: str, quantity: str) -> None:
    """No unit, another unit, letters for digits: questioned at once, never guessed."""
    with pytest.raises(QuantityFault):
        read_typed(text, quantity)  # type: ignore[arg-type]


@given(st.integers(0, 59_999), st.integers(0, 3))
def test_last_digit_is_one_step(number: int, places: int) -> None:
    """Written with so many places, one step of the last is ten to that power less."""
    text = f"{number / 10**places:.{places}f} kohm"
    assert last_digit(text, "resistance") == pytest.approx(1000.0 * 10.0**-places)


@given(NUMBERS, NUMBERS, NUMBERS, st.floats(0.0, 1e3), st.floats(0.0, 1e3), st.floats(0.0, 1e3))
def test_nothing_is_said_that_some_value_contradicts(
    low: float, built: float, works: float, wide: float, built_wide: float, works_wide: float
) -> None:
    """Whatever value inside the interval is the true one, an outcome that is certain holds for it."""
    as_built = Band(built, built + built_wide)
    whole = Band(min(works, built), max(works + works_wide, built + built_wide))
    high = low + wide
    outcome, surely = decide(low, high, as_built, whole)
    for value in (low, high, (low + high) / 2.0, low + 0.1 * wide):
        value = min(max(value, low), high)
        in_built, in_works = as_built.low <= value <= as_built.high, whole.low <= value <= whole.high
        assert not surely or in_works
        assert outcome is not Outcome.AS_BUILT or (in_built and in_works)
        assert outcome is not Outcome.WORKS or (in_works and not in_built)
        assert outcome is not Outcome.WRONG or not in_works


EXPECTED = Expectation(Band(980.0, 1020.0), Band(950.0, 1100.0), 1000.0)


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("1.000k", Outcome.AS_BUILT),  # ±11 Ω and 0.1 to 0.3 Ω of leads: 988.7 to 1010.9
        ("1.008k", Outcome.AS_BUILT),
        ("1.012k", Outcome.CANNOT_TELL),  # 1023 at most
        ("1.050k", Outcome.WORKS),  # 1038 to 1061
        ("1.090k", Outcome.CANNOT_TELL),
        ("1.130k", Outcome.WRONG),
        ("930.0 ohm", Outcome.WRONG),
        ("OL", Outcome.WRONG),
        ("-5 ohm", Outcome.CANNOT_TELL),
        ("99 Mohm", Outcome.CANNOT_TELL),
    ],
)
def test_four_outcomes(text: str, outcome: Outcome) -> None:
    """Inside, outside and across each limit, the meter's error and the leads taken off."""
    found = judge(OHMS, EXPECTED, read_typed(text, "resistance"), starter())
    assert found.outcome is outcome, found
    assert found.text


def test_a_cold_bench_widens_the_guard_band() -> None:
    """What passes at 20 °C cannot be told at -10 °C."""
    typed = read_typed("1.000k", "resistance")
    assert judge(OHMS, EXPECTED, typed, starter(), ambient_c=20.0).outcome is Outcome.AS_BUILT
    assert judge(OHMS, EXPECTED, typed, starter(), ambient_c=-10.0).outcome is Outcome.CANNOT_TELL


def test_the_meter_that_would_tell_tells() -> None:
    """The error named as needed is the one with which the same reading is no longer open."""
    rng = random.Random(3)
    told = 0
    for _ in range(400):
        value = rng.uniform(900.0, 1150.0)
        typed = read_typed(f"{value:.1f} ohm", "resistance")
        found = judge(OHMS, EXPECTED, typed, starter(), lead_ohm=(0.1, 0.3))
        if found.outcome is not Outcome.CANNOT_TELL or math.isnan(found.limit_needed):
            continue
        point = (typed.value - 0.3 - 0.999 * found.limit_needed, typed.value - 0.1 + 0.999 * found.limit_needed)
        assert EXPECTED.as_built is not None and EXPECTED.works is not None
        assert decide(*point, EXPECTED.as_built, EXPECTED.works)[0] is not Outcome.CANNOT_TELL
        told += 1
    assert told > 30


def test_an_open_display_says_no_more_than_the_top_range() -> None:
    """A meter that ends at 2 MΩ cannot show 10 MΩ."""
    isolation = Expectation(Band(10e6, math.inf), Band(20e3, math.inf), math.inf, is_open=True)
    typed = read_typed("OL", "resistance")
    assert judge(OHMS, isolation, typed, starter()).outcome is Outcome.AS_BUILT
    small = dataclasses.replace(starter(), ranges=tuple(each for each in starter().ranges if each.full <= 600e3))
    found = judge(OHMS, isolation, typed, small)
    assert found.outcome is Outcome.CANNOT_TELL
    assert found.works_surely


def test_leads_are_taken_off_as_measured() -> None:
    """What both tips showed together replaces the file's figure; zeroed leads leave a digit either way."""
    assert leads_of(starter()) == (0.1, 0.3)
    assert leads_of(starter(), read_typed("0.4 ohm", "resistance")) == pytest.approx((0.3, 0.5))
    assert leads_of(dataclasses.replace(starter(), zeroed=True)) == (-0.1, 0.1)


def sheet_with(name: str, readings: dict[str, str]) -> BenchSheet:
    """A sheet of an example with these readings."""
    return bench_sheet(
        load(example_path(name)), starter(), {key: Taken(text) for key, text in readings.items()}
    )  # fmt: skip


@pytest.mark.parametrize(
    ("station", "text", "kinds", "words"),
    [
        ("taps/ohms/lever_manual", "825.0 ohm", ["decade"], "8.25 kΩ would fit"),
        ("taps/ohms/lever_manual", "8.250 ohm", ["decade"], "8.25 kΩ would fit"),
        ("taps/ohms/lever_manual", "2.880k", ["other-situation"], "lever_manual + lever_up"),
        ("taps/ohms/lever_manual+lever_up", "1.125k", ["other-situation"], "lever_manual + lever_down"),
        ("taps/ohms/lever_manual", "OL", ["open"], "really held"),
        ("taps/ohms/idle", "8.250k", ["other-situation"], "lever_manual"),
        ("taps/ohms/idle", "-2.0 ohm", ["negative"], "live"),
        ("taps/ohms/idle", "400 Mohm", ["no-range"], "60 MΩ"),
        ("taps/ohms/lever_manual", "8.2k", ["digits"], "more digits"),
        ("taps/ohms/lever_manual", "8.250k", [], ""),
        ("taps/volts/lever_manual+lever_up", "340.0 mV", ["decade"], "3.4 V"),
    ],
)
def test_odd_readings_are_questioned(station: str, text: str, kinds: list[str], words: str) -> None:
    """Decade slips, another situation's value, open, negative, too few digits: asked about in words."""
    row = sheet_with("sandpiper", {station: text}).row(station)
    assert row.judgement is not None
    assert [each.kind for each in row.judgement.doubts] == kinds
    assert not words or words in row.judgement.doubts[0].question
    if kinds:
        assert row.judgement.outcome is not Outcome.AS_BUILT


def test_a_swap_that_reads_the_same_is_not_asked_about() -> None:
    """Lever and wheel have the same resistor: no question can tell them apart, so none is asked."""
    row = sheet_with("sandpiper", {"taps/ohms/lever_manual+lever_up": "2.830k"}).row("taps/ohms/lever_manual+lever_up")
    assert row.judgement is not None
    assert not any("wheel_up" in each.question for each in row.judgement.doubts)


def test_words_and_notes() -> None:
    """A reported meaning must be an allowed one; a note begins with ok or bad."""
    note = Station("truck/eyes/all", 1, "eyes", "note", None, "look")
    told = Station("taps/reported/up", 8, "reported", "meaning", "taps", "up", operated=("up",))
    assert judge_words(note, Expectation(words=("ok",)), "OK, all dry").outcome is Outcome.AS_BUILT
    assert judge_words(note, Expectation(words=("ok",)), "bad: chafed at the firewall").outcome is Outcome.WRONG
    assert judge_words(note, Expectation(words=("ok",)), "chafed").outcome is Outcome.CANNOT_TELL
    assert judge_words(told, Expectation(words=("up",)), "up").outcome is Outcome.AS_BUILT
    assert judge_words(told, Expectation(words=("up",)), "down").outcome is Outcome.WRONG


def test_a_measured_supply_sharpens_the_volts() -> None:
    """With the battery read in the same minutes the band of the volts is a fraction of what it was."""
    before = sheet_with("sandpiper", {}).row("taps/volts/lever_manual").expectation.as_built
    after = sheet_with("sandpiper", {"truck/supply/plugged": "12.40 V"}).row("taps/volts/lever_manual").expectation
    assert before is not None and after.as_built is not None
    assert (after.as_built.high - after.as_built.low) < 0.3 * (before.high - before.low)
    assert before.low <= after.as_built.low and after.as_built.high <= before.high


@pytest.mark.parametrize("name", NAMES)
def test_a_perfect_truck_never_reads_wrong(name: str) -> None:
    """Nominal values read by a perfect hand: as built or, where this meter is too coarse, cannot tell; works surely."""
    blank = sheet_with(name, {})
    readings = {}
    for row in blank.rows:
        said, station = row.expectation, row.station
        if station.quantity == "note":
            readings[station.id] = "ok"
        elif station.quantity == "meaning":
            readings[station.id] = said.words[0]
        elif station.kind == "leads":
            readings[station.id] = "0.2 ohm"
        elif math.isinf(said.nominal):
            readings[station.id] = "OL"
        elif station.quantity == "voltage":
            value = 12.4 if station.kind == "supply" else said.nominal * 12.4 / 13.8
            readings[station.id] = f"{value:.3f} V" if abs(value) < 6.0 else f"{value:.2f} V"
        else:
            ohm = said.nominal + 0.2
            readings[station.id] = f"{ohm:.1f} ohm" if ohm < 600.0 else f"{ohm / 1000.0:.3f} kohm"
    if name != "sandpiper":  # these divide by a reference, not by the battery
        readings = {key: text for key, text in readings.items() if "/volts/" not in key and "/hot/" not in key}
    sheet = sheet_with(name, readings)
    for row in sheet.rows:
        if row.judgement is not None:
            assert row.judgement.outcome in (Outcome.AS_BUILT, Outcome.CANNOT_TELL), row
            if row.judgement.outcome is Outcome.CANNOT_TELL:
                assert row.station.quantity in ("resistance", "voltage"), row
    assert sheet.count(Outcome.AS_BUILT) > 0.5 * len(readings), headline(sheet)
    assert sheet.surely_works == len(readings), headline(sheet)


def test_the_sheet_as_text_tables_and_csv() -> None:
    """Every station stands once in each; a cell that nobody filled is empty."""
    sheet = sheet_with("heron", {"shift/ohms/idle": "3.900k"})
    ids = [row.station.id for row in sheet.rows]
    assert sorted(row[0] for table in sheet_tables(sheet) for row in table.rows) == sorted(ids)
    read = {row[0]: row[4] for table in sheet_tables(sheet) for row in table.rows}
    assert {key for key, text in read.items() if text} == {"shift/ohms/idle"}
    lines = sheet_csv(sheet).splitlines()
    assert len(lines) == len(ids) + 1
    plain = as_json(sheet)
    assert len(plain["stations"]) == len(ids)  # type: ignore[arg-type]
    assert "1 of" in headline(sheet)
