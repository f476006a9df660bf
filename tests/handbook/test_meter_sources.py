"""Meter sums against figures printed elsewhere; each with its source and how it was seen."""

from __future__ import annotations

import pytest

from pinproof.design import loads
from pinproof.meter import Band, Outcome, expected, stations
from pinproof.meter.instrument import error_limit, temperature_factor
from pinproof.meter.judge import decide
from pinproof.wiring import line_view

# reading, share of reading, digits, worth of a digit, printed limit, half a unit of the last printed digit
ACCURACY = [
    # An instrument maker's help page on "% of reading + counts" (open copy): 120 V, 6000 counts, 1 % + 3.
    (120.0, 0.01, 3, 600.0 / 6000, 1.5, 0.05),
    # A trade page on meter accuracy (secondary): 100.0 V at 1 % + 2 lies between 98.8 and 101.2 V.
    (100.0, 0.01, 2, 0.1, 1.2, 0.05),
    # A distributor's page (secondary): 2.000 V on a 5.000 V range, 0.08 % + 2 lies between 1.9964 and 2.0036 V.
    (2.000, 0.0008, 2, 0.001, 0.0036, 0.00005),
    # A trade page (secondary): 2 V at 0.5 % + 3, resolution 0.001 V: error 0.013 V.
    (2.0, 0.005, 3, 0.001, 0.013, 0.0005),
    # The same kind of page (secondary): 1.755 V on three and a half digits, 0.5 % + 1: about 0.010 V.
    (1.755, 0.005, 1, 0.001, 0.010, 0.0005),
    # A student's evaluation of a resistance reading (open copy): 0.8 % + 3 of 0.1 ohm, 1.2888 + 0.3 = 1.5888 ohm. The
    # sheet writes the reading as 161.6 once and as 161.1 in its result; 0.8 % of 161.1 is the 1.2888 it adds.
    (161.1, 0.008, 3, 0.1, 1.5888, 0.00005),
]


@pytest.mark.parametrize(("reading", "relative", "digits", "digit", "printed", "half_unit"), ACCURACY)
def test_accuracy_examples(
    reading: float, relative: float, digits: int, digit: float, printed: float, half_unit: float
) -> None:
    """Percent of reading plus digits, as their makers and others work it out."""
    assert error_limit(reading, relative, digits, digit) == pytest.approx(printed, abs=half_unit)


@pytest.mark.parametrize(("ambient_c", "factor"), [(18.0, 1.0), (28.0, 1.0), (8.0, 2.5), (38.0, 2.5), (17.0, 1.15)])
def test_error_grows_outside_its_temperatures(ambient_c: float, factor: float) -> None:
    """A bench meter's printed data (open copy): outside 18 to 28 °C add 0.15 × the applicable accuracy per °C."""
    assert temperature_factor(ambient_c, 18.0, 28.0, 0.15) == pytest.approx(factor, abs=1e-12)


@pytest.mark.parametrize(
    ("measured", "outcome"),
    [
        (7.99, Outcome.AS_BUILT),
        (8.0, Outcome.AS_BUILT),  # at the acceptance limit: the rule says less than or equal
        (8.01, Outcome.CANNOT_TELL),
        (10.0, Outcome.CANNOT_TELL),
        (12.0, Outcome.CANNOT_TELL),
        (12.01, Outcome.WRONG),
    ],
)
def test_guarded_acceptance_and_rejection(measured: float, outcome: Outcome) -> None:
    """Tolerance limit 10, guard band 2 = U: accept up to 10 - 2, reject above 10 + 2, nothing said between.

    The rule of ISO 14253-1 and of the non-binary statement with guard band after JCGM 106 and ILAC-G8:09/2019, as a
    calibration laboratory prints it (secondary). At the upper limit itself the ends touch and nothing is said.
    """
    limit = Band(0.0, 10.0)
    assert decide(measured - 2.0, measured + 2.0, limit, limit)[0] is outcome


TWO_RESISTORS = """
format = 1
id = "pp-loading"
[supply]
run = "24 V"
[temperature]
low = "20 °C"
high = "20 °C"
[[input]]
id = "mid"
pull_up = "none"
pull_down = "none"
compares = "volts"
full_scale = "24 V"
error = "0 %"
[[line]]
id = "pair"
input = "mid"
form = "elements"
idle = "rest"
source_side = "feed"
feed_from = "battery"
feed_drop = "none"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
windows = "free"
[[line.element]]
id = "upper"
kind = "resistor"
between = ["feed", "pin"]
value = { value = "250 Mohm", tolerance = "0 %", tempco = "0 ppm/K", ageing = "0 %" }
[[line.element]]
id = "lower"
kind = "resistor"
between = ["pin", "ground"]
value = { value = "250 Mohm", tolerance = "0 %", tempco = "0 ppm/K", ageing = "0 %" }
[[line.element]]
id = "button"
kind = "contact"
between = ["pin", "spare"]
contact = "press"
[[device]]
id = "pod"
[[contact]]
id = "press"
line = "pair"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "go"
closed = "0 ohm"
open = "none"
"""


def test_a_meter_loads_what_it_measures() -> None:
    """An open textbook on DC metering (open copy): 24 V over two 250 MΩ, a 10 MΩ meter across the lower.

    It prints 9.615 MΩ for the lower pair; 24 V × 9.615 / (250 + 9.615) = 0.8889 V. Without the meter 12 V.
    """
    truck = loads(TWO_RESISTORS)
    view = line_view(truck, "pair")
    station = next(each for each in stations(truck) if each.id == "pair/volts/idle")
    loaded = expected(view, station, meter_ohm=10e6)
    assert loaded.nominal == pytest.approx(24.0 * 9.615 / 259.615, abs=5e-5)
    assert loaded.as_built is not None
    assert loaded.as_built.low <= loaded.nominal <= loaded.as_built.high
    assert expected(view, station, meter_ohm=1e15).nominal == pytest.approx(12.0, abs=1e-4)


def test_leads_count_in_small_resistances() -> None:
    """An instrument maker's article (secondary): leads of about 0.2 Ω can be a tenth of a reading of 2 Ω."""
    from dataclasses import replace

    from pinproof.meter import read_typed, starter
    from pinproof.meter.judge import interval

    meter = replace(starter(), lead_low_ohm=0.0, lead_high_ohm=0.2)
    low, high, limit = interval(read_typed("2.0 ohm", "resistance"), "resistance", meter, None, (0.0, 0.2))
    assert (high - low - 2.0 * limit) / 2.0 == pytest.approx(0.1)
