"""Lines to play on: generated trucks that are complete, with windows, in which the sound truck reads what it must.

They take turns over the forms and their variants, so that a short list has a bit of everything.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.truth.generate import generate
from tests.truth.looks import Looks
from tests.truth.networks import potential
from tests.truth.truck import Truck
from tests.truth.writer import write

SOUND_TRUCKS = 200  # so many drawn ones must all read right
MOST_SEEDS = 20_000


@dataclass(frozen=True)
class Playing:
    """`kind`: the form and its variant in words."""

    truck: Truck
    line_id: str
    kind: str

    @property
    def text(self) -> str:
        return file_text(self.truck)


def file_text(truck: Truck) -> str:
    """The design file. The writer marks a resistor as fixed now and then, as spelling; here none is."""
    return write(truck).replace(", fixed = true", "")


def kind_of(truck: Truck, line_id: str) -> str:
    """Form and variant: what feeds it, idle resistor, how taps are fed, stations."""
    line = truck.line(line_id)
    words = [line.form]
    if line.form == "ladder":
        words.append(f"to {line.ladder_to}")
    if line.form == "elements":
        words.append(f"on {line.source_side}")
    if line.idle_resistor is not None:
        words.append("far-end idle")
    if line.end_resistor is not None:
        words.append("end resistor")
    if line.enable is not None:
        words.append("taps through enable" if line.taps_through_enable else "taps direct")
    if line.series_diode is not None:
        words.append("series diode")
    if len({c.device for c in truck.contacts_of(line_id)}) > 1 and any(
        "wheel" in c.id for c in truck.contacts_of(line_id)
    ):
        words.append("two stations")
    return ", ".join(words)


def plays(truck: Truck, line_id: str) -> bool:
    """Whether the line is complete and a sound truck always reads what it must, whatever the edges."""
    try:
        looks = Looks(truck, line_id)
    except ValueError:
        return False
    pin = truck.input_of(looks.line)
    if not looks.windows or (pin.pull_up is None and pin.pull_down is None and looks.line.form != "divider"):
        return False
    rng = np.random.default_rng(truck.seed)
    nets = {name: looks.net(f"volts {name}") for name in looks.required}
    parts = {p for net in nets.values() for p in net.parts} | looks.rail_sources(nets.values())
    values = {p: looks.part(p).at(rng.random(SOUND_TRUCKS)) for p in sorted(parts)}
    rails = looks.rails(values)
    readings = {
        name: np.broadcast_to(looks.reading(potential(net, values, rails), rails), (SOUND_TRUCKS,))
        for name, net in nets.items()
    }
    right = {name: must for name, must in looks.right.items() if must is not None}
    return bool((looks.meanings_probability(readings, right)[1] == 1).all())


def _found() -> Iterator[Playing]:
    for seed in range(MOST_SEEDS):
        truck = generate(seed)
        for line in truck.lines:
            if plays(truck, line.id):
                yield Playing(truck, line.id, kind_of(truck, line.id))


@lru_cache(maxsize=8)
def playing_trucks(n: int, per_kind: int = 3) -> tuple[Playing, ...]:
    """`n` lines, kinds taking turns, always the same ones; no kind more than `per_kind` times while others are left.

    The generator's seeds are tried in order until there are several times as many as asked for."""
    pool: dict[str, list[Playing]] = {}
    for count, p in enumerate(_found(), start=1):
        pool.setdefault(p.kind, []).append(p)
        if sum(min(len(x), per_kind) for x in pool.values()) >= n and count >= 2 * n:
            break
    turns = itertools.zip_longest(*(pool[k] for k in sorted(pool)))
    return tuple(p for turn in turns for p in turn if p is not None)[:n]
