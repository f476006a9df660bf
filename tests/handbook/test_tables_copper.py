"""Copper wire against printed wire tables: NBS Circular 31 digits, a conversion table, IEC 60228, FAA AC 43.13-1B."""

import math

import pytest

from pinproof.errors import OutOfTable
from pinproof.quantities import parse, parse_gauge
from pinproof.tables import (
    aircraft_max_ohm_per_m,
    awg_area_m2,
    awg_diameter_m,
    class5_max_ohm_per_m,
    conductor,
    copper_ohm_per_m,
)

FOOT_M = 0.3048
# A wire-test-equipment maker's wire resistance table, same digits as NBS Circular 31; 4 to 6 AWG from a public wire
# table. Seen: secondary. AWG, Ω per 1000 ft at 20 °C.
OHM_PER_1000_FT = [
    (4, 0.2485), (5, 0.3133), (6, 0.3951), (12, 1.588), (14, 2.525), (15, 3.184), (16, 4.016), (17, 5.064),
    (18, 6.385), (19, 8.051), (20, 10.15), (22, 16.14), (23, 20.36), (24, 25.67), (25, 32.37), (26, 40.81),
    (27, 51.47), (28, 64.90), (29, 81.83), (30, 103.2),
]  # fmt: skip
# A public conversion table. Seen: secondary. AWG, mm, mm², Ω/km.
CONVERSION = [
    (10, 2.588, 5.26, 3.277),
    (12, 2.053, 3.31, 5.211),
    (14, 1.628, 2.08, 8.286),
    (16, 1.291, 1.31, 13.17),
    (18, 1.024, 0.823, 20.95),
    (20, 0.812, 0.518, 33.31),
    (22, 0.644, 0.326, 52.96),
    (24, 0.511, 0.205, 84.22),
    (26, 0.405, 0.129, 133.9),
]
# IEC 60228 class 5, plain copper, two pages that agree. Seen: secondary. mm², Ω/km at 20 °C.
CLASS_5 = [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4.0, 4.95), (6.0, 3.30), (10.0, 1.91)]
# FAA AC 43.13-1B CHG 1, table 11-9. Seen: open copy. AWG, Ω per 1000 ft at 20 °C.
AIRCRAFT = [(24, 28.40), (22, 16.20), (20, 9.88), (18, 6.23), (16, 4.81), (14, 3.06), (12, 2.02), (10, 1.26), (8, 0.70)]


@pytest.mark.parametrize(("awg", "printed"), OHM_PER_1000_FT)
def test_resistance_per_1000_ft(awg, printed):
    """Four digits are printed; half a unit in the last is at most 5 parts in 10 000."""
    assert conductor(awg=awg).ohm_per_m * 1000 * FOOT_M == pytest.approx(printed, rel=5e-4)


@pytest.mark.parametrize(("awg", "mm", "mm2", "ohm_per_km"), CONVERSION)
def test_conversion_table(awg, mm, mm2, ohm_per_km):
    """Half a unit in the last printed digit: 0.0005 mm, 0.4 % of a three-digit area, 4 in 10 000 of Ω/km."""
    assert awg_diameter_m(awg) * 1e3 == pytest.approx(mm, abs=6e-4)
    assert awg_area_m2(awg) * 1e6 == pytest.approx(mm2, rel=4e-3)
    assert conductor(awg=awg).ohm_per_m * 1e3 == pytest.approx(ohm_per_km, rel=4e-4)


def test_the_two_gauges_that_define_the_scale():
    """ASTM B258: No. 36 is 0.0050 in, No. 4/0 is 0.4600 in."""
    assert awg_diameter_m(36) == pytest.approx(0.0050 * 0.0254, rel=1e-12)
    assert awg_diameter_m(-3) == pytest.approx(0.4600 * 0.0254, rel=1e-12)


@pytest.mark.parametrize(("mm2", "ohm_per_km"), CLASS_5)
def test_class_5_limits(mm2, ohm_per_km):
    figure = class5_max_ohm_per_m(mm2 * 1e-6)
    assert figure.value * 1e3 == pytest.approx(ohm_per_km, rel=1e-9)
    assert not figure.from_memory
    assert figure.value > copper_ohm_per_m(mm2 * 1e-6)  # a limit below pure copper would be a slip


@pytest.mark.parametrize(("awg", "printed"), AIRCRAFT)
def test_aircraft_wire(awg, printed):
    assert aircraft_max_ohm_per_m(awg).value * 1000 * FOOT_M == pytest.approx(printed, rel=1e-9)


@pytest.mark.parametrize("temp_c", [-40.0, 0.0, 50.0, 85.0, 105.0])
def test_temperature_correction(temp_c):
    """FAA AC 43.13-1B p. 11-22 scales by 254.5 / (234.5 + T) for copper; its constant is rounded to 0.05 of 234.45."""
    ratio = copper_ohm_per_m(1e-6, temp_c) / copper_ohm_per_m(1e-6, 20.0)
    assert ratio == pytest.approx((234.5 + temp_c) / 254.5, rel=1e-3)


def test_five_metres_of_12_gauge_wire():
    """University Physics vol. 2: 2.053 mm, 5 m, 0.025 Ω with 1.68e-8 Ω·m, 2.6 % below IEC copper. Seen: open copy."""
    assert conductor(awg=12).ohm_per_m * 5.0 * 1.68 / 1.7241 == pytest.approx(0.025, abs=5e-4)


def test_area_and_gauge_texts_agree():
    assert parse("20 AWG", "gauge") == pytest.approx(awg_area_m2(20), rel=1e-15)
    assert parse_gauge("4/0 AWG").awg == -3
    assert parse_gauge("0000 AWG").awg == -3
    assert parse_gauge("AWG 22").area_m2 == awg_area_m2(22)
    assert (parse_gauge("0.5 mm2").kind, parse_gauge("0.5 mm2").awg) == ("mm2", None)


def test_area_of_a_conductor_matches_its_diameter():
    wire = conductor(area_m2=0.5e-6)
    assert math.pi / 4 * wire.diameter_m**2 == pytest.approx(0.5e-6, rel=1e-12)
    assert wire.awg is None


@pytest.mark.parametrize("awg", [-4, 41, 1000])
def test_gauges_outside_the_scale(awg):
    with pytest.raises(OutOfTable, match="40 AWG"):
        awg_diameter_m(awg)


@pytest.mark.parametrize("temp_c", [-61.0, 251.0, float("nan")])
def test_temperatures_outside_the_line(temp_c):
    with pytest.raises(OutOfTable, match="-60 to 250"):
        copper_ohm_per_m(1e-6, temp_c)


@pytest.mark.parametrize("area_m2", [0.0, -1e-6, float("nan")])
def test_areas_that_cannot_be(area_m2):
    with pytest.raises(ValueError, match="area_m2"):
        copper_ohm_per_m(area_m2)


def test_size_between_the_rows_is_refused():
    with pytest.raises(OutOfTable, match="0.75"):
        class5_max_ohm_per_m(0.6e-6)
