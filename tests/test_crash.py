"""Nothing committed is lost and no half file stands, whatever dies. Large counts: `python3 dev.py crash 1000`."""

from __future__ import annotations

import os

import pytest

from tests.crash import full, killed

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills forked writers; this system cannot fork")


@pytest.mark.parametrize("kind", killed.KINDS)
def test_killed_at_random_instants(kind: str) -> None:
    """Forty kills of each kind, most of them inside a write."""
    count = killed.series(kind, 40, seed=7)
    assert not count.lost, "\n".join(count.lost[:10])
    assert count.kills == 40
    assert count.inside >= 10, str(count)
    assert count.writes >= 5, str(count)


def test_two_programs_save_one_design_file() -> None:
    """Each save that was told to succeed is in the file: none was overwritten unseen."""
    count = killed.two_at_once(60)
    assert not count.lost, count.lost
    assert count.writes == 120


def test_full_disk_and_a_folder_that_may_only_be_read() -> None:
    """Refused with a reason; what was there stays whole, and nothing is left lying about."""
    try:
        found = full.full_disk(40)
    except OSError as reason:
        pytest.skip(str(reason))
    for count in found:
        assert not count.lost, "\n".join(count.lost[:10])
        assert count.writes >= 5, full.words(count)
        assert count.kills >= 5, full.words(count)
