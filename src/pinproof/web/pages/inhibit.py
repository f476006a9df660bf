"""The start inhibit: where it cranks, which fault defeats it, which test finds that; worked out in the background."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from pinproof.design import loads
from pinproof.design.begin_inhibit import BEFORE_TESTS
from pinproof.inhibit import InhibitReport, as_json
from pinproof.inhibit.chains import FORMS
from pinproof.inhibit.from_design import prove_truck, start_circuit
from pinproof.inhibit.results import StartFault
from pinproof.inhibit.words import SHOUT, cell_words, fault_words, grouped, head_words, influence_words, row_notes
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.drafting import PLAIN, actions, draft_context

WORK = "pinproof.web.pages.inhibit:prove_it"
NONE = (
    "A starter relay or solenoid with everything in its chain, the lever with its detents, and which of them may crank "
    "are enough: then every position is proven, and every single fault is tried for cranking in gear."
)
HEADS = ("start held", "start off", "unplugged, start held")


def prove_it(text: str, name: str, compare: bool, say: Callable[..., None]) -> InhibitReport:
    """The work of a process of its own: the table, every fault, and on wish the other forms."""
    truck = loads(text, name)
    say("Proves every position of the lever …", 0.0)

    def told(done: int, of: int) -> None:
        say(f"Faults of the start circuit: {done} of {of}", done / of if of else None)

    return prove_truck(truck, FORMS if compare else (), told)


def _compares(ask: Ask) -> bool:
    return (ask.values.get("compare", "") or (ask.text("compare") if ask.form else "")) == "yes"


def _job(ask: Ask) -> Any:
    """The work with the other forms if that is asked for, else any that is there."""
    find, stated = ask.site.jobs.find, ask.design.hash
    whole, short = find(("inhibit", stated, True)), find(("inhibit", stated, False))
    if _compares(ask):
        return whole
    return whole if whole is not None and whole.state == "done" else short or whole


def result(ask: Ask) -> dict[str, Any]:
    """What `pinproof inhibit --json` prints, once it is worked out."""
    truck = ask.truck
    if truck.inhibit is not None:
        # what is wrong with it is told before work begins
        ask.site.work.once(("start", truck.text_hash), lambda: start_circuit(truck))
    job = _job(ask)
    done = job is not None and job.state == "done"
    return {
        "design": ask.design.name, "hash": ask.design.hash, "stated": truck.inhibit is not None,
        "report": as_json(job.result) if done else None, "job": job.as_json() if job is not None else None,
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The truth table, defeats with their tests first, then the rest."""
    job = _job(ask)
    plain = {
        **PLAIN,
        "stated": found["stated"],
        "lacks": NONE,
        "before_tests": BEFORE_TESTS,
        "compares": _compares(ask),
    }
    if not found["stated"]:
        return {**plain, "report": None, "job": None, "draft": draft_context(ask, "inhibit")}
    if job is None or job.state != "done":
        return {**plain, "report": None, "job": found["job"]}
    report: InhibitReport = job.result
    left = [each for each in report.faults if not each.defeat]
    return {
        **plain, "report": report, "job": None, "head": _head(report), "verdict": report.verdict,
        "heads": HEADS, "table": [(row, [(cell, cell_words(cell)) for cell in row.cells]) for row in report.table],
        "queries": [each for row in report.table for each in row_notes(row)],
        "least": [
            (row.position, format_value(row.least_supply_v, "voltage", digits=3))
            for row in report.table if row.least_supply_v is not None
        ],
        "defeats": _by_effect(report.defeats, report.permitted),
        "tests": report.defeats[0].test if report.defeats else (),
        "influence": influence_words(report.influence),
        "others": _by_effect([each for each in left if each.effect.startswith(("cranks", "keeps"))], report.permitted),
        "names": [
            (SHOUT[effect], [fault_words(each) for each in left if each.effect == effect])
            for effect in dict.fromkeys(each.effect for each in left)
            if not effect.startswith(("cranks", "keeps"))
        ],
        "shout": SHOUT, "hidden": sum(each.hidden for each in report.defeats),
    }  # fmt: skip


def _head(report: InhibitReport) -> str:
    told = head_words(report)
    if report.defeats and report.verdict is Verdict.PASS:
        told = f"holds as far as any form can: {told}"
    return told[:1].upper() + told[1:]


def _by_effect(faults: Sequence[StartFault], permitted: Sequence[str]) -> list[tuple[str, int, Any]]:
    return [
        (SHOUT[effect], len(mine), grouped(mine, permitted))
        for effect in dict.fromkeys(each.effect for each in faults)
        if (mine := [each for each in faults if each.effect == effect])
    ]


def _prove(ask: Ask) -> Done:
    design, compare = ask.design, _compares(ask)
    truck = design.truck
    if truck.inhibit is None:
        raise Finding(422, f"{design.path.name} says nothing of a start inhibit.", NONE)
    start_circuit(truck)
    back = ask.address("inhibit", compare="yes" if compare else "")
    job = ask.site.jobs.start(
        f"Proving the start inhibit of {design.title}", WORK, (design.text, design.path.name, compare),
        key=("inhibit", design.hash, compare), back=back,
    )  # fmt: skip
    return Done(job.as_json(), back)


COMPARE = Parameter("compare", "Also judges the same parts in the other forms of the circuit.", words=("yes",))
PAGE = Page(
    "inhibit", "/d/{design}/inhibit", "Start inhibit",
    "Where does it crank, and which single fault lets it crank in gear?",
    result, "inhibit.html", context, links=("switch", "repair"), parameters=(COMPARE,),
    actions=(
        Action("prove", "Proves table and every fault in the background, about a minute.", _prove, (COMPARE,)),
        *actions("inhibit", "inhibit", "a draft of the start inhibit", start_circuit),
    ),
)  # fmt: skip
