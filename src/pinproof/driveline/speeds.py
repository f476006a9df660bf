"""Road, output shaft, turbine and engine: the sums on plain numbers with their ranges.

Answers: how quickly does each turn at a speed, and the other way; what does a shift do; how quick is too quick?
Units:   `_rpm`, `_m_per_s`, `_m`, `_s`; ratios as input turns for one output turn.
Touches: nothing.
Sources: arithmetic of a rolling wheel and of gears: a wheel turns once in each rolling circumference. The customary
         US form, rpm = mph × ratio × 336.1 ÷ diameter in inches, is the same with 63 360 in per mile (exact units).
         Usual separations of shift lines: common practice, no source.
"""

from __future__ import annotations

from pinproof.driveline.span import Span

SAFE_SEPARATION = 0.10  # common practice, no source: the down line at 0.80 to 0.90 of the up line
HUNTS_BELOW = 0.05  # common practice, no source


def output_rpm(speed_m_per_s: Span, circumference_m: Span, reduction: Span) -> Span:
    """Turns of a shaft that drives the wheel through `reduction`. [rpm]"""
    return speed_m_per_s * 60.0 * reduction / circumference_m


def road_speed(shaft_rpm: Span, circumference_m: Span, reduction: Span) -> Span:
    """The road speed at which that shaft turns so. [m/s]"""
    return shaft_rpm * circumference_m / (reduction * 60.0)


def engine_rpm(output: Span, gear: Span, passed: Span) -> Span:
    """Engine speed from the output shaft's. [rpm]

    Parameters
    ----------
    output : Span
        Output shaft. [rpm]
    gear : Span
        Ratio of the gear.
    passed : Span
        Turbine speed ÷ engine speed, 1 − slip. [1]
    """
    return output * gear / passed


def reachable(most: Span, limiter: Span | None) -> tuple[Span, str]:
    """Highest speed that the engine can have, the lower of its most and the limiter [rpm], and which of them it is.

    >>> reachable(Span.exact(6500.0), Span(6350.0, 6400.0, 6450.0))[1], reachable(Span.exact(6500.0), None)[1]
    ('the limiter', "the engine's most")
    """
    if limiter is None or most.high <= limiter.low:
        return most, "the engine's most"
    if limiter.high <= most.low:
        return limiter, "the limiter"
    lower = Span(min(most.low, limiter.low), min(most.value, limiter.value), min(most.high, limiter.high))
    return lower, "the lower of limiter and most"


def after_shift(engine: Span, old: Span, new: Span, before: Span, after: Span) -> Span:
    """Engine speed right after a shift at the same road speed. [rpm]

    `before` and `after` are turbine ÷ engine on each side of the shift; they may differ.
    """
    return engine * before * new / (old * after)


def downshift_limit(most_rpm: float, gear: Span, passed: Span) -> Span:
    """Output speed at which neither engine nor turbine is above `most_rpm` in that gear. [rpm]

    `low` holds for every truck of the box, `high` for the luckiest.
    """
    shares = Span(min(passed.low, 1.0), min(passed.value, 1.0), min(passed.high, 1.0))
    return shares * most_rpm / gear


def gained_m_per_s(latency_s: float, acceleration_m_per_s2: float) -> float:
    """Speed gained between the check and the new gear. [m/s] Braking earns nothing: nobody can count on it."""
    return max(0.0, latency_s * acceleration_m_per_s2)


def gained_rpm(climb_rpm_per_s: Span, time_s: Span) -> Span:
    """What an engine climbs between the command of an upshift and the moment when it stops climbing. [rpm]"""
    return climb_rpm_per_s * time_s


def separation(up: Span, down: Span) -> tuple[float, float, float]:
    """1 − down ÷ up: least, nominal, greatest. [1] Below zero the down line lies above the up line."""
    share = down / up
    return 1.0 - share.high, 1.0 - share.value, 1.0 - share.low


def pulses_per_m(teeth: Span, circumference_m: Span, turns_per_wheel_turn: Span) -> Span:
    """Pulses of a speed sensor for one metre of road. [1/m]"""
    return teeth * turns_per_wheel_turn / circumference_m
