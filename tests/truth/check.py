"""The checker's result for a whole truck, as plain dicts and lists."""

from __future__ import annotations

from typing import Any

from tests.truth.judge import WORST_FIRST, all_spaces, forbidden_windows, look, reading_windows, situations
from tests.truth.truck import Line, Truck


def worst(verdicts: list[str]) -> str:
    return min(verdicts, key=WORST_FIRST.index, default="pass")


def judge_line(truck: Truck, line: Line) -> dict[str, Any]:
    rows: list[dict[str, Any]] = []
    for space in all_spaces(truck, line):
        wins = reading_windows(truck, line, space)
        for operated in situations(truck, line):
            for key_state in truck.supply:
                found, need, result = look(truck, line, operated, key_state, space, wins)
                rows.append(
                    {
                        "operated": sorted(operated),
                        "key_state": key_state,
                        "space": space.name,
                        "full_scale": float(space.full),
                        "rule": need.rule,
                        "inside": need.inside,
                        "allowed": sorted(need.allowed),
                        "forbidden": []
                        if need.inside
                        else sorted({w.meaning for w in forbidden_windows(wins, need, line.idle)}),
                        "low": found.reading.low,
                        "high": found.reading.high,
                        "low_outer": found.reading.low_outer,
                        "high_outer": found.reading.high_outer,
                        "exact": found.exact,
                        "inner": not found.exact,
                        "floating": found.floating,
                        "shorted": found.shorted,
                        "verdict": result.verdict,
                        "sure": result.sure,
                        "tie": result.tie,
                        "margin": result.margin,
                        "margin_outer": result.margin_outer,
                        "margin_exact": found.exact and not found.against,
                    }
                )
    combined: dict[tuple[tuple[str, ...], str], str] = {}
    for row in rows:
        key = (tuple(row["operated"]), row["key_state"])
        combined[key] = worst([combined.get(key, "pass"), row["verdict"]])
    return {
        "verdict": worst([r["verdict"] for r in rows]),
        "rows": rows,
        "by_situation": [{"operated": list(k[0]), "key_state": k[1], "verdict": v} for k, v in combined.items()],
    }


def judge_truck(truck: Truck) -> dict[str, Any]:
    """Verdict of the truck and of each line; per line one row per situation, key state and reading space.

    A row: `operated` (sorted ids), `key_state`, `space` ("reference", "battery", "volts"), `allowed` (sorted, maybe
    with "invalid"), `inside` (must be inside one allowed window; else clear of `forbidden`), `low`/`high` attained
    extremes of the clipped reading, `low_outer`/`high_outer` rigorous ones (the same when `exact`), `verdict`, `margin`
    (attained) and `margin_outer` (rigorous; the true margin lies between, they are the same when `margin_exact`),
    `sure` (the attained and the rigorous bounds give the same verdict), `tie` (a comparison is within 1e-9 of zero).
    """
    lines = {line.id: judge_line(truck, line) for line in truck.lines}
    return {"id": truck.id, "verdict": worst([x["verdict"] for x in lines.values()]), "lines": lines}
