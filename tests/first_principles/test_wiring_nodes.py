"""A contact may have any name: the form's own nodes are kept apart from it."""

from __future__ import annotations

import pytest

from pinproof.design import loads
from pinproof.examples import example_path
from pinproof.proof import prove


@pytest.mark.parametrize("name", ["manual", "far", "source"])
@pytest.mark.parametrize("contact", ["lever_manual", "lever_up", "wheel_down"])
def test_a_contact_named_like_a_node_proves_the_same(name: str, contact: str) -> None:
    """Renaming a contact changes no reading, on a line whose form has nodes of these names."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    renamed = text.replace(f'"{contact}"', f'"{name}"')
    before, after = (prove(loads(each), samples=0, drift=False).lines[0] for each in (text, renamed))
    was, now = (
        [end for row in proof.situations for end in (row.low, row.high, row.nominal)] for proof in (before, after)
    )
    assert now == pytest.approx(was, abs=1e-12)
    assert after.verdict is before.verdict
