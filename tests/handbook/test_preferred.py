"""Preferred numbers against IEC 60063 as restated publicly, and against its geometric rule. Seen: secondary."""

import pytest

from pinproof.errors import OutOfTable
from pinproof.quantities.preferred import (
    SERIES,
    commonest_series,
    in_series,
    nearest,
    series_values,
    usual_tolerance,
    values_between,
)

# IEC 60063:2015, table 1, as restated on public pages on preferred component values.
PRINTED = {
    "E3": [1.0, 2.2, 4.7],
    "E6": [1.0, 1.5, 2.2, 3.3, 4.7, 6.8],
    "E12": [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2],
}
# Where the published E24 differs from 10^(k/24) rounded to two digits: (rounded, published).
E24_EXCEPTIONS = [(2.6, 2.7), (2.9, 3.0), (3.2, 3.3), (3.5, 3.6), (3.8, 3.9), (4.2, 4.3), (4.6, 4.7), (8.3, 8.2)]
# E24 values that E192 does not contain, from the same comparison of the published lists.
NOT_IN_E192 = [2.2, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 5.1, 5.6, 6.2, 6.8, 8.2, 9.1]
USUAL_PERCENT = {"E3": 40, "E6": 20, "E12": 10, "E24": 5, "E48": 2, "E96": 1, "E192": 0.5}


@pytest.mark.parametrize("series", PRINTED)
def test_published_values(series):
    assert list(series_values(series)) == PRINTED[series]


def test_e24_is_the_rounded_geometric_series_with_eight_known_exceptions():
    rounded = [round(10 ** (k / 24), 1) for k in range(24)]
    different = [(a, b) for a, b in zip(rounded, series_values("E24"), strict=True) if a != b]
    assert different == E24_EXCEPTIONS


@pytest.mark.parametrize("count", [48, 96, 192])
def test_fine_series_follow_the_rule_with_one_exception(count):
    """IEC 60063: round(100 * 10^(k/n)); E192 has 9.20 where the rule gives 9.19."""
    rounded = [round(100 * 10 ** (k / count)) / 100 for k in range(count)]
    different = [(a, b) for a, b in zip(rounded, series_values(f"E{count}"), strict=True) if a != b]
    assert different == ([(9.19, 9.2)] if count == 192 else [])


def test_e48_lies_in_e96_and_e96_in_e192_but_not_e24():
    assert set(series_values("E48")) < set(series_values("E96")) < set(series_values("E192"))
    assert [value for value in series_values("E24") if value not in series_values("E192")] == NOT_IN_E192


@pytest.mark.parametrize("series", SERIES)
def test_usual_tolerance(series):
    assert usual_tolerance(series) == pytest.approx(USUAL_PERCENT[series] / 100)


def test_values_between_includes_both_ends_and_decades():
    assert values_between("E3", 10.0, 1000.0) == (10.0, 22.0, 47.0, 100.0, 220.0, 470.0, 1000.0)
    assert values_between("E12", 8200.0, 8200.0) == (8200.0,)
    assert values_between("E3", 1.1, 2.1) == ()


@pytest.mark.parametrize(("low", "high"), [(0.0, 10.0), (10.0, 1.0), (1.0, float("inf")), (float("nan"), 1.0)])
def test_impossible_limits_are_refused(low, high):
    with pytest.raises(ValueError, match="limits"):
        values_between("E24", low, high)


def test_nearest_is_by_ratio_and_crosses_the_decade():
    assert nearest("E12", 940.0) == 1000.0
    assert nearest("E3", 3216.0) == 4700.0  # above sqrt(2200*4700) = 3215.6, though below the middle, 3450
    assert nearest("E3", 3215.0) == 2200.0


@pytest.mark.parametrize("series", SERIES)
def test_nearest_of_a_member_is_itself(series):
    for ohm in values_between(series, 1.0, 1e6):
        assert nearest(series, ohm) == ohm
        assert in_series(series, ohm)


def test_commonest_series():
    assert [commonest_series(ohm) for ohm in (1000.0, 1500.0, 8200.0, 9100.0, 4420.0, 1020.0, 1010.0, 4421.0)] == [
        "E3",
        "E6",
        "E12",
        "E24",
        "E48",
        "E96",
        "E192",
        None,
    ]


def test_unknown_series_names_the_known_ones():
    with pytest.raises(OutOfTable, match="E192"):
        series_values("E13")
