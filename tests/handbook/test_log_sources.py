"""Units of logs against pint; the lag between two recordings against published cycles and their measurement.

Seen: data files in tests/data/drive_cycles, copied with licence. The lags and the 0.338 mph were computed from these
files by a party that did not know the code.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pint
import pytest

from pinproof.logs.roles import UNITS
from pinproof.logs.skew import lag_between

CYCLES = Path(__file__).parents[1] / "data" / "drive_cycles"
MPH = 0.44704
UNIT_PAIRS = [  # ours, pint's, the unit of the role, kind
    ("rpm", "revolution / minute", "revolution / minute", "rotation"),
    ("rev/s", "revolution / second", "revolution / minute", "rotation"),
    ("Hz", "revolution / second", "revolution / minute", "rotation"),
    ("rad/s", "radian / second", "revolution / minute", "rotation"),
    ("km/h", "kilometer / hour", "meter / second", "speed"),
    ("mph", "mile / hour", "meter / second", "speed"),
    ("ft/s", "foot / second", "meter / second", "speed"),
    ("knot", "knot", "meter / second", "speed"),
    ("mV", "millivolt", "volt", "voltage"),
    ("%", "percent", "dimensionless", "ratio"),
    ("g", "standard_gravity", "meter / second ** 2", "acceleration"),
    ("ft/s²", "foot / second ** 2", "meter / second ** 2", "acceleration"),
]


@pytest.mark.parametrize(("ours", "theirs", "into", "kind"), UNIT_PAIRS)
def test_units_are_those_of_pint(ours: str, theirs: str, into: str, kind: str) -> None:
    """Factor to the role's unit; no offset."""
    registry = pint.UnitRegistry()
    factor, offset = UNITS[kind][ours]
    assert offset == 0.0
    assert factor == pytest.approx(registry.Quantity(1.0, theirs).to(into).magnitude, rel=1e-9)


@pytest.mark.parametrize(("ours", "theirs"), [("°C", "degC"), ("°F", "degF"), ("K", "kelvin")])
def test_temperatures_are_those_of_pint(ours: str, theirs: str) -> None:
    """With their offsets, at three points."""
    registry = pint.UnitRegistry()
    factor, offset = UNITS["temperature"][ours]
    for value in (250.0, 300.0, 400.0):
        wanted = registry.Quantity(value, theirs).to("degC").magnitude
        assert value * factor + offset == pytest.approx(wanted, abs=1e-6)


def series(name: str, column: int) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and one column of a file of the cycles."""
    rows = np.genfromtxt(CYCLES / name, delimiter=",", skip_header=1, usecols=(0, column), encoding="utf-8-sig")
    return rows[:, 0], rows[:, 1]


def test_lag_of_a_measured_cycle_is_nought() -> None:
    """The dynamometer follows the urban schedule at no lag, 0.338 mph root mean square."""
    at, driven_mph = series("dyno_measured_city.csv", 2)
    planned_s, planned = series("udds.csv", 1)
    found = lag_between(planned_s, planned, at, driven_mph * MPH, step_s=1.0, least_s=-30.0, most_s=30.0)
    assert found is not None and not found.edge
    assert found.lag_s == pytest.approx(0.0, abs=0.5)
    off = np.interp(planned_s, at, driven_mph) - planned / MPH
    assert np.sqrt(np.mean(off**2)) == pytest.approx(0.338, abs=0.0015)


def test_the_second_pass_of_a_cycle_is_found_at_its_second() -> None:
    """The highway cycle was driven twice; its second pass begins at 780 s."""
    at, driven_mph = series("dyno_measured_highway_twice.csv", 2)
    planned_s, planned = series("hwfet.csv", 1)
    found = lag_between(planned_s, planned, at, driven_mph * MPH, step_s=1.0, least_s=700.0, most_s=850.0)
    assert found is not None and not found.edge
    assert found.lag_s == pytest.approx(780.0, abs=1.0)
