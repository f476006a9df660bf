"""Places windows or targets near the readings a generated line really gives, in a random unit."""

from __future__ import annotations

import dataclasses
import itertools
import random
from collections.abc import Callable
from fractions import Fraction

from tests.truth.judge import all_spaces, reading_windows, requirement, situations
from tests.truth.spans import Space, evaluate, spaces, substitution_reading
from tests.truth.truck import Line, Target, Truck, Window, exact

Tag = Callable[[str], None]


def _spans(truck: Truck, line: Line, space: Space) -> dict[str, list[float]]:
    """Meaning -> [low, high] over the situations that must read it."""
    bare = dataclasses.replace(line, rules=())
    out: dict[str, list[float]] = {}
    for operated in situations(truck, line):
        need = requirement(truck, bare, operated, "run")
        if need.rule == 5:
            continue
        (meaning,) = need.allowed
        found = evaluate(truck, line, operated, "run", space)
        low, high = (0.0, 0.0) if found.shorted else (found.reading.low, found.reading.high)
        have = out.setdefault(meaning, [low, high])
        have[0], have[1] = min(have[0], low), max(have[1], high)
    return out


def _round(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class Placer:
    def __init__(self, truck: Truck, line: Line, rng: random.Random, tidy: bool, tag: Tag) -> None:
        self.truck, self.line, self.rng, self.tidy, self.tag = truck, line, rng, tidy, tag
        self.pin = truck.input_of(line)
        self.space = rng.choice(spaces(self.pin))
        self.full = float(self.space.full)
        self.nominal = {"battery": float(truck.supply["run"].nominal)}
        if self.pin.reference is not None:
            self.nominal["reference"] = float(self.pin.reference.nominal)

    # ------------------------------------------------------------ units

    def units(self) -> list[str]:
        """Units in which a window of this line makes physical sense."""
        pin, line = self.pin, self.line
        out = ["ratio", "ratio", "V"]
        if pin.full_counts:
            out += ["counts", "counts"]
        source = pin.pull_up_to if line.source_rail == "return" else line.feed_from
        pull = pin.pull_up if line.source_rail == "return" else pin.pull_down
        matching = self.space.name in ("volts", source) and pin.compares != "unknown"
        if pull is not None and matching:
            out += ["ohm"] * 3
            other = pin.pull_down if line.source_rail == "return" else pin.pull_up
            high_v = max(float(s.ends[1]) for s in self.truck.supply.values())
            room = self.space.name != "volts" or source == "reference" or self.full >= high_v
            ref_room = (
                self.space.name != "volts"
                or source == "battery"
                or (pin.reference is not None and float(pin.reference.ends[1]) <= self.full)
            )
            if room and ref_room and (line.source_rail == "return" or other is None):
                out += ["substitution"] * 3
        return out

    def from_reading(self, unit: str, x: float, pull: float) -> str | None:
        """The stated number for a reading, rounded as people would; None where the unit cannot say it."""
        if unit == "ratio":
            return _round(x / self.full, 4)
        if unit == "counts":
            return _round(x / self.full * float(self.pin.full_counts or 1), 0)
        if unit == "V":
            scale = 1.0 if self.space.name == "volts" else self.nominal[self.space.name]
            return _round(x * scale, 3)
        line = self.line
        if unit == "substitution":
            return self.by_trial(x)
        source = self.pin.pull_up_to if line.source_rail == "return" else (line.feed_from or "")
        share = x / self.nominal[source] if self.space.name == "volts" else x
        if not 0.0005 < share < 0.9995:
            return None
        ohm = pull * share / (1 - share) if line.source_rail == "return" else pull * (1 - share) / share
        return _round(ohm, 1)

    def by_trial(self, x: float) -> str | None:
        """Find by halving the resistance with which the input nominally reads x."""
        pin = self.pin
        up = None if pin.pull_up is None else exact(pin.pull_up.ohm)
        down = None if pin.pull_down is None else exact(pin.pull_down.ohm)
        rails = {k: Fraction(v) for k, v in self.nominal.items()}
        low, high = 1.0, 1e6
        rising = self.line.source_rail == "return"

        def at(ohm: float) -> float:
            return float(substitution_reading(self.truck, self.line, self.space, Fraction(ohm), rails, up, down))

        if not min(at(low), at(high)) < x < max(at(low), at(high)):
            return None
        for _ in range(40):
            middle = (low * high) ** 0.5
            if (at(middle) < x) == rising:
                low = middle
            else:
                high = middle
        return _round(low, 1)

    # ------------------------------------------------------------ windows

    def edges(self, spans: dict[str, list[float]]) -> list[tuple[str, float | None, float | None]]:
        """Meaning, low, high in reading space, ascending."""
        r = self.rng
        order = sorted(spans.items(), key=lambda kv: kv[1][0] + kv[1][1])
        lows: list[float | None] = [None] * len(order)
        highs: list[float | None] = [None] * len(order)
        for i in range(len(order) - 1):
            a, b = order[i][1], order[i + 1][1]
            gap = b[0] - a[1]
            if gap > 1e-3 * self.full:
                least = 0.2 if self.tidy else r.choice([0.02, 0.1, 0.2, -0.1])
                highs[i] = a[1] + gap * r.uniform(least, 0.49)
                lows[i + 1] = b[0] - gap * r.uniform(least, 0.49)
                near = (0.003 + float(self.pin.error_pct) / 100) * self.full
                if near * 2.2 < gap:  # edges close to a span's end: decided by their uncertainty
                    if r.random() < (0.03 if self.tidy else 0.15):
                        highs[i] = a[1] + near * r.uniform(-0.9, 1.1)
                    if r.random() < (0.03 if self.tidy else 0.15):
                        lows[i + 1] = b[0] - near * r.uniform(-0.9, 1.1)
            else:
                middle = (a[0] + a[1] + b[0] + b[1]) / 4
                dead = 0.002 * self.full
                highs[i], lows[i + 1] = middle - dead, middle + dead
        if r.random() < 0.6:
            lows[0] = order[0][1][0] - r.uniform(0.1 if self.tidy else -0.02, 0.3) * self.full / 4
        if r.random() < 0.6:
            highs[-1] = order[-1][1][1] + r.uniform(0.1 if self.tidy else -0.02, 0.3) * self.full / 4
        return [(m, lows[i], highs[i]) for i, (m, _) in enumerate(order)]

    def windows(self, spans: dict[str, list[float]], unit: str) -> tuple[Window, ...]:
        r = self.rng
        pull = self.pin.pull_up if self.line.source_rail == "return" else self.pin.pull_down
        pull_ohm = pull.ohm if pull is not None else "1000"
        basis = r.choices(["published", "measured", "borrowed", "assumed", None], [0.5, 0.25, 0.1, 0.1, 0.05])[0]
        flips = unit in ("ohm", "substitution") and self.line.source_rail == "feed"
        uncertainty = uncertainty_pct = None
        if r.random() < 0.35:
            small = 0.3 if self.tidy else 1.0
            if unit in ("ohm", "substitution", "V") and r.random() < 0.5:
                uncertainty_pct = _round(r.choice([0.5, 1, 2]) * small, 2)
            else:
                step = {"ratio": 0.01, "V": 0.04, "counts": 4, "ohm": 12, "substitution": 12}[unit]
                uncertainty = _round(step * small, 0 if unit == "counts" else 3)
            self.tag("uncertain edges")
        rows = self.edges(spans)
        first, last = rows[0], rows[-1]
        faults: list[tuple[str, float | None, float | None]] = []
        if first[1] is not None and first[1] > 0.02 * self.full and r.random() < 0.6:
            faults.append(("shorted", None, first[1] * 0.6))
        if last[2] is not None and last[2] < 0.98 * self.full and r.random() < 0.6:
            faults.append(("open", last[2] + 0.4 * (self.full - last[2]), None))
        out = []
        for meaning, low, high in rows + faults:
            marks = []
            for x in (low, high):
                inside = x is not None and 0.004 * self.full < x < 0.996 * self.full
                marks.append(self.from_reading(unit, x, float(pull_ohm)) if inside and x is not None else None)
            if flips:
                marks.reverse()
            own = basis if r.random() < 0.85 else r.choice(["assumed", "published", None])
            fault = (meaning, low, high) in faults
            if unit == "ohm" and marks[0] is None and not flips and r.random() < 0.3:
                marks[0] = "0"  # an edge written at the rail is no edge
            at_zero = "0" in marks
            out.append(
                Window(
                    meaning,
                    marks[0],
                    marks[1],
                    "ohm" if unit == "substitution" else unit,
                    None if at_zero else uncertainty,
                    uncertainty_pct,
                    pull_ohm if unit == "ohm" else None,
                    unit == "substitution",
                    fault,
                    own,
                )
            )
            self.tag(f"windows in {unit}")
        return tuple(out)


def sound(truck: Truck, line: Line) -> bool:
    """Stated edges in order, inside the scale and without overlap in every reading space."""
    for w in line.windows:
        if w.low is not None and w.high is not None and exact(w.low) >= exact(w.high):
            return False
        if w.uncertainty and any(x is not None and exact(x) <= exact(w.uncertainty) for x in (w.low, w.high)):
            return False
    for space in all_spaces(truck, line):
        wins = reading_windows(truck, line, space)
        in_order = sorted(wins, key=lambda w: w.low_nominal if w.low_nominal is not None else Fraction(-1))
        for x in in_order:
            if (x.low_nominal or 0) >= (x.high_nominal if x.high_nominal is not None else space.full):
                return False
        for a, b in itertools.pairwise(in_order):
            if a.high_nominal is None or b.low_nominal is None or a.high_nominal > b.low_nominal:
                return False
    return True


def place_windows(truck: Truck, line: Line, rng: random.Random, tidy: bool, tag: Tag) -> Line:
    """The line with windows (or targets) that pass, fail or stay open by turns."""
    placer = Placer(truck, line, rng, tidy, tag)
    spans = _spans(truck, line, placer.space)
    if rng.random() < 0.15:
        unit = rng.choice([u for u in placer.units() if u != "substitution"])
        pull = placer.pin.pull_up if line.source_rail == "return" else placer.pin.pull_down
        targets = []
        for meaning, (low, high) in spans.items():
            middle = min(max((low + high) / 2, 0.01 * placer.full), 0.99 * placer.full)
            mark = placer.from_reading(unit, middle, float(pull.ohm) if pull else 1.0)
            if mark is not None:
                targets.append(Target(meaning, mark, unit, pull.ohm if pull and unit == "ohm" else None))
        if len({t.reading for t in targets}) == len(spans):
            tag("targets")
            return dataclasses.replace(line, targets=tuple(targets))
    units = placer.units()
    for attempt in range(8):
        unit = rng.choice(units) if attempt < 6 else "ratio"
        windows = placer.windows(spans, unit)
        done = dataclasses.replace(line, windows=windows)
        if sound(truck, done):
            return done
    # readings that coincide: plain windows side by side
    n = len(spans)
    plain = tuple(
        Window(
            m,
            None if i == 0 else f"{i / n:.3f}",
            None if i == n - 1 else f"{(i + 1) / n - 0.02:.3f}",
            "ratio",
            basis="measured",
        )
        for i, m in enumerate(sorted(spans))
    )
    tag("plain windows")
    return dataclasses.replace(line, windows=plain)
