"""How well readings fit a hypothesis, with everything that all readings share counted once.

Answers: for one hypothesis, how likely are these readings together, for every drawn truck and cell of severity.
Units:   natural logarithms of densities in the features of `responses`.
Touches: nothing.
Sources: sum over what is drawn, Gaussian for what is narrow (JCGM 101, 6.4; JCGM 100, 5.2 for the covariance of
         inputs that readings share); the severity is integrated exactly along a straight line through its cell.

For one drawn truck the readings are a Gaussian around what it shows: covariance of the narrow parts, of the meter's
gain in each range and of the leads, one direction for the leaks' step, and the digits of each reading. Along the
severity's direction v, across a cell of width w, the integral of the density is a difference of two normal distribution
functions.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.find.draws import STEP, Fleet, Rows
from pinproof.find.looks import Look
from pinproof.find.meter_model import ROOT3, Meter
from pinproof.find.responses import Response, feature_of_ohm, meter_shares, names_of, normal_cdf

FloatArray = npt.NDArray[np.float64]
LOG_2PI = math.log(2.0 * math.pi)
OL_WIDTH = 0.05
NEVER = -745.0


@dataclass(frozen=True)
class Seen:
    """One reading. For ohms `ohm` (inf for OL); for volts `pin_v` and `supply_v`; for a report `meaning`."""

    look: Look
    ohm: float | None = None
    pin_v: float | None = None
    supply_v: float | None = None
    meaning: str | None = None
    wiggled: bool = False


@dataclass(frozen=True, eq=False)
class Given:
    """Readings of one kind of sum for one hypothesis: differences (N, n), and what spreads them."""

    difference: FloatArray
    leaks: FloatArray
    severity: FloatArray
    covariance: FloatArray  # (J, n, n)
    floats: FloatArray  # (N,) logarithm, for pins that hang on nothing and may show anything


@dataclass(frozen=True, eq=False)
class Taken:
    """One number against all drawn trucks: what is asked of it again and again.

    `difference`, `leaks`, `severity` (N,); `slopes` (C, P) by the parts `shared`; `own` and `gain` (C,) deviations of
    digits and wear, of the range's gain; `lead` of the leads. `range_key`: readings that share it share their gain.
    """

    look: Look
    difference: FloatArray
    leaks: FloatArray
    severity: FloatArray
    slopes: FloatArray
    shared: tuple[str, ...]
    own: FloatArray
    gain: FloatArray
    lead: float
    range_key: tuple[str, int]
    span_v: float


def taken(fleet: Fleet, each: Seen, one: Response, meter: Meter) -> Taken:
    """A reading that is a number, and what all drawn trucks show at its look."""
    mix = _mix(each)
    gain, lead, digits, number = _meter_parts(each, meter, one, fleet)
    own = digits**2 + (np.nan_to_num(one.contacts) @ mix * STEP) ** 2
    return Taken(
        each.look, _shown(each) - one.value @ mix, one.leaks @ mix, one.severity @ mix,
        np.nan_to_num(one.narrow @ mix), one.shared, own, gain, lead,
        (each.look.kind if not each.look.is_ohms else "ohm", number), each.supply_v or 1.0,
    )  # fmt: skip


def numbers(rows: Rows, readings: Sequence[Taken]) -> Given:
    """Readings that are numbers (no OL, no floating pin), as one Gaussian for each drawn truck of a hypothesis."""
    n, j = len(readings), rows.cells
    mine, cells = rows.span, rows.cell_span
    difference = np.stack([each.difference[mine] for each in readings], axis=1)
    leaks = np.stack([each.leaks[mine] for each in readings], axis=1)
    severity = np.stack([each.severity[mine] for each in readings], axis=1)
    own = np.stack([each.own[cells] for each in readings], axis=1)
    shared = names_of([each.shared for each in readings])
    slopes = np.zeros((j, n, len(shared)))
    for i, each in enumerate(readings):  # every list of parts begins with the same ones
        at = slice(len(each.shared)) if each.shared == shared[: len(each.shared)] else [*map(shared.index, each.shared)]
        slopes[:, i, at] = each.slopes[cells]
    covariance = slopes @ slopes.transpose(0, 2, 1)
    for i, one in enumerate(readings):
        for k, other in enumerate(readings):
            covariance[:, i, k] += one.lead * other.lead
            if one.range_key == other.range_key:
                covariance[:, i, k] += one.gain[cells] * other.gain[cells]
        covariance[:, i, i] += own[:, i]
    adrift = np.isnan(difference)
    floats = np.zeros(rows.count)
    if adrift.any():
        sigma = np.repeat(np.sqrt(np.diagonal(covariance, axis1=1, axis2=2)), rows.per_cell, axis=0)
        span = np.array([each.span_v for each in readings])
        floats = np.where(adrift, np.log(sigma * math.sqrt(2.0 * math.pi) / span), 0.0).sum(axis=1)
        difference[adrift] = 0.0
        leaks, severity = np.nan_to_num(leaks), np.nan_to_num(severity)
    return Given(difference, leaks, severity, covariance, floats)


def alone(fleet: Fleet, each: Taken) -> FloatArray:
    """Logarithm of the density of one reading by itself for every drawn truck of every hypothesis, shape (N,)."""
    cell_of, width = fleet.cell_of, fleet.width
    variance = (each.slopes**2).sum(axis=1) + each.gain**2 + each.lead**2 + each.own
    sigma = np.sqrt(variance)[cell_of]
    adrift = np.isnan(each.difference)
    r = np.where(adrift, 0.0, each.difference) / sigma
    leaks, severity = np.where(adrift, 0.0, each.leaks), np.where(adrift, 0.0, each.severity)
    bb = (leaks * STEP / sigma) ** 2
    log_sigma = np.log(sigma)
    plain = -0.5 * r * r / (1.0 + bb) - log_sigma - 0.5 * np.log1p(bb) - 0.5 * LOG_2PI
    out = plain.copy()
    length = np.abs(severity) / sigma / np.sqrt(1.0 + bb)
    half = 0.5 * width[cell_of] * length
    moves = np.flatnonzero(4.0 * half * half > 1e-4)
    if moves.size:
        mine, h = length[moves], half[moves]
        along = (r * severity / sigma)[moves] / (1.0 + bb[moves]) / mine
        inside = np.log(np.maximum(_between(-h - along, h - along), 1e-300)) - np.log(2.0 * h)
        out[moves] = inside - log_sigma[moves] - 0.5 * np.log1p(bb[moves])
    out = np.where(adrift, -np.log(each.span_v), out)
    if _family(each.look):
        leaky = fleet.cell_sums(np.abs(leaks)) / fleet.counts > LEAKY
        apart = leaky & ~(fleet.cell_sums(np.abs(severity)) / fleet.counts * np.minimum(width, 1.0) >
                          SEVERE * np.minimum(width, 1.0))  # fmt: skip
        for rows in fleet.rows.values():
            cells = apart[rows.cell_span]
            if cells.any():
                which = rows.first + np.flatnonzero(np.repeat(cells, rows.per_cell))
                top = float(plain[which].max())
                out[which] = top + math.log(float(np.exp(plain[which] - top).mean()))
    return np.maximum(out, NEVER)


def _mix(each: Seen) -> FloatArray:
    return np.ones(1) if each.look.is_ohms else np.array([1.0, each.supply_v or 0.0])


def _shown(each: Seen) -> float:
    if each.look.is_ohms:
        assert each.ohm is not None
        return float(feature_of_ohm(each.ohm))
    assert each.pin_v is not None
    return each.pin_v


def _meter_parts(each: Seen, meter: Meter, one: Response, fleet: Fleet) -> tuple[FloatArray, float, float, int]:
    """Deviations of a reading's feature: by its range's gain (C,), by the leads, by its digits; and the range."""
    if each.look.is_ohms:
        assert each.ohm is not None
        ohm = max(each.ohm, 0.0)
        number = meter.ohm_range(ohm)
        of = meter.ohms[number]
        gain, lead = meter_shares(ohm, of.relative)
        return np.full(len(fleet.counts), gain), lead, of.digit * of.digits / ROOT3 / (ohm + 1.0), number
    # Pin and battery are read in the same range: its gain only shows in what does not follow the battery.
    assert each.pin_v is not None and each.supply_v is not None
    number = meter.volt_range(each.pin_v)
    of = meter.volts[number]
    digits = of.digit * of.digits / ROOT3 * math.hypot(1.0, each.pin_v / max(each.supply_v, 1.0))
    at_zero_v = fleet.cell_sums(np.nan_to_num(one.value[:, 0]))
    still_v = np.empty(len(fleet.counts))
    for rows in fleet.rows.values():
        still_v[rows.cell_span] = at_zero_v[rows.cell_span].sum() / rows.count
    return of.relative / ROOT3 * still_v, 0.0, digits, number


LEAKY, SEVERE = 0.3, 0.3
"""Slopes, of the logarithm of a reading by that of the leaks or of the severity, that make it theirs."""


def together(given: Given, looks: Sequence[Look], cells: int, cell_width: float) -> FloatArray:
    """Logarithm of the density of all readings, for each drawn truck, shape (N,).

    A reading that is made by leaks says nothing of anything else, and the leaks to chassis, to plus and across open
    contacts have nothing to do with each other. No drawn truck has all of them right at once, so readings of each such
    family are averaged over all drawn trucks by themselves. Readings of one family share their leak.
    """
    families = np.array([_family(look) for look in looks])
    kinds = [name for name in dict.fromkeys(families.tolist()) if name]
    n, per_cell = len(looks), len(given.difference) // cells
    leaky = _mean_slope(given.leaks, cells) > LEAKY
    severe = _mean_slope(given.severity, cells) * min(cell_width, 1.0) > SEVERE * min(cell_width, 1.0)
    apart = leaky & ~severe & (families != "")[None]
    if not apart.any():
        return log_densities(given, cell_width)
    out = np.zeros(len(given.difference))
    patterns, which = np.unique(apart, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns):
        mine = np.flatnonzero(which.ravel() == number)
        rows = (mine[:, None] * per_cell + np.arange(per_cell)).ravel()
        out[rows] = log_densities(_part(given, mine, rows, np.flatnonzero(~pattern)), cell_width)
        out[rows] += given.floats[rows]
        for kind in kinds:
            members = np.flatnonzero(pattern & (families == kind))
            if members.size:
                logs = log_densities(_part(given, mine, rows, members), 0.0)
                top = float(logs.max())
                out[rows] += top + math.log(float(np.exp(logs - top).mean()))
    assert n == apart.shape[1]
    return np.maximum(out, NEVER)


def _family(look: Look) -> str:
    """Readings of which leaks they are when leaks make them; "" for a reading that is never only a leak."""
    if look.kind in ("chassis", "plus"):
        return look.kind
    return look.id if look.is_ohms and look.kind not in ("wire", "source") else ""


def _mean_slope(slope: FloatArray, cells: int) -> FloatArray:
    out: FloatArray = np.abs(slope).reshape(cells, -1, slope.shape[1]).mean(axis=1)
    return out


def _part(given: Given, cells: npt.NDArray[np.intp], rows: npt.NDArray[np.intp], of: npt.NDArray[np.intp]) -> Given:
    """Some cells, with their rows, and some readings."""
    return Given(
        given.difference[np.ix_(rows, of)],
        given.leaks[np.ix_(rows, of)],
        given.severity[np.ix_(rows, of)],
        given.covariance[np.ix_(cells, of, of)],
        np.zeros(len(rows)),
    )


def log_densities(given: Given, cell_width: float) -> FloatArray:
    """Logarithm of the density of the readings for each drawn truck, averaged over its cell of severity, shape (N,)."""
    j, n = given.covariance.shape[:2]
    if n == 0:
        return given.floats.copy()
    root = np.linalg.cholesky(given.covariance)
    inverse = np.linalg.inv(root)
    per_cell = len(given.difference) // j

    def white(x: FloatArray) -> FloatArray:
        out: FloatArray = (x.reshape(j, per_cell, n) @ inverse.transpose(0, 2, 1)).reshape(-1, n)
        return out

    r, b, v = white(given.difference), white(given.leaks) * STEP, white(given.severity)
    log_det = 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    bb = (b * b).sum(axis=1)

    def product(x: FloatArray, y: FloatArray) -> FloatArray:
        out: FloatArray = (x * y).sum(axis=1) - (x * b).sum(axis=1) * (y * b).sum(axis=1) / (1.0 + bb)
        return out

    rr = product(r, r)
    out: FloatArray = given.floats - 0.5 * (np.repeat(log_det, per_cell) + np.log1p(bb) + n * LOG_2PI)
    vv = product(v, v) if cell_width > 0.0 else np.zeros_like(rr)
    moves = vv * cell_width**2 > 1e-4
    plain = out - 0.5 * rr
    if not moves.any():
        return np.maximum(plain, NEVER)
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.sqrt(np.where(moves, vv, 1.0))
        along = product(r, v) / length
        quad = np.maximum(rr - along**2, 0.0)
        half = 0.5 * cell_width * length
        inside = _between(-half - along, half - along)
        line = out - 0.5 * quad + 0.5 * LOG_2PI + np.log(np.maximum(inside, 1e-300)) - np.log(cell_width * length)
    return np.maximum(np.where(moves, line, plain), NEVER)


def _between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Probability of a standard normal number between the two, exact in the tails: taken on the side of zero."""
    flip = low > 0.0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    out: FloatArray = np.maximum(normal_cdf(b) - normal_cdf(a), 0.0)
    return out


def log_open(one: Response, meter: Meter, shown: bool) -> FloatArray:
    """Logarithm of the probability of OL on the display (or of not OL) for each drawn truck, shape (N,)."""
    wide = np.hypot(OL_WIDTH, one.leaks[:, 0] * STEP)
    odds = normal_cdf((one.value[:, 0] - math.log1p(meter.most_ohm)) / wide)
    return np.log(np.clip(odds if shown else 1.0 - odds, 1e-9, 1.0))
