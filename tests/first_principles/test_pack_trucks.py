"""Drawings of generated awkward trucks: no label touches another, none leaves its drawing, none is wider than paper.

Sixty trucks here; more by command: ``python3 -m tests.first_principles.test_pack_trucks 1000``, or with
PINPROOF_DRAWINGS=1000 in the environment.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

import pytest

from pinproof.design import Truck, loads
from pinproof.drawings import Drawing, swatch
from pinproof.drawings.transit_picture import passage_of
from pinproof.pack.bench import bench_rows
from pinproof.pack.figures import line_figures
from pinproof.pack.parts import parts_of
from pinproof.proof import TruckProof, prove
from pinproof.proof.checks.transit import worst_dwell_s
from pinproof.wiring import line_view
from tests.first_principles.test_drawings import assert_sound
from tests.truth.generate import generate
from tests.truth.writer import write

WIDEST_MM = {"wide": 182.0, "narrow": 84.0}
BATCH = 10


def drawings_of(truck: Truck, proof: TruckProof) -> Iterator[tuple[str, Drawing]]:
    """Every drawing of a truck, in both layouts."""
    for number, line in enumerate(proof.lines, start=1):
        view = line_view(truck, line.line)
        for layout, widest_mm in WIDEST_MM.items():
            for each in line_figures(view, line, number, layout=layout):
                assert each.drawing.width_mm <= widest_mm + 1e-9
                yield f"{line.line} {each.name} {layout}", each.drawing
    for part in parts_of(truck):
        if part.ohm is not None:
            yield part.where, swatch(part.bands, part.code, part.value)


def look(seed: int) -> list[str]:
    """What is wrong with the drawings of one generated truck."""
    truck = loads(write(generate(seed)))
    proof = prove(truck, samples=0)
    said = []
    for name, drawing in drawings_of(truck, proof):
        try:
            assert_sound(drawing)
        except AssertionError as fault:
            said.append(f"seed {seed}, {name}: {fault}")
    return said + _transits(seed, truck, proof) + _bench(seed, truck, proof)


def _transits(seed: int, truck: Truck, proof: TruckProof) -> list[str]:
    """The time drawn inside a window is the one that the check found."""
    said = []
    for line in proof.lines:
        view = line_view(truck, line.line)
        for finding in line.findings:
            passage = passage_of(view, line, finding)
            if passage is None:
                continue
            before, after = passage.before, passage.after
            drawn_s = worst_dwell_s(
                (before.low, before.high), (after.low, after.high), passage.window.largest(), passage.tau_s
            )
            enter_s, leave_s = passage.inside_s()
            if not abs((leave_s - enter_s) - drawn_s) <= 1e-9 * max(drawn_s, 1e-12):
                said.append(f"seed {seed}: drawn {leave_s - enter_s}, bound over the spans {drawn_s}")
            moving_edges = any(window.by_substitution for window in truck.line(line.line).windows)
            if not moving_edges and drawn_s != pytest.approx(passage.settle_s, rel=1e-9):
                said.append(f"seed {seed}: drawn {drawn_s}, found {passage.settle_s}")
    return said


def _bench(seed: int, truck: Truck, proof: TruckProof) -> list[str]:
    """A bench figure as designed lies in its own range."""
    said = []
    for line in proof.lines:
        for row in bench_rows(line_view(truck, line.line)):
            slack = 1e-9 * (row.nominal_ohm if row.nominal_ohm < float("inf") else 0.0)
            if not row.low_ohm - slack <= row.nominal_ohm <= row.high_ohm + slack:
                said.append(f"seed {seed}: {row}")
    return said


@pytest.mark.parametrize("first", range(0, int(os.environ.get("PINPROOF_DRAWINGS", "60")), BATCH))
def test_drawings_of_generated_trucks(first: int) -> None:
    """Circuit, readings, drifts, transits and swatches, wide and narrow."""
    said = [each for seed in range(first, first + BATCH) for each in look(seed)]
    assert not said, "\n".join(said[:10])


def main(count: int) -> int:
    """Look at so many trucks; returns how many have something wrong."""
    wrong = 0
    for seed in range(count):
        said = look(seed)
        wrong += bool(said)
        for each in said[:3]:
            print(each[:400])
    print(f"{count} trucks, {wrong} with something wrong")
    return wrong


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000) else 0)
