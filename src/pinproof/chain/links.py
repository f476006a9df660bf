"""The chain of a truck, link by link, each with its verdict and its weakest number.

Answers: how far is the chain shown, where does it give way, on which unmeasured number does each link rest.
Units:   readings in ratio or volts as `SituationProof.unit` says.
Touches: nothing.
Beside:  `actions` says what to do next; `measures` says which link a number belongs to.

A verdict here is never better than the proof's. Switch, resistor, wire and pin share one circuit, so while a situation
fails, only the link that it fails by has a verdict of its own; the others are "not shown" until it holds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pinproof.chain.actions import Action, margin_words, next_actions, number_words, sentence
from pinproof.chain.gear import gear_action, gear_link
from pinproof.chain.harness_link import harness_action, harness_part
from pinproof.chain.inhibit_link import QUESTION as INHIBIT_QUESTION
from pinproof.chain.inhibit_link import inhibit_action, inhibit_link
from pinproof.chain.log_kept import KeptLogs
from pinproof.chain.log_link import log_link
from pinproof.chain.measures import LINKS, link_of, measure_of
from pinproof.chain.outlook import in_ohms, own_pull
from pinproof.choose.drawer import Drawer
from pinproof.design.model import Line, Truck
from pinproof.errors import NoSolution
from pinproof.faults import keep_racing
from pinproof.logs.results import LogReport
from pinproof.proof.checks.breaks import FALSE_COMMAND
from pinproof.proof.checks.wetting import is_unstated, unstated_together
from pinproof.proof.results import Finding, LineProof, RestsOn, SituationProof, TruckProof
from pinproof.quantities import format_value
from pinproof.verdict import Verdict, worst

CIRCUIT = ("switch", "resistor", "wire", "pin")
CHECK_LINK = {
    "reach": "switch", "transit": "switch", "wetting": "switch",
    "heat": "resistor", "target-distance": "resistor",
    "broken-wire": "wire", "short": "wire", "diode": "wire",
    "back-feed": "pin", "unknown-pull": "pin", "yield": "reading",
}  # fmt: skip
"""The link that each check of docs/checks.md speaks of."""
QUESTIONS = {
    "switch": "Does each press make its contact, and nothing else?",
    "resistor": "Is each resistor chosen, near enough and strong enough?",
    "wire": "Do wires, plugs and grounds leave the code as it is?",
    "pin": "Is it known what the controller's pin does to the wire?",
    "reading": "Does every situation read what it may, at worst?",
    "meaning": "Is it known what the controller makes of a reading?",
    "gear": "Does the commanded gear suit speed and engine?",
    "log": "Did the truck do what it was told?",
    "repair": "What broke, and what keeps the truck going?",
}
NOT_BUILT: dict[str, str] = {}
REPAIR = (
    "Not told by the file alone. `pinproof faults` lists what every fault would do, what removes it and which check "
    "finds it."
)


@dataclass(frozen=True)
class Link:
    """One link. `weakest` is its weakest number in words, "" where it has none; `built` False: no engine for it yet."""

    name: str
    question: str
    verdict: Verdict
    text: str
    weakest: str = ""
    rests_on: tuple[RestsOn, ...] = ()
    built: bool = True


@dataclass(frozen=True)
class Chain:
    """The whole chain and the next actions. `proof` is the verdict of what this version can prove; `beside` the start
    inhibit."""

    id: str
    name: str
    proof: Verdict
    links: tuple[Link, ...]
    actions: tuple[Action, ...]
    beside: Link | None = None

    def link(self, name: str) -> Link:
        """The link of this name; KeyError if there is none."""
        return {each.name: each for each in self.links}[name]


def chain_of(
    truck: Truck, proof: TruckProof, drawer: Drawer | None = None, log: LogReport | None = None,
    kept: KeptLogs | None = None,
) -> Chain:  # fmt: skip
    """The chain of a proven truck.

    Parameters
    ----------
    truck, proof : Truck, TruckProof
        Of the same design; the proof with drift budgets.
    drawer : Drawer, optional
        The owner's stock: what is in it need not be ordered.
    log : LogReport, optional
        What the logs of a day showed, of the same design.
    kept : KeptLogs, optional
        What logs proved before, as it stands in the record; counts where there is no `log`.

    Examples
    --------
    >>> from pinproof.design import load
    >>> from pinproof.proof import prove
    >>> truck = load("truck.toml")  # doctest: +SKIP
    >>> chain_of(truck, prove(truck)).link("wire").verdict  # doctest: +SKIP
    <Verdict.PASS: 'pass'>
    """
    harness = harness_part(truck)
    links = tuple(_link(name, truck, proof, log, kept, harness[:2]) for name in LINKS)
    beside = Link("start", INHIBIT_QUESTION, *inhibit_link(truck))
    unsafe = [inhibit_action(beside.verdict, beside.text), gear_action(truck), harness_action(*harness)]
    actions = next_actions(truck, proof, drawer, [each for each in unsafe if each is not None])
    return Chain(truck.id, truck.name, proof.verdict, links, actions, beside)


def _link(
    name: str, truck: Truck, proof: TruckProof, log: LogReport | None, kept: KeptLogs | None,
    harness: tuple[Verdict, str],
) -> Link:  # fmt: skip
    if name in NOT_BUILT:
        return Link(name, QUESTIONS[name], Verdict.NOT_SHOWN, NOT_BUILT[name], built=False)
    if name == "gear":
        return Link(name, QUESTIONS[name], *gear_link(truck))
    if name == "log":
        return Link(name, QUESTIONS[name], *log_link(truck, log, kept))
    if name == "repair":
        return Link(name, QUESTIONS[name], *_repair(truck, proof))
    parts = []
    for each in proof.lines:
        line = truck.line(each.line)
        if name in CIRCUIT:
            verdict, text = _circuit(name, truck, line, each)
        elif name == "reading":
            verdict, text = _reading(each)
        else:
            verdict, text = _meaning(line, each)
            text += _list_words(truck, line)
        parts.append((verdict, f"{each.line}: {text}" if len(proof.lines) > 1 else text))
    if not parts:
        return Link(name, QUESTIONS[name], Verdict.NOT_SHOWN, "The design has no coded line.")
    if name == "wire":
        parts.append(harness)
    rests = tuple(each for each in proof.rests_on if link_of(each.parameter) == name)
    return Link(
        name, QUESTIONS[name], worst(verdict for verdict, _ in parts), _said_once(parts, proof),
        _weakest(name, truck, proof, rests), rests,
    )  # fmt: skip


def _repair(truck: Truck, proof: TruckProof) -> tuple[Verdict, str]:
    """Whether something can be unplugged that surely leaves a truck without false commands, and what is left then."""
    told, verdicts = [], []
    for line in truck.lines:
        try:
            kept = keep_racing(truck, line)
        except NoSolution:
            kept = ()
        if not kept:
            return Verdict.NOT_SHOWN, REPAIR
        best = kept[0]
        what = f"station {best.station}" if best.station else "the coded wire"
        left = ", ".join(dict.fromkeys(meaning for _, meaning in best.left)) or "no command"
        verdicts.append(Verdict.PASS if best.is_safe else Verdict.NOT_SHOWN)
        text = (
            f"unplug {what}: {left} left, in the worst case"
            if best.is_safe
            else f"nothing in {line.id} is safe to unplug"
        )
        told.append(f"{line.id}: {text}" if len(truck.lines) > 1 else text)
    if not told:
        return Verdict.NOT_SHOWN, REPAIR
    text = "; ".join(told)
    firm = proof.verdict if proof.verdict.holds else Verdict.NOT_SHOWN
    told_of = "`pinproof faults` lists what can go wrong; `find` and the card search for it."
    return worst([firm, *verdicts]), f"To keep racing {text}. {told_of}"


def _circuit(name: str, truck: Truck, line: Line, proof: LineProof) -> tuple[Verdict, str]:
    """Verdict and text of switch, resistor, wire or pin."""
    findings = [each for each in proof.findings if CHECK_LINK.get(each.check) == name]
    if proof.reason:
        return Verdict.NOT_SHOWN, _unproven(name, truck, line, proof, findings)
    bad = [row for row in proof.situations if not row.verdict.holds]
    mine = [row for row in bad if link_of(row.weakest) == name]
    decided = [each for each in findings if each.verdict is not None and not each.verdict.holds]
    if mine:
        row = min(mine, key=lambda each: (each.verdict.rank, each.margin))
        worse = [each for each in decided if each.verdict is not None and each.verdict.rank < row.verdict.rank]
        if worse:
            return worst(_verdicts(worse)), f"{worse[0].text} Also not shown: {row_words(row)}"
        more = f" ({len(mine) - 1} more.)" if len(mine) > 1 else ""
        how = "Here it gives way" if row.verdict is Verdict.FAIL else "Here it is not sure"
        return worst([row.verdict, *_verdicts(decided)]), f"{how}: {row_words(row)}{more}"
    if decided:
        return worst(_verdicts(decided)), decided[0].text
    if bad:
        others = sorted({link_of(row.weakest) or "meaning" for row in bad}, key=LINKS.index)
        return Verdict.NOT_SHOWN, f"Waits for the {' and the '.join(others)}: until that holds, nothing here is shown."
    held = worst(row.verdict for row in proof.situations)
    return held, _note(findings) or f"{HOLDS}."


def _verdicts(findings: Iterable[Finding]) -> list[Verdict]:
    return [each.verdict for each in findings if each.verdict is not None]


def _unproven(name: str, truck: Truck, line: Line, proof: LineProof, findings: Sequence[Finding]) -> str:
    if name == "pin" and any(pull == "unknown" for pull in _pulls(truck, line)):
        return f"{proof.reason[0].upper()}{proof.reason[1:]}."
    if name == "resistor":
        todo = [each.id for each in truck.contacts_of(line) if each.resistor is not None and each.resistor.ohm is None]
        for word, part in (
            ("idle", line.idle_resistor), ("top", line.top_resistor), ("end", line.end_resistor)
        ):  # fmt: skip
            if part is not None and part.ohm is None:
                todo.append(f"the {word} resistor")
        if todo:
            return f"Still to be chosen: {', '.join(todo)}."
        off = [each for each in findings if each.check == "target-distance"]
        if off:
            return f"Chosen to give the listed ohms. {max(off, key=_distance).text}"
        return "Chosen, but not proven: the rest of the line is not known."
    return f"Waits: {proof.reason}."


def _distance(finding: Finding) -> float:
    ends = [finding.numbers[key] for key in ("nominal_ohm", "target_ohm")]
    ohms = [each for each in ends if isinstance(each, float) and 0.0 < each < math.inf]
    return abs(math.log(ohms[0] / ohms[1])) if len(ohms) == 2 else math.inf


def _pulls(truck: Truck, line: Line) -> tuple[object, ...]:
    owner = truck.input_of(line)
    return tuple(getattr(pull, "value", None) for pull in (owner.pull_up, owner.pull_down))


HOLDS = "Holds at the limits stated"


def _note(findings: Sequence[Finding]) -> str:
    """What a link's checks say beside the verdict: what a fault would do, if a false command; then the first caution.

    The verdict is of a line without a fault, so a fault's effect is told as one.
    """
    loud = [each.text for each in findings if each.numbers.get("effect") == "false command"]
    cautions = [each.text for each in findings if each.cure and each.check in ("heat", "wetting", "back-feed")]
    lost = [each.text for each in findings if each.numbers.get("effect") == "command lost"]
    if loud:
        told = loud[0].removeprefix(FALSE_COMMAND)
        return f"{HOLDS}, without a fault. One fault would give a false command: {told}"
    if cautions:
        return f"{HOLDS}. Note: {cautions[0]}"
    return f"{HOLDS}, without a fault. One fault would lose commands: {lost[0]}" if lost else ""


def _said_once(parts: Sequence[tuple[Verdict, str]], proof: TruckProof) -> str:
    """The texts of a link's lines; a caution that several of them have in common comes once, at the end."""
    texts = [text for _, text in parts]
    common = {
        at: finding
        for at, line in enumerate(proof.lines)
        for finding in line.findings
        if is_unstated(finding) and texts[at].endswith(f" Note: {finding.text}")
    }
    if len(common) < 2:
        return " ".join(texts)
    for at, finding in common.items():
        texts[at] = texts[at].removesuffix(f" Note: {finding.text}")
    names = " and ".join(proof.lines[at].line for at in common)
    return f"{' '.join(texts)} Note on {names}: {unstated_together(list(common.values()))}"


def _reading(proof: LineProof) -> tuple[Verdict, str]:
    if proof.reason:
        return Verdict.NOT_SHOWN, f"Not computed: {proof.reason}."
    row = proof.worst
    assert row is not None
    count = len({each.operated for each in proof.situations})
    failing = {each.operated for each in proof.situations if not each.verdict.holds}
    where = f" {len(failing)} {'does' if len(failing) == 1 else 'do'} not hold." if failing else ""
    return worst(each.verdict for each in proof.situations), f"{count} situations.{where} Closest: {row_words(row)}"


def _meaning(line: Line, proof: LineProof) -> tuple[Verdict, str]:
    if line.free and proof.reason:
        return Verdict.NOT_SHOWN, "It is not known what the pin wants: no window and no target is stated."
    if line.free:
        return Verdict.WOULD_HOLD, "No windows are known; taken as a controller that can be taught."
    if line.targets:
        bases = sorted({each.basis for each in line.targets if each.meaning != line.idle})
        named = f"{' and '.join(bases) or 'assumed'}"
        text = f"Only target readings are known ({named}); the edges between them are assumed midway."
        return Verdict.WOULD_HOLD, text
    weak = [each.meaning for each in line.windows if each.basis == "assumed"]
    if weak:
        return Verdict.WOULD_HOLD, f"The windows of {', '.join(weak)} are assumed."
    borrowed = [each.meaning for each in line.windows if each.basis == "borrowed"]
    if borrowed:
        return Verdict.PASS, f"Windows known; those of {', '.join(borrowed)} are borrowed from another truck."
    return Verdict.PASS, "Every window is measured or published."


def _list_words(truck: Truck, line: Line) -> str:
    """With which pull a list in ohms is taken."""
    entries = in_ohms(line)
    said = []
    if any(each.own_pull for each in entries):
        own = own_pull(truck, line)
        known = "this pin's own pull" + ("" if own is None or own.ohm is None else f", {_ohm(own.ohm)}")
        said.append(
            f" Ohms that name no pull are taken with {known} (assumed); if the list is for another, write with_pull."
        )
    stated = dict.fromkeys(_ohm(each.with_pull_ohm) for each in entries if not each.own_pull and each.with_pull_ohm)
    if stated:
        said.append(f" Its ohms are meant with a pull of {' and '.join(stated)}, as the file says.")
    return "".join(said)


def _ohm(ohm: float) -> str:
    return format_value(ohm, "resistance")


def row_words(row: SituationProof) -> str:
    """One situation in words: what it reads, what that may be taken for, its margin."""
    name = " + ".join(row.operated) or "nothing operated"
    if math.isnan(row.low):
        return f"{name}: {row.why}."
    if row.unit == "1":
        reads = f"{row.low * 100:.1f} to {row.high * 100:.1f} %"
    else:
        reads = f"{row.low:.2f} to {row.high:.2f} V"
    state = "" if row.key_state == "run" else f" ({row.key_state.replace('_', ' ')})"
    foreign = [each for each in row.reads_as if each not in (*row.allowed, "invalid")]
    could = f", and can be read as {' or '.join(foreign)}" if foreign else ""
    return f"{name}{state} reads {reads}{could}; {margin_words(row.margin)}."


def _weakest(link: str, truck: Truck, proof: TruckProof, rests: Sequence[RestsOn]) -> str:
    """The number it fails by; else the one whose error would overturn the verdict soonest, unmeasured ones first."""
    bad = [row for row in proof.situations if not row.verdict.holds]
    bad = [row for row in bad if link_of(row.weakest) == link]
    if bad:
        row = min(bad, key=lambda each: (each.verdict.rank, each.margin))
        how = "here it fails" if row.verdict is Verdict.FAIL else "as it stands, nothing is shown to hold"
        return f"{number_words(truck, row.weakest)}: {how}."
    if rests:
        each = min(rests, key=lambda one: one.strain)
        return rests_words(each)
    budgets = [(budget, row) for row in proof.situations for budget in row.budgets if link_of(budget.parameter) == link]
    if not budgets:
        return ""
    budget, row = min(budgets, key=lambda pair: pair[0].strain)
    first = budget.lost_at if budget.lost_at is not None else budget.false_at
    dimension = "resistance" if budget.unit == "ohm" else "voltage"
    known = measure_of(budget.parameter)
    named = known.name if known is not None else budget.parameter
    if first is None:
        return f"{named} ({budget.basis})."
    name = " + ".join(row.operated) or "nothing operated"
    return f"{named} ({budget.basis}). At {format_value(first, dimension, digits=3)}, {name} is lost."


def rests_words(each: RestsOn) -> str:
    """One number that a verdict leans on, in words."""
    known = measure_of(each.parameter)
    named = known.name if known is not None else each.parameter
    stated = f"{each.text}, " if each.text and not each.text.startswith("window ") else ""
    return f"{named} ({stated}{each.basis}). {sentence(each.what)}"
