"""The source behind a pin, from known loads and the volts they give.

Answers: which voltage behind which resistance, how sure, and whether it is a resistor at all.
Units:   volts, ohms, siemens, amperes.
Touches: nothing.
Sources: Thévenin's theorem; JCGM 100:2008, 5.2.2; JCGM 101:2008. The sums stand in docs/learn.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinproof.errors import NoSolution
from pinproof.learn.uncertain import COVERAGE_K, FloatArray, Propagated, monte_carlo, propagate

METER_OHM = 10e6  # input resistance of a common handheld meter on DC volts (common practice, no source)
SAME_CURRENT = 0.05  # two currents this near are called the same
LEAST_LOADS = 2


@dataclass(frozen=True)
class VoltMeter:
    """How far a meter's reading may be off, as half-widths.

    `gain` is the per cent of reading as a ratio, `offset_v` the counts of the last digit in volts. `one_range` True:
    all volts were read on one fixed range, so that the gain error is the same for all of them. `ohm_gain` likewise
    for loads whose ohms were read on the meter.
    """

    gain: float = 0.005
    offset_v: float = 0.01
    one_range: bool = False
    ohm_gain: float = 0.0
    input_ohm: float = METER_OHM


@dataclass(frozen=True)
class PinReading:
    """Volts at the pin with one load on it.

    `load_ohm` goes to ground, or to a supply whose own volts are `feed_v`; infinite: nothing on the pin.
    `load_reach_ohm` is the half-width of the load's ohms, apart from what `VoltMeter.ohm_gain` says of measured ones.
    `supply_v` is the controller's own supply at the time. `reach` and `feed_reach`: (gain ratio, offset in volts, name
    of the range) where the meter's own data are known for this reading; readings of one range share its gain error.
    """

    volts_v: float
    load_ohm: float = float("inf")
    load_reach_ohm: float = 0.0
    feed_v: float | None = None
    load_measured: bool = False
    supply_v: float | None = None
    reach: tuple[float, float, str] | None = None
    feed_reach: tuple[float, float, str] | None = None

    @property
    def conductance_s(self) -> float:
        """Of the load."""
        return 0.0 if self.load_ohm == float("inf") else 1.0 / self.load_ohm

    @property
    def is_open(self) -> bool:
        """Nothing was on the pin."""
        return self.load_ohm == float("inf")


@dataclass(frozen=True)
class OffLine:
    """One reading against what all others predict. [V]"""

    index: int
    off_v: float
    expanded_v: float  # U, k = 2

    @property
    def is_off(self) -> bool:
        """Further off than 2 U."""
        return abs(self.off_v) > 2.0 * self.expanded_v


@dataclass(frozen=True)
class Source:
    """Thévenin source of a pin. `covariance` is that of (volts, ohms). `straight` None: too few loads to tell."""

    volts_v: float
    ohm: float  # infinite: no conductance was seen
    u_volts_v: float
    u_ohm: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    conductance_s: float
    u_conductance_s: float
    short_a: float
    u_short_a: float
    low_ohm: float  # 95 % interval by drawing
    high_ohm: float
    straight: bool | None
    off_line: tuple[OffLine, ...]
    candidates: tuple[str, ...]
    loads: int

    @property
    def is_resistor(self) -> bool:
        """True unless the readings have shown that it is none."""
        return self.straight is not False

    @property
    def least_ohm(self) -> float:
        """What the source's ohms are surely above, U taken off."""
        return 1.0 / max(self.conductance_s + COVERAGE_K * self.u_conductance_s, 1e-12)

    @property
    def tolerance(self) -> float:
        """Half-width of the ohms as a ratio: the wider of U and the drawn interval."""
        widest = max(COVERAGE_K * self.u_ohm, self.high_ohm - self.ohm, self.ohm - self.low_ohm)
        return widest / self.ohm


def fit_source(readings: Sequence[PinReading], meter: VoltMeter) -> Source:
    """Volts and ohms behind a pin.

    Parameters
    ----------
    readings : sequence of PinReading
        At least two with different loads, taken at one supply.
    meter : VoltMeter
        Half-widths of the meter's errors.

    Raises
    ------
    NoSolution
        Fewer than two different loads, or loads that did not move the pin.

    Examples
    --------
    >>> from pinproof.learn import PinReading, VoltMeter, fit_source
    >>> found = fit_source([PinReading(4.98), PinReading(2.41, 1000.0)], VoltMeter(one_range=True, input_ohm=1e12))
    >>> f"{found.volts_v:.2f} V behind {found.ohm:.0f} ohm"
    '4.98 V behind 1066 ohm'
    """
    at, spread = inputs_of(readings, meter)
    count = len(readings)
    if len({each.conductance_s for each in readings}) < LEAST_LOADS:
        raise NoSolution("One load alone does not show the source.", cure="Read the volts with another load too.")
    weights = _weights(at, spread, count)
    solved = _solve(at, weights)
    if not np.all(np.isfinite(solved)):
        raise NoSolution(
            "The loads did not move the pin; its source cannot be told.", cure="Take a smaller load, or a fused feed."
        )

    def model(inputs: FloatArray) -> FloatArray:
        return _results(_solve(inputs, weights), meter.input_ohm)

    sure = propagate(model, at.tolist(), (spread @ spread.T / 3.0).tolist())
    drawn = monte_carlo(model, lambda rng, n: at + rng.uniform(-1.0, 1.0, (n, spread.shape[1])) @ spread.T)
    off = _off_line(at, spread, count)
    straight = None if not off else not any(each.is_off for each in off)
    return _source(sure, drawn.low[0], drawn.high[0], off, straight, _candidates(readings) if straight is False else ())


def _source(
    sure: Propagated,
    low_s: float,
    high_s: float,
    off: tuple[OffLine, ...],
    straight: bool | None,
    candidates: tuple[str, ...],
) -> Source:
    conductance_s, short_a, volts_v, ohm = sure.value
    u_s, u_short_a, u_v, u_ohm = sure.u
    seen = conductance_s > 0.0
    both = ((sure.covariance[2][2], sure.covariance[2][3]), (sure.covariance[3][2], sure.covariance[3][3]))
    return Source(
        volts_v if seen else 0.0, ohm if seen else float("inf"), u_v, u_ohm, both, conductance_s, u_s, short_a,
        u_short_a, 1.0 / high_s if high_s > 0.0 else float("inf"), 1.0 / low_s if low_s > 0.0 else float("inf"),
        straight, off, candidates, len(off),
    )  # fmt: skip


def inputs_of(readings: Sequence[PinReading], meter: VoltMeter) -> tuple[FloatArray, FloatArray]:
    """All that was read, as one vector, and how far independent rectangular errors move it.

    Returns
    -------
    at : array, shape (3 n,)
        Pin volts, feed volts (0 for loads to ground), conductances of the loads. [V, V, S]
    spread : array, shape (3 n, errors)
        One column per error at its full half-width. Covariance is ``spread @ spread.T / 3``.
    """
    count = len(readings)
    pin = [each.volts_v for each in readings]
    feed = [each.feed_v or 0.0 for each in readings]
    load = [each.conductance_s for each in readings]
    at = np.array(pin + feed + load)
    columns: list[FloatArray] = []

    def column(parts: dict[int, float]) -> None:
        if any(parts.values()):
            one = np.zeros(3 * count)
            for row, size in parts.items():
                one[row] = size
            columns.append(one)

    shared: dict[str, dict[int, float]] = {}
    for i, each in enumerate(readings):
        for row, told in ((i, each.reach), (count + i, each.feed_reach)):
            if row >= count and each.feed_v is None:
                continue
            gain, offset_v, name = told or (meter.gain, meter.offset_v, "")
            name = "one" if meter.one_range else name or f"own {row}"
            shared.setdefault(name, {})[row] = gain * float(at[row])
            column({row: offset_v})
        if not each.is_open:
            column({2 * count + i: each.load_reach_ohm / each.load_ohm**2})
    for parts in shared.values():
        column(parts)
    column({2 * count + i: load[i] * meter.ohm_gain for i, each in enumerate(readings) if each.load_measured})
    return at, np.stack(columns, axis=1) if columns else np.zeros((3 * count, 1))


def _split(inputs: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    count = inputs.shape[-1] // 3
    return inputs[..., :count], inputs[..., count : 2 * count], inputs[..., 2 * count :]


def _solve(inputs: FloatArray, weights: FloatArray) -> FloatArray:
    """(conductance, short-circuit current) of the weighted line ``V G - J = (F - V) c``; NaN where there is none."""
    pin_v, feed_v, load_s = _split(inputs)
    drawn_a = (feed_v - pin_v) * load_s
    total = weights.sum()
    mean_v = (weights * pin_v).sum(axis=-1, keepdims=True) / total
    mean_a = (weights * drawn_a).sum(axis=-1, keepdims=True) / total
    off_v = pin_v - mean_v
    moved = (weights * off_v**2).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        conductance = (weights * off_v * (drawn_a - mean_a)).sum(axis=-1) / moved
    conductance = np.where(moved > 0.0, conductance, np.nan)
    short = conductance * mean_v[..., 0] - mean_a[..., 0]
    return np.stack([conductance, short], axis=-1)


def _weights(at: FloatArray, spread: FloatArray, count: int) -> FloatArray:
    """One over the variance of each reading's own line; twice round, as the line's slope enters it."""
    weights = np.ones(count)
    if count == LEAST_LOADS:
        return weights
    pin_v, feed_v, load_s = _split(at)
    own = (spread**2).sum(axis=1) / 3.0
    for _ in range(3):
        slope = max(float(np.nan_to_num(_solve(at, weights)[0])), 0.0)
        variance = (slope + load_s) ** 2 * own[:count] + load_s**2 * own[count : 2 * count]
        variance = variance + (feed_v - pin_v) ** 2 * own[2 * count :]
        floor = max(float(variance.max()) * 1e-9, 1e-30)
        weights = 1.0 / np.maximum(variance, floor)
        weights = weights / weights.max()
    return weights


def _results(solved: FloatArray, meter_ohm: float) -> FloatArray:
    """(conductance, short-circuit current, volts, ohms) with the meter's own conductance taken out."""
    conductance = solved[..., 0] - 1.0 / meter_ohm
    short = solved[..., 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = np.where(conductance != 0.0, 1.0 / conductance, np.inf)
    return np.stack([conductance, short, short * ohm, ohm], axis=-1)


def _off_line(at: FloatArray, spread: FloatArray, count: int) -> tuple[OffLine, ...]:
    """Each reading against the line through all others, where these have two different loads.

    Judged as a current, which is finite for any source; told in volts through the slope of the whole fit.
    """
    found: list[OffLine] = []
    pin_v, _, load_s = _split(at)
    if len(set(load_s.tolist())) <= LEAST_LOADS:
        return ()
    whole_s = float(np.nan_to_num(_solve(at, _weights(at, spread, count))[0]))
    for index in range(count):
        others = [i for i in range(count) if i != index]
        if len({float(load_s[i]) for i in others}) < LEAST_LOADS or len({float(pin_v[i]) for i in others}) < 2:
            continue
        weights = np.ones(len(others))
        rows = np.array([block * count + i for block in range(3) for i in others])
        if len(others) > LEAST_LOADS:
            weights = _weights(at[rows], spread[rows], len(others))

        def miss(
            inputs: FloatArray, rows: FloatArray = rows, weights: FloatArray = weights, index: int = index
        ) -> FloatArray:
            solved = _solve(inputs[..., rows], weights)
            volts, feed, load = (block[..., index] for block in _split(inputs))
            return np.asarray((volts * solved[..., 0] - solved[..., 1] - (feed - volts) * load)[..., None])

        seen = propagate(miss, at.tolist(), (spread @ spread.T / 3.0).tolist())
        stiff_s = max(whole_s, 0.0) + float(load_s[index])
        if np.isfinite(seen.value[0]) and stiff_s > 0.0:
            found.append(OffLine(index, seen.value[0] / stiff_s, COVERAGE_K * seen.u[0] / stiff_s))
    return tuple(found)


def _candidates(readings: Sequence[PinReading]) -> tuple[str, ...]:
    """What a source that is no resistor may be, the likelier first."""
    order = sorted(readings, key=lambda each: each.conductance_s)
    volts = [each.volts_v for each in order]
    drawn = [((each.feed_v or 0.0) - each.volts_v) * each.conductance_s for each in order]

    def slope(i: int, j: int) -> float:
        rise = volts[j] - volts[i]
        return abs((drawn[j] - drawn[i]) / rise) if rise else float("inf")

    light, heavy = slope(0, 1), slope(-2, -1)
    if light > heavy:
        least, most = sorted((abs(drawn[-2]), abs(drawn[-1])))
        if most > 0.0 and most - least <= SAME_CURRENT * most:
            return ("current source", "clamp (Zener diode, or a diode to a supply)")
        return ("clamp (Zener diode, or a diode to a supply)", "current source at its compliance")
    return ("series diode", "switched (strobed) pull-up that charges the pin's filter")
