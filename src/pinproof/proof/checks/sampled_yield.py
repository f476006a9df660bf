"""Sampled yield: of many random trucks built to this design, how many read every required situation right?

Answers: the share, with a confidence interval. It stands beside the worst-case bounds and never in their place.
Units:   ohms, volts; readings in the reading space; shares from 0 to 1.
Touches: nothing; the random numbers come from a seed.
Sources: sampling of inputs and counting of outputs as in JCGM 101:2008; the interval is E. B. Wilson's (1927),
         Journal of the American Statistical Association 22, 209-212, as compared by R. G. Newcombe (1998), Statistics
         in Medicine 17, 857-872, method 3 (seen: secondary).

How a truck is drawn, all of it stated because a share means nothing without it: every part anywhere in its range with
equal chance, wires and closed contacts too, one value for all situations; leaks log-uniform from their least resistance
to 1000 times that; supply, reference, drops and offsets anywhere in their range; every edge anywhere it may lie.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from pinproof.network import readings_of_samples
from pinproof.observe import ReadingSpace
from pinproof.proof.checks.common import listed
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.verdict import Edge
from pinproof.wiring import Branch, LineView
from pinproof.wiring.elements import REFERENCE_TEMP_C, known_pull

NAME = "yield"
LEAK_DECADES = 3.0
CONFIDENCE = 0.95
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def wilson_interval(hits: int, samples: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Confidence interval of a share, from a count.

    Raises
    ------
    ValueError
        Unless ``0 <= hits <= samples`` and ``samples > 0``.

    Examples
    --------
    >>> low, high = wilson_interval(81, 263)
    >>> round(low, 4), round(high, 4)
    (0.2553, 0.3662)
    """
    if samples <= 0 or not 0 <= hits <= samples:
        raise ValueError(f"hits must lie from 0 to samples, and samples above 0; not {hits} of {samples}")
    z = NormalDist().inv_cdf((1.0 + confidence) / 2.0)
    share = hits / samples
    square = z * z / samples
    middle = (share + square / 2.0) / (1.0 + square)
    half = z / (1.0 + square) * math.sqrt(share * (1.0 - share) / samples + square / (4.0 * samples))
    low = 0.0 if hits == 0 else max(middle - half, 0.0)
    high = 1.0 if hits == samples else min(middle + half, 1.0)
    return low, high


def between(low: float, high: float, uniform: FloatArray) -> FloatArray:
    """Values anywhere from low to high with equal chance, from numbers in 0 … 1."""
    return low + (high - low) * uniform


def log_between(least: float, decades: float, uniform: FloatArray) -> FloatArray:
    """Values from `least` upward over some decades, each decade with equal chance."""
    return np.asarray(least * 10.0 ** (decades * uniform), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Sample:
    """N random trucks on one line: conductances of each branch at rest or operated, and the causes. [S, V]"""

    conducting_s: FloatArray  # (N, branches): contacts closed
    open_s: FloatArray  # (N, branches): contacts open; the same as `conducting_s` for everything else
    cause_v: Mapping[str, FloatArray]  # each (N,)


def draw(view: LineView, key_state: str, space: ReadingSpace, samples: int, rng: np.random.Generator) -> Sample:
    """Draw trucks. The order of the draws is that of the branches and causes, so a seed gives the same trucks."""
    conducting = np.empty((samples, len(view.branches)), order="F")
    opened = np.empty((samples, len(view.branches)), order="F")
    temperature = view.truck.temperature
    warm_k = between(temperature.low, temperature.high, rng.random(samples)) - REFERENCE_TEMP_C
    with np.errstate(divide="ignore"):
        for column, branch in enumerate(view.branches):
            conducting[:, column] = 1.0 / (_ohm(branch, rng.random(samples)) * (1.0 + branch.tempco_per_k * warm_k))
            opened[:, column] = conducting[:, column]
            if branch.kind == "contact":
                opened[:, column] = _leak_s(branch.open_low_ohm, rng.random(samples))
    cause_v = {
        cause.id: between(cause.low_v, cause.high_v, rng.random(samples))
        for cause in view.causes(key_state, space.divisor)
    }
    return Sample(conducting, opened, cause_v)


def _ohm(branch: Branch, uniform: FloatArray) -> FloatArray:
    if branch.kind == "leak":
        return log_between(branch.low_ohm, LEAK_DECADES, uniform)
    return between(branch.low_ohm, branch.high_ohm, uniform)


def _leak_s(least_ohm: float, uniform: FloatArray) -> FloatArray:
    if math.isinf(least_ohm):
        return np.zeros(uniform.size)
    return 1.0 / log_between(least_ohm, LEAK_DECADES, uniform)


def readings_of(view: LineView, space: ReadingSpace, sample: Sample, operated: frozenset[str]) -> FloatArray:
    """What each truck's controller reads in one situation, clipped as it clips; nan where the pin floats."""
    conductance_s = sample.conducting_s.copy(order="F")
    for column, branch in enumerate(view.branches):
        if branch.kind == "contact" and branch.conducts_at_rest == (branch.contact in operated):
            conductance_s[:, column] = sample.open_s[:, column]
    rail_v = np.zeros((conductance_s.shape[0], len(view.rail_gains)))
    for column, gains in enumerate(view.rail_gains):
        for cause, gain in gains:
            rail_v[:, column] += gain * sample.cause_v[cause]
    divisor_v = None if space.divisor is None else sample.cause_v[space.divisor]
    reading = readings_of_samples(view.net, conductance_s, rail_v, view.pin, divisor_v)
    out: FloatArray = np.clip(reading, 0.0, space.full_scale)
    return out


def sampled_yield(view: LineView, judged: Sequence[Judged], samples: int, seed: int) -> tuple[Finding, ...]:
    """The share of sampled trucks that read every required situation right in key state run; () without samples."""
    states = [state for state in judged if state.key_state == "run"]
    if samples <= 0 or not states:
        return ()
    counted = [(count_right(view, state, samples, seed), state) for state in states]
    (hits, missed), state = min(counted, key=lambda pair: pair[0][0])
    low, high = wilson_interval(hits, samples)
    text = (
        f"Of {samples} random trucks built so, {hits} read every required situation right"
        f" ({_percent(hits / samples)}; {100.0 * CONFIDENCE:.0f} % interval {_percent(low)} to {_percent(high)})."
    )
    if missed:
        names = listed(f"{'+'.join(each) or 'nothing operated'}" for each in missed[:3])
        text += f" Most misses: {names}."
    if len(states) > 1:
        text += f" Counted for the worse reading, {state.space.words}."
    text += " The worst-case bounds decide, not this share."
    numbers: dict[str, float | str] = {
        "share": hits / samples,
        "low": low,
        "high": high,
        "confidence": CONFIDENCE,
        "samples": float(samples),
        "seed": float(seed),
        "space": state.space.name,
        "drawn": "parts, wear, supply, edges: uniform in their ranges; leaks: log-uniform from least to 1000 times",
    }
    return (Finding(NAME, None, view.line.id, text, numbers),)


def count_right(view: LineView, state: Judged, samples: int, seed: int) -> tuple[int, tuple[tuple[str, ...], ...]]:
    """Trucks that read every required situation right, and the situations that were missed, most often first."""
    rng = np.random.Generator(np.random.PCG64(seed))
    sample = draw(view, state.key_state, state.space, samples, rng)
    edges = _edges(view, state, sample, rng)
    right = np.ones(samples, dtype=bool)
    misses: dict[tuple[str, ...], int] = {}
    for situation, need in zip(state.situations, state.requirements, strict=True):
        if need.how != "inside":
            continue
        reading = readings_of(view, state.space, sample, situation.key)
        inside = np.zeros(samples, dtype=bool)
        for window, (low, high) in zip(state.windows, edges, strict=True):
            if window.meaning in need.of:
                inside |= (reading >= low) & (reading <= high)
        if not inside.all():
            misses[situation.operated] = samples - int(inside.sum())
        right &= inside
    return int(right.sum()), tuple(sorted(misses, key=lambda each: -misses[each]))


def _edges(
    view: LineView, state: Judged, sample: Sample, rng: np.random.Generator
) -> list[tuple[FloatArray, FloatArray]]:
    """Where each truck's controller has the edges of each window of the state, (N,) each; infinite for none."""
    count = next(iter(sample.cause_v.values())).size if sample.cause_v else sample.open_s.shape[0]
    stated = {} if view.line.free else {each.path: each for each in view.line.windows if each.by_substitution}
    paths = [each.path for each in view.line.windows] if stated and not view.line.targets else []
    out = []
    for index, window in enumerate(state.windows):
        ends: list[FloatArray] = []
        for side, edge in (("low", window.lower), ("high", window.upper)):
            uniform = rng.random(count)
            if edge is None:
                ends.append(np.full(count, -np.inf if side == "low" else np.inf))
            elif paths and paths[index] in stated:
                off = rng.random(count)
                other = view.line.source_side == "feed"  # more ohms, lower reading
                taken = {"low": "high", "high": "low"}[side] if other else side
                between_ohm = stated[paths[index]].edge(taken)  # type: ignore[arg-type]
                assert between_ohm is not None
                ohm = between(max(between_ohm[0], 0.0), max(between_ohm[1], 0.0), uniform)
                reach = view.input.error.value * state.space.full_scale
                ends.append(substituted_reading(view, state.space, sample, ohm) + reach * (2.0 * off - 1.0))
            else:
                ends.append(_anywhere(edge, uniform))
        out.append((ends[0], ends[1]))
    return out


def _anywhere(edge: Edge, uniform: FloatArray) -> FloatArray:
    return between(edge.low, edge.high, uniform)


def substituted_reading(view: LineView, space: ReadingSpace, sample: Sample, ohm: FloatArray) -> FloatArray:
    """Reading of each truck's input with a bare resistance from its pin to the nominal source side, (N,)."""
    owner, line = view.input, view.line
    columns = {branch.id: column for column, branch in enumerate(view.branches)}

    def volts_of(cause: str, nominal_v: float) -> FloatArray:
        return sample.cause_v.get(cause, np.full(ohm.size, nominal_v))

    battery_v = volts_of("supply", view.truck.supply.run.value)
    reference_v = volts_of(owner.reference.path, owner.reference.value) if owner.reference else np.zeros(ohm.size)
    total_s, current_a = np.zeros(ohm.size), np.zeros(ohm.size)
    up, down = known_pull(owner.pull_up), known_pull(owner.pull_down)
    if up is not None:
        pull_s = sample.conducting_s[:, columns[up.path]]
        total_s = total_s + pull_s
        current_a = current_a + pull_s * (battery_v if owner.pull_up_to == "battery" else reference_v)
    if down is not None:
        total_s = total_s + sample.conducting_s[:, columns[down.path]]
    source_v = np.zeros(ohm.size)
    if line.source_side == "feed":
        source_v = battery_v if line.feed_from == "battery" else reference_v
    with np.errstate(divide="ignore", invalid="ignore"):
        volts = np.where(ohm == 0.0, source_v, (current_a + source_v / ohm) / (total_s + 1.0 / ohm))
    divisor = {"reference": reference_v, "battery": battery_v, "volts": np.ones(ohm.size)}[space.name]
    out: FloatArray = volts / divisor
    return out


def _percent(share: float) -> str:
    """A share with the digits that tell it from 0 and 1."""
    rest = min(share, 1.0 - share)
    if rest == 0.0:
        return f"{100.0 * share:.0f} %"
    digits = 1 if rest >= 0.005 else 2 if rest >= 0.0005 else 3
    text = f"{100.0 * share:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.')} %"
