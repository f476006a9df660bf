"""`coverage`: a contact whose command is never judged is not passed over in silence."""

from __future__ import annotations

from pinproof.design import loads
from pinproof.examples import example_path
from pinproof.proof import prove
from pinproof.verdict import Verdict


def test_a_command_that_cannot_happen_is_not_shown() -> None:
    """The tap is meant with nothing else, but can only be operated in the manual slot."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    cut = text.replace('with = ["lever_manual"]\nonly_when = ["lever_manual"]', 'only_when = ["lever_manual"]')
    assert cut != text
    proof = prove(loads(cut), samples=0)
    found = [each for each in proof.lines[0].findings if each.check == "coverage"]
    assert {each.subject for each in found} == {"lever_up", "lever_down"}
    assert proof.verdict in (Verdict.NOT_SHOWN, Verdict.FAIL)


def test_a_line_that_is_covered_says_nothing() -> None:
    """No finding where every command is judged."""
    proof = prove(loads(example_path("sandpiper").read_text(encoding="utf-8")), samples=0)
    assert not [each for each in proof.lines[0].findings if each.check == "coverage"]
