"""Scripted sessions: a key-on script with counted presses and detents, a drive with counted taps and no tap channel.

Each comes with what a crew would have written down, and with the verdict that the truth demands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.truth.log_defects import Planted
from tests.truth.log_loggers import Logged, Logger, make_logger, record
from tests.truth.log_sim import Sim, simulate
from tests.truth.log_sim_truck import LEVERS, Truck, make_truck

DETENTS = {"P": "park", "R": "reverse", "N": "neutral", "D": "drive", "M": "manual"}


@dataclass(frozen=True)
class Session:
    """`demands`: check -> the verdict that is right; a check that is not in it must not fail."""

    logged: Logged
    script: str
    demands: dict[str, str]
    kind: str
    planted: str


def phase(kind: str, from_s: float, to_s: float, **more: Any) -> str:
    lines = ["[[phase]]", f'kind = "{kind}"', f'from = "{from_s:.2f} s"', f'to = "{to_s:.2f} s"']
    for key, value in more.items():
        if isinstance(value, str):
            lines.append(f'{key} = "{value}"')
        elif isinstance(value, list):
            lines.append(f"{key} = [" + ", ".join(f'"{each}"' for each in value) + "]")
        else:
            lines.append(f"{key} = {value}")
    return "\n".join(lines)


def key_on(seed: int) -> Session:
    """Engine off: every button five times, the lever through its detents. In one of three something is wrong."""
    rng = np.random.default_rng([seed, 7010])
    truck = make_truck(seed)
    planted = str(rng.choice(["", "", "", "a press that did not arrive", "two detents, one code"]))
    if planted.startswith("two"):
        codes = dict(truck.lever_codes)
        codes["N"] = codes["R"]
        truck = replace(truck, lever_codes=codes)
    sim = simulate(truck, Planted(), seed, 0.0, "key on")
    logger = make_logger(seed, truck, sim.length_s, profile=str(rng.choice(["full", "bus", "wires"])), clean=True)
    logged = record(sim, logger, seed)
    counts = {d: sum(p.direction == d for p in sim.presses) for d in ("up", "down")}
    if planted.startswith("a press"):
        counts["up"] += 1  # the crew pressed once more than what the pin saw
    first, last = min(p.on_s for p in sim.presses), max(p.off_s for p in sim.presses)
    moves = [t for t, _ in sim.lever_moves]
    back = moves[5]
    read = logged.read_s
    phases = [
        phase("detents", 0.0, max(read(first - 0.6), 0.1), detents=[DETENTS[lever] for lever in LEVERS]),
        phase("key on, engine off", read(first - 0.5), read(last + 0.5), held="0.35 s", **counts),
        phase("detents", read(back - 0.8), read(moves[-1] + 1.8), detents=[DETENTS[x] for x in reversed(LEVERS)]),
    ]
    demands = {}
    interval = tap_interval(logged)
    if interval <= 0.175:
        demands["press-count"] = "fail" if planted.startswith("a press") else "pass"
    if logged.has("lever"):
        demands["detents"] = "fail" if planted.startswith("two") else "pass"
    return Session(logged, "format = 1\n" + "\n".join(phases) + "\n", demands, "key on", planted)


def tap_interval(logged: Logged) -> float:
    """Interval of what shows taps, inf if nothing does. Volts of a battery-fed pin say nothing without the supply."""
    if logged.has("tap_up", "tap_down"):
        return 1.0 / logged.rate("tap_up")
    if logged.has("meaning"):
        return 1.0 / logged.rate("meaning")
    if not logged.has("pin"):
        return float("inf")
    volts = logged.samples["pin"].channel.unit in ("V", "mV")
    battery = logged.sim.truck.coder.form == "pull-down"
    if volts and battery and not logged.has("supply"):
        return float("inf")
    return 1.0 / logged.rate("pin")


def without_taps(logger: Logger) -> Logger:
    """The same logger with nothing that shows a tap."""
    gone = ("tap_up", "tap_down", "meaning", "pin")
    return replace(logger, channels=tuple(c for c in logger.channels if c.role not in gone))


def usable(sim: Sim) -> bool:
    """No step but by taps once manual is engaged, and no tap outside manual."""
    start = next((t for t, engaged in sim.engagements if engaged), None)
    if start is None or any(not engaged for t, engaged in sim.engagements):
        return False
    later = [s for s in sim.shifts if s.command_s > start + 0.01]
    return all(s.cause in ("tap", "doubled") for s in later)


def drive(seed: int, length_s: float = 400.0) -> Session:
    """A slow drive with counted taps at 5 to 25 Hz. The crew wrote down presses, and refusals that it saw."""
    rng = np.random.default_rng([seed, 7011])
    planted = Planted("missed", miss_p=0.15) if rng.random() < 0.4 else Planted()
    for again in range(50):
        truck: Truck = replace(make_truck(seed + 100_000 * again), mode_shows="at once")
        sim = simulate(truck, planted, seed, length_s, "script")
        if usable(sim):
            break
    else:
        raise ValueError(f"no clean scripted drive for seed {seed}")
    profile = str(rng.choice(["slow", "poll"]))
    logged = record(sim, without_taps(make_logger(seed, truck, length_s, profile=profile, clean=True)), seed)
    told: dict[str, int] = {}
    for direction in ("up", "down"):
        mine = [p for p in sim.presses if p.direction == direction]
        told[direction] = len(mine)
        refused = sum(p.outcome not in ("step", "missed", "held, then step") for p in mine)
        if refused:
            told[f"refused_{direction}"] = refused
    engaged = next(t for t, on in sim.engagements if on)
    from_s = max(engaged + 0.4, 0.0)
    script = "format = 1\n" + phase("drive", logged.read_s(from_s), logged.read_s(length_s - 1.0), **told) + "\n"
    missed = sum(p.outcome == "missed" for p in sim.presses)
    role = next((r for r in ("gear_commanded", "gear") if logged.has(r)), "")
    demands = {}
    if role and logged.rate(role) >= 5.0:
        right = len(sim.presses) - missed
        demands["scripted-steps"] = "fail" if missed else "pass" if right >= 59 else "not shown"
    return Session(logged, script, demands, "drive", planted.kind)
