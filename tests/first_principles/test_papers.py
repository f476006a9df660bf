"""Papers that are written on by hand, and texts that say one thing once and one number everywhere.

The truck is an invented one with two coded lines, a harness, a start inhibit and a driveline.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from pinproof.chain.links import Chain, chain_of
from pinproof.cli.cmd_record import record_words
from pinproof.design import load
from pinproof.design.model import Truck
from pinproof.drawings.formboard import SMALL
from pinproof.drawings.plot import Plot
from pinproof.drawings.sheets import PAPERS, best_paper, key_room
from pinproof.examples import example_path
from pinproof.harness import lay_out
from pinproof.inhibit import prove as prove_start
from pinproof.inhibit.from_design import start_circuit
from pinproof.inhibit.words import influence_words
from pinproof.meter import bench_sheet
from pinproof.meter.instrument import starter
from pinproof.pack import blocks, pages
from pinproof.pack.bench_sheet import bench_blocks, bench_sheet_pdf
from pinproof.pack.blocks import Block
from pinproof.pack.flow import Cut
from pinproof.pack.formboard import formboard, tiles_of
from pinproof.pack.gears_page import gears_blocks
from pinproof.pack.order import bodies_of
from pinproof.proof import prove
from pinproof.proof.results import TruckProof
from pinproof.record import Entry
from pinproof.record.history import histories_of

FILE = Path(__file__).parent.parent / "data" / "saltlark.toml"
LEAST_MM = 8.0  # a row for handwriting, as wide-ruled paper: common practice, no source


@pytest.fixture(scope="module")
def truck() -> Truck:
    return load(FILE)


@pytest.fixture(scope="module")
def proof(truck: Truck) -> TruckProof:
    return prove(truck, samples=0)


@pytest.fixture(scope="module")
def chain(truck: Truck, proof: TruckProof) -> Chain:
    return chain_of(truck, proof)


def tables_of(body: list[Block]) -> list[Block]:
    return [each for each in body if each["kind"] == "table"]


def test_every_row_of_the_bench_sheet_can_be_written_into(truck: Truck, monkeypatch: pytest.MonkeyPatch) -> None:
    """The typesetter's own heights of the rows, in millimetres."""
    seen: list[tuple[Cut, float]] = []
    kept = pages.pieces_of

    def watched(cuts: list[Cut], heights_mm: list[float]) -> object:
        seen.extend(zip(cuts, heights_mm, strict=True))
        return kept(cuts, heights_mm)

    monkeypatch.setattr(pages, "pieces_of", watched)
    bench_sheet_pdf(bench_sheet(truck, starter()))
    rows = [(cut, height_mm) for cut, height_mm in seen if cut.kind == "row"]
    assert len(rows) > 20
    assert all("blank_mm" in cut.block["rows"][0][3] and height_mm >= LEAST_MM for cut, height_mm in rows)


def test_groups_of_one_row_share_a_head(truck: Truck) -> None:
    """Six pairs of probes with one row each are one table; each row says where the probes go."""
    sheet = bench_sheet(truck, starter())
    body = bench_blocks(sheet)
    for one, other in itertools.pairwise(body):
        both = one["kind"] == other["kind"] == "table"
        assert not both or len(one["rows"]) > 1 or len(other["rows"]) > 1
    listed = [each for each in tables_of(body) if each["caption"] == "Probes as each row says"]
    joined = max(listed, key=lambda each: len(each["rows"]))
    assert len(joined["rows"]) == 6
    told = [row[0]["below"][0][0][0] for row in joined["rows"]]
    assert all(each.startswith("Probes: cavity ") for each in told) and len(set(told)) == 6
    assert sum(len(each["rows"]) for each in tables_of(body)) == len(sheet.rows)
    before = [one for one, other in itertools.pairwise(body) if other["kind"] == "table"]
    assert all(one["leads"] for one in before if one["kind"] == "para"), "what is to be set up stays with its table"


def test_blanks_of_the_settings_sheet_fill_their_cell(truck: Truck) -> None:
    (settings,) = [each for each in tables_of(gears_blocks(truck, {})) if each["caption"] == "Settings"]
    entered = [row[1] for row in settings["rows"]]
    empty = [cell for cell in entered if "runs" not in cell]
    assert empty == [blocks.blank_cell()] * len(empty) and len(empty) > 3
    assert blocks.WRITE_MM >= LEAST_MM and "__" not in str(settings)


def test_names_on_the_cover_of_the_formboard_keep_off_the_runs(truck: Truck) -> None:
    """Neither labels over labels, nor a field's name on a run while its field has a free spot."""
    board = formboard(truck, lay_out(truck))
    grid, (key, *_) = tiles_of(board, "a4")
    for one, other in itertools.combinations(key.labels, 2):
        assert not one.overlaps(other, -0.1), (one, other)
    xs = [place.at_mm[0] for place in board.board.places]
    ys = [y for run in board.board.runs for _, y in run.line_mm]
    sheet, again = best_paper(board.plot, PAPERS["a4"], xs, ys)
    room, lines = key_room(again, sheet), Plot()
    for run in board.board.runs:
        lines.polyline(
            [((x - grid.left) * room.along, (y - grid.top) * room.upward) for x, y in run.line_mm], SMALL.sign
        )
    on_run = [field for field, box in room.names(again).items() if lines.shows(box)]
    moved = [field for field, box in room.names(again, lines).items() if lines.shows(box)]
    assert on_run and len(moved) < len(on_run)


@pytest.mark.parametrize("name", ["saltlark", "dunlin"])
def test_the_order_list_and_the_harness_ask_for_one_body(name: str) -> None:
    """Watts of each coding resistor's body: where the harness list says a number, the order list says the same."""
    truck = load(FILE if name == "saltlark" else example_path(name))
    bought = bodies_of(truck, prove(truck, samples=0))
    built = {each.resistor: each.rated_w for each in lay_out(truck).resistors}
    assert built and {path: bought[path] for path in built} == built


def test_what_lines_have_in_common_is_said_once(chain: Chain) -> None:
    """Six contacts of two lines, none with a material."""
    told = chain.link("switch").text
    assert told.count("Gold is made for that") == 1 and "Note on taps and lock: " in told
    assert all(f"{name} " in told for name in ("paddle_up", "paddle_down", "lever_manual", "arm", "lock_on"))
    assert told.count("The tightest is ") == 1 and "The tightest is paddle_up: it still works with 67 Ω" in told


def test_a_faults_effect_is_told_as_one_beside_a_pass(chain: Chain) -> None:
    wire = chain.link("wire")
    assert wire.verdict.name == "PASS" and "FALSE COMMAND" not in wire.text
    assert "without a fault. One fault would give a false command: if the ladder is chafed to ground" in wire.text
    assert "without a fault. One fault would lose commands: The coded wire is broken" in wire.text


def test_a_reading_has_its_time_as_log_proofs_have_it(truck: Truck) -> None:
    taken = Entry("taps/ohms/idle", "m", 102400.0, "ohm", "102.4k", "2026-11-30T00:04:24Z", "meter", 1.0, number=1)
    told = record_words(truck, [taken], histories_of([taken]))
    assert "  2026-11-30 00:04 UTC  102.4k" in told and "T00:04" not in told


def test_the_start_inhibit_says_what_is_shared_and_with_which_volts_a_test_is_made(truck: Truck) -> None:
    """15 V of battery over a ground at -0.1 V are 15.1 V, as the table says: 15.1² / 115 = 1.98 W."""
    report = prove_start(start_circuit(truck))
    assert max(cell.high_v for row in report.table for cell in row.cells) == pytest.approx(15.1, abs=0.05)
    tests = [each.test[1] for each in report.defeats if "resistor of 115 Ω" in each.test[1]]
    assert tests and all("(it gets up to 1.98 W)" in each for each in tests)
    assert "by more than battery and ground" in influence_words(report.influence)[0]
