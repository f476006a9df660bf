"""Resistor markings against worked examples on public pages restating IEC 60062. Seen: secondary."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.errors import QuantityFault
from pinproof.quantities.markings import bands, chip_code, letter_code, read_bands, read_chip_code, read_letter_code
from pinproof.quantities.preferred import series_values

# A colour-code chart page that restates IEC 60062, section of worked examples.
WORKED = [
    ("brown black red gold", 1000.0, 0.05),
    ("yellow violet red gold", 4700.0, 0.05),
    ("red red orange gold", 22000.0, 0.05),
    ("brown black black gold brown", 10.0, 0.01),
]
# Public pages restating the letter-and-digit clause of IEC 60062.
LETTERS = [
    ("R47", 0.47),
    ("4R7", 4.7),
    ("47R", 47.0),
    ("4K42", 4420.0),
    ("2K2", 2200.0),
    ("1M0", 1e6),
    ("100R", 100.0),
    ("4K99", 4990.0),
]
# A public electronics page citing EN 60062.
TOLERANCE_LETTERS = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0, "J": 5.0, "K": 10.0, "M": 20.0}
# Four public pages that agree on these tolerance colours.
TOLERANCE_COLOURS = {"brown": 1.0, "red": 2.0, "green": 0.5, "blue": 0.25, "gold": 5.0, "silver": 10.0}


@pytest.mark.parametrize(("row", "ohm", "tolerance"), WORKED)
def test_worked_examples_both_ways(row, ohm, tolerance):
    first = read_bands(row)[0]
    assert (first.ohm, first.tolerance, first.direction) == (ohm, pytest.approx(tolerance), "as listed")
    assert bands(ohm, tolerance, count=len(row.split())) == tuple(row.split())


def test_a_row_that_reads_from_both_ends_gives_both_values():
    """Follows from the table: both end bands are digits and tolerances."""
    found = {(one.direction, one.ohm) for one in read_bands(["brown", "black", "black", "brown", "brown"])}
    assert found == {("as listed", 1000.0), ("reversed", 110.0)}


def test_gold_end_settles_the_direction():
    assert [one.direction for one in read_bands("gold red black brown")] == ["reversed"]


def test_a_row_equal_from_both_ends_is_one_reading_with_a_note():
    readings = read_bands("red red red")
    assert [one.ohm for one in readings] == [2200.0]
    assert "both ends" in readings[0].note


def test_six_bands_carry_the_temperature_coefficient():
    row = bands(1000.0, 0.01, count=6, tempco_ppm=50.0)
    assert row == ("brown", "black", "black", "brown", "brown", "red")
    assert read_bands(row)[0].tempco_ppm_per_k == 50.0


@pytest.mark.parametrize(("colour", "percent"), TOLERANCE_COLOURS.items())
def test_tolerance_colours(colour, percent):
    assert bands(1000.0, percent / 100.0)[3] == colour


@pytest.mark.parametrize("colour", ["grey", "orange", "yellow"])
def test_disputed_tolerance_colours_say_so(colour):
    reading = read_bands(["red", "red", "red", colour])[0]
    assert reading.disputed
    assert "disputed" in reading.note


def test_grey_tolerance_is_from_memory():
    assert read_bands("red red red grey")[0].from_memory
    assert not read_bands("red red red gold")[0].from_memory


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("brown black", "2 were given"),
        ("brown black mauve gold", "mauve"),
        ("gold black red gold", "as listed: gold in band 1 is not a digit"),
        ("white black red white", "white in band 4 is not a tolerance"),
        ("black black red gold", "zero"),
    ],
)
def test_impossible_rows_say_why(row, why):
    with pytest.raises(QuantityFault) as caught:
        read_bands(row)
    assert why in str(caught.value)


def test_values_that_need_more_digits_are_refused():
    with pytest.raises(QuantityFault, match="2 significant digits"):
        bands(4420.0, 0.01, count=4)
    with pytest.raises(QuantityFault, match="tolerance that has a colour"):
        bands(4700.0, 0.03)


@given(
    st.sampled_from(series_values("E96")),
    st.integers(-1, 8),
    st.sampled_from(sorted(TOLERANCE_COLOURS.values())),
)
def test_bands_read_back_to_the_value(multiplier, decade, percent):
    ohm = float(f"{multiplier}e{decade}")
    row = bands(ohm, percent / 100.0, count=5)
    assert any(
        one.ohm == pytest.approx(ohm) and one.tolerance == pytest.approx(percent / 100.0) for one in read_bands(row)
    )


@pytest.mark.parametrize(("code", "ohm"), LETTERS)
def test_letter_codes_both_ways(code, ohm):
    assert [one.ohm for one in read_letter_code(code)] == [ohm]
    assert letter_code(ohm) == code


@pytest.mark.parametrize(("letter", "percent"), TOLERANCE_LETTERS.items())
def test_tolerance_letters(letter, percent):
    reading = read_letter_code(f"4R7{letter}")[0]
    assert (reading.ohm, reading.tolerance) == (4.7, pytest.approx(percent / 100.0))
    assert letter_code(4.7, percent / 100.0) == f"4R7{letter}"
    assert not reading.from_memory


def test_position_decides_between_multiplier_and_tolerance():
    """4K7K is 4.7 kΩ 10 % on the pages that restate the clause."""
    reading = read_letter_code("4K7K")[0]
    assert (reading.ohm, reading.tolerance) == (4700.0, pytest.approx(0.10))
    assert read_letter_code("47K")[0].tolerance is None


def test_remembered_letters_are_flagged():
    assert read_letter_code("47L")[0].from_memory
    assert read_letter_code("4K7W")[0].from_memory


def test_digits_with_a_multiplier_letter_have_two_meanings():
    assert [(one.ohm, one.tolerance) for one in read_letter_code("471K")] == [(471e3, None), (470.0, 0.1)]


@given(st.sampled_from(series_values("E96")), st.integers(0, 8), st.sampled_from(sorted(TOLERANCE_LETTERS.values())))
def test_letter_codes_read_back(multiplier, decade, percent):
    ohm = float(f"{multiplier}e{decade}")
    readings = read_letter_code(letter_code(ohm, percent / 100.0))
    assert any(one.ohm == ohm and one.tolerance == pytest.approx(percent / 100.0) for one in readings)


@pytest.mark.parametrize("text", ["", "K", "4m7", "4K7X", "123", "4K7KK", "4 K7", "x" * 50])
def test_other_texts_are_no_letter_code(text):
    with pytest.raises(QuantityFault):
        read_letter_code(text)


def test_chip_codes():
    """Common practice, no source: digits and a number of zeros. Here only that both directions agree."""
    for digits in (3, 4):
        for multiplier in series_values("E24" if digits == 3 else "E96"):
            for decade in range(-1, 7):
                ohm = float(f"{multiplier}e{decade}")
                assert read_chip_code(chip_code(ohm, digits))[0].ohm == ohm


def test_chip_code_that_is_often_taken_for_ohms():
    assert [(one.ohm, one.mistaken) for one in read_chip_code("100")] == [(10.0, False), (100.0, True)]
    assert [(one.ohm, one.mistaken) for one in read_chip_code("471")] == [(470.0, False)]


@pytest.mark.parametrize("text", ["", "1", "12", "047", "01C", "12345", "4K7", "R"])
def test_other_texts_are_no_chip_code(text):
    with pytest.raises(QuantityFault):
        read_chip_code(text)


@pytest.mark.parametrize("ohm", [0.0, -1.0, float("inf"), float("nan")])
def test_only_a_value_above_zero_can_be_marked(ohm):
    with pytest.raises(QuantityFault):
        bands(ohm, 0.05)
    with pytest.raises(QuantityFault):
        letter_code(ohm)
