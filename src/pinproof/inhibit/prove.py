"""All of it for one start circuit.

Answers: table, faults with tests, influence, and on request the forms side by side, with one verdict.
Units:   see `results`.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.inhibit.chains import StartCircuit, built
from pinproof.inhibit.compare import compare
from pinproof.inhibit.defeats import Progress, fault_effects
from pinproof.inhibit.influence import influence_of
from pinproof.inhibit.results import InhibitReport
from pinproof.inhibit.reveal import CAUTIONS, NOT_LOOKED_AT, most_volts, with_test
from pinproof.inhibit.table import truth_table
from pinproof.verdict import Verdict, worst


def prove(start: StartCircuit, forms: Sequence[str] = (), progress: Progress | None = None) -> InhibitReport:
    """The report of a start circuit; `forms`: also these, side by side; `progress` is told of each fault.
    `InhibitFault` if it cannot be judged.

    The verdict is a pass only if every cell of the table and the influence of command contacts pass, and no defeat but
    inherent ones is left.
    """
    circuit = built(start)
    table = truth_table(circuit)
    most_v = most_volts(circuit, table)
    faults = tuple(with_test(circuit, each, most_v) for each in fault_effects(circuit, table, progress))
    influence = influence_of(circuit, faults)
    left = [each for each in faults if each.defeat and not each.inherent]
    verdicts = [cell.verdict for row in table for cell in row.cells] + [influence.verdict]
    verdicts += [Verdict.FAIL if each.shown else Verdict.NOT_SHOWN for each in left]
    permitted = tuple(each for each in circuit.positions if each in circuit.permitted)
    return InhibitReport(
        circuit.form, circuit.coil, permitted, table, influence, faults, NOT_LOOKED_AT, CAUTIONS, circuit.assumed,
        compare(start, forms) if forms else None, worst(verdicts),
    )  # fmt: skip
