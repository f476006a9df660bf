"""The formboard: true lengths, nothing crosses, and marks on paper that are as far apart as on the board.

Distances are measured on the PDF itself: its content streams are read (tests/pdf_marks.py), the sheets are laid
together by their crosses alone, and rings of places are compared with the sum of the runs between them.
"""

from __future__ import annotations

import itertools
import math
import random
import subprocess
from datetime import date
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

from pinproof.design import Truck, loads
from pinproof.drawings.formboard import FULL
from pinproof.drawings.plot import Box
from pinproof.drawings.sheets import CROSS_MM, PAPERS, small_map
from pinproof.drawings.svg import Canvas
from pinproof.examples import example_path
from pinproof.harness import Harness, lay_out
from pinproof.harness.board import board_of
from pinproof.harness.formboard import Spacing, crossings, cut_line, length_mm, spread_out
from pinproof.pack.formboard import Formboard, formboard, formboard_files, overview, tiles_of
from tests.pdf_marks import Page, pages_of

from .harness_trucks import trunk_truck
from .test_harness_layout import POWER

Runs = list[tuple[int, int, int]]


def random_tree(seed: int, most: int = 60) -> tuple[int, Runs]:
    """Trunks, stars, combs and bushes; lengths from 1 mm to 3 m."""
    rng = random.Random(seed)
    places = rng.randint(2, most)
    kind = rng.choice(["bush", "comb", "star", "near"])
    runs = []
    for k in range(1, places):
        before = {
            "bush": rng.randrange(k), "comb": max(0, k - rng.randint(1, 3)),
            "star": rng.choice([0, 0, 0, rng.randrange(k)]), "near": rng.randrange(max(0, k - 8), k),
        }[kind]  # fmt: skip
        runs.append((before, k, rng.choice([1, 5, 30, 80, 200, rng.randint(1, 3000)])))
    names = list(range(places))
    rng.shuffle(names)
    return places, [(names[a], names[b], mm) if rng.random() < 0.5 else (names[b], names[a], mm) for a, b, mm in runs]


@pytest.mark.parametrize("block", range(5))
def test_every_run_keeps_its_length_and_none_crosses(block: int) -> None:
    """Trees of up to 60 places: lengths to a millionth of a millimetre, runs meet in their places only."""
    for seed in range(60 * block, 60 * block + 60):
        places, runs = random_tree(seed)
        spread = spread_out(places, runs)
        for (u, v, mm), line in zip(runs, spread.ways_mm, strict=True):
            assert length_mm(line) == pytest.approx(mm, abs=1e-6)
            assert math.dist(line[0], spread.at_mm[u]) < 1e-6 and math.dist(line[-1], spread.at_mm[v]) < 1e-6
        assert crossings(spread.ways_mm, [(u, v) for u, v, _ in runs]) == [], f"seed {seed}"


def test_the_check_for_crossings_finds_them() -> None:
    """A cross, a touch in the middle and an overlap are found; lines that share a place are not."""
    a, b = [(0.0, 0.0), (10.0, 0.0)], [(5.0, -5.0), (5.0, 5.0)]
    assert crossings([a, b], [(0, 1), (2, 3)]) == [(0, 1)]
    assert crossings([a, [(5.0, 0.0), (5.0, 9.0)]], [(0, 1), (2, 3)]) == [(0, 1)]
    assert crossings([a, [(10.0, 0.0), (4.0, 0.0)]], [(0, 1), (1, 2)]) == [(0, 1)]
    assert crossings([a, [(10.0, 0.0), (10.0, 9.0)]], [(0, 1), (1, 2)]) == []
    assert crossings([a, [(0.0, 1.0), (10.0, 1.0)]], [(0, 1), (2, 3)]) == []


def test_a_board_of_three_hundred_runs() -> None:
    rng = random.Random(3)
    runs = [(rng.randrange(max(0, k - 12), k), k, rng.randint(50, 1500)) for k in range(1, 301)]
    spread = spread_out(301, runs)
    assert crossings(spread.ways_mm, [(u, v) for u, v, _ in runs]) == []


def test_trunk_is_the_longest_way() -> None:
    """Against a graph library: the trunk's runs are as long as the tree's diameter, and the board is no longer."""
    for seed in range(40):
        places, runs = random_tree(seed, 25)
        spread = spread_out(places, runs)
        graph = nx.Graph()
        graph.add_weighted_edges_from(runs)
        far = {a: nx.single_source_dijkstra_path_length(graph, a) for a in graph}
        longest = max(max(each.values()) for each in far.values())
        assert sum(runs[run][2] for run in spread.trunk) == longest
        xs = [x for line in spread.ways_mm for x, _ in line]
        assert max(xs) - min(xs) <= longest + 16.0 * places


def test_refuses_what_is_no_tree() -> None:
    with pytest.raises(ValueError, match="ring"):
        spread_out(3, [(0, 1, 5), (1, 2, 5), (2, 0, 5)])
    with pytest.raises(ValueError, match="longer than 0"):
        spread_out(2, [(0, 1, 0)])


def test_pieces_stand_apart() -> None:
    spread = spread_out(4, [(0, 1, 300), (2, 3, 400)], Spacing(piece_mm=120.0))
    assert spread.piece == (0, 0, 1, 1)
    assert spread.at_mm[2][1] - spread.at_mm[0][1] == pytest.approx(120.0)


def test_cut_line() -> None:
    line = [(0.0, 0.0), (30.0, 40.0), (130.0, 40.0)]
    assert cut_line(line, 25.0, 75.0) == ((15.0, 20.0), (30.0, 40.0), (55.0, 40.0))


def texts() -> dict[str, str]:
    return {
        "dunlin": example_path("dunlin").read_text(encoding="utf-8"),
        "40 wires": trunk_truck(40),
        "120 wires": trunk_truck(120),
        "300 wires": trunk_truck(300),
    }


@cache
def laid(name: str) -> tuple[Truck, Harness]:
    """The truck of this name and its harness."""
    truck = loads(texts()[name])
    return truck, lay_out(truck)


@cache
def made_of(name: str) -> Formboard:
    return formboard(*laid(name))


@cache
def files_of(name: str) -> dict[str, bytes]:
    return formboard_files(made_of(name))


@pytest.mark.parametrize("name", ["dunlin", "40 wires", "300 wires"])
def test_board_carries_the_whole_harness(name: str) -> None:
    """Every run at its whole millimetres, every wire's ends, each splice where the list says, all ties and supports."""
    truck, harness = laid(name)
    board = board_of(truck, harness)
    bundles = {one.run: one for one in harness.runs}
    assert {run.run for run in board.runs} == {one.run for one in harness.runs if one.wires}
    for run in board.runs:
        assert run.length_mm == bundles[run.run].length_mm
        assert length_mm(run.line_mm) == pytest.approx(run.length_mm, abs=1e-6)
    assert crossings([run.line_mm for run in board.runs], [
        tuple([one.place for one in board.places].index(each) for each in run.between) for run in board.runs  # type: ignore[misc]
    ]) == []  # fmt: skip
    ends = [(place.place, wire) for place in board.places for unit in place.units for _, wire, _ in unit.ends]
    told = [(end.place, wire.id) for wire in harness.wires for end in (wire.a, wire.b) if end.side is not None]
    assert sorted(ends) == sorted(told)
    lines = {run.run: run for run in board.runs}
    for one, splice in zip(board.splices, harness.splices, strict=True):
        run = lines[splice.run]
        first = next(place.at_mm for place in board.places if place.place == splice.from_place)
        line = run.line_mm if math.dist(run.line_mm[0], first) < 1e-6 else run.line_mm[::-1]
        assert math.dist(cut_line(line, 0.0, splice.at_mm)[-1], one.at_mm) < 1e-6
    assert len(board.ties) == sum(bundles[run.run].ties for run in board.runs)
    assert len(board.supports) == sum(bundles[run.run].supports for run in board.runs)


def laid_together(pages: list[Page], names: list[tuple[int, int]]) -> dict[tuple[int, int], tuple[float, float]]:
    """Where each sheet lies if its crosses cover those of its neighbours: corner of the first sheet is 0, 0."""
    corners: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for name, page in zip(names, pages, strict=True):
        crosses = sorted(page.crosses(CROSS_MM), key=lambda at: (at[1], at[0]))
        assert len(crosses) == 4, f"sheet {name} has {len(crosses)} crosses"
        corners[name] = [*sorted(crosses[:2]), *sorted(crosses[2:])]
    at = {names[0]: (0.0, 0.0)}
    todo = [names[0]]
    # upper left, upper right, lower left, lower right; my corners and the neighbour's that cover them
    meets = {(0, 1): ((1, 0), (3, 2)), (0, -1): ((0, 1), (2, 3)), (1, 0): ((2, 0), (3, 1)), (-1, 0): ((0, 2), (1, 3))}
    while todo:
        row, column = todo.pop()
        for (down, right), pairs in meets.items():
            other = (row + down, column + right)
            if other in corners and other not in at:
                x0, y0 = at[row, column]
                mine = [corners[row, column][k] for k, _ in pairs]
                theirs = [corners[other][k] for _, k in pairs]
                at[other] = (
                    x0 + sum(a[0] - b[0] for a, b in zip(mine, theirs, strict=True)) / 2,
                    y0 + sum(a[1] - b[1] for a, b in zip(mine, theirs, strict=True)) / 2,
                )
                todo.append(other)
    return at


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", ["dunlin", "120 wires"])
def test_marks_on_sheets_far_apart_are_true(name: str, paper: str) -> None:
    """Rings of places on sheets that do not touch: as far apart as the board says, within 0.5 mm per metre."""
    made, files = made_of(name), files_of(name)
    grid, drawings = tiles_of(made, paper)
    key, *pages = pages_of(files[f"formboard-{paper}.pdf"])
    assert len(pages) == len(grid.fields) == len(drawings) - 1
    sizes = {(sheet.wide_mm, sheet.high_mm) for sheet in PAPERS[paper]}
    assert any(abs(key.wide_mm - w) < 0.01 and abs(key.high_mm - h) < 0.01 for w, h in sizes)
    at = laid_together(pages, list(grid.fields))
    seen: dict[str, tuple[tuple[int, int], tuple[float, float]]] = {}
    for field, page in zip(grid.fields, pages, strict=True):
        box = grid.box(field)
        inside = {
            place.place: place.at_mm for place in made.board.places
            if place.runs != 1 and box.left <= place.at_mm[0] < box.right and box.top <= place.at_mm[1] < box.bottom
        }  # fmt: skip
        rings = page.rings(0.75 * FULL.sign)
        crosses = page.crosses(CROSS_MM)
        corner = (min(x for x, _ in crosses), min(y for _, y in crosses))
        for place, truth in inside.items():
            near = [
                (x + at[field][0], y + at[field][1]) for x, y in rings
                if math.dist((x - corner[0], y - corner[1]), (truth[0] - box.left, truth[1] - box.top)) < 1.0
            ]  # fmt: skip
            assert near, f"{place} has no ring on sheet {field}"
            seen[place] = (field, near[0])
    truth = {place.place: place.at_mm for place in made.board.places}
    checked = 0
    for (one, (field, a)), (other, (far, b)) in itertools.combinations(seen.items(), 2):
        if max(abs(field[0] - far[0]), abs(field[1] - far[1])) < 2:
            continue
        right = math.dist(truth[one], truth[other])
        assert abs(math.dist(a, b) - right) <= 0.5 * right / 1000.0, (one, other)
        checked += 1
    assert checked >= 3


def test_places_along_the_trunk_are_as_far_apart_as_their_runs() -> None:
    """On the one sheet: from ring to ring it is the sum of the runs between, whole millimetres, in the file's words."""
    made = made_of("dunlin")
    places = {place.place: place for place in made.board.places}
    trunk = [run for run in made.board.runs if all(places[each].at_mm[1] == 0.0 for each in run.between)]
    assert len(trunk) > 4
    for run in trunk:
        a, b = (places[each].at_mm for each in run.between)
        assert math.dist(a, b) == pytest.approx(run.length_mm, abs=1e-6)
    pages = pages_of(files_of("dunlin")["formboard-one-sheet.pdf"])
    assert len(pages) == 1
    assert pages[0].wide_mm < 5080.0  # 200 inches: more is cut off by common viewers
    stretches = [path for path in pages[0].paths if len(path.points) == 2 and path.paint == "S"]
    lengths = [math.dist(*path.points) for path in stretches]
    for run in trunk:
        assert min(abs(each - run.length_mm) for each in lengths) < 0.0005 * run.length_mm


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_rulers_are_a_hundred_millimetres(paper: str) -> None:
    """Both ways on every sheet, and three inches."""
    pages = pages_of(files_of("dunlin")[f"formboard-{paper}.pdf"])
    for page in pages[1:]:
        level = [abs(p.points[1][0] - p.points[0][0]) for p in page.paths if len(p.points) == 2 and not p.curved]
        upright = [abs(p.points[1][1] - p.points[0][1]) for p in page.paths if len(p.points) == 2 and not p.curved]
        assert min(abs(each - 100.0) for each in level) < 1e-3
        assert min(abs(each - 100.0) for each in upright) < 1e-3
        assert min(abs(each - 76.2) for each in level) < 1e-3


def test_the_ruler_is_right_when_it_is_rendered(tmp_path: Path, pdftoppm_path: str) -> None:
    """254 dots per inch are ten to the millimetre: the long dark row below the field is 1000 dots."""
    (tmp_path / "a4.pdf").write_bytes(files_of("dunlin")["formboard-a4.pdf"])
    subprocess.run(
        [pdftoppm_path, "-r", "254", "-gray", "-f", "2", "-l", "2", str(tmp_path / "a4.pdf"), str(tmp_path / "page")],
        check=True, timeout=60,
    )  # fmt: skip
    raw = next(tmp_path.glob("page*.pgm")).read_bytes()
    _, size, _, body = raw.split(b"\n", 3)
    wide, high = (int(each) for each in size.split())
    found = set()
    for row in range(high):
        line = body[row * wide : (row + 1) * wide]
        runs = [len(list(group)) for dark, group in itertools.groupby(line, key=lambda each: each < 128) if dark]
        found |= set(runs)
    assert any(abs(each - 1000) <= 3 for each in found), sorted(found)[-5:]
    assert any(abs(each - 762) <= 3 for each in found), sorted(found)[-5:]


def test_sheets_that_touch_share_letters() -> None:
    """Each shared edge has letters of its own, on both sheets and on no third."""
    grid, drawings = tiles_of(made_of("dunlin"), "a4")
    edges = grid.edges
    assert len(set(edges.values())) == len(edges) >= len(grid.fields) - 1
    held = {
        field: [label.text for label in drawing.labels]
        for field, drawing in zip(grid.fields, drawings[1:], strict=True)
    }
    for pair, letters in edges.items():
        assert [field for field, words in held.items() if letters in words] == sorted(pair)


def test_same_bytes_and_date() -> None:
    truck, harness = laid("dunlin")
    one = formboard_files(formboard(truck, harness, date(2026, 1, 2)), date(2026, 1, 2))
    other = formboard_files(formboard(truck, lay_out(truck), date(2026, 1, 2)), date(2026, 1, 2))
    assert one == other
    assert set(one) == {"formboard.svg", "formboard-one-sheet.pdf", "formboard-a4.pdf", "formboard-letter.pdf"}


@pytest.mark.parametrize("name", ["dunlin", "40 wires", "300 wires"])
def test_labels_do_not_overlap(name: str) -> None:
    """Texts of the board and of the small one: none on another, none missing on the board at true size."""
    truck, harness = laid(name)
    made = made_of(name)
    assert made.missing == 0
    boxes = sorted(made.plot.texts, key=lambda box: box.left)
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            if other.left >= one.right:
                break
            lines = min(one.bottom, other.bottom) - max(one.top, other.top)
            assert lines < 0.35 * min(one.bottom - one.top, other.bottom - other.top)
    strips, scale, _ = overview(truck, harness)
    assert {each.width_mm for each in strips} == {182.0} and scale >= 2.0


def test_a_pair_joint_parts_the_board() -> None:
    """No wire lies in its run: two pieces, each with its half of the joint as an end, and sheets for both."""
    joint = (
        '[[joint]]\nid = "release"\nkind = "quick-release"\nrun = "left_run"\nways = 2\nway_ohm = "20 mohm"\n'
        'leak = "none"\n'
    )
    truck = loads(POWER + joint)
    harness = lay_out(truck)
    board = board_of(truck, harness)
    assert board.pieces == 2 and board.empty == ()
    assert "left_run" not in {run.run for run in board.runs}
    halves = {place.place: unit for place in board.places for unit in place.units if unit.kind == "joint"}
    assert set(halves) == {"middle", "left"}
    assert all({mark for mark, _, _ in unit.ends} == {"way 1", "way 2"} for unit in halves.values())
    made = formboard(truck, harness)
    assert made.missing == 0
    grid, sheets = tiles_of(made, "a4")
    assert len(sheets) == len(grid.fields) + 1


def test_the_small_map_shows_every_field_and_no_more_lines_than_it_must() -> None:
    """Every edge of every shown field lies on one of the joined lines, and no line lies anywhere else."""
    for name in texts():
        grid, _ = tiles_of(made_of(name), "a4")
        edges = {("level", row + down, column) for row, column in grid.fields for down in (0, 1)}
        edges |= {("upright", column + right, row) for row, column in grid.fields for right in (0, 1)}
        drawn = [("level", *line) for line in grid.level_lines] + [("upright", *line) for line in grid.upright_lines]
        units = [(way, line, at) for way, line, first, last in drawn for at in range(first, last)]
        assert len(units) == len(set(units)) and set(units) == edges


def test_a_sheet_does_not_grow_with_the_number_of_sheets() -> None:
    """The foot's map of three hundred wires' sheets has as many elements as that of forty: one path, one box."""
    counts = []
    for name in ("40 wires", "300 wires"):
        grid, _ = tiles_of(made_of(name), "a4")
        canvas = Canvas(300.0, 300.0, "map", "map", "map")
        small_map(canvas, grid, Box(0.0, 0.0, 128.0, 14.0), grid.fields[0])
        svg = canvas.finish().svg
        counts.append((len(grid.fields), svg.count("<path") + svg.count("<rect")))
    assert counts[1][0] > 3 * counts[0][0] and counts[0][1] == counts[1][1] == 2
