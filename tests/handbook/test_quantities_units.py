"""Unit factors against scipy.constants, a library of exact definitions and CODATA values. Seen: open copy."""

import pytest
from scipy import constants

from pinproof.quantities import parse

FACTORS = [
    ("1 in", "length", "inch"),
    ("1 ft", "length", "foot"),
    ("1 yd", "length", "yard"),
    ("1 mi", "length", "mile"),
    ("1 mph", "speed", "mph"),
    ("1 km/h", "speed", "kmh"),
    ("1 lb", "mass", "pound"),
    ("1 oz", "mass", "ounce"),
    ("1 lbf", "force", "pound_force"),
    ("1 min", "time", "minute"),
    ("1 h", "time", "hour"),
    ("1 F", "temperature_step", "degree_Fahrenheit"),
    ("1 kohm", "resistance", "kilo"),
    ("1 Mohm", "resistance", "mega"),
    ("1 GΩ", "resistance", "giga"),
    ("1 mohm", "resistance", "milli"),
    ("1 µs", "time", "micro"),
    ("1 nF", "capacitance", "nano"),
    ("1 pF", "capacitance", "pico"),
]


@pytest.mark.parametrize(("text", "dimension", "name"), FACTORS)
def test_unit_has_the_defined_size(text, dimension, name):
    """All are exact definitions; only the last bits of a float may differ."""
    assert parse(text, dimension) == pytest.approx(getattr(constants, name), rel=1e-15)


@pytest.mark.parametrize("fahrenheit", [-40.0, 0.0, 32.0, 68.0, 212.0])
def test_fahrenheit_scale(fahrenheit):
    """Sums of a few tens of degrees: 1e-12 is rounding."""
    expected = constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius")
    assert parse(f"{fahrenheit:g} °F", "temperature") == pytest.approx(expected, abs=1e-12)


def test_kelvin_scale():
    assert parse("300 K", "temperature") == pytest.approx(300.0 - constants.zero_Celsius, abs=1e-12)


def test_degree_of_arc():
    assert parse("1 rad", "angle") * constants.degree == pytest.approx(1.0, rel=1e-15)


def test_wire_area_in_square_inch():
    assert parse("1 in2", "area") == pytest.approx(constants.inch**2, rel=1e-15)
