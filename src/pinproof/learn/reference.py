"""Is the open pin's voltage the reference itself, or the reference divided by a second pull?

Answers: what keeps the pulls from being told apart, in words; the next volts to read, at the reference's own pin.
Units:   volts, ohms.
Touches: nothing.
Beside:  `pulls` does the sums; `session` joins them to a design.
"""

from __future__ import annotations

from pinproof.learn.pulls import USUAL_REFERENCE_RANGE_V, USUAL_REFERENCE_V, Referral, VoltsStep, off_stated_v
from pinproof.learn.source import Source
from pinproof.learn.uncertain import COVERAGE_K
from pinproof.quantities import format_value

WHY = "It tells whether the pin's volts are the reference itself or the reference divided by a second pull."


def reference_step() -> VoltsStep:
    """The volts at the controller's reference pin, nothing on the coded pin."""
    return VoltsStep(float("inf"), False, WHY, at="reference")


def needs_reference(referral: Referral | None, measured_v: float | None) -> bool:
    """The reference's volts would tell the pulls apart: not measured yet, and the pin does not follow the battery."""
    return measured_v is None and referral not in ("battery", "both")


def not_told_apart(source: Source, stated_v: tuple[float, float, float] | None, measured_v: float | None) -> str:
    """Why no pull can be written for a source that lies between its rails: what was read, and what it may be.

    Parameters
    ----------
    stated_v : (low, value, high), optional
        The reference as the design states it; 5 V ±2 % where it does not. [V]
    measured_v : float, optional
        The reference as read at its pin. [V]
    """
    open_v = f"{source.volts_v:.3f} V (U {COVERAGE_K * source.u_volts_v:.3f} V)"
    if measured_v is not None:
        return f"The open pin stands at {open_v}, above the reference as read, {measured_v:g} V. Read both once more."
    low, value, high = stated_v or (USUAL_REFERENCE_RANGE_V[0], USUAL_REFERENCE_V, USUAL_REFERENCE_RANGE_V[1])
    word = "the stated reference" if stated_v else "the usual reference (none is stated)"
    said = f"{word}, {value:g} V ({low:.4g} to {high:.4g} V)"
    if off_stated_v(source, (low, high)) < 0.0:
        up, down = source.ohm * value / source.volts_v, source.ohm * value / (value - source.volts_v)
        other = (
            f"or there is a pull-down too: about {_ohms(down)}, beside a pull-up of about {_ohms(up)} to {value:g} V"
        )
        where = "under"
    else:
        other, where = "or the pin is pulled to something higher too, such as the battery", "above"
    return (
        f"Pulls not told apart. The open pin stands at {open_v}, {where} {said} by more than both uncertainties. "
        f"Either the reference really is {source.volts_v:.3g} V, {other}. The reference's own volts tell which."
    )


def _ohms(value: float) -> str:
    return format_value(value, "resistance", digits=2)
