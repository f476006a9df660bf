"""The engines agree with the independent checker on generated awkward trucks.

Three hundred here; ten thousand and more by command: ``python3 dev.py truth 10000``.
"""

from __future__ import annotations

import pytest

from tests.truth.agree import compare

BATCH = 25


@pytest.mark.parametrize("first", range(0, 300, BATCH))
def test_engines_agree_with_the_checker(first: int) -> None:
    """Spans to 1e-9, verdicts, margins, and drift budgets between the checker's grid points."""
    said = []
    for seed in range(first, first + BATCH):
        outcome = compare(seed, drifts=1)
        said += [f"seed {seed}: {each}" for each in outcome.disagreements]
    assert not said, "\n".join(said[:10])
