"""What is written reads back: parse is the inverse of format_value, for every dimension and both unit systems."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.quantities import DIMENSIONS, format_ohm_short, format_value, parse

RANGES = {
    "temperature": (-273.0, 3000.0),
    "temperature_step": (-500.0, 500.0),
    "tempco": (-0.1, 0.1),
    "ratio": (-10.0, 10.0),
    "angle": (-720.0, 720.0),
    "length": (1e-6, 1e6),
    "area": (1e-9, 1.0),
    "gauge": (1e-9, 1e-3),
}


def values_of(dimension):
    """Values that occur, of both signs where that can be."""
    low, high = RANGES.get(dimension, (-1e9 if DIMENSIONS[dimension].lowest < 0 else 0.0, 1e9))
    return st.floats(low, high, allow_nan=False).filter(lambda value: value == 0.0 or abs(value) > 1e-13)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("dimension", [name for name in DIMENSIONS if name != "count"])
@given(data=st.data())
def test_twelve_digits_read_back(dimension, system, data):
    """Twelve digits leave 5e-12; a temperature shifted by 32 °F keeps that only in absolute terms."""
    value = data.draw(values_of(dimension))
    if dimension == "gauge" and system == "us":
        return  # a size near a gauge is named by that gauge; the next test looks at it
    if dimension == "gauge" and value == 0.0:
        return
    text = format_value(value, dimension, digits=12, system=system)
    floor = 1e-9 if dimension in ("temperature", "temperature_step") else 0.0
    assert parse(text, dimension) == pytest.approx(value, rel=6e-12, abs=floor), text


@given(st.floats(1e-9, 1e-4))
def test_a_wire_named_by_gauge_is_within_half_a_per_cent(area_m2):
    text = format_value(area_m2, "gauge", digits=12, system="us")
    assert parse(text, "gauge") == pytest.approx(area_m2, rel=5.1e-3)


@given(st.integers(0, 10**9))
def test_counts_read_back(count):
    assert parse(format_value(float(count), "count"), "count") == count


@given(st.floats(1e-3, 1e12))
def test_short_form_reads_back(ohm):
    assert parse(format_ohm_short(ohm, digits=12), "resistance") == pytest.approx(ohm, rel=6e-12)


@given(st.floats(1e-3, 1e9), st.integers(1, 12))
def test_rounding_is_to_the_digits_asked_for(ohm, digits):
    assert parse(format_value(ohm, "resistance", digits=digits), "resistance") == pytest.approx(
        ohm, rel=0.5000001 * 10 ** (1 - digits)
    )


@pytest.mark.parametrize(
    ("value", "dimension", "system", "text"),
    [
        (2880.0, "resistance", "metric", "2.88 kΩ"),
        (410.0, "resistance", "metric", "410 Ω"),
        (22000.0, "resistance", "metric", "22 kΩ"),
        (999.96, "resistance", "metric", "1 kΩ"),
        (0.012, "resistance", "metric", "12 mΩ"),
        (0.0, "resistance", "metric", "0 Ω"),
        (math.inf, "resistance", "metric", "open"),
        (math.nan, "voltage", "metric", "not known"),
        (math.inf, "voltage", "metric", "no upper limit"),
        (-math.inf, "voltage", "metric", "no lower limit"),
        (12.6, "voltage", "metric", "12.6 V"),
        (-0.5, "voltage", "metric", "-500 mV"),
        (0.354, "ratio", "metric", "35.4 %"),
        (0.05, "tolerance", "metric", "±5 %"),
        (1e-4, "tempco", "metric", "100 ppm/K"),
        (0.8001, "length", "us", "31.5 in"),
        (0.8001, "length", "metric", "800.1 mm"),
        (20.0, "temperature", "us", "68 °F"),
        (10.0, "speed", "metric", "36 km/h"),
        (5e-7, "gauge", "metric", "0.5 mm²"),
        (6500.0, "rotation_rpm", "metric", "6500 rpm"),
        (12345678.0, "count", "metric", "12345678"),
        (150.0, "time", "metric", "2.5 min"),
    ],
)
def test_how_values_look(value, dimension, system, text):
    assert format_value(value, dimension, system=system) == text


@pytest.mark.parametrize(
    ("ohm", "text"),
    [(8200.0, "8k2"), (470.0, "470R"), (4.7, "4R7"), (0.47, "R47"), (1000.0, "1k"), (1.5e6, "1M5"), (0.0, "0R")],
)
def test_short_form(ohm, text):
    assert format_ohm_short(ohm) == text


def test_slips_in_calling_code():
    with pytest.raises(ValueError, match="resistance"):
        format_value(1.0, "resistence")
    with pytest.raises(ValueError, match="metric"):
        format_value(1.0, "length", system="imperial")
    with pytest.raises(ValueError, match="digits"):
        format_value(1.0, "length", digits=0)
    with pytest.raises(ValueError, match="zero or above"):
        format_ohm_short(-1.0)
