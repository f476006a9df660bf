"""Texts as people write them: one meaning each, or a fault that says what to do. Expected values follow by decimals."""

import math
import string
import subprocess
import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pinproof.errors import QuantityFault
from pinproof.quantities import DIMENSIONS, is_plus_minus, parse, parse_gauge, parse_span

MEANINGS = [
    ("8.2k", "resistance", 8200.0),
    ("8k2", "resistance", 8200.0),
    ("4K7", "resistance", 4700.0),
    ("4R7", "resistance", 4.7),
    ("R47", "resistance", 0.47),
    ("0R1", "resistance", 0.1),
    ("K47", "resistance", 470.0),
    ("47R", "resistance", 47.0),
    ("1M", "resistance", 1e6),
    ("1M5", "resistance", 1.5e6),
    ("1k25", "resistance", 1250.0),
    ("8.2 kohm", "resistance", 8200.0),
    ("8.2 k ohm", "resistance", 8200.0),
    ("8200 ohm", "resistance", 8200.0),
    ("8200Ω", "resistance", 8200.0),
    ("8200 \u2126", "resistance", 8200.0),
    ("8,2k", "resistance", 8200.0),
    ("1,5 kohm", "resistance", 1500.0),
    ("0,500 ohm", "resistance", 0.5),
    ("1500,250 ohm", "resistance", 1500.25),
    ("1,234.5 ohm", "resistance", 1234.5),
    ("1.234,5 ohm", "resistance", 1234.5),
    ("1,234,567 ohm", "resistance", 1234567.0),
    ("1 500 ohm", "resistance", 1500.0),
    ("1\u2009500 ohm", "resistance", 1500.0),
    ("1\u202f500,5 ohm", "resistance", 1500.5),
    ("3 mohm", "resistance", 0.003),
    ("3 mΩ", "resistance", 0.003),
    ("3 Mohm", "resistance", 3e6),
    ("3 MΩ", "resistance", 3e6),
    ("5 M", "resistance", 5e6),
    ("1e3 ohm", "resistance", 1000.0),
    ("1.2e-3 kohm", "resistance", 1.2),
    ("12.6 V", "voltage", 12.6),
    ("3V3", "voltage", 3.3),
    ("500 mV", "voltage", 0.5),
    ("\u22125 V", "voltage", -5.0),
    ("–5 V", "voltage", -5.0),
    ("20 mA", "current", 0.02),
    ("-20 °C", "temperature", -20.0),
    ("-20 C", "temperature", -20.0),
    ("60 K", "temperature_step", 60.0),
    ("31.5 in", "length", 0.8001),
    ('31.5"', "length", 0.8001),
    ("3/8 in", "length", 0.009525),
    ("1 1/2 in", "length", 0.0381),
    ("5 ft 6 in", "length", 1.6764),
    ("2 m", "length", 2.0),
    ("0.5 mm", "length", 0.0005),
    ("0.5 mm2", "area", 5e-7),
    ("0,5 mm²", "area", 5e-7),
    ("10 nF", "capacitance", 1e-8),
    ("4n7", "capacitance", 4.7e-9),
    ("5 ms", "time", 0.005),
    ("20 µs", "time", 2e-5),
    ("20 μs", "time", 2e-5),
    ("20 us", "time", 2e-5),
    ("1/4 W", "power", 0.25),
    ("0.05", "ratio", 0.05),
    ("5 %", "ratio", 0.05),
    ("35 %FS", "ratio", 0.35),
    ("35 % FS", "ratio", 0.35),
    ("5 %", "tolerance", 0.05),
    ("±5 %", "tolerance", 0.05),
    ("+/-1%", "tolerance", 0.01),
    ("100 ppm/K", "tempco", 1e-4),
    ("±100 ppm/°C", "tempco", 1e-4),
    ("0.39 %/K", "tempco", 0.0039),
    ("36 km/h", "speed", 10.0),
    ("6500 rpm", "rotation_rpm", 6500.0),
    ("3", "count", 3.0),
    ("50 Hz", "frequency", 50.0),
    ("1.2 mS", "conductance", 0.0012),
]


@pytest.mark.parametrize(("text", "dimension", "value"), MEANINGS)
def test_one_meaning(text, dimension, value):
    """Decimal scaling rounds once, so these are exact but for units that are not powers of ten."""
    assert parse(text, dimension) == pytest.approx(value, rel=4e-16)


@pytest.mark.parametrize(
    ("text", "dimension", "readings"),
    [
        ("1,500 ohm", "resistance", ("1.500 ohm", "1500 ohm")),
        ("12,600 V", "voltage", ("12.600 V", "12600 V")),
        ("-1,500 V", "voltage", ("-1.500 V", "-1500 V")),
        ("5 m", "resistance", ("5 milliohm", "5 megohm")),
    ],
)
def test_two_meanings_are_shown_and_none_is_taken(text, dimension, readings):
    with pytest.raises(QuantityFault) as caught:
        parse(text, dimension)
    assert caught.value.readings == readings
    assert all(reading in str(caught.value) for reading in readings)


FAULTS = [
    ("8200", "resistance", 'write "8200 ohm" or "8k2"'),
    ("0", "resistance", "unit is missing"),
    ("5", "tolerance", 'write "5 %"'),
    ("2", "length", '"2 mm"'),
    ("20", "gauge", '"20 AWG"'),
    ("12 V", "resistance", "This is a voltage; a resistance is needed"),
    ("10 m", "time", "This is a length"),
    ("20 AWG", "area", "This is a wire size"),
    ("1k5O", "resistance", '"1500 ohm" or "1k5"'),
    ("lk5", "resistance", '"1500 ohm" or "1k5"'),
    ("1O.5 V", "voltage", '"10.5 V"'),
    ("1k5k", "resistance", "1k5"),
    ("4K7K", "resistance", "tolerance letter"),
    ("4.7k±5%", "resistance", "apart"),
    ("±5 ohm", "resistance", "apart"),
    ("-5 ohm", "resistance", "below zero"),
    ("-5 %", "tolerance", "below zero"),
    ("-300 °C", "temperature", "absolute zero"),
    ("3.5", "count", "whole"),
    ("1 50 ohm", "resistance", "not one number"),
    ("1.2.3 ohm", "resistance", "not one number"),
    ("1,2,3 ohm", "resistance", "not one number"),
    ("1e400 ohm", "resistance", "too large"),
    ("1e-400 ohm", "resistance", "too small"),
    ("open", "resistance", "open circuit"),
    ("nan", "resistance", "not a resistance"),
    ("inf", "voltage", "not a voltage"),
    ("", "voltage", "Nothing"),
    ("5 furlongs", "length", "furlongs"),
    ("1/0 in", "length", "0 below the line"),
    ("9" * 65 + " ohm", "resistance", "69 characters"),
    ("99 AWG", "gauge", "4/0"),
    ("0 mm2", "gauge", "above zero"),
]


@pytest.mark.parametrize(("text", "dimension", "words"), FAULTS)
def test_faults_say_what_to_do(text, dimension, words):
    with pytest.raises(QuantityFault) as caught:
        parse_gauge(text) if dimension == "gauge" else parse(text, dimension)
    assert words in str(caught.value)


@pytest.mark.parametrize("thing", [8200, 1.5, True, None, float("nan"), ["8k2"], b"8k2"])
def test_anything_but_text_is_a_fault(thing):
    with pytest.raises(QuantityFault, match="text with its unit"):
        parse(thing, "resistance")


def test_open_only_where_allowed():
    assert parse("open", "resistance", allow_open=True) == math.inf
    assert parse("inf", "resistance", allow_open=True) == math.inf
    with pytest.raises(QuantityFault):
        parse("open", "voltage", allow_open=True)


def test_zero_has_no_sign():
    """1/-0.0 would be minus infinity: a shorted path with the wrong sign."""
    assert math.copysign(1.0, parse("-0 ohm", "resistance")) == 1.0
    assert math.copysign(1.0, parse("-0.0 V", "voltage")) == 1.0


def test_unknown_dimension_is_a_slip_in_the_code():
    with pytest.raises(ValueError, match="resistance"):
        parse("8k2", "resistence")


@given(st.text(max_size=70), st.sampled_from(sorted(DIMENSIONS)))
@example("1" + "0" * 63, "ratio")
@example("٣ V", "voltage")
@example("1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1 1", "ratio")
def test_any_text_gives_a_number_or_a_fault(text, dimension):
    try:
        value = parse(text, dimension)
    except QuantityFault:
        return
    assert math.isfinite(value)
    assert value >= DIMENSIONS[dimension].lowest


@given(
    st.text(alphabet=string.digits + "kKMRmVOol.,-+±eE /%°µΩ'\"to ", max_size=24), st.sampled_from(sorted(DIMENSIONS))
)
def test_near_quantities_give_a_number_or_a_fault(text, dimension):
    for reader in (parse, parse_span):
        try:
            found = reader(text, dimension)
        except QuantityFault:
            continue
        ends = found if isinstance(found, tuple) else (found, found)
        assert all(math.isfinite(end) for end in ends)
        assert ends[0] <= ends[1]


@pytest.mark.parametrize(
    ("text", "dimension", "span"),
    [
        ("9 V to 16 V", "voltage", (9.0, 16.0)),
        ("9..16 V", "voltage", (9.0, 16.0)),
        ("9-16 V", "voltage", (9.0, 16.0)),
        ("9 – 16 V", "voltage", (9.0, 16.0)),
        ("0 to 50 ohm", "resistance", (0.0, 50.0)),
        ("-20 to 85 °C", "temperature", (-20.0, 85.0)),
        ("-20--10 °C", "temperature", (-20.0, -10.0)),
        ("1k2-1k5", "resistance", (1200.0, 1500.0)),
        ("1e-3-2 ohm", "resistance", (0.001, 2.0)),
        ("5 to 10 %", "ratio", (0.05, 0.10)),
        ("500 mV to 2 V", "voltage", (0.5, 2.0)),
    ],
)
def test_spans(text, dimension, span):
    assert parse_span(text, dimension) == pytest.approx(span)


def test_span_may_end_in_an_open_circuit_where_allowed():
    assert parse_span("22k to open", "resistance", allow_open=True) == (22000.0, math.inf)
    with pytest.raises(QuantityFault):
        parse_span("22k to open", "resistance")


@pytest.mark.parametrize("text", ["12 V", "16-9 V", "9 V to 16", "to", "9 V to", "", "9 to 16", "x" * 70])
def test_spans_that_are_none(text):
    with pytest.raises(QuantityFault, match="range of two values"):
        parse_span(text, "voltage")


def test_plus_minus_is_noticed():
    assert [is_plus_minus(text) for text in ("±100 ppm/K", "+/- 5 %", "+5 V", "-5 V", "100 ppm/K")] == [
        True,
        True,
        False,
        False,
        False,
    ]


def test_importing_quantities_loads_no_array_library():
    code = "import sys, pinproof.quantities; print(sorted({'numpy', 'scipy', 'pydantic'} & set(sys.modules)))"
    path = [entry for entry in sys.path if entry]
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = {path!r}; {code}"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"
