"""Published drive cycles driven through an example's gearbox: engine, turbine, output, road speed, and the true gear.

The road speed is the cycle's. Gears follow a plain schedule with shifts that take their time; the converter is open for
half of the time that it could be locked; the tyre grows; each channel is sampled ten times a second at its own moment.
"""

from __future__ import annotations

import csv
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

DATA = Path(__file__).resolve().parents[1] / "data" / "drive_cycles"
EXAMPLE = Path(__file__).resolve().parents[2] / "src" / "pinproof" / "examples" / "sandpiper.toml"
CYCLES = ("udds", "hwfet", "us06", "wltc_3b", "dyno_measured_city", "dyno_measured_highway_twice")
MILE_M = 1609.344  # exact, by definition
RATE_HZ = 10.0
FINE_S = 0.01
SLIP_OPEN = 0.10
LEAST_OUTPUT_RPM = 150.0

Teller = Callable[[Path, Path, Path], tuple[np.ndarray, np.ndarray]]  # design, log, map -> seconds, gears (NaN unknown)


@dataclass
class Cycle:
    """True signals on a fine grid, and the samples: channel -> (captured at, row time, values)."""

    name: str
    t_s: np.ndarray
    gear: np.ndarray  # NaN while shifting
    old: np.ndarray
    new: np.ndarray  # the gears before and after while shifting, else the gear
    engine_rpm: np.ndarray
    turbine_rpm: np.ndarray
    output_rpm: np.ndarray
    road_m_per_s: np.ndarray
    lockup: np.ndarray
    rows_s: np.ndarray
    samples: dict[str, np.ndarray]  # channel -> value in each row
    delays_s: dict[str, float]


def speeds(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and m/s of a file."""
    with open(DATA / f"{name}.csv", encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    if "cycMps" in rows[0]:
        return np.array([float(r["cycSecs"]) for r in rows]), np.array([float(r["cycMps"]) for r in rows])
    seconds = np.array([abs(float(r["Time[s]"])) for r in rows])
    return seconds, np.array([max(float(r["Dyno_Spd[mph]"]), 0.0) * MILE_M / 3600.0 for r in rows])


def example() -> dict[str, Any]:
    """The driveline of the example as its file states it: ratios, axle, circumference at rest, growth."""
    drive = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))["drive"]
    number = lambda x: float(x["value"] if isinstance(x, dict) else x)  # noqa: E731
    roll = float(drive["tyre"]["roll_out"]["value"].split()[0]) / float(drive["tyre"]["turns"])
    return {
        "ratios": [number(gear["ratio"]) for gear in drive["gear"]],
        "axle": number(drive["axle"]["ratio"]),
        "roll_m": roll,
        "growth": 0.008,  # inside the stated 0 to 1 %
        "wear": 0.012,  # inside the stated 0 to 2 %
    }


def design_file(folder: Path) -> Path:
    """The example with a converter that may slip as much as this one does."""
    text = EXAMPLE.read_text(encoding="utf-8")
    old = 'slip = { low = "0 %", value = "1 %", high = "3 %"'
    if old not in text:
        raise ValueError("the example's converter is written differently now")
    borrowed = EXAMPLE.with_name("sandpiper-borrowed.csv")
    (folder / borrowed.name).write_bytes(borrowed.read_bytes())
    path = folder / "truck.toml"
    path.write_text(text.replace(old, 'slip = { low = "0 %", value = "1 %", high = "12 %"'), encoding="utf-8")
    return path


def make_cycle(name: str, seed: int) -> Cycle:
    """The same arguments give the same drive."""
    rng = np.random.default_rng([seed, CYCLES.index(name), 7030])
    truck = example()
    ratios = truck["ratios"]
    seconds, given = speeds(name)
    t = np.arange(seconds[0], seconds[-1], FINE_S)
    v = np.interp(t, seconds, given)
    circumference = truck["roll_m"] * (1.0 - truck["wear"]) * (1.0 + truck["growth"] * (v / 45.0) ** 2)
    output = 60.0 * v / circumference * truck["axle"]
    up_rpm, down_rpm = float(rng.uniform(2300.0, 3000.0)), float(rng.uniform(1050.0, 1250.0))
    gear, old, new = np.full(len(t), np.nan), np.zeros(len(t)), np.zeros(len(t))
    turbine = np.zeros(len(t))
    now, since, i = 1, 0.0, 0
    while i < len(t):
        turns = output[i] * ratios[now - 1]
        wanted = now
        if turns > up_rpm and now < len(ratios) and t[i] - since > 1.5:
            wanted = now + 1
        elif turns < down_rpm and now > 1 and t[i] - since > 1.5:
            wanted = now - 1
        if wanted == now:
            gear[i] = old[i] = new[i] = now
            turbine[i] = turns
            i += 1
            continue
        end = min(i + int(rng.uniform(0.25, 0.55) / FINE_S), len(t))
        x = np.linspace(0.0, 1.0, end - i)
        x = np.clip((x - 0.25) / 0.75, 0.0, 1.0)
        smooth = x * x * (3.0 - 2.0 * x)
        turbine[i:end] = output[i:end] * (ratios[now - 1] + (ratios[wanted - 1] - ratios[now - 1]) * smooth)
        old[i:end], new[i:end] = now, wanted
        now, since, i = wanted, float(t[min(end, len(t) - 1)]), end
    locked = lock_blocks(rng, t) & (np.nan_to_num(gear) >= 2)
    lock = np.convolve(locked.astype(float), np.ones(30) / 30.0, mode="same")
    pull = np.clip(np.gradient(v, t) / 1.5 + 0.15, 0.0, 1.0)
    slip = (1.0 - lock) * SLIP_OPEN * pull
    engine = np.maximum(turbine / (1.0 - slip), np.where(lock > 0.5, 0.0, 750.0))
    rows = t[0] + 0.5 + np.arange(int((t[-1] - t[0] - 1.0) * RATE_HZ)) / RATE_HZ
    truth = {"engine": engine, "turbine": turbine, "output": output, "road": v, "lockup": lock}
    noise = {"engine": 5.0, "turbine": 4.0, "output": 2.0, "road": 0.05, "lockup": 0.0}
    delays = {name: float(rng.uniform(0.0, 0.09)) for name in truth}
    samples = {
        name: np.maximum(
            np.interp(rows - delays[name], t, truth[name]) + rng.normal(0.0, 1.0, len(rows)) * noise[name], 0.0
        )
        for name in truth
    }
    return Cycle(name, t, gear, old, new, engine, turbine, output, v, lock, rows, samples, delays)


def lock_blocks(rng: np.random.Generator, t_s: np.ndarray) -> np.ndarray:
    """Locked and open in turn, half of the time each, in blocks of 4 to 20 s."""
    out = np.zeros(len(t_s), dtype=bool)
    i, state = 0, bool(rng.random() < 0.5)
    while i < len(t_s):
        j = i + int(rng.uniform(4.0, 20.0) / FINE_S)
        out[i:j] = state
        i, state = j, not state
    return out


HEADS = {"engine": ("Engine", "rpm", 0), "turbine": ("Turbine", "rpm", 0), "output": ("Output", "rpm", 1),
         "road": ("Speed", "km/h", 2), "lockup": ("Lock", "%", 1)}  # fmt: skip
SCALE = {"engine": 1.0, "turbine": 1.0, "output": 1.0, "road": 3.6, "lockup": 100.0}


def write_cycle(cycle: Cycle, folder: Path, channels: tuple[str, ...]) -> tuple[Path, Path]:
    """Log and map, comma and point. The gear that the controller shows follows half a second late."""
    log, map_ = folder / f"{cycle.name}.csv", folder / f"{cycle.name}-map.toml"
    shown = np.interp(cycle.rows_s, cycle.t_s, np.arange(len(cycle.t_s))).astype(int)
    columns = [[f"{x:.2f}" for x in cycle.rows_s - cycle.rows_s[0]]]
    for name in channels:
        columns.append([f"{x:.{HEADS[name][2]}f}" for x in cycle.samples[name] * SCALE[name]])
    columns.append([f"{int(x)}" for x in cycle.old[shown]])
    head = ",".join(["Time", *(HEADS[name][0] for name in channels), "Gear"])
    log.write_text("\n".join([head, *(",".join(row) for row in zip(*columns, strict=True))]) + "\n", encoding="utf-8")
    out = [
        "format = 1",
        'logger = "Invented logger"',
        "[file]",
        'kind = "text"',
        'encoding = "utf-8"',
        'delimiter = ","',
    ]
    out += ['decimal = "."', "skip_lines = 0", "unit_row = false", "confirmed = true"]
    out += ["[time]", 'header = "Time"', 'kind = "number"', 'unit = "s"', "confirmed = true"]
    for name in channels:
        out += [
            "[[channel]]",
            f'role = "{name}"',
            f'header = "{HEADS[name][0]}"',
            f'unit = "{HEADS[name][1]}"',
            "confirmed = true",
        ]
    out += ["[[channel]]", 'role = "gear"', 'header = "Gear"', 'unit = "code"', "confirmed = true"]
    map_.write_text("\n".join(out) + "\n", encoding="utf-8")
    return log, map_


@dataclass(frozen=True)
class Score:
    """Shares of the samples at which a gear is in and the output turns fast enough."""

    samples: int
    wrong: int  # another gear than the one that is in; while shifting another than both
    unknown: int  # of the samples not shifting
    settled: int

    @property
    def wrong_share(self) -> float:
        return self.wrong / max(self.samples, 1)

    @property
    def unknown_share(self) -> float:
        return self.unknown / max(self.settled, 1)


def score(cycle: Cycle, at_s: np.ndarray, told: np.ndarray) -> Score:
    """Compare told gears (time from the first row, NaN unknown) with the truth at the time that the samples show."""
    true_s = at_s + cycle.rows_s[0] - float(np.mean([cycle.delays_s["turbine"], cycle.delays_s["output"]]))
    i = np.clip(np.searchsorted(cycle.t_s, true_s), 0, len(cycle.t_s) - 1)
    moving = cycle.output_rpm[i] > LEAST_OUTPUT_RPM
    settled = moving & np.isfinite(cycle.gear[i])
    wrong = moving & np.isfinite(told) & (told != cycle.old[i]) & (told != cycle.new[i])
    return Score(int(moving.sum()), int(wrong.sum()), int((settled & ~np.isfinite(told)).sum()), int(settled.sum()))


def plain_teller(cycle: Cycle) -> np.ndarray:
    """What anybody could tell with the known ratios: turbine ÷ output within 3 % and what a tenth of a second does."""
    ratios = np.array(example()["ratios"])
    out, turbine = cycle.samples["output"], cycle.samples["turbine"]
    q = turbine / np.maximum(out, 1.0)
    change = np.abs(np.gradient(np.log(np.maximum(out, 1.0)), cycle.rows_s)) * 0.1
    off = np.abs(np.log(np.maximum(q, 1e-6)[:, None] / ratios[None, :]))
    best = np.argmin(off, axis=1)
    good = (off[np.arange(len(q)), best] < 0.03 + np.minimum(change, 0.08)) & (out > LEAST_OUTPUT_RPM)
    return np.where(good, best + 1.0, np.nan)


def judge_cycles(count: int, seed: int = 0, teller: Teller | None = None) -> str:
    """Every cycle with so many seeds in all: the plain teller, and the product's if one is given.

    Without a teller the product is still run on the files: its check of the gear against the ratio must not fail.
    """
    from pinproof.design import load
    from pinproof.logs import load_map, open_log, prove_log

    lines = []
    for k in range(count):
        cycle = make_cycle(CYCLES[k % len(CYCLES)], seed + k // len(CYCLES))
        plain = score(cycle, cycle.rows_s - cycle.rows_s[0], plain_teller(cycle))
        text = f"{cycle.name:<28} plain: wrong {plain.wrong_share:.4f}, unknown {plain.unknown_share:.4f}"
        for channels in (("engine", "turbine", "output", "road", "lockup"), ("engine", "output", "lockup")):
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                log, map_ = write_cycle(cycle, folder, channels)
                design = design_file(folder)
                how = "turbine" if "turbine" in channels else "engine"
                if teller is not None:
                    got = score(cycle, *teller(design, log, map_))
                    text += f"; by {how}: wrong {got.wrong_share:.4f}, unknown {got.unknown_share:.4f}"
                report = prove_log(load(design), [open_log([log], load_map(map_))])
                check = report.check("gear-agrees")
                text += f"; {how} gear-agrees {check.verdict} {dict(check.numbers)}"
        lines.append(text)
    return "\n".join(lines)
