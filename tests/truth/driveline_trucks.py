"""Awkward drivelines, as text: every way to state a tyre and a number, metric and US, several ranges and gears, skip
shifts, an unknown limiter, a converter that slips, locks or is led by its turbine, tables of every kind.

Answers: `make(seed)` is the text of a design file and its tables, the same each time for the same seed.
Touches: nothing of the product, no file. All numbers are invented; no gearbox, tyre or truck stands behind them.
Beside:  `driveline_truth` computes them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from random import Random

HEAD = """format = 1
id = "pp-drive-{seed}"
name = "Driveline {seed} (invented)"
[supply]
run = "11 V to 15 V"
[temperature]
low = "0 °C"
high = "60 °C"
"""
BASES = ("measured", "published", "borrowed", "assumed")
LOADS = ("full", "load 20 %", "load 60 %")


@dataclass
class Made:
    """One driveline as files: the design's text and its tables by name; `kinds` says what is awkward about it."""

    text: str
    tables: dict[str, str] = field(default_factory=dict)
    kinds: set[str] = field(default_factory=set)


def short(number: float, places: int = 4) -> str:
    """As a person writes it: no exponent, no needless zeros."""
    return f"{number:.{places}f}".rstrip("0").rstrip(".") if places else f"{number:.0f}"


class Writer:
    """Writes one driveline; `r` is its own source of chance."""

    def __init__(self, seed: int) -> None:
        self.r = Random(f"driveline {seed}")
        self.seed = seed
        self.kinds: set[str] = set()
        self.us = self.r.random() < 0.4
        self.sure = self.r.random() < 0.25  # no tolerance anywhere: ties and exact edges
        if self.sure:
            self.kinds.add("no tolerance")

    def table(self, pairs: dict[str, str]) -> str:
        """An inline table."""
        if self.r.random() < 0.5:
            pairs["basis"] = self.r.choice(BASES)
        return "{ " + ", ".join(f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in pairs.items()) + " }"

    def number(self, value: float, unit: str, part: float = 0.02, places: int = 3, gap: str = " ") -> str:
        """A quantity of the file near `value`, as people write it; `part` is how far it may stray."""
        put = lambda x: short(x, places) + (gap + unit if unit else "")  # noqa: E731
        way = self.r.choice(("plain", "tolerance", "range", "low high", "three"))
        if self.sure or part == 0:
            way = self.r.choice(("plain", "table"))
        stray = abs(value) * part * self.r.uniform(0.2, 1.0)
        if round(value - stray, places) <= 0 or round(stray, places) == 0:
            way = "plain"
        if way == "plain":
            return json.dumps(put(value))
        if way == "table":
            return self.table({"value": put(value)})
        self.kinds.add(f"written as {way}")
        if way == "tolerance":
            return self.table({"value": put(value), "tolerance": short(100 * stray / value, 2) + " %"})
        if way == "range":
            return json.dumps(f"{put(value - stray)} to {put(value + stray)}")
        if way == "low high":
            return self.table({"low": put(value - stray), "high": put(value + stray)})
        return self.table(
            {
                "low": put(value - stray),
                "value": put(value + stray * self.r.uniform(-0.8, 0.8)),
                "high": put(value + stray),
            }
        )

    def percent(self, low: float, high: float, none: bool = True) -> str:
        """A percentage that ranges, or one number, or nothing: "none", or "0 %" where that word has no place."""
        if self.r.random() < 0.25:
            return '"none"' if none else '"0 %"'
        low, high = sorted((round(low, 1), round(high, 1)))
        if self.sure or low == high:
            return json.dumps(f"{short(high, 1)} %")
        if self.r.random() < 0.5:
            return json.dumps(f"{short(low, 1)} % to {short(high, 1)} %")
        return self.table({"low": f"{short(low, 1)} %", "high": f"{short(high, 1)} %"})

    def tyre(self, diameter_in: float) -> dict[str, str]:
        """A tyre in one of the ways to state it."""
        r = self.r
        way = r.choice(("roll_out", "revolutions", "size", "size"))
        around_m = diameter_in * 0.0254 * 3.05
        self.kinds.add(f"tyre by {way}")
        if way == "roll_out":
            turns = r.choice((1, 2, 5, 10))
            unit, metres, places = r.choice(
                (("m", 1.0, 3), ("ft", 0.3048, 2), ("in", 0.0254, 1), ("cm", 0.01, 1), ("mm", 0.001, 0))
            )
            return {
                "roll_out": self.number(around_m * turns / metres, unit, 0.01, places),
                "turns": json.dumps(str(turns)),
            }
        if way == "revolutions":
            unit, metres = r.choice((("rev/mile", 1609.344), ("rev/km", 1000.0)))
            return {"revolutions": self.number(metres / around_m, unit, 0.01, 1)}
        rim = r.choice((15, 16, 17))
        lead, cord = r.choice(("", "", "LT")), r.choice(("R", "R", "-"))
        if r.random() < 0.5:
            size = f"{short(diameter_in, 1)}x{r.choice(('10.50', '12.50', '13.50'))}{cord}{rim}"
        else:
            wide = r.choice((265, 285, 315))
            aspect = max(45, min(95, 5 * round((diameter_in - rim) * 25.4 / 2 / wide * 100 / 5)))
            size = f"{lead}{wide}/{aspect}R{rim}"
            self.kinds.add("metric size")
        found = {"size": json.dumps(size)}
        if r.random() < 0.5:
            found["factor"] = self.number(r.uniform(2.95, 3.12), "", 0.01, 3)
        return found

    def gears(self, count: int) -> list[float]:
        """Ratios that fall, some steps very close, some wide."""
        top = self.r.uniform(2.2, 5.5)
        found = [top]
        for _ in range(count - 1):
            found.append(found[-1] / self.r.choice((self.r.uniform(1.2, 1.9), self.r.uniform(1.06, 1.2), 1.5)))
        return found

    def make(self) -> Made:
        """The whole file."""
        r = self.r
        lines = [HEAD.format(seed=self.seed), "[drive]", f'units = "{"us" if self.us else "metric"}"']
        lines += ["[drive.tyre]", *(f"{k} = {v}" for k, v in self.tyre(r.uniform(28, 42)).items())]
        lines += [
            f"growth = {self.percent(0, r.uniform(0, 2.5))}",
            f"wear = {self.percent(r.uniform(0, 1), r.uniform(1, 4))}",
        ]
        lines += ["[drive.axle]", f"ratio = {self.number(r.uniform(2.7, 7.5), '', 0.004)}"]
        ranges = [("high", 1.0)] + [(f"low{k}", r.uniform(1.5, 4.5)) for k in range(r.choice((0, 0, 1, 1, 2)))]
        for name, ratio in ranges:
            ratio_text = json.dumps(r.choice(("1", "1.00:1"))) if ratio == 1 else self.number(ratio, "", 0.01, 2)
            lines += ["[[drive.transfer]]", f'name = "{name}"', f"ratio = {ratio_text}"]
        count = r.choice((1, 2, 3, 4, 5, 6, 6, 8))
        ratios = self.gears(count)
        climbing = r.random() < 0.7
        for k, ratio in enumerate(ratios):
            lines += ["[[drive.gear]]", f'name = "{k + 1}"', f"ratio = {self.number(ratio, '', 0.006)}"]
            if climbing and r.random() < 0.85:
                lines.append(f"climb = {self.number(600 * ratio, 'rpm/s', 0.25, 0)}")
        led = self.percent(-r.uniform(1, 4), r.choice((r.uniform(-0.9, 0), r.uniform(0, 12))))
        slip = r.choice(('"none"', self.percent(0, r.uniform(1, 10)), self.percent(0.5, r.uniform(1, 10)), led))
        self.kinds.add("slip none" if slip == '"none"' else "slip led" if "-" in slip else "slip")
        lines += ["[drive.converter]", f"slip = {slip}"]
        most = 100 * r.randint(38, 75)
        lines += ["[drive.engine]", f"most = {self.number(most, 'rpm', 0.01, 0)}"]
        top = most + r.choice((-300, -100, -50, 0, 60, 200))
        if r.random() < 0.2:
            self.kinds.add("limiter unknown")
            lines.append('limiter = "unknown"')
        else:
            lines.append(f"limiter = {self.number(top, 'rpm', 0.012, 0)}")
        if r.random() < 0.7:
            lines.append(f"least = {self.number(r.uniform(0.25, 0.6) * most, 'rpm', 0.05, 0)}")
        if r.random() < 0.7:
            lines.append(f"upshift_time = {self.number(r.uniform(0.05, 0.45), 's', 0.3)}")
        if r.random() < 0.6:
            lines.append(
                'lead = "none"' if r.random() < 0.3 else f"lead = {self.number(r.uniform(100, 900), 'rpm', 0.1, 0)}"
            )
        gain = r.choice((("m/s2", 1.0), ("ft/s2", 0.3048), ("g", 9.80665)))
        lines += ["[drive.guard]", f"margin = {self.percent(r.uniform(0, 4), r.uniform(4, 15), none=False)}"]
        latency = (
            self.number(r.uniform(100, 700), "ms", 0.6, 0)
            if r.random() < 0.3
            else self.number(r.uniform(0.1, 0.7), "s", 0.6)
        )
        lines += [f"latency = {latency}"]
        if r.random() < 0.06:
            self.kinds.add("guard leaves nothing")
            lines.append('acceleration = "4.9 g"')
        elif r.random() < 0.1:
            self.kinds.add("guard slows")
            lines.append(f'acceleration = "-{short(r.uniform(0.9, 3))} m/s2 to {short(r.uniform(-0.8, 1))} m/s2"')
        else:
            lines.append(f"acceleration = {self.number(r.uniform(0.4, 4) / gain[1], gain[0], 0.4)}")
        for k, place in enumerate(r.sample(("output", "turbine", "propshaft", "wheel"), r.randint(0, 4))):
            self.kinds.add(f"sensor {place}")
            lines += [
                "[[drive.sensor]]",
                f'id = "s{k}"',
                f'place = "{place}"',
                f'teeth = "{r.choice((1, 8, 24, 40, 60))}"',
            ]
        lines += self.shifts(ratios, most, top)
        tables: dict[str, str] = {}
        for k in range(r.choice((0, 1, 1, 2))):
            lines += self.borrowed(f"t{k}", ratios, most, tables)
        return Made("\n".join(lines) + "\n", tables, self.kinds)

    def shifts(self, ratios: list[float], most: float, top: float) -> list[str]:
        """Lines at which the controller shifts by itself: close pairs, crossed pairs, skips, exactly on the limiter."""
        r = self.r
        lines: list[str] = []
        seen: set[tuple[int, int, str | None]] = set()

        def line(a: int, b: int, load: str | None, engine_rpm: float) -> None:
            if (a, b, load) in seen:
                return
            seen.add((a, b, load))
            kind = r.choice(("engine", "engine", "output", "road"))
            out = engine_rpm / ratios[a]
            said = {
                "engine": lambda: self.number(engine_rpm, "rpm", 0.01, 0),
                "output": lambda: self.number(out, "rpm", 0.01, 0),
                "road": lambda: self.number(
                    out / 60 * 2.5 / 4 * (2.237 if self.us else 3.6), "mph" if self.us else "km/h", 0.01, 1
                ),
            }[kind]()
            self.kinds.add(f"line by {kind}")
            if abs(a - b) > 1:
                self.kinds.add("skip shift")
            lines.extend(["[[drive.shift]]", f'from = "{a + 1}"', f'to = "{b + 1}"', f"{kind} = {said}"])
            if load is not None:
                lines.append(f"load = {json.dumps(load)}")

        for a in range(len(ratios) - 1):
            if r.random() < 0.45:
                continue
            b = min(len(ratios) - 1, a + (2 if r.random() < 0.15 else 1))
            load = r.choice((*LOADS, "full", None))
            up = r.choice((top, top + 1, most * 0.95, most * 0.8, most * 0.6, most * 1.05))
            line(a, b, load, up)
            if r.random() < 0.8:
                line(b, a, load, up * ratios[b] / ratios[a] * r.choice((0.6, 0.8, 0.85, 0.9, 0.96, 1.0, 1.05)))
        return lines

    def borrowed(self, name: str, ratios: list[float], most: float, tables: dict[str, str]) -> list[str]:
        """A stranger's table: of shift speeds, of gears or of other numbers by speed."""
        r = self.r
        keyed = r.choice(("road speed", "output speed"))
        unit = "rpm" if keyed == "output speed" else r.choice(("km/h", "mph", "m/s"))
        same = r.random() < 0.5
        theirs = ratios if same else [x * r.uniform(0.8, 1.25) for x in ratios]
        holds = r.choice(("shift speeds", "shift speeds", "shift speeds", "gears", "other"))
        if not same:
            theirs.sort(reverse=True)
        for k in range(1, len(theirs)):  # each plainly smaller than the one before
            if not same and theirs[k] >= theirs[k - 1] - 0.02:
                theirs[k] = theirs[k - 1] - 0.02
        self.kinds |= {f"table by {keyed}", "donor same gears" if same else "donor other gears"}
        lines = [
            "[[drive.borrowed]]",
            f'id = "{name}"',
            f'file = "{name}.csv"',
            f'keyed_by = "{keyed}"',
            f'unit = "{unit}"',
        ]
        lines.append(f'holds = "{holds}"')
        self.kinds.add(f"holds {holds}")
        around, rear = 2.5, r.uniform(3, 5.5)
        if keyed == "road speed":
            inches = r.uniform(27, 36)
            around = inches * 0.0254 * 3.05
            tyre = self.tyre(inches)
            if r.random() < 0.3:
                tyre["growth"] = self.percent(0, 2)
            lines.append("tyre = { " + ", ".join(f"{k} = {v}" for k, v in tyre.items()) + " }")
            lines += [f"axle = {self.number(rear, '', 0.004)}", f"transfer = {json.dumps(r.choice(('1', '1.2')))}"]
        given = theirs if r.random() < 0.85 else theirs[: r.randint(1, len(theirs))]
        lines.append(f"gears = {json.dumps('same' if same else [short(x, 2) for x in given])}")
        factor = 1.0 if unit == "rpm" else around / 60 / rear * {"km/h": 3.6, "mph": 2.237, "m/s": 1.0}[unit]
        shifts = holds == "shift speeds"
        rows = self.shift_rows(theirs, most, factor) if shifts else self.keyed_rows(holds, theirs, most, factor)
        if len(rows) == 1:  # a single gear has no shifts: no table then
            return []
        sign = r.choice((",", ",", ";", "\t"))
        self.kinds.add(f"table with {sign!r}")
        text = [sign.join(row) for row in rows]
        if r.random() < 0.3:
            text.insert(0, "# invented")
        tables[f"{name}.csv"] = "\n".join(text) + "\n"
        return lines

    def shift_rows(self, theirs: list[float], most: float, factor: float) -> list[list[str]]:
        """A row for each shift, a column for each load; some empty cells, some rows for gears that it has not."""
        r = self.r
        loads = r.choice((["full"], ["load 20 %", "full"], ["10 %", "50 %", "100 %"]))
        rows = [["shift", *loads]]
        for a in range(len(theirs) - 1):
            for b in [a + 1, *([a + 2] if a + 2 < len(theirs) and r.random() < 0.2 else [])]:
                ups = [r.uniform(0.3, 1.1) * most / theirs[a] * factor for _ in loads]
                rows.append([f"{a + 1}>{b + 1}", *("" if r.random() < 0.05 else short(u, 1) for u in ups)])
                if r.random() < 0.8:
                    rows.append([f"{b + 1}>{a + 1}", *(short(u * r.uniform(0.55, 1.03), 1) for u in ups)])
        if r.random() < 0.1 and len(rows) > 1:
            rows.append([f"{len(theirs)}>{len(theirs) + 1}", *("50" for _ in loads)])
        return rows

    def keyed_rows(self, holds: str, theirs: list[float], most: float, factor: float) -> list[list[str]]:
        """A row for each speed; cells are gears, or other numbers of one gear or of any."""
        r = self.r
        names = [str(k + 1) for k in range(len(theirs) + 1)]
        columns = ["10 %", "full"] if holds == "gears" else ["pressure", f"gear {r.choice(names)}"]
        rows = [["speed", *columns]]
        for _ in range(r.randint(2, 7)):
            speed = short(r.uniform(0.05, 1.1) * most / r.choice(theirs) * factor, 1)
            rows.append([speed, *(r.choice(names) if holds == "gears" else "5" for _ in columns)])
        return rows


def make(seed: int) -> Made:
    """One driveline."""
    return Writer(seed).make()
