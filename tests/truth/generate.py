"""Seeded generator of awkward trucks. All of them are invented."""

from __future__ import annotations

import dataclasses
import random

from tests.truth.place_windows import place_windows
from tests.truth.truck import (
    Contact,
    Defaults,
    Device,
    Element,
    Input,
    Line,
    Pull,
    Reference,
    Resistor,
    SituationRule,
    Span,
    Truck,
)

FORMS = ("pull-up", "pull-down", "ladder", "divider", "elements")


def dec(value: float, digits: int = 3) -> str:
    """A decimal string with so many significant digits."""
    text = f"{value:.{digits}g}"
    return format(float(text), "f").rstrip("0").rstrip(".") if "." in format(float(text), "f") else text


class Maker:
    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.rng = random.Random(f"awkward {seed}")
        self.tidy = self.chance(0.52)
        self.known_sign = self.chance(0.06)
        self.tags: list[str] = []

    def chance(self, p: float) -> bool:
        return self.rng.random() < p

    def pick(self, *items: str) -> str:
        return self.rng.choice(items)

    def weighted(self, **weights: float) -> str:
        """Keys with "_" for "-"."""
        return self.rng.choices(list(weights), list(weights.values()))[0].replace("_", "-")

    def between(self, low: float, high: float) -> float:
        return self.rng.uniform(low, high)

    def tag(self, word: str) -> None:
        if word not in self.tags:
            self.tags.append(word)

    # ------------------------------------------------------------ parts

    def resistor(self, ohm: float) -> Resistor:
        d = self.defaults
        tol = d.tolerance_pct if d.tolerance_pct and self.chance(0.7) else self.pick("0", "0.1", "1", "1", "2", "5")
        age = d.ageing_pct if d.ageing_pct and self.chance(0.7) else self.pick("0", "0.5", "1", "2")
        tempco = d.tempco_ppm if d.tempco_ppm and self.chance(0.7) else self.pick("0", "50", "100", "200")
        if self.known_sign and self.chance(0.8):
            self.tag("shared temperature")
            return Resistor(dec(ohm), tol, self.pick("-400", "-150", "100", "300", "850"), age, True)
        return Resistor(dec(ohm), tol, tempco, age)

    def closed(self) -> Span:
        d = self.defaults
        if d.closed and self.chance(0.6):
            return d.closed
        low = self.pick("0", "0", "0", "0.05", "1", "5")
        worn = self.pick("5.5", "10", "25", "50") if self.tidy else self.pick("10", "20", "30", "50", "100", "200")
        return Span(low, worn)

    def open(self) -> str | None:
        d = self.defaults
        if "no pull" in self.tags and self.chance(0.8):
            return None
        if d.open_ohm and self.chance(0.6):
            return None if d.open_ohm == "none" else d.open_ohm
        return self.rng.choice([None, "100000", "1000000", "250000"] + ([] if self.tidy else ["30000"]))

    def pull(self, ohm: float | None = None) -> Pull:
        ohm = ohm or self.rng.choice([1000, 2200, 2700, 4700, 10000] if self.tidy else [470, 1000, 2200, 4700, 10000])
        tol = self.pick("0", "1", "1", "2") if self.tidy else self.pick("1", "2", "5", "5", "10")
        if self.chance(0.1):
            return Pull(dec(ohm), tol, self.pick("100", "50"), self.pick("0", "1"))
        return Pull(dec(ohm), tol)

    def volts_range(self, low: float, high: float, nominal: float | None = None) -> Span:
        return Span(dec(low), dec(high), None if nominal is None else dec(nominal))

    # ------------------------------------------------------------ truck

    def truck(self) -> Truck:
        r = self.rng
        self.defaults = Defaults(
            self.pick("0.5", "1", "2") if self.chance(0.7) else None,
            self.pick("50", "100") if self.chance(0.6) else None,
            self.pick("0.5", "1") if self.chance(0.6) else None,
            Span(self.pick("0", "0", "0.5"), self.pick("20", "50")) if self.chance(0.6) else None,
            self.pick("100000", "500000", "none") if self.chance(0.6) else None,
        )
        supply = {
            "run": self.volts_range(self.between(9, 12), self.between(14, 16), 13.2 if self.chance(0.6) else None)
        }
        if self.chance(0.4):
            supply["crank"] = self.volts_range(self.between(5.2, 7), self.between(8, 11.5))
        if self.chance(0.35):
            supply["after_run"] = self.volts_range(self.between(10.5, 11.8), self.between(12, 12.9))
        lines, inputs, devices, contacts = [], [], [], []
        for n in range(2 if self.chance(0.12) else 1):
            prefix = "" if n == 0 else "b_"
            line, pin = self.line_and_input(prefix)
            dev, con, line = self.contacts(line, pin, prefix)
            lines.append(line)
            inputs.append(pin)
            devices += dev
            contacts += con
        truck = Truck(
            f"pp-{self.seed:06x}",
            self.seed,
            supply,
            str(r.choice([-30, -10, 0, 15])),
            str(r.choice([40, 60, 80, 105])),
            self.defaults,
            tuple(inputs),
            tuple(devices),
            tuple(contacts),
            tuple(lines),
        )
        placed = tuple(place_windows(truck, line, r, self.tidy, self.tag) for line in truck.lines)
        return dataclasses.replace(truck, lines=placed, tags=tuple(self.tags))

    # ------------------------------------------------------------ line and input

    def line_and_input(self, prefix: str) -> tuple[Line, Input]:
        form = self.weighted(pull_up=0.3, pull_down=0.16, ladder=0.16, divider=0.16, elements=0.22)
        ladder_to = self.pick("ground", "ground", "supply") if form == "ladder" else None
        side = self.pick("return", "return", "feed") if form == "elements" else None
        source = side or ("feed" if form == "pull-down" or ladder_to == "supply" else "return")
        has_feed = source == "feed" or form == "divider" or form == "elements"
        feed_from = self.pick("battery", "reference") if has_feed else None

        up, down, up_to = None, None, self.pick("reference", "reference", "reference", "battery")
        if source == "return":
            if form != "divider" or self.chance(0.35):
                up = self.pull()
            if self.chance(0.15):
                down = self.pull(self.rng.choice([10000, 22000, 47000]))
                self.tag("two pulls")
        else:
            down = self.pull()
            if self.chance(0.2):
                up = self.pull(self.rng.choice([4700, 10000, 22000]))
                self.tag("two pulls")
        if form in ("pull-up", "pull-down", "elements") and self.chance(0.02 if self.tidy else 0.05):
            up = down = None
            self.tag("no pull")
        origin = feed_from if source == "feed" or up is None else up_to
        if origin == "battery":
            odds = [0.9, 0.04, 0.05, 0.01] if self.tidy else [0.6, 0.17, 0.18, 0.05]
            compares = self.rng.choices(["battery", "volts", "unknown", "reference"], odds)[0]
        else:
            odds = [0.75, 0.22, 0.02, 0.01] if self.tidy else [0.65, 0.2, 0.08, 0.07]
            compares = self.rng.choices(["reference", "volts", "unknown", "battery"], odds)[0]
        full_v = None
        if compares in ("volts", "unknown"):
            full_v = self.pick("16", "20", "5") if origin == "battery" else self.pick("5", "5", "5.5")
        uses_ref = (up is not None and up_to == "reference") or compares == "reference" or feed_from == "reference"
        tolerance = self.pick("0", "0.5", "1") if self.tidy else self.pick("1", "2", "4")
        reference = Reference(self.pick("5", "5", "3.3"), tolerance) if uses_ref or self.chance(0.2) else None
        error = self.pick("0", "0.2", "0.5") if self.tidy else self.pick("0", "0.5", "1", "2")
        counts = self.pick("1023", "4095", "255") if self.chance(0.5) else None
        pin = Input(f"{prefix}tap_pin", up, up_to, down, reference, compares, full_v, counts, error)
        main = up or down
        self.scale = float(main.ohm) if main else 2200.0

        def wire() -> Span:
            return Span(
                self.pick("0", "0", "0", "0.1"), self.pick("0.5", "1", "3") if self.tidy else self.pick("1", "5", "20")
            )

        def leak() -> str | None:
            if self.chance(0.35) or ("no pull" in self.tags and self.chance(0.7)):
                return None
            return self.pick("200000", "1000000") if self.tidy else self.pick("8000", "20000", "100000", "300000")

        offset = None
        if self.chance(0.65):
            wide = self.between(0.01, 0.08) if self.tidy else self.between(0.05, 0.6)
            middle = self.between(-0.5, 0.5) * wide
            offset = self.volts_range(middle - wide, middle + wide, None)
        feed_drop = Span("0", dec(self.between(0.05, 0.1 if self.tidy else 1.2))) if self.chance(0.7) else None
        if feed_drop and self.chance(0.3):
            feed_drop = Span(dec(float(feed_drop.high) / 4), feed_drop.high)
        diode = None
        if self.chance(0.12):
            diode = Span(self.pick("0", "0.3"), self.pick("0.5", "0.7", "1"))
            self.tag("series diode")
        idle_r = None
        if form in ("pull-up", "pull-down", "divider") and "no pull" not in self.tags and self.chance(0.45):
            idle_r = self.resistor(self.scale * self.between(1.5, 8))
            self.tag("far-end idle")
        line = Line(
            f"{prefix}taps",
            pin.id,
            form,
            "automatic",
            idle_resistor=idle_r,
            wire=None if form == "elements" else wire(),
            source_wire=None if form == "elements" else wire(),
            return_offset=offset,
            feed_from=feed_from,
            feed_drop=feed_drop,
            series_diode=diode,
            leak_to_ground=leak(),
            leak_to_supply=leak(),
            top_resistor=self.resistor(self.scale * self.between(0.4, 2.5)) if form == "divider" else None,
            ladder_to=ladder_to,
            end_resistor=self.resistor(self.scale * self.between(0.5, 3))
            if form == "ladder" and self.chance(0.5)
            else None,
            source_side=side,
        )
        return line, pin

    # ------------------------------------------------------------ contacts

    def contacts(self, line: Line, pin: Input, prefix: str) -> tuple[list[Device], list[Contact], Line]:
        odds = [0.2, 0.25, 0.25, 0.15, 0.15]
        if line.form in ("ladder", "elements"):  # an enable seldom works there: the nearer contact hides the others
            odds = [0.35, 0.03, 0.04, 0.38, 0.2] if self.tidy else [0.25, 0.15, 0.15, 0.25, 0.2]
        plan = self.rng.choices(["lever", "enable", "stations", "buttons", "selector"], odds)[0]
        can_enable = line.form in ("pull-up", "pull-down", "divider")
        p = prefix
        up, down, manual = f"{p}lever_up", f"{p}lever_down", f"{p}lever_manual"
        rows: list[tuple[str, str, str, bool, tuple[str, ...]]] = []  # id, device, asks, momentary, with
        groups: dict[str, tuple[tuple[str, ...], ...]] = {}
        enable = None
        if plan in ("lever", "enable", "stations"):
            own: tuple[str, ...] = ()
            if plan != "lever":
                enable = manual if can_enable else None
                own = (manual,)
                rows.append((manual, "lever", "manual", False, ()))
            rows += [(up, "lever", "up", True, own), (down, "lever", "down", True, own)]
            groups["lever"] = ((up, down),)
            if plan == "stations":
                self.tag("two stations")
                wu, wd = f"{p}wheel_up", f"{p}wheel_down"
                rows += [(wu, "wheel", "up", True, own), (wd, "wheel", "down", True, own)]
                groups["wheel"] = ((wu, wd),) if self.chance(0.7) else ()
        elif plan == "buttons":
            names = ["horn", "cruise", "light", "wash"][: self.rng.randint(2, 4)]
            rows = [(f"{p}btn_{n}", "pod", n, True, ()) for n in names]
            groups["pod"] = (tuple(r[0] for r in rows),) if self.chance(0.5) else ()
        else:
            rows = [(f"{p}sel_{n}", "selector", n, False, ()) for n in ("low", "mid", "high")]
            rows.append((f"{p}boost", "pod", "boost", True, ()))
            groups["selector"] = (tuple(r[0] for r in rows[:3]),)
        spread = self.rng.choice([1.9, 2.4, 3.0]) if self.tidy else self.between(1.25, 2.6)
        values = [self.scale * 0.12 * spread**i * self.between(0.92, 1.08) for i in range(len(rows))]
        self.rng.shuffle(values)
        if plan == "stations" and self.chance(0.85 if self.tidy else 0.5):
            values[3:5] = values[1:3]  # the second station uses the same resistors
        bare = self.rng.randrange(len(rows)) if self.chance(0.15) else -1
        out = []
        for i, (name, device, asks, momentary, with_) in enumerate(rows):
            none = (
                line.form == "elements"
                or (i == bare and (line.form != "ladder" or i == 0))
                or (name == enable and self.chance(0.2))
            )
            if none and line.form != "elements":
                self.tag("contact without resistor")
            normally_open = not self.chance(0.03 if self.tidy else 0.1)
            if not normally_open:
                self.tag("normally closed")
            only_when = with_ if with_ and self.chance(0.4) else ()
            ohm = values[i] * (0.6 if line.form == "ladder" else 1)
            out.append(
                Contact(
                    name,
                    line.id,
                    p + device,
                    normally_open,
                    momentary,
                    asks,
                    None if none else self.resistor(ohm),
                    self.closed(),
                    self.open(),
                    with_,
                    only_when,
                    device if self.chance(0.3) else None,
                )
            )
        devices = [Device(p + d, groups.get(d, ())) for d in dict.fromkeys(r[1] for r in rows)]
        through = enable is not None and self.chance(0.5)
        if enable is not None:
            self.tag("fed through enable" if through else "fed directly")
        line = dataclasses.replace(line, enable=enable, taps_through_enable=through)
        if line.form == "elements":
            self.known_sign = (
                self.known_sign and len(out) <= 3
            )  # a temperature grid over a large network takes too long
            line = dataclasses.replace(line, elements=self.elements(line, pin, out))
            if not line.has_feed:
                line = dataclasses.replace(line, feed_from=None, feed_drop=None)
        else:
            if not line.has_feed:
                line = dataclasses.replace(line, feed_from=None, feed_drop=None)
        line = dataclasses.replace(line, rules=self.rules(out, groups))
        return devices, out, line

    def rules(
        self, contacts: list[Contact], groups: dict[str, tuple[tuple[str, ...], ...]]
    ) -> tuple[SituationRule, ...]:
        """Stuck second station and the like: sets whose allowed meanings the owner has written himself."""
        out: list[SituationRule] = []
        wheel = [c for c in contacts if "wheel" in c.id]
        if wheel and self.chance(0.4):
            self.tag("stuck station")
            stuck = wheel[0]
            if not stuck.only_when:
                out.append(
                    SituationRule(
                        (stuck.id,), tuple(self.rng.choice([["automatic"], ["automatic", "invalid"], ["invalid"]]))
                    )
                )
            lever = next(c for c in contacts if c.asks == "up" and "lever" in c.id)
            both = {stuck.id, lever.id, *stuck.with_, *lever.with_}
            out.append(
                SituationRule(
                    tuple(sorted(both)), tuple(self.rng.choice([["up"], ["up", "invalid"], ["up", "manual"]]))
                )
            )
        elif self.chance(0.1):
            tight = {frozenset(p) for g in groups.values() for x in g for p in [x]}
            pair = [c for c in contacts if not c.only_when][:2]
            if len(pair) == 2 and not any({c.id for c in pair} <= g for g in tight):
                allowed = sorted({pair[0].asks, pair[1].asks}) + (["invalid"] if self.chance(0.7) else [])
                out.append(SituationRule(tuple(c.id for c in pair), tuple(allowed)))
        return tuple(out)

    # ------------------------------------------------------------ free networks

    def elements(self, line: Line, pin: Input, contacts: list[Contact]) -> tuple[Element, ...]:
        """A random network with bridges. Contacts and wires never join two rails by themselves."""
        s, side = self.scale, line.source_side or "return"
        out: list[Element] = []
        parent: dict[str, str] = {}

        def root(n: str) -> str:
            while parent.get(n, n) != n:
                n = parent[n]
            return n

        def low_ohm(a: str, b: str) -> bool:
            """Whether a 0-ohm element may go there; if so, remember it."""
            rails = {"ground", "return", "feed", "battery", "reference"}
            ra, rb = root(a), root(b)
            has = [any(root(r) == x for r in rails) for x in (ra, rb)]
            if ra == rb or all(has):
                return False
            parent[ra] = rb
            return True

        def res(name: str, a: str, b: str, ohm: float) -> None:
            out.append(Element(name, "resistor", (a, b), resistor=self.resistor(ohm)))

        if self.chance(0.5):
            low_ohm("pin", "a")
            out.append(Element("w1", "wire", ("pin", "a"), wire=Span("0", self.pick("1", "3", "10"))))
        else:
            res("r_pin", "pin", "a", s * self.between(0.02, 0.3))
        hubs = ["a"]
        for i, c in enumerate(contacts):
            node, hub = f"b{i}", self.rng.choice(hubs)
            res(f"r{i}", hub, node, s * 0.12 * self.between(1.3, 2.4) ** (i + 1))
            end = (
                side
                if self.chance(0.95 if self.tidy else 0.75) or not low_ohm(node, f"b{(i + 1) % len(contacts)}")
                else f"b{(i + 1) % len(contacts)}"
            )
            if end == side:
                low_ohm(node, side)
            ends = (node, end) if self.chance(0.5) else (end, node)
            out.append(Element(f"k{i}", "contact", ends, contact=c.id))
            if self.chance(0.25):
                hubs.append(node)
        if len(contacts) > 1 and self.chance(0.6):
            i, j = self.rng.sample(range(len(contacts)), 2)
            res("bridge", f"b{i}", f"b{j}", s * self.between(0.3, 3))
            self.tag("bridge")
        if self.chance(0.4):
            res("r_idle", "a", side, s * self.between(1, 6))
        if self.chance(0.4):
            other = "feed" if side == "return" else "return"
            if other == "feed" and line.feed_from == "reference" and pin.reference is None:
                other = "battery"
            res("r_top", other, self.rng.choice(["a", "b0", "pin"]), s * self.between(1, 6))
        if self.chance(0.2):
            rail = (
                self.pick("ground", "battery") if pin.reference is None else self.pick("ground", "battery", "reference")
            )
            res("r_rail", rail, f"b{len(contacts) - 1}", s * self.between(3, 15))
        if self.chance(0.4):
            out.append(
                Element(
                    "leak1",
                    "leak",
                    ("a", self.pick("ground", "return", "battery")),
                    leak_ohm=self.pick("20000", "150000"),
                )
            )
        return tuple(out)


def generate(seed: int) -> Truck:
    """The same seed always gives the same truck."""
    return Maker(seed).truck()
