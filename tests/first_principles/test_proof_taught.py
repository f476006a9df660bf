"""A controller that is yet to be taught: what each meaning reads, where its edges would go, and where none would do.

The trucks are invented for these tests.
"""

from __future__ import annotations

import pytest

from pinproof.design import Truck
from pinproof.observe import spaces_of
from pinproof.observe.space import ReadingSpace
from pinproof.proof import prove_line
from pinproof.proof.taught import judge_taught, meaning_hulls, taught_windows
from pinproof.verdict import Verdict
from pinproof.wiring import line_view
from tests.first_principles.test_proof_rests import beside
from tests.first_principles.test_proof_shared import BUTTON, truck_of

FREE = ('leak_to_supply = "none"\n', 'leak_to_supply = "none"\nwindows = "free"\n')
SECOND = BUTTON.split("\n", 2)[2].replace('"raise"', '"lower"').replace('"up"', '"down"').replace('"1.5k"', '"390 ohm"')


def taught_truck(*changes: tuple[str, str]) -> Truck:
    """Two buttons, nothing taught yet, and a key state in which the supply sags."""
    return truck_of(
        FREE, (BUTTON, BUTTON + SECOND),
        ('tolerance = "0 %"\ntempco', 'tolerance = "1 %"\ntempco'), ('tolerance = "20 %"', 'tolerance = "2 %"'),
        ('open = "none"', 'open = "200 kohm"'), ('error = "0 %"', 'error = "1 %"'), *changes, windows="",
    )  # fmt: skip


def test_what_each_meaning_reads_before_it_is_taught() -> None:
    """The buttons alone and idle; both pressed is nobody's meaning. Open contacts leak from 200 kohm on."""
    truck = taught_truck()
    view = line_view(truck, "taps")
    (space,) = spaces_of(truck, view.input)
    hulls = meaning_hulls(view, space)

    def read(coder: float, pull: float) -> float:
        return coder / (coder + pull)

    up, down = (1485.0, 1515.0), (390.0 * 0.99, 390.0 * 1.01)
    by_hand = {
        "automatic": (read(beside(200e3 + up[0], 200e3 + down[0]), 1020.0), 1.0),
        "up": (read(beside(up[0], 200e3 + down[0]), 1020.0), read(up[1], 980.0)),
        "down": (read(beside(down[0], 200e3 + up[0]), 1020.0), read(down[1], 980.0)),
    }
    assert hulls == {meaning: pytest.approx(ends) for meaning, ends in by_hand.items()}
    (judged,) = judge_taught(view)
    low, high = by_hand["down"][1], by_hand["up"][0]
    edge = judged.windows[0].upper
    assert edge is not None
    assert (edge.low, edge.nominal, edge.high) == pytest.approx(
        ((low + high) / 2.0 - 0.01, (low + high) / 2.0, (low + high) / 2.0 + 0.01)
    )
    alone = {row.operated: row for row in judged.rows}
    assert alone["raise",].verdict is alone["lower",].verdict is Verdict.WOULD_HOLD
    assert alone["lower",].margin == pytest.approx((edge.low - low) / (edge.nominal / 2.0))


def test_meanings_that_overlap_fail_whatever_is_taught() -> None:
    """Two buttons 10 ohm apart, of 1 %: both fail, and say why; idle holds, and both pressed stay as they are."""
    truck = taught_truck(('"390 ohm"', '"1.51k"'))
    proof = prove_line(truck, truck.line("taps"), samples=0)
    rows = {row.operated: row for row in proof.situations}
    for name in ("raise", "lower"):
        assert rows[name,].verdict is Verdict.FAIL
        assert rows[name,].why in ("up and down overlap: no edge can part them",
                                   "down and up overlap: no edge can part them")  # fmt: skip
        assert rows[name,].margin < 0.0
    assert rows[()].verdict is Verdict.WOULD_HOLD and rows[()].why == ""
    assert rows["raise", "lower"].why == ""
    assert proof.verdict is Verdict.FAIL


def test_edges_to_teach_in_volts_are_as_far_off_as_the_reading_errs() -> None:
    """1 % of 5 V. Overlapping ones stand in the order of their middles, and touching edges stay apart."""
    volts = ReadingSpace("volts", None, 1.0, 5.0, "V")
    low, high = taught_windows({"automatic": (4.0, 4.5), "up": (1.0, 2.0)}, "automatic", 0.01, volts)
    assert low.upper is not None and low.upper == high.lower
    assert (low.upper.low, low.upper.nominal, low.upper.high) == pytest.approx((2.95, 3.0, 3.05))
    assert (low.nominal_half_width, high.nominal_half_width) == pytest.approx((1.5, 1.0))
    nested = taught_windows({"up": (0.5, 4.5), "down": (1.5, 2.0)}, "automatic", 0.01, volts)
    assert [each.meaning for each in nested] == ["down", "up"]
    wide = taught_windows({"up": (0.5, 2.5), "down": (1.0, 1.5)}, "automatic", 0.01, volts)
    assert [each.meaning for each in wide] == ["down", "up"]
    early = taught_windows({"up": (1.8, 2.2), "down": (0.0, 3.0)}, "automatic", 0.01, volts)
    assert [each.meaning for each in early] == ["down", "up"]
    (alone,) = taught_windows({"up": (0.5, 4.5)}, "automatic", 0.01, volts)
    assert (alone.lower, alone.upper, alone.nominal_half_width, alone.kind) == (None, None, 2.5, "command")
    same = taught_windows({"a": (1.0, 3.0), "b": (1.0, 3.0), "c": (1.0, 3.0)}, "a", 0.0, volts)
    assert same[1].lower is not None and same[1].upper is not None
    assert 0.0 < same[1].upper.nominal - same[1].lower.nominal < 1e-6


def test_what_is_read_while_cranking_is_not_taught() -> None:
    """Pulled up to the battery and read in volts, all sags with it: edges are placed by run and after_run alone."""
    volts = (('compares = "reference"', 'compares = "volts"\nfull_scale = "16 V"\npull_up_to = "battery"'),)
    run = 'run = { low = "10 V", high = "15 V", value = "12.5 V" }\n'
    hulls = []
    for more in ("", 'crank = { low = "6 V", high = "9 V" }\n', 'after_run = { low = "8 V", high = "12 V" }\n'):
        truck = taught_truck(*volts, (run, run + more))
        (space,) = spaces_of(truck, truck.inputs[0])
        hulls.append(meaning_hulls(line_view(truck, "taps"), space))
    alone, cranking, after = hulls
    assert cranking == alone
    for meaning, (low, high) in alone.items():
        assert after[meaning] == pytest.approx((low * 8.0 / 10.0, high)), meaning
