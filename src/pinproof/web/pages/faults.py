"""What every fault would do: false commands first, what is lost, what removes it, what finds it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pinproof.chain import known
from pinproof.design import Truck, loads
from pinproof.drawings import words
from pinproof.errors import NoSolution
from pinproof.faults import Against, FaultEffect, LineFaults, keep_racing
from pinproof.faults.words import commands_words, fault_words, lost_groups
from pinproof.pack.faults_page import GROUPS, NOT_LOOKED_AT, lists
from pinproof.web.page import Action, Ask, Done, Page

WORK = "pinproof.web.pages.faults:try_cures"


def try_cures(text: str, name: str, say: Callable[..., None]) -> tuple[Against, ...]:
    """The work of a process of its own: cures of every line, with values chosen and all proven again."""
    truck = loads(text, name)
    say("Lists the faults …")
    found: tuple[Against, ...] = known.known_faults(truck, say=say)
    return found


def _key(ask: Ask) -> tuple[Any, ...]:
    return ("cures", ask.design.hash)


def result(ask: Ask) -> dict[str, Any]:
    """Every single fault of every line; with cures where they were tried."""
    truck = ask.truck
    report = ask.site.work.faults(truck)
    job = ask.site.jobs.find(_key(ask))
    tried = job.result if job is not None and job.state == "done" else None
    return {
        "design": ask.design.name, "hash": ask.design.hash, "report": report, "is_safe": report.is_safe,
        "against": {each.found.line: _apart(each) for each in tried} if tried else None,
        "job": job.as_json() if job is not None else None,
    }  # fmt: skip


def _apart(each: Against) -> dict[str, Any]:
    return {"cures": each.cures, "tried": each.tried, "order": each.order, "remedies": each.remedies}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Each line's faults in groups, worst first."""
    truck, report = ask.truck, found["report"]
    job = ask.site.jobs.find(_key(ask))
    tried = job.result if job is not None and job.state == "done" else None
    against = tried or ask.site.work.once(
        ("against", truck.text_hash), lambda: known.known_against(truck, report.lines, tries=False)
    )
    by_line = {each.found.line: each for each in against}
    lines = [_line(truck, each, by_line[each.line], tried is not None) for each in report.lines]
    shown = found["job"] if found["job"] is not None and found["job"]["state"] != "done" else None
    return {"report": report, "lines": lines, "job": shown, "tried": tried is not None, "not_looked_at": NOT_LOOKED_AT}


def _line(truck: Truck, line: LineFaults, against: Against, tried: bool) -> Mapping[str, Any]:
    false, lost, none = line.of("false command"), line.of("command lost"), line.of("none")
    groups = [
        (caption, [_row(each, against) for each in false if each.rank == rank and each.adds])
        for rank, caption in enumerate(GROUPS)
    ]
    new = lost_groups(truck.line(line.line).idle, [each for each in lost if each.adds])
    groups += [(head, [_row(each, against) for each in rows]) for head, rows in new]
    return {
        "id": line.line, "input": truck.line(line.line).input, "reason": words.sentence(line.reason),
        "count": len(line.faults), "situations": line.situations, "false": len(false), "lost": len(lost),
        "none": [fault_words(each.fault) for each in none], "groups": [pair for pair in groups if pair[1]],
        "same": [fault_words(each.fault) for each in (*false, *lost) if not each.adds], "keep": _keep(truck, line.line),
        "lists": lists(against) if tried else [], "safe": line.is_safe,
    }  # fmt: skip


def _row(each: FaultEffect, against: Against) -> Mapping[str, Any]:
    remedy = against.remedies.get(each.fault.id)
    told = commands_words(each) if each.false else ""
    lost = words.all_of(list(dict.fromkeys(one.meaning or words.operated(one.operated) for one in each.lost)))
    does = told or (f"loses {lost}" if lost else "–")
    return {
        "name": fault_words(each.fault), "site": each.fault.site, "does": does,
        "reads": words.either(list(each.idle_reads)) if each.idle_reads else "–",
        "remedy": remedy.text if remedy is not None else " ".join(each.advice[:1]),
    }  # fmt: skip


def _keep(truck: Truck, line_id: str) -> str:
    """What to unplug to keep racing."""
    try:
        kept = keep_racing(truck, truck.line(line_id))
    except NoSolution as fault:
        return str(fault)
    if not kept:
        return "Nothing that can be unplugged surely leaves a truck without false commands."
    best = kept[0]
    what = f"station {best.station}" if best.station else "the coded wire"
    left = words.all_of(list(dict.fromkeys(meaning for _, meaning in best.left)))
    return f"To keep racing unplug {what}: {left} left, in the worst case." if left else (
        f"To keep racing unplug {what}: no command is left, and none comes by itself."
    )  # fmt: skip


def _try(ask: Ask) -> Done:
    design = ask.design
    design.truck  # noqa: B018 - a file that cannot be used is told before work begins
    job = ask.site.jobs.start(
        "Trying cures for unsafe faults", WORK, (design.text, design.path.name), key=_key(ask),
        back=ask.address("faults"),
    )  # fmt: skip
    return Done(job.as_json(), ask.address("faults"))


PAGE = Page(
    "faults", "/d/{design}/faults", "Faults",
    "What would every single fault do, and which can give a command nobody asked for?",
    result, "faults.html", context, links=("repair",), folds="all-but-first",
    actions=(Action("cures", "Tries cures for unsafe faults, in the background.", _try),),
)  # fmt: skip
