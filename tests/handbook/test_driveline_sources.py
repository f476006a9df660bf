"""Driveline sums against numbers that this project did not make.

A public technical note of 1995 on gear sums: 1750 rpm, 29.00 in, 2.72 gives 55.51 mph, with 12, 5280, 60 and pi
written out (seen: open copy). A public how-to page: a wheel of 30 in at 300 rpm makes 672.3 rev/mile and 26.8 mph
(seen: open copy). A public page on metric sizes: 205/55 R16 is 24.88 in across, 78.16 in around, 810.6 rev/mile, from
63 360 in per mile (seen: open copy). A public sum for 225/65-16: 27.52 in across (seen: open copy). A maker's page on
the rolling radius of loaded tyres: radius = 168 × reduction × mph ÷ rpm in inches, 2651.51 × reduction × km/h ÷ rpm in
millimetres (seen: open copy). Units: the library `pint`.
"""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.driveline import (
    Span,
    circumference_of_size,
    engine_rpm,
    output_rpm,
    pulses_per_m,
    remains,
    road_speed,
)
from pinproof.quantities import parse
from pinproof.quantities.tyre_size import diameter_of_size

UNITS = pint.UnitRegistry()
INCH_M = 0.0254
MILE_M = 1609.344


def at(value: float) -> Span:
    return Span.exact(value)


def test_speed_from_rpm_as_the_note_prints_it() -> None:
    circumference = at(math.pi * 29.00 * INCH_M)
    speed = road_speed(at(1750.0), circumference, at(2.72))
    assert speed.value / MILE_M * 3600.0 == pytest.approx(55.51, abs=0.005)


def test_wheel_of_thirty_inches() -> None:
    circumference = math.pi * 30.0 * INCH_M
    assert MILE_M / circumference == pytest.approx(672.3, abs=0.05)
    assert road_speed(at(300.0), at(circumference), at(1.0)).value / MILE_M * 3600.0 == pytest.approx(26.8, abs=0.05)


@pytest.mark.parametrize(
    ("size", "inches"),
    [
        ("205/55R16", 24.88),
        ("205/55 R 16", 24.88),
        ("225/65-16", 27.52),
        ("37x12.50R17", 37.0),
        ("31X10.50R15LT", 31.0),
    ],
)
def test_diameter_of_a_size(size: str, inches: float) -> None:
    assert diameter_of_size(size) / INCH_M == pytest.approx(inches, abs=0.005)


def test_revolutions_of_a_metric_size_without_deflection() -> None:
    """The page takes π; the sum of this project takes a factor, so π is given as the factor here."""
    around = circumference_of_size("205/55R16", at(math.pi))
    assert around.value / INCH_M == pytest.approx(78.16, abs=0.01)
    assert MILE_M / around.value == pytest.approx(810.6, abs=0.1)


def test_rolling_radius_as_the_maker_prints_it() -> None:
    """168 is 63 360 ÷ (60 × 2π) = 168.07 cut to three digits; 2651.51 is 1e6 ÷ (60 × 2π) = 2652.58, off by 0.04 %."""
    radius_m = 168.0 * 10.0 * 15.0 / 1680.0 * INCH_M
    engine = output_rpm(at(15.0 * MILE_M / 3600.0), at(2.0 * math.pi * radius_m), at(10.0))
    assert engine.value == pytest.approx(1680.0, rel=5e-4)
    radius_m = 2651.51 * 10.0 * 20.0 / 1500.0 / 1000.0
    engine = output_rpm(at(20.0 / 3.6), at(2.0 * math.pi * radius_m), at(10.0))
    assert engine.value == pytest.approx(1500.0, rel=5e-4)


@given(st.floats(1.0, 400.0), st.floats(10.0, 60.0), st.floats(0.5, 20.0), st.floats(0.3, 6.0), st.floats(0.0, 0.5))
def test_the_speed_formula_in_pint(km_h: float, inches: float, reduction: float, gear: float, slip: float) -> None:
    speed, diameter = UNITS.Quantity(km_h, "km/hour"), UNITS.Quantity(inches, "inch")
    wheel = (speed / (math.pi * diameter) * UNITS.Quantity(1.0, "turn")).to("turn/minute").magnitude
    circumference = at((math.pi * diameter).to("metre").magnitude)
    found = output_rpm(at(speed.to("metre/second").magnitude), circumference, at(reduction))
    assert found.value == pytest.approx(wheel * reduction, rel=1e-9)
    expected = wheel * reduction * gear / (1.0 - slip)
    assert engine_rpm(found, at(gear), at(1.0 - slip)).value == pytest.approx(expected, rel=1e-9)


@given(st.floats(300.0, 9000.0), st.floats(20.0, 50.0), st.floats(1.0, 60.0))
def test_us_units_give_the_customary_formula(rpm: float, inches: float, ratio: float) -> None:
    mile_in = UNITS.Quantity(1.0, "mile").to("inch").magnitude
    mph = rpm * inches / (ratio * mile_in / (60.0 * math.pi))
    speed = road_speed(at(rpm), at(math.pi * inches * INCH_M), at(ratio))
    assert UNITS.Quantity(speed.value, "metre/second").to("mile/hour").magnitude == pytest.approx(mph, rel=1e-9)


@given(st.integers(1, 200), st.floats(1.0, 5.0), st.floats(1.0, 30.0))
def test_pulses_there_and_back(teeth: int, circumference_m: float, turns: float) -> None:
    """A way of 1 km in pulses, and the turns of the wheel that gave them."""
    per_m = pulses_per_m(at(float(teeth)), at(circumference_m), at(turns))
    wheel_turns = 1000.0 / circumference_m
    assert per_m.value * 1000.0 == pytest.approx(wheel_turns * turns * teeth, rel=1e-9)


def test_nothing_slips_where_there_is_no_converter() -> None:
    assert engine_rpm(at(1000.0), at(2.0), remains(None)) == at(2000.0)


@pytest.mark.parametrize(
    ("text", "dimension", "unit"),
    [
        ("2 m/s2", "acceleration", "metre / second**2"),
        ("6.5 ft/s2", "acceleration", "foot / second**2"),
        ("0.2 g", "acceleration", "standard_gravity"),
        ("533 rev/mile", "turns_per_length", "1 / mile"),
        ("331 revs/km", "turns_per_length", "1 / kilometre"),
    ],
)
def test_units_of_the_driveline_in_pint(text: str, dimension: str, unit: str) -> None:
    to = "metre / second**2" if dimension == "acceleration" else "1 / metre"
    expected = UNITS.Quantity(float(text.split()[0]), unit).to(to).magnitude
    assert parse(text, dimension) == pytest.approx(expected, rel=1e-12)
