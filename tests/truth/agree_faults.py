"""Does the faults engine agree with the checker? Run on generated awkward trucks, from the text of a design file.

    python3 dev.py truth 200 --faults               every single fault of two hundred trucks, seeds 0 to 199
    python3 dev.py truth 200 --faults --seed 7000   from seed 7000
    python3 dev.py truth 200 --faults --situations 5   at most five situations of each line, drawn by the seed

Compared are the list of sites and kinds; each hard fault in every situation and key state: which false commands, what
is lost; each fault with a severity at every severity of the checker's grid. The checker finds nothing between two grid
severities, so what the engine claims there is put to it point by point: inside each claimed set that no grid severity
lies in, and just inside and just outside a sample of the ends that the engine solved for.

A tie is no disagreement: a comparison within the checker's own tie rule, or a severity within a relative 1e-6 of an
end. Inside a bracket the two may differ. Where a severity of 0 ohm joins rails that differ, the checker leaves trucks
out; the page on faults lets the least severities above 0 stand for it, so the checker is asked for one of these. Where
every truck would still have rails joined by 0 ohm there is nothing to compare.
"""

from __future__ import annotations

import argparse
import functools
import math
import multiprocessing
import random
import sys
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from tests.truth.faults import (
    EFFECTS,
    GRID,
    Bench,
    Fault,
    fault_grid,
    sample_faults,
    sample_situations,
    single_faults,
    skipped,
)
from tests.truth.generate import generate
from tests.truth.judge import situations
from tests.truth.truck import Line, Number, Truck
from tests.truth.writer import write

NEAR = 1e-6  # relative: so near an end of a severity set it is a tie
TINY = Fraction(1, 10**12)  # ohm: stands for 0 where 0 joins rails
ASIDE = 1e-4  # relative: so far beside an end the engine solved for it must be settled
Key = tuple[str, str, frozenset[str]]  # kind, site or "", nodes or partners
Place = tuple[str, str, frozenset[str]]  # "false" or "lost", meaning, and "key state" with the operated contacts
Sets = list[tuple[tuple[float, float], ...]]


@dataclass
class Outcome:
    """What one truck gave."""

    seed: int
    disagreements: list[str] = field(default_factory=list)
    lines: int = 0
    left_out: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    effects: Counter[str] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)

    def add(self, other: Outcome) -> None:
        """Put another truck's counts to these."""
        self.lines += other.lines
        for name in ("left_out", "kinds", "effects", "counts"):
            getattr(self, name).update(getattr(other, name))


@dataclass(frozen=True)
class Claim:
    """What the engine says of one situation and key state: severities, outer and inner; None for a hard fault."""

    outer: Sets | None
    inner: Sets | None
    sure: bool

    def may(self, ohm: Number | None) -> bool:
        """The outer set holds it, or comes as near as a tie."""
        return self.outer is None or any(_holds(each, ohm, NEAR) for each in self.outer)

    def surely(self, ohm: Number | None) -> bool:
        """The inner set holds it, and no end is as near as a tie."""
        if self.inner is None:
            return self.sure
        return any(_holds(each, ohm, -NEAR) for each in self.inner)


def _holds(pieces: tuple[tuple[float, float], ...], ohm: Number | None, slack: float) -> bool:
    assert ohm is not None
    at = float(ohm)
    for low, high in pieces:
        under = low * (1.0 - slack) <= at if low > 0.0 else at >= 0.0
        if under and (at <= high * (1.0 + slack) if math.isfinite(high) else True):
            return True
    return False


# ---------------------------------------------------------------- names of both sides


def checker_key(fault: Fault) -> Key:
    """A fault of the checker by kind and place."""
    if fault.kind == "swapped":
        return fault.kind, "", frozenset((fault.site.removeprefix("contact."), *fault.detail))
    if fault.detail:
        return fault.kind, "", frozenset(fault.detail)
    return fault.kind, fault.site, frozenset()


def engine_key(fault: Any, truck: Truck, line: Line) -> Key:
    """A fault of the engine in the checker's words."""
    if fault.kind == "swapped":
        return fault.kind, "", frozenset(each.removeprefix("contact.") for each in (fault.site, fault.detail))
    if fault.kind == "unplugged":
        return fault.kind, "", frozenset((fault.site.removeprefix("station."),))
    if fault.nodes:
        return fault.kind, "", frozenset(_node(each, truck, line) for each in fault.nodes)
    return fault.kind, fault.site.removesuffix(".value"), frozenset()


def _node(word: str, truck: Truck, line: Line) -> str:
    head, _, name = word.rpartition(" ")
    if head != "contact":
        return name
    ids = [each.id for each in truck.contacts_of(line.id)]
    return f"n{ids.index(name) + 1}" if line.form == "ladder" else f"~{name}"


def claims(effect: Any) -> dict[tuple[str, str, str, frozenset[str]], Claim]:
    """The engine's false commands and losses by (what, meaning, key state, operated); reading spaces together."""
    entries = [("false", each.command, each) for each in effect.false]
    entries += [("lost", each.meaning, each) for each in effect.lost]
    out: dict[tuple[str, str, str, frozenset[str]], Claim] = {}
    for what, meaning, each in entries:
        key = (what, meaning, each.key_state, frozenset(each.operated))
        before = out.get(key, Claim([], [], False))
        if each.severities is None:
            out[key] = Claim(None, None, before.sure or each.sure)
        else:
            assert before.outer is not None and before.inner is not None
            out[key] = Claim(
                [*before.outer, each.severities.outer], [*before.inner, each.severities.inner], before.sure or each.sure
            )
    return out


NOTHING = Claim([], [], False)


# ---------------------------------------------------------------- what the checker says, point by point


@dataclass(frozen=True)
class Points:
    """One fault, situation and key state on a grid: (what, meaning) -> +1 surely so, -1 surely not, 0 a tie."""

    grid: Sequence[Number | None]
    says: dict[tuple[str, str], list[int]]
    usable: list[bool]


def points(row: Mapping[str, Any]) -> Points:
    """A row of `fault_grid`, with windows of one meaning counted together."""
    says: dict[tuple[str, str], list[int]] = {}
    meanings: dict[str, list[str]] = {}
    for name in row["false"]:
        meanings.setdefault(name.partition("#")[0], []).append(name)
    for meaning, names in meanings.items():
        said = []
        for i in range(len(row["grid"])):
            hits = [(row["false"][name][i], row["false_tie"][name][i]) for name in names]
            said.append(1 if any(h and not t for h, t in hits) else -1 if not any(h or t for h, t in hits) else 0)
        says["false", meaning] = said
    if row["required"] is not None:
        said = []
        for kept, tie in zip(row["kept"], row["kept_tie"], strict=True):
            said.append(0 if tie or kept is None else -1 if kept else 1)
        says["lost", row["required"]] = said
    return Points(row["grid"], says, [not each for each in row["no_answer"]])


def without_dead_short(row: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """The row with its first severity, 0, answered by that of `above`, a row of one severity just above 0."""
    out = dict(row)
    for name in ("kept", "kept_tie", "no_answer", "fault_some"):
        out[name] = [*above[name], *row[name][1:]]
    for name in ("false", "false_tie"):
        out[name] = {window: [*above[name][window], *hits[1:]] for window, hits in row[name].items()}
    return out


# ---------------------------------------------------------------- one truck


def compare(
    seed: int, *, most_faults: int | None = None, most_situations: int | None = None, ends: int = 40
) -> Outcome:
    """Look at one generated truck by both and list every difference.

    `most_faults`, `most_situations`: a sample of that many, None for all. `ends`: so many ends of severity sets, per
    line, are looked at from both sides.
    """
    from pinproof.design import loads
    from pinproof.errors import PinproofError
    from pinproof.faults import line_faults

    truck = generate(seed)
    out = Outcome(seed)
    try:
        loaded = loads(write(truck), name=f"generated {seed}")
    except PinproofError as fault:
        out.disagreements.append(f"the file was refused: {fault}")
        return out
    rng = random.Random(f"faults {seed}")
    for line in truck.lines:
        why = skipped(truck, line.id)
        if why is not None:
            out.left_out[why] += 1
            continue
        found = line_faults(loaded, line.id)
        if found.reason:
            out.left_out[found.reason] += 1
            continue
        out.lines += 1
        one = _Comparison(truck, line, found, rng, out)
        one.run(most_faults, most_situations, ends)
    return out


class _Comparison:
    """One line of one truck."""

    def __init__(self, truck: Truck, line: Line, found: Any, rng: random.Random, out: Outcome) -> None:
        self.truck, self.line, self.rng, self.out = truck, line, rng, out
        self.engine = {engine_key(each.fault, truck, line): each for each in found.faults}
        self.sound, self.double = found.sound, len(found.faults) - len(self.engine)
        self.bench = Bench(truck, line.id)

    def say(self, text: str) -> None:
        self.out.disagreements.append(f"{self.line.id}: {text}")

    def run(self, most_faults: int | None, most_situations: int | None, ends: int) -> None:
        """Compare lists, then the line without a fault, then every fault."""
        every = single_faults(self.truck, self.line.id)
        wanted = {checker_key(each) for each in every}
        if self.double or wanted != self.engine.keys():
            self.say(f"other faults, {self.double} double: {[_said(k) for k in wanted ^ self.engine.keys()][:6]}")
        operated = situations(self.truck, self.line)
        if most_situations is not None:
            operated = sample_situations(self.truck, self.line.id, self.rng, most_situations)
        faults = every
        if most_faults is not None:
            faults = sample_faults(self.truck, self.line.id, self.rng, most_faults)
        self._fault(None, self.sound, operated, whole=most_situations is None)
        for fault in faults:
            effect = self.engine.get(checker_key(fault))
            if effect is not None:
                self._fault(fault, effect, operated, whole=most_situations is None)
        self._ends([each for each in faults if each.severity and checker_key(each) in self.engine], operated, ends)

    def look(self, fault: Fault | None, operated: frozenset[str], state: str, grid: Sequence[Number]) -> dict[str, Any]:
        """The checker's answer."""
        row = fault_grid(self.truck, self.line.id, fault, operated, state, grid, self.bench)
        if row["grid"][0] == 0 and row["shorted"][0]:
            self.out.counts["dead shorts"] += 1
            row = without_dead_short(
                row, fault_grid(self.truck, self.line.id, fault, operated, state, [TINY], self.bench)
            )
        return row

    def _fault(self, fault: Fault | None, effect: Any, operated: Iterable[frozenset[str]], *, whole: bool) -> None:
        """Every situation and key state of one fault; then its effect as a whole."""
        name = "no fault" if fault is None else fault.label
        if fault is not None:
            self.out.kinds[fault.kind] += 1
            self.out.effects[effect.effect] += 1
            if fault.severity != effect.fault.severity:
                self.say(f"{name}: a severity for one of the two only")
                return
        claimed = claims(effect)
        least = most = "none"
        reads_as_fault = False
        for pressed in operated:
            for state in self.truck.supply:
                row = self.look(fault, pressed, state, GRID)
                here = points(row)
                mine = {key[:2]: claim for key, claim in claimed.items() if key[2:] == (state, pressed)}
                for what, meaning in mine.keys() - here.says.keys():
                    self.say(f"{name} {sorted(pressed)} {state}: {what} {meaning} is no question here")
                for key, said in here.says.items():
                    sure, maybe = self._row(fault, name, pressed, state, key, here, said, mine.get(key, NOTHING))
                    word = "false command" if key[0] == "false" else "command lost"
                    least = max(least, word if sure else "none", key=EFFECTS.index)
                    most = max(most, word if sure or maybe else "none", key=EFFECTS.index)
                if not pressed and state == "run":
                    reads_as_fault = any(x and y for x, y in zip(row["fault_some"], here.usable, strict=True))
        most = most if whole else EFFECTS[-1]  # a situation that was not looked at may have the rest
        if not EFFECTS.index(least) <= EFFECTS.index(effect.effect) <= EFFECTS.index(most):
            self.say(f"{name}: effect {effect.effect}, checker {least} to {most}")
        if reads_as_fault and not effect.reads_as_fault:
            self.say(f"{name}: idle can read as fault, the engine denies it")

    def _row(
        self, fault: Fault | None, name: str, pressed: frozenset[str], state: str, key: tuple[str, str], here: Points,
        said: Sequence[int], claim: Claim,
    ) -> tuple[bool, bool]:  # fmt: skip
        """One question on the whole grid. (surely so somewhere, perhaps so somewhere)"""
        sure = maybe = False
        for ohm, says, usable in zip(here.grid, said, here.usable, strict=True):
            if not usable:
                self.out.counts["no reading"] += 1
                maybe = True
                continue
            self.out.counts["points"] += 1
            sure |= says > 0
            maybe |= says == 0
            self._point(name, pressed, state, key, ohm, says, claim)
        if claim is not NOTHING and claim.outer is not None and not sure:
            sure, more = self._between(fault, name, pressed, state, key, claim)
            maybe |= more
        return sure, maybe or (claim is not NOTHING and not claim.sure)

    def _point(
        self, name: str, pressed: frozenset[str], state: str, key: tuple[str, str], ohm: Number | None, says: int,
        claim: Claim,
    ) -> None:  # fmt: skip
        may = claim is not NOTHING and claim.may(ohm)
        surely = claim is not NOTHING and claim.surely(ohm)
        if says == 0 or (may and not surely):
            self.out.counts["ties and brackets"] += 1
            return
        if (says > 0) != surely:
            at = "" if ohm is None else f" at {float(ohm):.9g} ohm"
            sets = "" if claim.outer is None else f", engine {claim.outer}"
            words = "so in the checker, not in the engine" if says > 0 else "so in the engine, not in the checker"
            self.say(f"{name} {sorted(pressed)} {state}: {' '.join(key)}{at}: {words}{sets}")

    def _between(
        self, fault: Fault | None, name: str, pressed: frozenset[str], state: str, key: tuple[str, str], claim: Claim
    ) -> tuple[bool, bool]:
        """A set that no severity of the grid lies in: is it there at all?"""
        inside = [_middle(*piece) for sets in claim.inner or [] for piece in sets]
        inside = [ohm for ohm in inside if ohm is not None]
        if not inside:
            return False, True  # a bracket without an inside, or a single point: ends are ties
        here = points(self.look(fault, pressed, state, _numbers(inside)))
        said = here.says[key]
        for ohm, says in zip(here.grid, said, strict=True):
            self.out.counts["between grid severities"] += 1
            self._point(name, pressed, state, key, ohm, says, claim)
        return any(each > 0 for each in said), any(each == 0 for each in said)

    def _ends(self, faults: Sequence[Fault], operated: Sequence[frozenset[str]], count: int) -> None:
        """Just inside and just outside of ends that the engine solved for."""
        listed = [
            (fault, key, claim)
            for fault in faults
            for key, claim in claims(self.engine[checker_key(fault)]).items()
            if key[3] in operated and claim.outer is not None
        ]
        for fault, (what, meaning, state, pressed), claim in self.rng.sample(listed, min(count, len(listed))):
            ends = {end for sets in (claim.outer, claim.inner) for each in sets or [] for pair in each for end in pair}
            grid = _numbers(end * (1.0 + side) for end in ends if 1e-3 < end < 1e9 for side in (-ASIDE, ASIDE))
            if not grid:
                continue
            here = points(self.look(fault, pressed, state, grid))
            for ohm, says, usable in zip(here.grid, here.says[what, meaning], here.usable, strict=True):
                if usable:
                    self.out.counts["beside an end"] += 1
                    self._point(fault.label, pressed, state, (what, meaning), ohm, says, claim)


def _said(key: Key) -> str:
    return " ".join(each for each in (key[0], key[1], "/".join(sorted(key[2]))) if each)


def _middle(low: float, high: float) -> float | None:
    """A severity well inside an interval, or None where there is none."""
    if low == 0.0 and math.isinf(high):
        return 1.0
    if low == 0.0:
        return high / 2.0 if high > 1e-6 else None
    if math.isinf(high):
        return low * 2.0 if math.isfinite(low) else None
    return math.sqrt(low * high) if high > low * (1.0 + 4.0 * NEAR) else None


def _numbers(ohms: Iterable[float]) -> list[Number]:
    return sorted({Fraction(ohm) for ohm in ohms})


# ---------------------------------------------------------------- many trucks


def run(count: int, start: int, jobs: int, most_situations: int | None = None) -> int:
    """Compare `count` trucks and print what differs; the number of trucks that disagree."""
    began = time.perf_counter()
    total, bad = Outcome(-1), 0
    pool = multiprocessing.get_context("spawn").Pool(jobs) if jobs > 1 else None
    seeds = range(start, start + count)
    one_truck = functools.partial(compare, most_situations=most_situations)
    stream = pool.imap_unordered(one_truck, seeds, 4) if pool else map(one_truck, seeds)
    for done, one in enumerate(stream, 1):
        total.add(one)
        if one.disagreements:
            bad += 1
            if bad <= 20:
                print(f"seed {one.seed}: {len(one.disagreements)} disagreements")
                for each in one.disagreements[:5]:
                    print("   ", each)
        if done % 100 == 0:
            print(f"  {done} trucks, {bad} disagree, {time.perf_counter() - began:.0f} s", flush=True)
    if pool:
        pool.close()
        pool.join()
    print(
        f"{count} trucks (seeds {start} to {start + count - 1}), {total.lines} lines, {total.kinds.total()} faults "
        f"({_listed(total.effects)}): {bad} trucks disagree. {time.perf_counter() - began:.0f} s"
    )
    print(f"Answers: {_listed(total.counts)}.")
    print(f"Lines not looked at: {_listed(total.left_out)}.")
    return bad


def _listed(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {number}" for name, number in counts.most_common()) or "none"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("count", nargs="?", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0, help="first seed")
    parser.add_argument("--situations", type=int, help="most situations of a line, drawn by the seed (all)")
    parser.add_argument("--jobs", type=int, default=multiprocessing.cpu_count())
    options = parser.parse_args()
    sys.exit(1 if run(options.count, options.seed, options.jobs, options.situations) else 0)


if __name__ == "__main__":
    main()
