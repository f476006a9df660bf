"""A generated truck as the text of a design file, in varying spelling.

The choices of spelling come from the truck's seed, so the same truck always gives the same text.
"""

from __future__ import annotations

import random
from decimal import Decimal

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
    Span,
    Target,
    Truck,
    Window,
)


def plain(number: Decimal) -> str:
    text = format(number.normalize(), "f")
    return "0" if text in ("-0", "") else text


class Writer:
    def __init__(self, truck: Truck) -> None:
        self.truck = truck
        self.rng = random.Random(f"spelling {truck.seed}")
        self.out: list[str] = []

    # ------------------------------------------------------------ quantities

    def ohm(self, text: str) -> str:
        """One of the ways people write a resistance."""
        value = Decimal(text)
        ways = [f"{plain(value)} ohm"]
        for letter, size in (("k", 1000), ("M", 1000000)):
            if value >= size:
                scaled = plain(value / size)
                ways += [f"{scaled} {letter}ohm", f"{scaled}{letter}"]
                whole, _, part = scaled.partition(".")
                if part and letter == "k":
                    ways.append(f"{whole}{letter}{part}")
        return self.rng.choice(ways)

    def volts(self, text: str) -> str:
        return f"{plain(Decimal(text))} V"

    def percent(self, text: str) -> str:
        return f"{plain(Decimal(text))} %"

    def number(self, unit: str, text: str) -> str:
        if unit == "ohm":
            return self.ohm(text)
        if unit == "V":
            return self.volts(text)
        if unit == "counts":
            return f"{plain(Decimal(text))} counts"
        if self.rng.random() < 0.5:
            return self.percent(plain(Decimal(text) * 100))
        return plain(Decimal(text))

    def span(self, span: Span, unit: str) -> str:
        low, high = self.number(unit, span.low), self.number(unit, span.high)
        if span.value is not None:
            entries = [f'low = "{low}"', f'high = "{high}"', f'value = "{self.number(unit, span.value)}"']
            self.rng.shuffle(entries)
            if self.rng.random() < 0.3:
                entries.append('basis = "measured"')
            return "{ " + ", ".join(entries) + " }"
        if self.rng.random() < 0.3:
            return f'"{low} to {high}"'
        return f'{{ low = "{low}", high = "{high}" }}'

    def span_or_none(self, span: Span | None, unit: str) -> str:
        return '"none"' if span is None else self.span(span, unit)

    def least(self, text: str | None) -> str:
        """A leak or an open contact: its least resistance."""
        if text is None:
            return '"none"'
        if self.rng.random() < 0.2:
            return f'{{ value = "{self.ohm(text)}", basis = "borrowed", note = "invented" }}'
        return f'"{self.ohm(text)}"'

    def resistor(self, part: Resistor | None) -> str:
        if part is None:
            return '"none"'
        d = self.truck.defaults
        entries = [f'value = "{self.ohm(part.ohm)}"']
        for key, mine, theirs, unit in (
            ("tolerance", part.tolerance_pct, d.tolerance_pct, " %"),
            ("tempco", part.tempco_ppm, d.tempco_ppm, " ppm/K"),
            ("ageing", part.ageing_pct, d.ageing_pct, " %"),
        ):
            if mine != theirs or self.rng.random() < 0.2:
                entries.append(f'{key} = "{plain(Decimal(mine))}{unit}"')
        if part.known_sign:
            entries.append('tempco_sign = "known"')
        if len(entries) == 1 and self.rng.random() < 0.6:
            return f'"{self.ohm(part.ohm)}"'
        if self.rng.random() < 0.1:
            entries.append("fixed = true")
        return "{ " + ", ".join(entries) + " }"

    def pull(self, part: Pull | None) -> str:
        if part is None:
            return '"none"'
        entries = [f'value = "{self.ohm(part.ohm)}"', f'tolerance = "{self.percent(part.tolerance_pct)}"']
        if part.tempco_ppm != "0":
            entries.append(f'tempco = "{part.tempco_ppm} ppm/K"')
        if part.ageing_pct != "0":
            entries.append(f'ageing = "{self.percent(part.ageing_pct)}"')
        if self.rng.random() < 0.3:
            entries.append('basis = "measured"')
        return "{ " + ", ".join(entries) + " }"

    # ------------------------------------------------------------ tables

    def put(self, key: str, value: str) -> None:
        self.out.append(f"{key} = {value}")

    def text(self, key: str, value: str) -> None:
        self.put(key, f'"{value}"')

    def words(self, items: tuple[str, ...]) -> str:
        return "[" + ", ".join(f'"{x}"' for x in items) + "]"

    def table(self, name: str) -> None:
        self.out += ["", name]

    def write(self) -> str:
        t = self.truck
        self.out = [f"# invented by the checker's generator, seed {t.seed}", "format = 1"]
        self.text("id", t.id)
        if self.rng.random() < 0.5:
            self.text("name", f"generated truck {t.seed}")
            self.text("note", "invented; no real vehicle")
        self.table("[supply]")
        for state, span in t.supply.items():
            self.put(state, self.span(span, "V"))
        if self.rng.random() < 0.3:
            self.text("load_dump", "35 V")
        self.table("[temperature]")
        self.text("low", f"{t.temp_low_c} °C")
        self.text("high", f"{t.temp_high_c} °C")
        self.defaults(t.defaults)
        switches_first = self.rng.random() < 0.4
        if switches_first:
            self.switches()
        for pin in t.inputs:
            self.input(pin)
        for line in t.lines:
            self.line(line)
        if not switches_first:
            self.switches()
        return "\n".join(self.out) + "\n"

    def switches(self) -> None:
        for device in self.truck.devices:
            self.device(device)
        for contact in self.truck.contacts:
            self.contact(contact)

    def defaults(self, d: Defaults) -> None:
        if d == Defaults():
            return
        self.table("[defaults]")
        if d.tolerance_pct is not None:
            self.text("tolerance", self.percent(d.tolerance_pct))
        if d.tempco_ppm is not None:
            self.text("tempco", f"{d.tempco_ppm} ppm/K")
        if d.ageing_pct is not None:
            self.text("ageing", self.percent(d.ageing_pct))
        if d.closed is not None:
            self.put("closed", self.span(d.closed, "ohm"))
        if d.open_ohm is not None:
            self.put("open", self.least(None if d.open_ohm == "none" else d.open_ohm))

    def reference(self, r: Reference) -> str:
        return f'{{ value = "{self.volts(r.value)}", tolerance = "{self.percent(r.tolerance_pct)}" }}'

    def input(self, i: Input) -> None:
        self.table("[[input]]")
        self.text("id", i.id)
        self.text("controller", "invented controller")
        self.put("pull_up", self.pull(i.pull_up))
        if i.pull_up is not None and (i.pull_up_to != "reference" or self.rng.random() < 0.5):
            self.text("pull_up_to", i.pull_up_to)
        self.put("pull_down", self.pull(i.pull_down))
        if i.reference is not None:
            self.put("reference", self.reference(i.reference))
        self.text("compares", i.compares)
        if i.full_scale_v is not None:
            self.text("full_scale", self.volts(i.full_scale_v))
        if i.full_counts is not None:
            self.put("full_counts", i.full_counts)
        self.text("error", self.percent(i.error_pct))
        if self.rng.random() < 0.2:
            self.text("filter", "1 ms")
            self.text("debounce", "20 ms")

    def line(self, x: Line) -> None:
        self.table("[[line]]")
        for key in ("id", "input", "form", "idle"):
            self.text(key, getattr(x, key))
        if x.enable is not None:
            self.text("enable", x.enable)
            self.text("taps_fed", "through enable" if x.taps_through_enable else "directly")
        if x.form in ("pull-up", "pull-down", "divider"):
            self.put("idle_resistor", self.resistor(x.idle_resistor))
        if x.form == "ladder":
            self.text("ladder_to", x.ladder_to or "")
            self.put("end_resistor", self.resistor(x.end_resistor))
        if x.form == "divider":
            self.put("top_resistor", self.resistor(x.top_resistor))
        if x.form == "elements":
            self.text("source_side", x.source_side or "")
        else:
            assert x.wire is not None
            assert x.source_wire is not None
            self.put("wire", self.span(x.wire, "ohm"))
            self.put("source_wire", self.span(x.source_wire, "ohm"))
        self.put("return_offset", self.span_or_none(x.return_offset, "V"))
        if x.has_feed:
            self.text("feed_from", x.feed_from or "")
            self.put("feed_drop", self.span_or_none(x.feed_drop, "V"))
        if x.series_diode is not None or self.rng.random() < 0.3:
            self.put("series_diode", self.span_or_none(x.series_diode, "V"))
        self.put("leak_to_ground", self.least(x.leak_to_ground))
        self.put("leak_to_supply", self.least(x.leak_to_supply))
        for e in x.elements:
            self.element(e)
        for w in x.windows:
            self.window(w)
        for g in x.targets:
            self.target(g)
        for r in x.rules:
            self.table("[[line.situation]]")
            self.put("operated", self.words(r.operated))
            self.put("allowed", self.words(r.allowed))

    def element(self, e: Element) -> None:
        self.table("[[line.element]]")
        self.text("id", e.id)
        self.text("kind", e.kind)
        self.put("between", self.words(e.between))
        if e.resistor is not None:
            self.put("value", self.resistor(e.resistor))
        if e.wire is not None:
            self.put("value", self.span(e.wire, "ohm"))
        if e.leak_ohm is not None:
            self.put("value", self.least(e.leak_ohm))
        if e.contact is not None:
            self.text("contact", e.contact)

    def window(self, w: Window) -> None:
        self.table("[[line.window]]")
        self.text("meaning", w.meaning)
        if w.low is not None:
            self.text("low", self.number(w.unit, w.low))
        if w.high is not None:
            self.text("high", self.number(w.unit, w.high))
        if w.uncertainty is not None:
            self.text("uncertainty", self.number(w.unit, w.uncertainty))
        if w.uncertainty_pct is not None:
            self.text("uncertainty", self.percent(w.uncertainty_pct))
        if w.with_pull is not None:
            self.text("with_pull", self.ohm(w.with_pull))
        if w.substitution:
            self.text("found", "substitution")
        if w.fault or self.rng.random() < 0.1:
            self.put("fault", "true" if w.fault else "false")
        if w.basis is not None:
            self.text("basis", w.basis)

    def target(self, g: Target) -> None:
        self.table("[[line.target]]")
        self.text("meaning", g.meaning)
        self.text("reading", self.number(g.unit, g.reading))
        if g.with_pull is not None:
            self.text("with_pull", self.ohm(g.with_pull))

    def device(self, d: Device) -> None:
        self.table("[[device]]")
        self.text("id", d.id)
        if d.exclusive:
            self.put("exclusive", "[" + ", ".join(self.words(g) for g in d.exclusive) + "]")

    def contact(self, c: Contact) -> None:
        d = self.truck.defaults
        self.table("[[contact]]")
        for key in ("id", "line", "device"):
            self.text(key, getattr(c, key))
        self.text("kind", "normally open" if c.normally_open else "normally closed")
        self.text("action", "momentary" if c.momentary else "maintained")
        self.text("asks", c.asks)
        if c.with_:
            self.put("with", self.words(c.with_))
        if c.only_when:
            self.put("only_when", self.words(c.only_when))
        self.put("resistor", self.resistor(c.resistor))
        if c.closed != d.closed or self.rng.random() < 0.2:
            self.put("closed", self.span(c.closed, "ohm"))
        if (c.open_ohm or "none") != d.open_ohm or self.rng.random() < 0.2:
            self.put("open", self.least(c.open_ohm))
        if c.station is not None:
            self.text("station", c.station)


def write(truck: Truck) -> str:
    """The truck as the text of a design file."""
    return Writer(truck).write()
