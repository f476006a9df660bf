"""A search for a fault in words for a terminal. No sums: what is printed is what a result holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinproof.cli.show import hung, wrapped
from pinproof.find.session import TOLD, mechanism_words
from pinproof.find.words import (
    AFTER,
    CANNOT_TELL,
    CAUTION,
    FIND_OUT_ELSEWHERE,
    class_words,
    look_words,
    percent,
    reading_words,
    repair_words,
    set_up_words,
)

if TYPE_CHECKING:
    from pinproof.design.model import Line
    from pinproof.find import Advice, Session, Step


def advice_words(session: Session, advice: Advice) -> str:
    """Where the search stands: causes, what each would show next, what to do."""
    diagnosis, found = session.diagnosis, advice.posterior
    line, all_of = diagnosis.view.line, diagnosis.hypotheses
    winner = session.winner(found)
    head = {
        "found": f"FOUND  {class_words(all_of, found.first.name)}" if winner else "NOTHING ON THE LIST FITS",
        "look": "GO ON",
        "cannot tell": "CANNOT TELL with what can be looked at",
    }[advice.state]
    out = [f"{head}  (line {line.id}, {_count(len(session.seen), 'reading')})"]
    out += [f"    {seen.look.id} = {reading_words(seen)}" for seen in session.seen]
    for doubt in advice.doubts:
        out += wrapped(f"Doubtful: {doubt}", "  ")
    out.append("")
    shown = [each for each in found.classes if each.probability >= TOLD] or list(found.classes[:1])
    for rank, each in enumerate(shown, start=1):
        out.append(f"  {rank}  {percent(each.probability):>9}  {class_words(all_of, each.name)}")
        if each.name not in FIND_OUT_ELSEWHERE:
            out += hung(f"by {mechanism_words(all_of, each.name, found)}", " " * 18)
    rest = 1.0 - sum(each.probability for each in shown)
    if rest >= 0.005:
        out.append(f"     {percent(rest):>9}  all others")
    if advice.state == "found":
        out += ["", *wrapped(f"Do: {repair_words(all_of, found.first.name, line)}", "  ")]
        out += wrapped(AFTER, "  ")
    elif advice.state == "cannot tell":
        out += ["", *wrapped(CANNOT_TELL, "  ")]
        for each in shown:
            out += wrapped(f"{class_words(all_of, each.name)}: {repair_words(all_of, each.name, line)}", "    ")
    elif advice.step is not None:
        out += ["", *hung(f"Next: {step_words(advice.step, line)}", "  ", "        ")]
        out += hung(f"({set_up_words(advice.step.look)})", " " * 8)
        width = max((len(each.words) for each in advice.outlooks), default=0)
        for outlook in advice.outlooks:
            out.append(f"        {outlook.words:<{width}}  would show {outlook.shows}")
        if advice.why:
            out += hung(advice.why, " " * 8)
        if advice.other_steps:
            others = "; ".join(f"{look_words(s.look, line)} ({s.minutes:g} min)" for s in advice.other_steps)
            out += hung(f"Or: {others}", " " * 8, " " * 12)
        out += ["", *wrapped(CAUTION, "  ")]
    return "\n".join(out)


def step_words(step: Step, line: Line) -> str:
    """One step with its minutes."""
    return f"{look_words(step.look, line)}  [{step.look.id}, {step.minutes:g} min]"


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"
