"""The proof: does every situation read what it may, at worst, and what does that rest on.

Answers: spans, verdicts, margins, drift budgets, weakest links, and the checks beside the windows.
Touches: nothing. No file, no printing: a `Truck` in, frozen results out.
Must not: choose values (that is `pinproof.choose`, which calls this room) or draw.
"""

from pinproof.proof.prove import prove, prove_line
from pinproof.proof.results import (
    DriftBudget,
    Finding,
    LineProof,
    RestsOn,
    SituationProof,
    TruckProof,
    as_json,
    margin_percent,
    resting_words,
)

__all__ = [
    "DriftBudget",
    "Finding",
    "LineProof",
    "RestsOn",
    "SituationProof",
    "TruckProof",
    "as_json",
    "margin_percent",
    "prove",
    "prove_line",
    "resting_words",
]
