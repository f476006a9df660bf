"""What a controller's pin reads, at worst, for each set of operated contacts.

Answers: between which bounds does the reading lie over the whole box of tolerances, supplies, leaks and wear?
Units:   ratio [1] or volts, as the reading space says.
Touches: nothing.
Beside:  `pinproof.network.spans` bounds the circuit; `pinproof.verdict` judges.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.network import Reading as NodeReading
from pinproof.network import Sources, Span, Status, node_voltages, sliced_span, span
from pinproof.observe.space import ReadingSpace
from pinproof.verdict import Reading
from pinproof.wiring import LineView

FloatArray = npt.NDArray[np.float64]
TEMPERATURE_SLICES = 8
SLICE_GAP = 1e-4  # of full scale: finer slices are cut until the bound is this close to what is attained


@dataclass(frozen=True)
class PinSpans:
    """Worst-case readings, one per set of operated contacts, clipped to what the controller can read."""

    operated: tuple[frozenset[str], ...]
    space: ReadingSpace
    readings: tuple[Reading, ...]
    exact: tuple[bool, ...]
    settled: tuple[bool, ...]
    raw: Span


def sources_of(
    view: LineView, key_state: str, space: ReadingSpace, fixed: Mapping[str, float] | None = None
) -> tuple[tuple[str, ...], Sources]:
    """Ids of the causes behind the rails and their ranges, as the solver wants them."""
    fixed = fixed or {}
    causes = view.causes(key_state, space.divisor)
    ids = tuple(view.cause_ids(space.divisor))
    low = np.array([fixed.get(name, cause.low_v) for name, cause in zip(ids, causes, strict=True)], dtype=float)
    high = np.array([fixed.get(name, cause.high_v) for name, cause in zip(ids, causes, strict=True)], dtype=float)
    gain = np.zeros((len(view.rail_gains), len(ids)))
    for row, gains in enumerate(view.rail_gains):
        for name, factor in gains:
            gain[row, ids.index(name)] += factor
    return ids, Sources(low, high, np.zeros(len(view.rail_gains)), gain)


def node_reading(view: LineView, space: ReadingSpace) -> NodeReading:
    """The pin's volts over the divisor, as the solver wants it."""
    if space.divisor is None:
        return NodeReading(view.pin)
    ids = view.cause_ids(space.divisor)
    gain = np.array([1.0 if name == space.divisor else 0.0 for name in ids])
    return NodeReading(view.pin, divisor=(0.0, gain))


def box_of(
    view: LineView,
    operated: Sequence[frozenset[str]],
    fixed: Mapping[str, float] | None = None,
    temp_c: tuple[float, float] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Box of conductances with some branches held at a resistance. [S]"""
    low, high = view.box_s(operated, temp_c)
    for column, branch in enumerate(view.branches):
        if fixed and branch.id in fixed:
            low[:, column] = high[:, column] = 1.0 / fixed[branch.id]
    return low, high


def pin_spans(
    view: LineView,
    key_state: str,
    space: ReadingSpace,
    operated: Sequence[frozenset[str]],
    fixed: Mapping[str, float] | None = None,
) -> PinSpans:
    """Worst-case readings for each set of operated contacts.

    Parameters
    ----------
    fixed : mapping of design path to ohms or volts, optional
        Pulls and causes held at one value; everything else roams its box.

    Returns
    -------
    PinSpans
        Where the pin floats in some corner of the box (`settled` is False) the bound is the whole scale.
    """
    _, sources = sources_of(view, key_state, space, fixed)
    reading = node_reading(view, space)
    if view.shares_temperature:
        temperature = view.truck.temperature
        raw = sliced_span(
            view.net,
            lambda t0, t1: box_of(view, operated, fixed, (t0, t1)),
            temperature.low,
            temperature.high,
            sources,
            reading,
            slices=TEMPERATURE_SLICES,
            gap=SLICE_GAP * space.full_scale,
        ).span
    else:
        low_s, high_s = box_of(view, operated, fixed)
        raw = span(view.net, low_s, high_s, sources, reading)
    readings = tuple(_reading(space, raw, row) for row in range(len(operated)))
    settled = tuple(int(status) == int(Status.OK) for status in raw.status)
    exact = tuple(bool(flag) and firm for flag, firm in zip(raw.exact, settled, strict=True))
    return PinSpans(tuple(operated), space, readings, exact, settled, raw)


def nominal_readings(
    view: LineView, key_state: str, space: ReadingSpace, operated: Sequence[frozenset[str]]
) -> tuple[float, ...]:
    """The reading with everything as stated: no leak, contacts and supplies at their stated value; nan if it floats."""
    ids, sources = sources_of(view, key_state, space)
    nominal = {cause.id: cause.nominal_v for cause in view.causes(key_state, space.divisor)}
    cause_v = np.array([nominal[name] for name in ids])
    volts = node_voltages(view.net, view.nominal_s(operated), sources.rail_v(cause_v)[None, :])
    at = volts[:, view.net.node_index(view.pin)] / (nominal[space.divisor] if space.divisor else 1.0)
    return tuple(math.nan if math.isnan(x) else space.clip(float(x)) for x in at)


def _reading(space: ReadingSpace, raw: Span, row: int) -> Reading:
    """One clipped reading. A pin that floats in some corner may read anything; nan if supplies are shorted."""
    status = int(raw.status[row])
    if status == int(Status.FLOATING):
        return Reading.exact(0.0, space.full_scale)
    if status != int(Status.OK):
        return Reading(math.nan, math.nan, math.nan, math.nan)
    return Reading(*(space.clip(float(end[row])) for end in (raw.low, raw.high, raw.inner_low, raw.inner_high)))
