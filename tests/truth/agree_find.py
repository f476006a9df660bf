"""Does fault finding find what the independent simulator put in? Cases drawn by weight on generated trucks.

    python3 dev.py truth 1000 --find             a thousand simulated faulty trucks
    python3 dev.py truth 1000 --find --hard      the same with what the specification does not foresee

A case begins with what the driver knows: what the controller reports in every situation looked at. Then the engine is
followed step by step. Nothing is told to it but readings. This module and `agree` know the product; the simulator and
the oracle (`cases`, `posterior`) do not.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import statistics
import sys
import time
from collections import Counter
from dataclasses import asdict, dataclass
from typing import Any

from tests.truth.cases import Case, make_case
from tests.truth.playing import Playing, playing_trucks

MOST_STEPS = 14
LINES = 40


@dataclass
class Outcome:
    """What the engine made of one case."""

    line: int
    seed: int
    column: str
    true_class: str
    true_mechanism: str
    first: str
    probability: float
    of_true: float
    state: str
    steps: int
    minutes: float
    noticed: bool
    one_of_two: bool = False
    tellable: bool | None = None
    hard: str = ""

    @property
    def right(self) -> bool:
        """The true class; of two causes at once either."""
        return self.first == self.true_class or self.one_of_two


_KNOWN: dict[tuple[int, str], Any] = {}  # only the latest: one line takes some hundred megabytes


def names_of(play: Playing, diagnosis: Any) -> dict[str, str]:
    """The engine's name of a class to the checker's, for the nodes between contacts and resistors."""
    line = play.truck.line(play.line_id)
    word = {"pin": "pin", "far": "far", "source": "source", "manual": "manual"}
    for number, contact in enumerate(play.truck.contacts_of(play.line_id), start=1):
        word[f"contact {contact.id}"] = f"n{number}" if line.form == "ladder" else f"~{contact.id}"
    out = {}
    for each in diagnosis.hypotheses:
        name = each.name
        faults = each.change.faults
        if (
            faults
            and faults[0].kind in ("chafed-to-ground", "chafed-to-supply", "bridged")
            and not name.startswith("pin or")
        ):
            nodes = [word.get(n, n.removeprefix("node ")) for n in faults[0].nodes]
            if faults[0].kind == "bridged":
                name = f"{nodes[0]} and {nodes[1]} bridged"
            else:
                name = f"{nodes[0]} to {'ground' if faults[0].kind == 'chafed-to-ground' else 'supply'}"
        elif ".element." in name:
            name = name.split(".element.")[1].replace(".value", "")
        out[each.name] = name
    return out


def diagnosis_of(number: int, play: Playing, column: str) -> Any:
    """The engine on one line, made once."""
    from pinproof.design import loads
    from pinproof.find import Diagnosis, Said

    key = (number, column)
    if key not in _KNOWN:
        _KNOWN.clear()
        truck = loads(play.text, name=f"line {number}")
        diagnosis = Diagnosis(truck, play.line_id, Said(column))  # type: ignore[arg-type]
        _KNOWN[key] = (diagnosis, names_of(play, diagnosis))
    return _KNOWN[key]


def seen_of(diagnosis: Any, reading: Any) -> Any:
    """A simulated reading as the engine takes it."""
    from pinproof.find import Seen

    look = diagnosis.look(reading.id)
    return Seen(look, ohm=reading.ohm, pin_v=reading.pin_v, supply_v=reading.supply_v, meaning=reading.meaning)


def same_class(name: str, true: str) -> bool:
    """Bridges may name their nodes in either order, swaps their contacts."""
    for word in (" bridged", " swapped"):
        if name.endswith(word) and true.endswith(word):
            return set(name.removesuffix(word).split(" and ")) == set(true.removesuffix(word).split(" and "))
    return name == true


def follow(number: int, play: Playing, case: Case, hard: str = "") -> Outcome:
    """Follow the engine's advice on one case."""
    from pinproof.find import Session

    diagnosis, names = diagnosis_of(number, play, case.column)
    session = Session(diagnosis)
    complaint = case.complaint()
    session = session.told(*(seen_of(diagnosis, case.read(f"meaning {s}")) for s in complaint))
    right = case.looks.right
    noticed = not complaint or any(said != right[s] for s, said in complaint.items() if right[s] is not None)
    minutes, steps = 0.0, 0
    advice = session.advice(outlooks=False)
    can = set(case.available())
    session = session.leaving_out(*(each.id for each in diagnosis.looks if each.id not in can))
    while advice.state == "look" and advice.step is not None and steps < MOST_STEPS:
        minutes += advice.step.minutes
        steps += 1
        again = any(each.look.id == advice.step.look.id for each in session.seen)
        session = session.adding(seen_of(diagnosis, case.read(advice.step.look.id, repeat=int(again))))
        advice = session.advice(outlooks=False)
    found = advice.posterior
    true = case.true_class
    mine = {each.name: names[each.name] for each in found.classes}
    first = true if same_class(mine[found.first.name], true) else mine[found.first.name]
    of_true = math.fsum(each.probability for each in found.classes if same_class(mine[each.name], true))
    return Outcome(
        number, case.seed, case.column, true, case.true_cause.mechanism, first, found.first.probability, of_true,
        advice.state, steps, minutes, noticed,
        len(case.causes) > 1 and any(same_class(mine[found.first.name], each.class_name) for each in case.causes),
        None, hard,
    )  # fmt: skip


def one(task: tuple[int, int, str, str, bool]) -> Outcome:
    """One case by its numbers."""
    number, seed, column, hard, oracle = task
    play = playing_trucks(LINES)[number]
    case = make_case(
        play.truck, play.line_id, seed, column=column, law="other" if hard else "listed", double=hard == "double",
        unlisted=hard == "unlisted", mistyped=bool(hard),
    )  # fmt: skip
    out = follow(number, play, case, hard)
    if oracle:
        from tests.truth.posterior import tellable

        out.tellable = tellable(case)
    return out


def hard_kind(seed: int) -> str:
    """3 % two causes, 2 % not on the list, the rest another law of severities; 1 % of readings mistyped throughout."""
    return "double" if seed % 100 < 3 else "unlisted" if seed % 100 < 5 else "law"


def run(count: int, first_seed: int, *, hard: bool, oracle: bool, processes: int) -> list[Outcome]:
    """Many cases, grouped by line so that each line is prepared once per process."""
    tasks = []
    for k in range(count):
        seed = first_seed + k
        column = "in service" if k % 2 else "new build"
        tasks.append(((k // 2) % LINES, seed, column, hard_kind(seed) if hard else "", oracle))
    tasks.sort(key=lambda each: (each[0], each[2]))
    if processes < 2:
        return [one(each) for each in tasks]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return pool.map(one, tasks, chunksize=max(len(tasks) // (processes * 8), 1))


def summary(outcomes: list[Outcome]) -> str:
    """Shares, steps, calibration."""
    out = []
    for column in ("new build", "in service"):
        mine = [each for each in outcomes if each.column == column]
        if mine:
            out.append(f"{column}: {_line(mine)}")
    out.append(f"all: {_line(outcomes)}")
    told = [each for each in outcomes if each.tellable]
    if any(each.tellable is not None for each in outcomes):
        out.append(f"tellable {100.0 * len(told) / len(outcomes):.1f} %: {_line(told)}" if told else "tellable: none")
    out.append("calibration: probability of the first class, and how often it is the true one")
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.99), (0.99, 1.01)):
        some = [each for each in outcomes if low <= each.probability < high]
        if some:
            mean = statistics.fmean(each.probability for each in some)
            hit = statistics.fmean(each.right for each in some)
            out.append(f"    {low:.2f} to {min(high, 1.0):.2f}: n {len(some):5d}  said {mean:.3f}  true {hit:.3f}")
    wrong = Counter((each.true_class, each.first) for each in outcomes if not each.right and each.probability >= 0.9)
    out += [f"    confident and wrong: {n} × {true} taken for {first}" for (true, first), n in wrong.most_common(8)]
    return "\n".join(out)


def _line(outcomes: list[Outcome]) -> str:
    n = len(outcomes)
    right = sum(each.right for each in outcomes)
    bad = sum(not each.right and each.probability >= 0.9 for each in outcomes)
    steps = statistics.median(each.steps for each in outcomes)
    minutes = statistics.median(each.minutes for each in outcomes)
    return (
        f"{n} cases, true class first {100.0 * right / n:.1f} %, over 90 % on a wrong class {100.0 * bad / n:.2f} %, "
        f"median {steps:g} steps, {minutes:g} min"
    )


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py truth --find")
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--hard", action="store_true", help="other severities, two causes, unlisted, mistyped")
    parser.add_argument("--no-oracle", action="store_true", help="do not ask which cases can be told at all")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", help="write every outcome as JSON lines")
    asked = parser.parse_args(arguments)
    start = time.monotonic()
    found = run(asked.count, asked.seed, hard=asked.hard, oracle=not asked.no_oracle, processes=asked.processes)
    print(summary(found))
    print(f"{time.monotonic() - start:.0f} s")
    if asked.out:
        with open(asked.out, "w", encoding="utf-8") as file:
            file.writelines(json.dumps(asdict(each)) + "\n" for each in found)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
