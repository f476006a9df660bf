"""What a learned source says of the resistors inside the controller, and what may be put on the pin.

Answers: regulated or battery-referred; pull-up, pull-down, both or none; strobed or steady; the least load allowed; the
         next volts to read; why a reading looks mistyped.
Units:   volts, ohms, amperes.
Touches: nothing.
Sources: Thévenin's theorem. 20 mA, 220 Ω, 1 kΩ, 10 kΩ, 0.1 V, a reference of 5 V ±2 % where
         none is stated and the limits for strobing: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pinproof.errors import NoSolution
from pinproof.learn.source import PinReading, Source, VoltMeter, fit_source, inputs_of
from pinproof.learn.uncertain import COVERAGE_K, FloatArray, propagate

Side = Literal["ground", "supply"]
Referral = Literal["regulated", "battery", "both", "not told apart"]

NOTHING_V = 0.1
MOST_PIN_A = 0.02
FIRST_GROUND_OHM = 1_000.0
FIRST_SUPPLY_OHM = 10_000.0
LEAST_SUPPLY_OHM = 220.0
USUAL_REFERENCE_V = 5.0
USUAL_REFERENCE_RANGE_V = (0.98 * USUAL_REFERENCE_V, 1.02 * USUAL_REFERENCE_V)
STROBE_AC = 0.01
STROBE_AC_V = 0.02
STROBE_SPAN = 0.02
DECADE = 10.0
THIRD_SHARE = 0.3  # of the open volts, or of what is left of them: a third load as far from the first shows a bend best


@dataclass(frozen=True)
class Referred:
    """Open volts as ``a + b V_b``. [V, 1]"""

    kind: Referral
    fixed_v: float
    expanded_fixed_v: float
    share: float
    expanded_share: float


@dataclass(frozen=True)
class Pulls:
    """Resistors inside the controller. None: none that was seen. `least_up_ohm` and `least_down_ohm` say above which
    ohms one that was not seen would lie. Tolerances are U as a ratio."""

    up_ohm: float | None
    up_tolerance: float
    up_to: Literal["reference", "battery"]
    down_ohm: float | None
    down_tolerance: float
    least_up_ohm: float
    least_down_ohm: float
    rail_v: float | None
    words: str


@dataclass(frozen=True)
class VoltsStep:
    """The next volts to read: a load to ground or from a fused feed; infinite: nothing on the pin. `at`: which pin."""

    load_ohm: float
    from_feed: bool
    why: str
    at: Literal["pin", "reference"] = "pin"


def tell_referral(points: Sequence[tuple[float, float]], meter: VoltMeter) -> Referred:
    """Does the open pin follow the battery?

    Parameters
    ----------
    points : sequence of (supply, open pin), at least two. [V]
    meter : VoltMeter
        Its gain error is taken as independent unless on one range.

    Raises
    ------
    NoSolution
        Fewer than two different supplies.
    """
    if len({supply for supply, _ in points}) < 2:
        raise NoSolution("One supply does not show what the pin follows.", cure="Read it again at 11 V and at 14.4 V.")
    count = len(points)
    values = np.array([supply for supply, _ in points] + [volts for _, volts in points])
    spread = np.diag(np.full(2 * count, meter.offset_v) + (0.0 if meter.one_range else meter.gain) * values)
    if meter.one_range:
        spread = np.hstack([spread, (meter.gain * values)[:, None]])

    def line(at: FloatArray) -> FloatArray:
        supply, volts = at[..., :count], at[..., count:]
        off = supply - supply.mean(axis=-1, keepdims=True)
        share = (off * volts).sum(axis=-1) / (off**2).sum(axis=-1)
        return np.stack([volts.mean(axis=-1) - share * supply.mean(axis=-1), share], axis=-1)

    found = propagate(line, values.tolist(), (spread @ spread.T / 3.0).tolist())
    (fixed, share), (u_fixed, u_share) = found.value, found.u
    still, follows = abs(share) <= COVERAGE_K * u_share, abs(fixed) <= COVERAGE_K * u_fixed
    kind: Referral = "both"
    if still and follows:
        kind = "not told apart"
    elif still or follows:
        kind = "regulated" if still else "battery"
    return Referred(kind, fixed, COVERAGE_K * u_fixed, share, COVERAGE_K * u_share)


def strobed(
    volts_v: float, *, ac_v: float | None = None, low_v: float | None = None, high_v: float | None = None
) -> bool:
    """True where the meter's AC range or its min/max shows that a pin is switched on and off. [V]"""
    if ac_v is not None and ac_v > STROBE_AC * abs(volts_v) + STROBE_AC_V:
        return True
    if low_v is not None and high_v is not None:
        return high_v - low_v > STROBE_SPAN * max(abs(high_v), abs(volts_v)) + STROBE_AC_V
    return False


def pulls_of(
    source: Source,
    *,
    reference_v: float | None = None,
    u_reference_v: float = 0.0,
    supply_v: float | None = None,
    referral: Referral | None = None,
    stated_v: tuple[float, float] | None = None,
) -> Pulls | None:
    """The pulls that make a source; None where it is no resistor or its rail is not known.

    Without the measured reference the open volts are taken for it only where they agree with the stated one.

    Parameters
    ----------
    reference_v, supply_v : float, optional
        As measured in the same go. [V]
    referral : Referral, optional
        From `tell_referral`.
    stated_v : (low, high), optional
        The reference as it is stated; 5 V ±2 % where it is not. [V]
    """
    if not source.is_resistor:
        return None
    inf = float("inf")
    if source.conductance_s <= COVERAGE_K * source.u_conductance_s:
        least = source.least_ohm
        return Pulls(None, 0.0, "reference", None, 0.0, least, least, None, "no pull that was seen")
    if abs(source.volts_v) <= max(NOTHING_V, COVERAGE_K * source.u_volts_v):
        return Pulls(None, 0.0, "reference", source.ohm, source.tolerance, source.least_ohm, inf, None, "pull-down")
    to_battery = referral == "battery" or (
        referral is None and supply_v is not None and abs(source.volts_v - supply_v) <= COVERAGE_K * source.u_volts_v
    )
    rail_v, u_rail_v = (supply_v, 0.0) if to_battery else (reference_v, u_reference_v)
    up_to: Literal["reference", "battery"] = "battery" if to_battery else "reference"
    if referral == "both":
        return None
    if rail_v is None:
        if to_battery or off_stated_v(source, stated_v) != 0.0:
            return None
        return Pulls(
            source.ohm,
            source.tolerance,
            up_to,
            None,
            0.0,
            inf,
            inf,
            source.volts_v,
            "pull-up; its volts are the reference",
        )
    off_v = rail_v - source.volts_v
    reach_v = COVERAGE_K * (source.u_volts_v**2 + u_rail_v**2) ** 0.5
    if off_v < -reach_v:
        return None
    least_down = source.ohm * rail_v / max(off_v + reach_v, 1e-12)
    if off_v <= reach_v:
        return Pulls(source.ohm, source.tolerance, up_to, None, 0.0, inf, least_down, rail_v, "pull-up")

    def both(at: FloatArray) -> FloatArray:
        volts, ohm, rail = at[..., 0], at[..., 1], at[..., 2]
        return np.stack([ohm * rail / volts, ohm * rail / (rail - volts)], axis=-1)

    (v_v, v_o), (o_v, o_o) = source.covariance
    split = propagate(
        both, [source.volts_v, source.ohm, rail_v], [[v_v, v_o, 0.0], [o_v, o_o, 0.0], [0.0, 0.0, u_rail_v**2]]
    )
    (up, down), (u_up, u_down) = split.value, split.u
    return Pulls(
        up, COVERAGE_K * u_up / up, up_to, down, COVERAGE_K * u_down / down, up, down, rail_v, "pull-up and pull-down"
    )


def off_stated_v(source: Source, stated_v: tuple[float, float] | None) -> float:
    """How far the open volts lie off the stated reference beyond both uncertainties; below zero: under it. [V]"""
    low, high = stated_v or USUAL_REFERENCE_RANGE_V
    reach_v = COVERAGE_K * source.u_volts_v
    return min(source.volts_v + reach_v - low, 0.0) + max(source.volts_v - reach_v - high, 0.0)


def least_load_ohm(
    side: Side,
    source: Source | None,
    *,
    supply_high_v: float,
    max_pin_v: float | None = None,
    reference_v: float | None = None,
) -> float:
    """The smallest load that may go on the pin. [Ω]

    To ground: 0 where the pin gives no more than 20 mA into a short, else what keeps it there; 1 kΩ before the source
    is known. To a supply: what keeps the pin under its limit with the largest pull-down that the readings allow, and
    never under 220 Ω; 10 kΩ before it is known.
    """
    if side == "ground":
        if source is None or not source.is_resistor:
            return FIRST_GROUND_OHM
        if source.short_a + COVERAGE_K * source.u_short_a <= MOST_PIN_A:
            return 0.0
        return max(source.volts_v / MOST_PIN_A - source.least_ohm, 0.0)
    if source is None or not source.is_resistor or source.ohm == float("inf"):
        return FIRST_SUPPLY_OHM
    most_v = max_pin_v if max_pin_v is not None else reference_v if reference_v is not None else USUAL_REFERENCE_V
    if supply_high_v <= most_v:
        return max(supply_high_v / MOST_PIN_A - source.least_ohm, LEAST_SUPPLY_OHM)
    largest = source.ohm * (1.0 + source.tolerance)
    return max(
        largest * (supply_high_v / most_v - 1.0), supply_high_v / MOST_PIN_A - source.least_ohm, LEAST_SUPPLY_OHM
    )


def next_volts(
    readings: Sequence[PinReading],
    meter: VoltMeter,
    loads_ohm: Sequence[float],
    *,
    supply_high_v: float,
    max_pin_v: float | None = None,
    reference_v: float | None = None,
) -> VoltsStep | None:
    """The next volts to read for the source; None when three loads are in.

    Parameters
    ----------
    loads_ohm : sequence of float
        Loads that can be made. [Ω]
    """
    opened = [each for each in readings if each.is_open]
    if not opened:
        return VoltsStep(float("inf"), False, "Nothing on the pin: it may be an output. Look at its volts first.")
    open_v = opened[-1].volts_v
    side: Side = "supply" if abs(open_v) < NOTHING_V else "ground"
    loaded = [each for each in readings if not each.is_open]
    source = None
    if loaded:
        try:
            source = fit_source(readings, meter)
        except NoSolution:
            source = None
    least = least_load_ohm(side, source, supply_high_v=supply_high_v, max_pin_v=max_pin_v, reference_v=reference_v)
    used = {each.load_ohm for each in loaded}
    free = [ohm for ohm in loads_ohm if ohm >= max(least, 1.0) and not any(abs(ohm / u - 1.0) < 0.25 for u in used)]
    if len(used) >= 2 or not free:
        return None
    if source is None or source.ohm == float("inf"):
        first = FIRST_SUPPLY_OHM if side == "supply" else FIRST_GROUND_OHM
        tried = min(used, default=0.0)
        want = tried / 2.0 if tried else first
        why = "Not known yet what the pin bears: a first look." if not tried else "The first load lost no volts: less."
    else:
        share = _share(loaded[0], open_v) if used else 0.0
        far = THIRD_SHARE if share > 0.5 else 1.0 - THIRD_SHARE
        want = source.ohm if not used or abs(share - 0.5) > 0.3 else source.ohm * far / (1.0 - far)
        why = "A third load shows whether it is a plain resistor." if len(used) else "About half the volts tell most."
    return VoltsStep(min(free, key=lambda ohm: abs(np.log(ohm / max(want, 1.0)))), side == "supply", why)


def _share(reading: PinReading, open_v: float) -> float:
    """Where the loaded pin stands between its open volts and the load's far end."""
    far = reading.feed_v or 0.0
    return (reading.volts_v - far) / (open_v - far) if open_v != far else 1.0


def question_reading(readings: Sequence[PinReading], new: PinReading, meter: VoltMeter) -> str | None:
    """Why a reading looks mistyped, as one sentence with what may be meant; None where nothing speaks against it."""
    feed_v = new.feed_v
    slack = 3.0 * meter.offset_v
    opened = [each.volts_v for each in readings if each.is_open]
    if not new.is_open and feed_v is None and opened and new.volts_v > opened[-1] * (1.0 + meter.gain) + slack:
        return (
            f"{new.volts_v:g} V with a load to ground is above the {opened[-1]:g} V of the open pin. Is the load to a "
            "supply, or a digit wrong?"
        )
    if new.volts_v < -slack:
        return f"{new.volts_v:g} V is below ground. Are the leads swapped?"
    if feed_v is not None and new.volts_v > max([feed_v, *opened]) * (1.0 + 2.0 * meter.gain) + slack:
        return f"{new.volts_v:g} V at the pin is above its feed of {feed_v:g} V. Are the two exchanged?"
    if len({each.conductance_s for each in readings}) < 2:
        return None
    if _off(readings, new, meter) <= 2.0:
        return None
    for factor in (DECADE, 1.0 / DECADE):
        volts = PinReading(new.volts_v * factor, new.load_ohm, new.load_reach_ohm, feed_v)
        if _off(readings, volts, meter) <= 2.0:
            return f"{new.volts_v:g} V does not fit the others; {volts.volts_v:g} V would. Is the point in its place?"
        if not new.is_open:
            ohm = PinReading(new.volts_v, new.load_ohm * factor, new.load_reach_ohm * factor, feed_v)
            if _off(readings, ohm, meter) <= 2.0:
                return (
                    f"{new.volts_v:g} V does not fit a load of {new.load_ohm:g} ohm; it fits {ohm.load_ohm:g} ohm. "
                    "Is it the right resistor?"
                )
    return None


def _off(readings: Sequence[PinReading], new: PinReading, meter: VoltMeter) -> float:
    """How far a new reading is from what the others say, in units of U; 0 where that cannot be said."""
    try:
        found = fit_source([*readings, new], meter)
    except NoSolution:
        return 0.0
    mine = [each for each in found.off_line if each.index == len(readings)]
    return abs(mine[0].off_v) / mine[0].expanded_v if mine and mine[0].expanded_v > 0.0 else 0.0


def half_widths(readings: Sequence[PinReading], meter: VoltMeter) -> list[float]:
    """Half-width of each reading's volts, all its errors added. [V]"""
    _, spread = inputs_of(readings, meter)
    return [float(x) for x in np.abs(spread[: len(readings)]).sum(axis=1)]
