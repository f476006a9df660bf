"""What surrounds the line: supply and temperature against what the proof assumed. Touches: nothing."""

from __future__ import annotations

import math

from pinproof.logs import limits
from pinproof.logs.checks.case import FAIL, OPEN, Case, judged, missing
from pinproof.logs.log_time import clock
from pinproof.logs.results import LogCheck, LogFinding
from pinproof.logs.seen import clear_runs


def supply(case: Case) -> LogCheck:
    """The supply stayed where the proof assumed it."""
    logs = case.having("supply")
    if not logs:
        return missing(case, "supply", "supply")
    run = case.settings.supply_v["run"]
    findings: list[LogFinding] = []
    seconds, low, high = 0.0, math.inf, -math.inf
    for seen in logs:
        whole = seen.tallies.get("supply")
        if whole is None or math.isnan(whole.lowest):
            continue
        seconds += whole.seconds
        running = seen.tallies.get("supply running")
        if running is not None and not math.isnan(running.low):
            low, high = min(low, running.low), max(high, running.high)
        for name, verdict in (("supply outside", FAIL), ("supply just outside", OPEN)):
            runs = seen.episodes.get(name)
            if runs is None or (verdict is OPEN and any(f.verdict is FAIL for f in findings)):
                continue
            runs = clear_runs(runs, seen)
            for first, last in zip(runs.first_s, runs.last_s, strict=True):
                if verdict is FAIL and last - first < limits.SUPPLY_S:
                    continue
                text = f"The supply was outside the proof's range from {clock(first)} to {clock(last)} "
                text += f"(run {run[0]:g} to {run[1]:g} V; seen {whole.lowest:.2f} to {whole.highest:.2f} V)."
                findings.append(LogFinding(verdict, "supply", text, seen.name, float(first), float(last)))
    seen_words = f"{low:.2f} to {high:.2f} V" if low <= high else "not while running"
    said = f"Supply with the engine running {seen_words}; assumed are {run[0]:g} to {run[1]:g} V."
    open_ = f"Only {seconds:.0f} s with a supply." if seconds < limits.SUPPLY_LEAST_S else ""
    return judged(
        "supply", findings, said, open_, enough=seconds >= limits.SUPPLY_LEAST_S,
        do="Write what was seen as measured, and prove again.",
        numbers={"low_v": low, "high_v": high, "seconds": seconds},
    )  # fmt: skip


def temperature(case: Case) -> LogCheck:
    """The coder was never hotter or colder than assumed."""
    low, high = case.settings.temperature_c
    logs = [seen for seen in case.seen if "coder_temperature" in seen.channels or "ambient" in seen.channels]
    if not logs:
        return missing(case, "temperature", "coder_temperature")
    findings: list[LogFinding] = []
    seconds, least, most = 0.0, math.inf, -math.inf
    for seen in logs:
        own = seen.tallies.get("coder_temperature")
        if own is not None and not math.isnan(own.lowest):
            seconds += own.seconds
            least, most = min(least, own.low), max(most, own.high)
        for role in ("coder_temperature", "ambient"):
            runs = seen.episodes.get(f"{role} outside")
            if runs is None:
                continue
            runs = clear_runs(runs, seen)
            for first, last in zip(runs.first_s, runs.last_s, strict=True):
                if last - first < limits.WARMER_S:
                    continue
                tally = seen.tallies[role]
                text = f"{role} was outside {low:g} to {high:g} °C from {clock(first)} to {clock(last)} "
                text += f"(seen {tally.lowest:.1f} to {tally.highest:.1f} °C)."
                findings.append(LogFinding(FAIL, role, text, seen.name, float(first), float(last)))
    only_air = not math.isfinite(least)
    said = f"Coder {least:.1f} to {most:.1f} °C; assumed are {low:g} to {high:g} °C." if not only_air else ""
    open_ = "Only the air outside was logged; under the bonnet it is warmer." if only_air else f"Only {seconds:.0f} s."
    return judged(
        "temperature", findings, said or open_, open_, enough=not only_air and seconds >= limits.TEMPERATURE_LEAST_S,
        do="Write what was seen as measured, and prove again." if findings else "Log the temperature at the coder.",
        numbers={"low_c": least, "high_c": most, "seconds": seconds},
    )  # fmt: skip
