"""What is said about the clock of a log.

Answers: the findings as sentences, each with what was done.
Units:   seconds.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pinproof.logs.log_time import clock
from pinproof.logs.recording import Finding
from pinproof.logs.steps import Steps


def sentences(
    steps: Steps, notes: Mapping[str, tuple[int, float, float]], gaps: Sequence[tuple[float, float]], gap_count: int,
    gap_total_s: float, *, twice: bool,
) -> list[Finding]:  # fmt: skip
    """Findings of one clock. `notes` has for each kind how often, where first, and the greatest extent in seconds."""
    found = []
    period_s, jitter_s = steps.overall()
    if gap_count:
        start_s, end_s = max(gaps, key=lambda each: each[1] - each[0])
        text = (
            f"{_times(gap_count, 'gap')}, together {gap_total_s:.3g} s; the longest seen is {end_s - start_s:.3g} s, "
            f"at {clock(start_s)}. What happened there is not known."
        )
        found.append(Finding("gap", text, gap_count, gaps[0][0]))
    for kind, (count, first_s, most_s) in notes.items():
        text, repair = _said(kind, count, first_s, most_s, period_s)
        if kind == "clock set back" and twice:
            text += " The values there are those of the beginning: is a part in the file twice? It counts twice."
        found.append(Finding(kind.partition(",")[0], text, count, first_s, repair))
    if not steps.regular and steps.periods:
        text = (
            f"The rows are not regular: 90 % of the steps lie within ±{jitter_s * 1e3:.3g} ms around "
            f"{period_s * 1e3:.3g} ms."
        )
        found.append(Finding("irregular rows", text))
    return found


def _said(kind: str, count: int, first_s: float, most_s: float, period_s: float) -> tuple[str, str]:
    at = f"the first at {clock(first_s)}"
    return {
        "missing rows": (f"{_times(count, 'row')} missing, one to three in a place; {at}.", ""),
        "duplicate rows": (f"{_times(count, 'row')} stand twice, with the same stamp and values; {at}.", "left out"),
        "same stamp": (
            f"{_times(count, 'row')} have the stamp of the row before and other values; {at}.",
            "the later ones left out",
        ),
        "same stamp, joined": (
            f"{_times(count, 'row')} have the stamp of the row before and fill its empty cells; {at}.", "joined"
        ),
        "coarse stamps": (
            f"The clock shows steps of {most_s:.3g} s, and several rows share one. A time is known only to within "
            f"{most_s:.3g} s.", "rows spread evenly between the steps",
        ),
        "odd stamps": (
            f"{_times(count, 'row')} have a stamp far ahead of the rows around them; {at}.", "left out"
        ),
        "late rows": (f"{_times(count, 'row')} come late, by up to {most_s:.3g} s; {at}.", "put in order"),
        "clock set back": (
            f"The clock goes back {_times(count, 'time')}, by up to {most_s:.6g} s; {at}. How long it really was there "
            "is not known.", f"the rest moved to {period_s * 1e3:.3g} ms after the last row, as after a gap",
        ),
        "clock wrapped": (f"The clock begins anew {_times(count, 'time')} after {most_s:.8g} s; {at}.", "carried on"),
        "clock jump": (
            f"The clock jumps ahead {_times(count, 'time')}, by up to {most_s:.6g} s; {at}. Data are missing there, or "
            "the clock was set.", "",
        ),
    }[kind]  # fmt: skip


def _times(count: int, what: str) -> str:
    return f"1 {what}" if count == 1 else f"{count} {what}s"
