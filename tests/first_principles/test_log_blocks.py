"""What is found in a log does not depend on how its rows are cut, nor on short cuts where nothing happens."""

from __future__ import annotations

import numpy as np
import pytest

from pinproof.logs.blocks import Block
from pinproof.logs.extremes import Extreme
from pinproof.logs.ratio import gears_of
from pinproof.logs.runs import Runs, RunsOf, Spread

RATIOS = (4.0, 2.4, 1.55, 1.15, 0.85, 0.67)
COLUMNS = ("value", "before_s", "first_s", "last_s", "count", "sum", "first_x", "last_x")


def rows_with_gaps(seed: int, rows: int = 4000) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stamps with gaps, states with long stays and empty cells, and the rows before which data are missing."""
    rng = np.random.default_rng(seed)
    step_s = np.full(rows, 0.01)
    gaps = np.sort(rng.choice(np.arange(1, rows), 6, replace=False))
    step_s[gaps[:3]] = 2.0  # long: told by the stamps; the others only by what the reader says
    values = np.repeat(rng.integers(0, 3, rows // 100), 100).astype(float)
    values[rng.integers(0, rows, 40)] = rng.integers(0, 3, 40)
    hole = int(rng.integers(0, rows - 300))
    values[hole : hole + int(rng.integers(1, 300))] = np.nan
    return np.cumsum(step_s), values, gaps


def one_by_one(time_s: np.ndarray, values: np.ndarray, gaps: set[int], gap_s: float) -> list[list[float]]:
    """The runs by the plainest loop: value, last sample before, first and last sample, how many."""
    found: list[list[float]] = []
    last_s, torn = np.nan, False
    for row, (at_s, value) in enumerate(zip(time_s.tolist(), values.tolist(), strict=True)):
        torn = torn or row in gaps
        if np.isnan(value):
            continue
        near = bool(found) and not torn and at_s - last_s <= gap_s
        if near and found[-1][0] == value:
            found[-1][3], found[-1][4] = at_s, found[-1][4] + 1
        else:
            found.append([value, last_s if near else np.nan, at_s, at_s, 1])
        last_s, torn = at_s, False
    return found


@pytest.mark.parametrize("cut", [1, 7, 100, 1000, 4000])
@pytest.mark.parametrize("seed", range(6))
def test_runs_are_those_of_the_plainest_loop(seed: int, cut: int) -> None:
    time_s, values, gaps = rows_with_gaps(seed)
    runs = RunsOf(1.0)
    for first in range(0, len(time_s), cut):
        inside = gaps[(gaps >= first) & (gaps < first + cut)] - first
        block = Block(time_s[first : first + cut], {}, inside.astype(np.int64), first + cut >= len(time_s))
        runs.take(block, values[first : first + cut])
    got = runs.runs()
    wanted = np.array(one_by_one(time_s, values, set(gaps.tolist()), 1.0))
    assert len(got) == len(wanted)
    for place, name in enumerate(COLUMNS[:5]):
        assert np.array_equal(getattr(got, name), wanted[:, place], equal_nan=True), name


@pytest.mark.parametrize("seed", range(20))
def test_a_spread_is_what_a_search_for_every_row_finds(seed: int) -> None:
    """Runs before, within and after the rows, some beginning at a row's very stamp."""
    rng = np.random.default_rng(seed)
    times = np.round(np.cumsum(rng.uniform(0.01, 0.1, 300)), 2) + np.arange(300) * 1e-3
    first = np.unique(np.concatenate([rng.uniform(-2.0, times[-1] + 2.0, 12), rng.choice(times, 6)]))
    if seed % 3 == 0:
        first = first[first > times[0]]
    blank = np.zeros(len(first))
    runs = Runs(np.arange(len(first)) * 1.0, blank, first, first, blank, blank, blank, blank)
    place = np.searchsorted(first, times, side="right") - 1
    own = Spread(runs, times)
    assert own.of(runs.value).tolist() == np.maximum(place, 0).astype(float).tolist()
    assert np.repeat(own.numbers, own.rows).tolist() == place.tolist()


def test_gears_of_many_rows_are_those_of_each_row() -> None:
    """More rows than are looked at together, with a slack of its own for each."""
    rng = np.random.default_rng(4)
    ratio, slope = rng.uniform(0.4, 5.0, 40_000), rng.uniform(0.0, 0.3, 40_000)
    ratio[::97] = np.nan
    slack = rng.uniform(0.0, 0.2, 40_000)
    whole, with_own = gears_of(ratio, slope, RATIOS, 0.1), gears_of(ratio, slope, RATIOS, slack)
    for row in (0, 96, 97, 16_383, 16_384, 32_768, 39_999):
        one = slice(row, row + 1)
        assert whole[one].tolist() == gears_of(ratio[one], slope[one], RATIOS, 0.1).tolist()
        assert with_own[one].tolist() == gears_of(ratio[one], slope[one], RATIOS, slack[one]).tolist()


@pytest.mark.parametrize("seed", range(5))
def test_extremes_do_not_depend_on_the_cut(seed: int) -> None:
    """Bins grow to both sides as blocks bring lower and higher values; a count is a count."""
    rng = np.random.default_rng(seed)
    column = np.round(rng.normal(0.0, 40.0, 6000) + np.linspace(-300.0, 300.0, 6000) * rng.choice([-1.0, 1.0]), 1)
    time_s = np.arange(6000) * 0.01
    tallies = []
    for cut in (6000, 1000, 37):
        made = Extreme(0.5, 2.0)
        for first in range(0, 6000, cut):
            some = slice(first, first + cut)
            made.take(Block(time_s[some], {}, np.empty(0, dtype=np.int64), False), column[some], 0.01)
        tallies.append(made.tally())
    for each in tallies[1:]:
        assert (each.lowest, each.highest, each.low, each.high) == (
            tallies[0].lowest, tallies[0].highest, tallies[0].low, tallies[0].high,
        )  # fmt: skip
        assert each.seconds == pytest.approx(60.0)
    bins = np.floor(column / 0.5)
    places, counts = np.unique(bins, return_counts=True)
    assert tallies[0].low == max(column.min(), places[counts >= 2][0] * 0.5)
    assert tallies[0].high == min(column.max(), (places[counts >= 2][-1] + 1.0) * 0.5)
