"""The proof of a line and of a whole truck.

Answers: does every situation read as it may, in every key state; what does that rest on; what else is to be known.
Touches: nothing. No file, no printing: a `Truck` in, a `TruckProof` out.
Beside:  `judging` is the core, `budgets` the drifts, the checks have a module each.
"""

from __future__ import annotations

from pinproof.design.model import Line, Truck
from pinproof.proof import budgets, checks, rests, taught, unknown
from pinproof.proof.judging import Judged, judge_line, unproven_reason
from pinproof.proof.results import Finding, LineProof, SituationProof, TruckProof
from pinproof.verdict import Verdict, worst
from pinproof.wiring import LineView, Physical, line_view, physical


def prove(truck: Truck, *, samples: int = 20_000, seed: int = 1, drift: bool = True) -> TruckProof:
    """Prove every line of a truck.

    Parameters
    ----------
    truck : Truck
    samples : int
        Random trucks for the sampled yield; 0 leaves it out.
    seed : int
        Of the sampled yield.
    drift : bool
        False leaves out drift budgets, weakest links and what the verdict rests on: quicker, for searches.

    Examples
    --------
    >>> from pinproof.design import load
    >>> prove(load("truck.toml")).verdict  # doctest: +SKIP
    <Verdict.PASS: 'pass'>
    """
    netlist = physical(truck)
    lines = tuple(prove_line(truck, line, netlist, samples=samples, seed=seed, drift=drift) for line in truck.lines)
    verdict = worst(line.verdict for line in lines) if lines else Verdict.NOT_SHOWN
    return TruckProof(truck.id, truck.name, truck.text_hash, verdict, lines, truck.warnings)


def prove_line(
    truck: Truck,
    line: Line,
    netlist: Physical | None = None,
    *,
    samples: int = 20_000,
    seed: int = 1,
    drift: bool = True,
) -> LineProof:
    """Prove one line of a truck."""
    view = line_view(truck, line, netlist)
    reason = unproven_reason(truck, line, view)
    if reason:
        findings = unknown.what_can_be_said(view) if drift else ()
        return LineProof(line.id, line.input, line.form, Verdict.NOT_SHOWN, (), {}, findings=findings, reason=reason)
    judged = taught.judge_taught(view) if line.free else tuple(judge_line(view))
    rows: list[SituationProof] = []
    for state in judged:
        rows += budgets.with_budgets(view, state) if drift else state.rows
    findings = checks.run_all(view, judged, rows, samples=samples, seed=seed) if drift else ()
    verdict = worst([*(row.verdict for row in rows), *_that_decide(findings)])
    return LineProof(
        line.id,
        line.input,
        line.form,
        verdict,
        tuple(rows),
        {state.space.name: state.windows for state in judged},
        findings=findings,
        rests_on=rests.rests_on(view, rows, judged) if drift else (),
        reading_error={state.space.name: view.input.error.value * state.space.full_scale for state in judged},
    )


def _that_decide(findings: tuple[Finding, ...]) -> list[Verdict]:
    return [finding.verdict for finding in findings if finding.verdict is not None]


def states_of(view: LineView) -> tuple[Judged, ...]:
    """Every judged state of a line, for other engines."""
    return taught.judge_taught(view) if view.line.free else tuple(judge_line(view))
