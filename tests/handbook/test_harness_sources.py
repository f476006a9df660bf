"""Sizing, bundles and shrink against outside numbers. Each case names its document; none is from memory."""

from __future__ import annotations

import math

import pytest

from pinproof.harness.bundle import bundle_m, shrink_for, sleeve_for, splice_object_m
from pinproof.harness.size import allow_a, hot_ohm_per_m, ohm_per_m, table_current_a
from pinproof.tables import awg_area_m2, crimp_pull_n

# FAA AC 43.13-1B CHG 1, page 11-22 (open copy): ohm per foot, feet, ampere, printed volts.
DROPS = [
    (0.00044, 107, 20, 0.942), (0.00028, 90, 20, 0.504), (0.00306, 100, 20, 6.12), (0.00126, 39, 20, 0.98),
    (0.00126, 156, 20, 3.93), (0.00126, 273, 20, 6.88),
]  # fmt: skip


@pytest.mark.parametrize(("ohm_per_ft", "feet", "ampere", "printed_v"), DROPS)
def test_volt_drop_is_ohms_times_length_times_current_as_the_circular_prints_it(ohm_per_ft, feet, ampere, printed_v):
    """Two or three digits are printed: half a unit in the last."""
    assert ohm_per_ft * feet * ampere == pytest.approx(printed_v, abs=0.005)


def test_two_rows_of_the_circular_are_misprints():
    """19.5 ft of 0.00126 ohm at 20 A is printed 0.366; 88 ft of 0.00202 is printed 3.60."""
    assert pytest.approx(0.4914, abs=5e-5) == 0.00126 * 19.5 * 20
    assert abs(0.00126 * 19.5 * 20 - 0.366) > 0.1
    assert pytest.approx(3.555, abs=5e-4) == 0.00202 * 88 * 20


# IEC 60228 class 5, plain copper, restated identically on two pages (secondary): mm², ohm per km at 20 °C.
@pytest.mark.parametrize(("area_mm2", "printed"), [(0.5, 39.0), (0.75, 26.0), (1, 19.5), (1.5, 13.3), (2.5, 7.98),
                                                   (4, 4.95), (6, 3.30)])  # fmt: skip
def test_ohms_of_flexible_copper(area_mm2, printed):
    assert ohm_per_m(area_mm2 * 1e-6) * 1000 == pytest.approx(printed, rel=1e-9)


def test_hot_copper_against_the_circulars_own_rule():
    """AC 43.13-1B 11-22: resistance goes with 234.5 + t. The coefficient 0.00393 at 20 °C is the same within 0.1 %."""
    for temp_c in (70.0, 105.0, 150.0):
        wanted = 39.0e-3 * (234.5 + temp_c) / 254.5
        assert hot_ohm_per_m(0.5e-6, temp_c) == pytest.approx(wanted, rel=1e-3)


# AC 43.13-1B table 11-9 (open copy): AWG, then 105, 150, 200 °C insulation. [A]
@pytest.mark.parametrize("row", [(24, 2.5, 4, 5), (22, 3, 5, 6), (20, 4, 7, 9), (18, 6, 9, 12), (16, 7, 11, 14),
                                 (14, 10, 14, 18), (12, 13, 19, 25), (10, 17, 26, 32), (8, 38, 57, 71)])  # fmt: skip
def test_bundle_currents_at_their_own_conditions(row):
    for insulation, printed in zip((105, 150, 200), row[1:], strict=True):
        area_m2 = awg_area_m2(row[0])
        assert allow_a(area_m2, insulation, 70.0) == pytest.approx(printed, rel=1e-9)
        assert allow_a(area_m2, insulation, insulation) == 0.0
        assert allow_a(area_m2, insulation, insulation - (insulation - 70.0) / 4) == pytest.approx(printed / 2)


def test_between_gauges_the_line_is_straight_in_logarithms():
    low, high = awg_area_m2(20), awg_area_m2(18)
    assert table_current_a(math.sqrt(low * high), 105) == pytest.approx(math.sqrt(4.0 * 6.0))


# Smallest circle around n equal ones: closed forms of plane geometry, known to be optimal.
@pytest.mark.parametrize(("count", "ratio"), [
    (1, 1.0), (2, 2.0), (3, 1 + 2 / math.sqrt(3)), (4, 1 + math.sqrt(2)),
    (5, 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5)))),
    (6, 3.0), (7, 3.0), (8, 1 + 1 / math.sin(math.pi / 7)), (9, 1 + math.sqrt(2 * (2 + math.sqrt(2)))),
    (19, 1 + math.sqrt(2) + math.sqrt(6)),
])  # fmt: skip
def test_equal_wires_are_packed_exactly(count, ratio):
    found = bundle_m([0.002] * count)
    assert found.exact and found.diameter_m == pytest.approx(0.002 * ratio, rel=1e-8)


def test_three_unequal_wires_touch_the_circle_around_them():
    """Built from their centres: two that touch the outer circle and each other, the third touching both as well."""
    found = bundle_m([6.0, 4.0, 2.0])  # radii 3, 2, 1: the third just fits beside the two in line
    assert found.diameter_m == pytest.approx(10.0)
    for sizes in ([5.0, 4.5, 4.0], [3.0, 2.9, 2.0]):
        outer = bundle_m(sizes).diameter_m / 2
        r = [each / 2 for each in sizes]
        a = (outer - r[0], 0.0)
        along = ((outer - r[0]) ** 2 + (outer - r[1]) ** 2 - (r[0] + r[1]) ** 2) / (2 * (outer - r[0]))
        b = (along, math.sqrt((outer - r[1]) ** 2 - along**2))
        across = ((outer - r[0]) ** 2 + (outer - r[2]) ** 2 - (r[0] + r[2]) ** 2) / (2 * (outer - r[0]))
        c = (across, -math.sqrt((outer - r[2]) ** 2 - across**2))
        assert math.dist(b, c) == pytest.approx(r[1] + r[2], rel=1e-9)
        assert math.dist(a, b) == pytest.approx(r[0] + r[1], rel=1e-9)


def test_small_bundles_that_the_usual_factor_makes_too_thin():
    """1.2·√n is less than the exact ratio for 2 to 6 and 9 equal wires."""
    for count in (2, 3, 4, 5, 6, 9):
        assert bundle_m([1.0] * count).diameter_m > 1.2 * math.sqrt(count)


def test_shrink_guide_example():
    """A tubing maker's guide (secondary): supplied 1.00 in, recovered 0.50 in fits objects of 0.55 to 0.80 in."""
    tube = [(1.00, 0.50)]
    assert shrink_for(0.55, tube) == shrink_for(0.80, tube) == (1.00, 0.50)
    assert shrink_for(0.549, tube) is None and shrink_for(0.801, tube) is None


def test_sleeve_leaves_a_quarter_more():
    """AC 43.13-1B 11-249 (open copy): conduit about 25 % larger than the bundle."""
    assert sleeve_for(0.0064) == 0.008 and sleeve_for(0.00641) == 0.010 and sleeve_for(0.04) is None
    assert splice_object_m([0.002, 0.002, 0.002]) == pytest.approx(1.2 * math.sqrt(3) * 0.002 + 0.001)


def test_crimp_pulls_of_the_gauges_that_are_sized():
    """UL 486A as two terminal makers restate it (secondary). [N]"""
    printed = {22: 35.6, 20: 57.9, 18: 89.0, 16: 133.5, 14: 222.5, 12: 311.5, 10: 356.0, 8: 400.5}
    assert {gauge: crimp_pull_n(gauge).value for gauge in printed} == printed
