"""The simulator for finding faults: a truck drawn from the box, a cause drawn by weight, readings with a real meter.

`make_case` draws all of it from one seed. A `Case` is then asked for readings by id; the same id gives the same number,
unless `repeat` asks for the meter to be set down anew.

Readings of the specification (more in `causes`, `networks`, `looks` and `meter`)
- A cause "not on this list" drawn by weight gives readings by the page's law for it, each by itself. With `unlisted`
  a real fault that is not in the list is put in: a diode in the coded wire, a contact film that the ohmmeter sees and
  the controller breaks through, or two nodes joined to a third wire with a load of its own.
- Two causes at once, and real faults not in the list, count as the class "not listed".
- A setting fault changes one required situation to one other meaning of the line's windows (fault windows too) or to
  `invalid`, and that one is reported as it was drawn. Any other report of a fault window is `invalid` half the time.
- The battery volts noted with `volts` are never mistyped.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from tests.truth.causes import (
    COLUMNS,
    NOT_LISTED,
    SETTING,
    SOUND,
    WEIGHTS,
    Cause,
    Severity,
    causes_of,
)
from tests.truth.faults import Fault
from tests.truth.looks import INVALID, Looks, looks_of
from tests.truth.meter import Meter, any_ohms
from tests.truth.networks import CHASSIS, SEVERITIES, Array, Piece, network, potential, resistance
from tests.truth.physics import RAILS
from tests.truth.truck import Truck

__all__ = ["COLUMNS", "WEIGHTS", "Case", "Cause", "Reading", "Severity", "causes_of", "make_case"]

MISTYPED = 0.01  # share of readings that the simulator types wrong, where asked to
DIODE_V = 0.6
BROKEN_THROUGH = 0.001  # a contact film under the controller's current: times what the ohmmeter sees
Readout = str | float


@dataclass(frozen=True)
class Reading:
    """What was read. Ohms: `ohm`, infinity for OL. Volts: `pin_v` and `supply_v`. Meaning: `meaning`."""

    id: str
    ohm: float | None = None
    pin_v: float | None = None
    supply_v: float | None = None
    meaning: str | None = None


@dataclass
class Case:
    """One truck with its cause. `severities` in ohm, of the faults in `causes` (or of `unlisted`)."""

    truck: Truck
    line_id: str
    seed: int
    column: str
    causes: tuple[Cause, ...]
    severities: dict[str, float]
    unlisted: str  # "", "diode in the coded wire", "contact film", "third wire"
    mistyped: bool
    values: dict[str, Array]  # part -> SI
    edges: tuple[tuple[float | None, float | None], ...]
    setting: tuple[str, str] | None  # situation, meaning
    meter: Meter
    nodes: tuple[str, ...] = ()  # what the third wire touches
    contact: str = ""  # which contact has the film
    _read: dict[tuple[str, int], Reading] = field(default_factory=dict)

    @property
    def looks(self) -> Looks:
        return looks_of(self.truck, self.line_id)

    @property
    def true_cause(self) -> Cause:
        """Of two causes at once, the first."""
        return self.causes[0]

    @property
    def true_class(self) -> str:
        return NOT_LISTED if len(self.causes) > 1 or self.unlisted else self.causes[0].class_name

    @property
    def by_chance(self) -> bool:
        """Whether the readings follow from nothing."""
        return not self.unlisted and any(c.class_name == NOT_LISTED for c in self.causes)

    def available(self) -> tuple[str, ...]:
        return self.looks.ids()

    def complaint(self) -> dict[str, str]:
        """What the controller reports in each situation looked at. Empty where no windows are known."""
        out = {}
        for reading in self.available():
            if reading.startswith("meaning "):
                said = self.read(reading).meaning
                assert said is not None
                out[reading.removeprefix("meaning ")] = said
        return out

    def read(self, reading: str, repeat: int = 0) -> Reading:
        """The reading with this id. `repeat`: 0 for the first time; another number takes it again with the same
        meter. KeyError for an id that is not available."""
        if reading not in self.available():
            raise KeyError(
                f"{reading!r} cannot be read on line {self.line_id}; there are {', '.join(self.available())}"
            )
        if (reading, repeat) not in self._read:
            words = [ord(c) for c in reading]
            rng = np.random.default_rng([self.seed, self.truck.seed, repeat, *words])
            self._read[(reading, repeat)] = self._taken(reading, rng)
        return self._read[(reading, repeat)]

    # ------------------------------------------------------------ what is true

    @property
    def faults(self) -> tuple[Fault, ...]:
        return tuple(c.fault for c in self.causes if c.fault is not None)

    def true_value(self, reading: str) -> float:
        """Ohms of an ohms reading; volts at the pin of the others. Without meter, typing, and setting."""
        looks, values = self.looks, self.values
        powered = reading.startswith(("volts ", "meaning "))
        faults = self.faults
        if self.unlisted == "contact film":
            film = self.severities[SEVERITIES[0]] * (BROKEN_THROUGH if powered else 1)
            faults = (Fault(f"contact.{self.contact}", "worn", True),)
            values = {**values, SEVERITIES[0]: np.asarray(film)}
        net = looks.net(reading, faults)
        if self.unlisted == "third wire":
            touch = [Piece("third", n, "third", "", 0.05) for n in self.nodes]
            load = [Piece("third", "third", CHASSIS, SEVERITIES[0]), Piece("third", "third", "battery", SEVERITIES[1])]
            if not reading.startswith(("wire", "source")):
                net = network([*net.pieces, *touch, *load], net.keep)
        if not powered:
            if self.unlisted == "diode in the coded wire" and not reading.startswith("source"):
                return math.inf  # the ohmmeter's own volts do not open it
            return float(resistance(net, values))
        rails = looks.rails(values)
        if self.unlisted == "diode in the coded wire":
            return self._behind_diode(reading, rails)
        return float(potential(net, values, rails))

    def _behind_diode(self, reading: str, rails: Mapping[str, Array]) -> float:
        """Pin volts with a diode drop in the coded wire, in the direction of the current there."""
        net = self.looks.net(reading, (Fault(f"line.{self.line_id}.wire", "resistive", True),))
        far = network(net.pieces, ("far", *RAILS))

        def drop(ohm: float) -> tuple[float, float]:
            values = {**self.values, SEVERITIES[0]: np.asarray(ohm)}
            pin_v = float(potential(net, values, rails))
            return pin_v, abs(pin_v - float(potential(far, values, rails, "far")))

        low, high = 1e-3, 1e12
        if drop(high)[1] <= DIODE_V:
            return drop(high)[0]
        for _ in range(80):
            middle = math.sqrt(low * high)
            if drop(middle)[1] < DIODE_V:
                low = middle
            else:
                high = middle
        return drop(low)[0]

    # ------------------------------------------------------------ what is read

    def _taken(self, reading: str, rng: np.random.Generator) -> Reading:
        kind, _, situation = reading.partition(" ")
        if kind == "meaning":
            if self.by_chance:
                return Reading(reading, meaning=str(rng.choice([*self.looks.meanings, INVALID])))
            if self.setting is not None and self.setting[0] == situation:
                return Reading(reading, meaning=self.setting[1])
            seen = self.looks.reading(np.asarray(self.true_value(reading)), self.looks.rails(self.values))
            meaning = self.looks.meaning(float(seen), self.edges)
            return Reading(reading, meaning=self.looks.reported(meaning, float(rng.random())))
        dice = rng.random()  # thrown in any case, so that all else is as without mistyping
        wrong = self.mistyped and dice < MISTYPED
        if kind == "volts":
            true_supply_v = float(self.values[self.looks.sources["supply"]])
            supply_v = self.meter.volts(true_supply_v, rng)
            pin_v = rng.uniform(0, supply_v) if self.by_chance else self.true_value(reading)
            pin_v = round(pin_v, 2) if self.by_chance else self.meter.volts(pin_v, rng)
            return Reading(reading, pin_v=_typed_wrong(pin_v, rng) if wrong else pin_v, supply_v=supply_v)
        ohm = any_ohms(rng) if self.by_chance else self.meter.ohms(self.true_value(reading), rng)
        return Reading(reading, ohm=_typed_wrong(ohm, rng) if wrong else ohm)


def _typed_wrong(number: float, rng: np.random.Generator) -> float:
    """A decade off, or two neighbouring digits exchanged."""
    if not math.isfinite(number) or number == 0:
        return number
    if rng.random() < 0.5:
        return round(number * (10 if rng.random() < 0.5 else 0.1), 6)
    text = f"{abs(number):g}"
    places = [i for i in range(len(text) - 1) if text[i].isdigit() and text[i + 1].isdigit() and text[i] != text[i + 1]]
    if not places:
        return round(number * 10, 6)
    i = int(rng.choice(places))
    return math.copysign(float(text[:i] + text[i + 1] + text[i] + text[i + 2 :]), number)


# ---------------------------------------------------------------- drawing


def _severity(law: Severity, other: bool, rng: np.random.Generator) -> float:
    """By the listed law; or from a beta law in the logarithm, shifted by up to a decade."""
    if not other:
        return law.at(float(rng.random()))
    a, b = np.exp(rng.uniform(np.log(0.5), np.log(4.0), 2))
    shift = 10 ** rng.uniform(-1, 1)
    narrow = law.high_ohm / law.low_ohm < 10 and not law.base_ohm  # a drift keeps its side of the nominal
    ohm = law.low_ohm * (law.high_ohm / law.low_ohm) ** float(rng.beta(a, b))
    return law.base_ohm + ohm * (1.0 if narrow else shift)


def _draw_causes(causes: list[Cause], double: bool, unlisted: bool, rng: np.random.Generator) -> tuple[Cause, ...]:
    weights = np.array([c.probability for c in causes])
    if unlisted:
        return tuple(c for c in causes if c.class_name == NOT_LISTED)
    first = causes[int(rng.choice(len(causes), p=weights / weights.sum()))]
    if not double:
        return (first,)
    real = [c for c in causes if c.class_name not in (SOUND, NOT_LISTED)]
    weights = np.array([c.probability for c in real])
    while True:
        picks = [real[int(i)] for i in rng.choice(len(real), 2, p=weights / weights.sum())]
        sites = [(c.fault.site, c.fault.detail) if c.fault is not None else c.class_name for c in picks]
        if sites[0] != sites[1] and picks[0].class_name != picks[1].class_name:
            return tuple(picks)


def make_case(
    truck: Truck,
    line_id: str,
    seed: int,
    *,
    column: str = "in service",
    law: str = "listed",
    double: bool = False,
    unlisted: bool = False,
    mistyped: bool = False,
) -> Case:
    """A truck drawn from the box with a cause drawn by weight. `law`: "listed" or "other" (severities from another
    law than listed). `double`: two causes at once. `unlisted`: a real fault that is not in the list. `mistyped`: 1 %
    of the readings typed a decade off or with two digits exchanged."""
    looks = looks_of(truck, line_id)
    rng = np.random.default_rng([seed, truck.seed, 20])
    causes = _draw_causes(looks.causes(column), double, unlisted, rng)
    severities = {}
    faults = [c for c in causes if c.fault is not None]
    for name, c in zip(SEVERITIES, faults, strict=False):
        if c.severity is not None:
            severities[name] = _severity(c.severity, law == "other", rng)
    setting = None
    if any(c.class_name == SETTING for c in causes) and looks.meanings and looks.required:
        situation = str(rng.choice(looks.required))
        others = [m for m in (*looks.meanings, INVALID) if m != looks.right[situation]]
        setting = situation, str(rng.choice(others))
    paths = set(looks.sources.values())
    for operated in looks.situations.values():
        paths |= {p.part for p in looks.sound_pieces(truck, looks.line, operated)}
    for contact in truck.contacts_of(line_id):
        paths |= {f"contact.{contact.id}.closed", f"contact.{contact.id}.open"}
    values = {path: looks.part(path).at(float(rng.random())) for path in sorted(paths)}
    edges = tuple(
        (
            None if w.low is None else float(rng.uniform(*w.low)),
            None if w.high is None else float(rng.uniform(*w.high)),
        )
        for w in looks.windows
    )
    meter = Meter.drawn(rng)
    kind, film, nodes, own = _unlisted(looks, rng) if unlisted else ("", "", (), severities)
    severities = own
    values |= {name: np.asarray(ohm) for name, ohm in severities.items()}
    return Case(
        truck, line_id, seed, column, causes, severities, kind, mistyped, values, edges, setting, meter, nodes, film
    )


def _unlisted(looks: Looks, rng: np.random.Generator) -> tuple[str, str, tuple[str, ...], dict[str, float]]:
    """Kind, contact, nodes, severities."""
    kinds = ["contact film", "third wire"]
    if looks.line.form != "elements" and looks.line.series_diode is None:
        kinds.append("diode in the coded wire")
    kind = str(rng.choice(kinds))
    contacts = [c.id for c in looks.truck.contacts_of(looks.line.id)]
    if kind == "contact film":
        return kind, str(rng.choice(contacts)), (), {SEVERITIES[0]: float(10 ** rng.uniform(3.5, 5.5))}
    if kind == "third wire":
        inner = {n for p in looks.sound_pieces(looks.truck, looks.line, frozenset()) for n in (p.a, p.b)}
        free = sorted(inner - set(RAILS))
        nodes = tuple(str(n) for n in rng.choice(free, 2, replace=False))
        return kind, "", nodes, {n: float(10 ** rng.uniform(1.5, 3.5)) for n in SEVERITIES}
    return kind, "", (), {}
