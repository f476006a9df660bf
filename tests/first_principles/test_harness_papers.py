"""What the bench gets of a harness: plug faces, steps, labels, known-code plugs, the test socket, and the PDF."""

from __future__ import annotations

import csv
import io
import math
import re
from datetime import date
from functools import cache
from pathlib import Path

import networkx as nx
import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import Truck, loads
from pinproof.drawings.label_sheet import label_sheets
from pinproof.drawings.plug_face import EMPTY, VIEW, FaceCavity, face_rows, plug_face
from pinproof.examples import example_path
from pinproof.harness import Harness, lay_out, units_of
from pinproof.harness.codes import code_plugs, socket_ways
from pinproof.harness.lists import csv_files
from pinproof.harness.parts_list import marking
from pinproof.harness.steps import build_steps, colour_words, connections, labels, trial_pull
from pinproof.pack.book import _findings, book_pdf
from pinproof.pack.folder import HARNESS_NAMES, write_files
from pinproof.pack.harness_book import chapter, chapters, face_drawings, harness_files, harness_pdf, step_blocks
from pinproof.proof import prove
from pinproof.quantities.customary import beside
from pinproof.quantities.preferred import values_between
from pinproof.verdict import Verdict
from pinproof.wiring import line_view
from tests.pdf_marks import pages_of

from .harness_trucks import trunk_truck

DUNLIN = example_path("dunlin").read_text(encoding="utf-8")


@cache
def laid(text: str = DUNLIN) -> tuple[Truck, Harness]:
    truck = loads(text)
    return truck, lay_out(truck)


def swap(old: str, new: str, text: str = DUNLIN) -> str:
    assert old in text, old
    return text.replace(old, new, 1)


# faces


def cavities(count: int) -> list[FaceCavity]:
    made = [FaceCavity(f"A{k + 1}", f"W{k + 1:03d}", "BUBK", "blue with black", "0.5 mm²") for k in range(count)]
    made[-1] = FaceCavity(f"A{count}")
    return made


def test_a_face_numbered_from_the_mating_side_is_mirrored() -> None:
    rows = face_rows(cavities(6), 3, False)
    assert [[one.cavity for one in row if one] for row in rows] == [["A1", "A2", "A3"], ["A4", "A5", "A6"]]
    turned = face_rows(cavities(6), 3, True)
    assert [[one.cavity for one in row if one] for row in turned] == [["A3", "A2", "A1"], ["A6", "A5", "A4"]]
    # an incomplete last row keeps its cavities above their own columns
    last = face_rows(cavities(5), 3, True)[-1]
    assert [one.cavity if one else None for one in last] == [None, "A5", "A4"]


@pytest.mark.parametrize("side", ["wire side", "mating side"])
@pytest.mark.parametrize(("count", "columns"), [(2, 1), (6, 3), (7, None), (26, 13), (40, 20), (60, 30)])
def test_a_face_says_its_view_and_keeps_its_texts_inside(count: int, columns: int | None, side: str) -> None:
    drawing = plug_face("tcu", cavities(count), columns=columns, numbered_from=side, part="26-way", place="footwell")
    texts = [label.text for label in drawing.labels]
    assert any(VIEW in each for each in texts)
    assert any("left and right are changed" in each for each in texts) is (side == "mating side")
    assert any("does not give its columns" in each for each in texts) is (columns is None)
    assert texts.count("A1") == 1 and f"A{count}" in texts
    assert EMPTY in " ".join(texts)
    assert all(label.inside(drawing.width_mm, drawing.height_mm) for label in drawing.labels)
    assert f"A{count}: empty, {EMPTY}" in drawing.description


def test_a_mirrored_face_has_its_first_cavity_at_the_right() -> None:
    for side, left_first in (("wire side", True), ("mating side", False)):
        drawing = plug_face("p", cavities(4), columns=2, numbered_from=side)
        at = {label.text: label.left for label in drawing.labels}
        assert (at["A1"] < at["A2"]) is left_first


def test_faces_of_a_truck_show_every_wire_in_its_cavity() -> None:
    truck, harness = laid()
    faces = face_drawings(truck, harness)
    for one in harness.plugs:
        texts = [label.text for label in faces[one.plug].labels]
        assert one.cavity in texts
        assert not one.wire or one.wire in texts


# steps


@pytest.mark.parametrize("text", [DUNLIN, trunk_truck(40)], ids=["dunlin", "40 wires"])
def test_steps_name_every_wire_end_splice_run_and_fuse(text: str) -> None:
    truck, harness = laid(text)
    steps = build_steps(truck, harness)
    assert [one.step for one in steps] == list(range(1, len(steps) + 1))
    stages = list(dict.fromkeys(one.stage for one in steps))
    order = ["Cut and label", "Resistors", "Crimp", "Splice", "Sleeve", "Lay", "Plugs and seals", "Test on the board",
             "In the truck"]  # fmt: skip
    assert stages == [one for one in order if one in stages]
    cut = [one.do for one in steps if one.stage == "Cut and label"]
    lengths = [int(re.search(r": (\d+) mm", each).group(1)) for each in cut]  # type: ignore[union-attr]
    assert lengths == sorted((wire.cut_mm for wire in harness.wires), reverse=True)
    assert sorted(each.split()[1].rstrip(":") for each in cut) == sorted(wire.id for wire in harness.wires)
    crimped = [word for one in steps if one.stage == "Crimp" for word in re.findall(r"W\d{3}", one.do)]
    ends = [wire.id for wire in harness.wires for end in (wire.a, wire.b) if end.side is not None]
    assert sorted(crimped) == sorted(ends)
    spliced = [word for one in steps if one.stage == "Splice" for word in re.findall(r"W\d{3}", one.do)]
    assert sorted(spliced) == sorted(name for one in harness.splices for name in one.wires)
    laid_runs = [one.do.split()[1] for one in steps if one.stage == "Lay"]
    assert laid_runs == [run.run for run in harness.runs if run.wires]
    fuses = [one for one in steps if one.do.startswith("feed ")]
    assert len(fuses) == sum(fuse.rating_a > 0 for fuse in harness.fuses)


@pytest.mark.parametrize("text", [DUNLIN, trunk_truck(120)], ids=["dunlin", "120 wires"])
def test_connections_reach_every_end_by_the_ohms_of_a_graph(text: str) -> None:
    """Against a graph library: from each part's start every other end, ohms summed along the way, area by area."""
    truck, harness = laid(text)
    found = connections(truck, harness)
    assert len(found) == sum(len(part.ends) - 1 for part in harness.parts)
    graph = nx.Graph()
    for wire in harness.wires:
        assert wire.sizing is not None
        # 19.5 mΩ·mm² per metre: the product of the class 5 rows; larger sizes lie up to 4 % off it
        ohm = 19.5e-3 / (wire.sizing.area_m2 * 1e6) * wire.cut_mm / 1000
        graph.add_edge(
            *((wire.part, end.label if end.side is None else end.side) for end in (wire.a, wire.b)), weight=ohm
        )
    parts = {part: number for number, part in enumerate(harness.parts)}
    for one in found:
        part = next(part for part in harness.parts if part.net == one.net and any(
            wire.part == parts[part] and wire.id == one.wires[0] for wire in harness.wires))  # fmt: skip
        mine = [wire for wire in harness.wires if wire.part == parts[part]]
        side = {end.label: end.side for wire in mine for end in (wire.a, wire.b) if end.side is not None}
        start = part.hub if part.hub is not None else 0
        other = next(side[label] for label in (one.a, one.b) if side[label] != start)
        ohm = nx.shortest_path_length(graph, (parts[part], start), (parts[part], other), weight="weight")
        assert one.computed_ohm == pytest.approx(ohm, rel=0.05)
        assert one.most_ohm >= 1.2 * one.computed_ohm
        assert one.most_ohm <= one.shown_ohm < one.most_ohm + 0.1 + 1e-9


def test_a_trial_crimp_is_held_to_the_nearest_gauge_that_is_not_thicker() -> None:
    """UL 486A as two terminal makers restate it (secondary): 22 AWG 35.6 N, 20 AWG 57.9 N, 12 AWG 311.5 N."""
    assert trial_pull(0.5e-6) == (22, 35.6)
    assert trial_pull(0.75e-6) == (20, 57.9)
    assert trial_pull(4e-6) == (12, 311.5)
    assert trial_pull(0.1e-6) is None


def test_nothing_is_ticked_before_it_was_done() -> None:
    truck, harness = laid()
    rows = list(csv.DictReader(io.StringIO(csv_files(truck, harness)["steps.csv"])))
    assert rows and all(row["done"] == "" for row in rows)
    boxes = [row[0]["runs"][0][0] for block in step_blocks(truck, harness) if block["kind"] == "table"
             for row in block["rows"]]  # fmt: skip
    assert len(boxes) == len(rows) and set(boxes) == {"☐"}


def test_labels_for_both_ends_of_every_wire() -> None:
    _, harness = laid()
    made = labels(harness)
    ends = sorted((one.wire, one.end) for one in made if one.wire)
    assert ends == sorted((wire.id, end) for wire in harness.wires for end in ("from", "to"))
    assert sum(one.end == "splice" for one in made) == len(harness.splices)
    for one in made:
        if one.wire:
            wire = next(each for each in harness.wires if each.id == one.wire)
            assert one.lines[1] == (wire.a if one.end == "from" else wire.b).label


def test_label_sheets_keep_texts_apart_however_long() -> None:
    sheets = label_sheets([("W001  BU", "x" * 90), ("W002", "short")] * 50)
    assert len(sheets) == 2
    for sheet in sheets:
        for index, one in enumerate(sheet.labels):
            assert one.inside(sheet.width_mm, sheet.height_mm)
            assert not any(one.overlaps(other) for other in sheet.labels[index + 1 :])


def test_colour_words() -> None:
    assert (colour_words("BUBK"), colour_words("RD"), colour_words("")) == ("blue with black", "red", "")


# parts


def test_parts_are_counted_with_spares() -> None:
    truck, harness = laid()
    rows = {(row["kind"], row["part"]): row for row in csv.DictReader(
        io.StringIO(csv_files(truck, harness)["harness-parts.csv"]))}  # fmt: skip
    assert int(rows["tie", "cable tie"]["needed"]) == sum(run.ties for run in harness.runs)
    rings = sum(int(row["needed"]) for (kind, _), row in rows.items() if kind == "ring")
    assert rings == sum(end.kind == "stud" for wire in harness.wires for end in (wire.a, wire.b))
    sleeve = sum(float(row["needed"]) for (kind, _), row in rows.items() if kind == "sleeve [m]")
    assert sleeve == pytest.approx(sum(run.length_mm for run in harness.runs) / 1000)
    resistors = sum(int(row["needed"]) for (kind, _), row in rows.items() if kind == "resistor")
    assert resistors == len(harness.resistors)
    for row in rows.values():
        need, spare, have, order = (float(row[key]) for key in ("needed", "spare", "on_hand", "order"))
        assert spare >= min(1.0, math.ceil(need) / 10) and order == pytest.approx(
            max(need + spare - have, 0.0), abs=0.011
        )  # two decimals each
        assert (row["order_today"] == "yes") is (order > 0)


def test_resistors_carry_their_marking() -> None:
    """Bands by IEC 60062: 270 ohm of 1 % is red violet black black brown."""
    truck, harness = laid()
    rows = list(csv.DictReader(io.StringIO(csv_files(truck, harness)["resistors.csv"])))
    found = {row["resistor"]: row["marking"] for row in rows}
    assert found["contact.lever_up.resistor"] == "red violet black black brown, 270RF"
    unknown = next(iter(truck.contacts)).resistor
    assert unknown is not None and marking(unknown)


# known-code plugs and the socket


def test_known_code_plugs_read_the_middle_and_are_proven() -> None:
    """Against Ohm's law by hand: pull 1 kΩ, plug R, wires of half an ohm each: R/(R + 1000) to the wires' ohms."""
    truck, harness = laid()
    line = truck.lines[0]
    found = {one.meaning: one for one in code_plugs(truck, harness)}
    assert set(found) == {"automatic", "up", "down"}
    for meaning, one in found.items():
        window = next(each for each in line.windows if each.meaning == meaning)
        assert one.ohm in values_between("E24", 10.0, 1e6) and one.verdict is Verdict.PASS
        assert one.nominal == pytest.approx((one.ohm + 1.0) / (one.ohm + 1001.0), abs=1e-3)
        assert window.low <= one.low <= one.nominal <= one.high <= window.high  # type: ignore[operator]
        middle = (window.low + window.high) / 2  # type: ignore[operator]
        off = {ohm: abs(ohm / (ohm + 1000.0) - middle) for ohm in values_between("E24", 10.0, 1e6)}
        assert off[one.ohm] <= sorted(off.values())[1]
        assert (one.low_ohm, one.high_ohm) == pytest.approx((0.99 * one.ohm, 1.01 * one.ohm))
        assert (one.plug, one.cavities) == ("lever_plug", ("1", "2"))
        assert set(one.leave_empty) == {"3", "4", "5", "6"}  # the start inhibit's wires among them


def test_an_idle_resistor_that_stays_counts_in_parallel() -> None:
    text = swap('idle_resistor = { value = "3.9k", at = "lever" }', 'idle_resistor = { value = "3.9k", at = "wheel" }')
    truck, harness = laid(text)
    up = next(one for one in code_plugs(truck, harness) if one.meaning == "up")
    assert up.ohm is not None and "stays in parallel" in up.stays
    both = up.ohm * 3900.0 / (up.ohm + 3900.0)
    assert up.nominal == pytest.approx((both + 1.0) / (both + 1001.0), abs=1e-3)
    alone = next(one for one in code_plugs(*laid()) if one.meaning == "up")
    assert alone.ohm is not None and up.ohm >= alone.ohm


def test_where_no_plug_can_be_given_it_is_said_why() -> None:
    unknown = swap('pull_up = { value = "1 kohm", tolerance = "2 %", basis = "measured" }', 'pull_up = "unknown"')
    for one in code_plugs(*laid(unknown)):
        assert one.ohm is None and one.verdict is Verdict.NOT_SHOWN and one.reason
    bare = swap('plug = "lever_plug"\npositions', "positions")
    for one in code_plugs(*laid(re.sub(r'\[\[plug\]\]\nid = "lever_plug".*?(?=\[\[plug\]\]\n)', "", bare, flags=re.S))):
        assert one.ohm is None and "test socket" in one.reason


def test_plugs_that_do_not_hold_say_so() -> None:
    """A window too narrow for 1 % parts and a pull of 2 %: no value is passed off as proven."""
    truck, harness = laid(swap('low = "14 %"\nhigh = "26 %"', 'low = "19.5 %"\nhigh = "20.5 %"'))
    up = next(one for one in code_plugs(truck, harness) if one.meaning == "up")
    assert up.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN) and up.margin < 0.0


def test_the_socket_is_taken_in_the_cab() -> None:
    truck, harness = laid()
    ways = socket_ways(truck, harness)
    assert [(one.net, one.tap, one.fuse_a) for one in ways] == [("taps", "tcu.A1", 1.0), ("taps.source", "tcu.A2", 1.0)]
    outside = DUNLIN.replace("inside = true\n", "")
    assert all("inside = true" in one.reason for one in socket_ways(*laid(outside)))


# the papers


US = DUNLIN.replace('sizes = "mm2"', 'sizes = "mm2"\nunits = "us"')


def test_us_units_hold_in_lists_terminal_book_and_pdf(tmp_path: Path) -> None:
    """Every cut length is the one in millimetres ÷ 25.4, to a twentieth of an inch; no table keeps millimetres."""
    truck, harness = laid(US)
    rows = list(csv.DictReader(io.StringIO(csv_files(truck, harness)["wires.csv"])))
    assert rows and "cut_in" not in csv_files(*laid())["wires.csv"].splitlines()[0]
    for row, wire in zip(rows, harness.wires, strict=True):
        assert (
            float(row["cut_in"]) == pytest.approx(wire.cut_mm / 25.4, abs=0.0501) and int(row["cut_mm"]) == wire.cut_mm
        )
    cut = next(csv.DictReader(io.StringIO(csv_files(truck, harness)["cutlist.csv"])))
    pairs = zip(cut["lengths"].split(), cut["lengths_in"].split(), strict=True)
    assert all(float(one) / 25.4 == pytest.approx(float(other), abs=0.0501) for one, other in pairs)
    body = chapter(truck, {})
    tables = [one for one in body if one["kind"] == "table"]
    heads = {head for one in tables for head in one["heads"]}
    assert "Cut in" in heads and "Length in" in heads and not any(head.endswith(" mm") for head in heads)
    cells = {run[0] for one in tables for row in one["rows"] for cell in row for run in cell.get("runs") or []}
    assert not any(re.search(r"\d[ \u00a0]mm\b(?!²)", str(text)) for text in cells)
    assert any(re.search(r"\d[ \u00a0]mm\b(?!²)", str(run[0]))
               for one in chapter(*laid()[:1], {}) if one["kind"] == "table"
               for row in one["rows"] for cell in row for run in cell.get("runs") or [])  # fmt: skip
    path = tmp_path / "truck.toml"
    path.write_text(US, encoding="utf-8")
    said = CliRunner().invoke(group, ["harness", str(path)]).stdout
    assert "28.1 in" in said and not re.search(r"\d mm\b(?!²)|\d (?:g|kg|m)\b", said) and "3.1 oz" in said
    assert not re.search(r"\d\.\d{4} in", said), "no figures that no tape shows"


def test_what_is_bought_by_length_is_counted_in_feet() -> None:
    """Never less than is needed, less than a tenth of a foot more; spare likewise, and what is there rounded down."""

    def parts(truck: Truck, harness: Harness, unit: str) -> dict[str, dict[str, str]]:
        rows = csv.DictReader(io.StringIO(csv_files(truck, harness)["harness-parts.csv"]))
        return {row["part"]: row for row in rows if row["kind"].endswith(f"[{unit}]")}

    metric, us = parts(*laid(), "m"), parts(*laid(US), "ft")
    cables = [name for name, row in metric.items() if row["kind"] == "cable [m]"]
    assert cables and len(metric) == len(us) and not parts(*laid(US), "m")
    for name in cables:
        need_ft = sum(wire.cut_mm for wire in laid()[1].wires if f"{wire.sizing.size} {wire.colour}" == name) / 304.8
        assert need_ft <= float(us[name]["needed"]) < need_ft + 0.1
        assert float(us[name]["order"]) == pytest.approx(float(us[name]["needed"]) + float(us[name]["spare"]))


def test_findings_of_a_book_in_us_units_say_fahrenheit_beside() -> None:
    """A heat finding says both."""
    truck = loads(US)
    line = prove(truck, samples=0).lines[0]
    for said, wanted in ((str, "at 70 °C."), (beside, "at 70 °C (158 °F).")):
        told = str(_findings(line, 1, (), {}, said)).replace("\\xa0", " ")
        assert wanted in told, told[:2000]


@pytest.mark.parametrize(
    ("said", "drive", "wanted"), [("", "", "metric"), ("us", "", "us"), ("", "us", "us"), ("metric", "us", "metric")]
)
def test_the_units_are_those_of_harness_then_of_the_driveline(said: str, drive: str, wanted: str) -> None:
    text = DUNLIN.replace('sizes = "mm2"', f'sizes = "mm2"\nunits = "{said}"') if said else DUNLIN
    if drive:
        sandpiper = example_path("sandpiper").read_text(encoding="utf-8")
        text += sandpiper[sandpiper.index("[drive]") :].replace('units = "metric"', f'units = "{drive}"')
        text = re.sub(r"(?m)^\[\[drive\.borrowed\]\][^\[]*", "", text)
    truck = loads(text)
    assert (truck.drive is not None) == bool(drive) and units_of(truck) == wanted


def test_files_of_an_earlier_run_are_told(tmp_path: Path) -> None:
    """A plug that was taken out leaves its face behind, a harness without wires its board; others' files are nobody's
    business."""
    old = ("plug-9-gone.svg", "formboard-a4.pdf", "formboard.svg")
    for name in (*old, "plug.svg", "plug-notes.txt", "line-1-taps-circuit.svg"):
        (tmp_path / name).write_bytes(b"old")
    assert write_files(tmp_path, {"harness.pdf": b"new", "formboard.svg": b"new"}, HARNESS_NAMES) == (
        "formboard-a4.pdf", "plug-9-gone.svg",
    )  # fmt: skip
    path = tmp_path / "truck.toml"
    path.write_text(DUNLIN, encoding="utf-8")
    told = CliRunner().invoke(group, ["harness", str(path), "-o", str(tmp_path)])
    assert "no longer true: plug-9-gone.svg." in told.stderr and (tmp_path / "plug-9-gone.svg").exists()


def test_the_papers_are_the_same_every_time_and_complete(tmp_path: Path) -> None:
    truck, harness = laid()
    one = harness_files(truck, harness, made_on=date(2026, 1, 2))
    assert one == harness_files(truck, lay_out(truck), made_on=date(2026, 1, 2))
    wanted = {"harness.pdf", "formboard.svg", "formboard-one-sheet.pdf", "formboard-a4.pdf", "formboard-letter.pdf"}
    assert wanted <= set(one) and {"plug-1-tcu.svg", "steps.csv", "labels.csv"} <= set(one)
    said = CliRunner().invoke(
        group, ["harness", str(example_path("dunlin")), "-o", str(tmp_path), "--date", "2026-01-02"]
    )
    assert said.exit_code == 0, said.output
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == one


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_of_a_larger_harness_has_its_pages(paper: str) -> None:
    truck, harness = laid(trunk_truck(40))
    pages = pages_of(harness_pdf(truck, harness, paper=paper))
    assert 6 <= len(pages) <= 20
    assert pages[0].wide_mm == pytest.approx({"a4": 210.0, "letter": 215.9}[paper], abs=0.05)


def test_the_book_has_a_chapter_on_the_harness_where_the_file_has_one() -> None:
    truck, _ = laid()
    heads = chapters(chapter(truck, {}))
    assert heads == ["Harness", "The board", "Wires", "Plug faces", "Known-code plugs"]
    heron = loads(example_path("heron").read_text(encoding="utf-8"))
    assert chapter(heron, {}) == []
    broken = loads(swap('id = "tunnel_run"\nbetween = ["dash", "tunnel"]\nlength = "0.9 m"',
                        'id = "tunnel_run"\nbetween = ["dash", "tunnel"]\nlength = "0.9 m"\n[[run]]\nid = "ring"\n'
                        'between = ["dash", "axle"]\nlength = "1 m"'))  # fmt: skip
    told = chapter(broken, {})
    assert chapters(told) == ["Harness"] and "ring" in str(told[-1])


def test_the_book_with_a_harness_is_set() -> None:
    truck, _ = laid()
    proof = prove(truck, samples=0)
    views = {line.id: line_view(truck, line) for line in truck.lines}
    one = book_pdf(truck, proof, views, made_on=date(2026, 1, 2))
    assert one == book_pdf(truck, proof, views, made_on=date(2026, 1, 2))
    assert len(pages_of(one)) >= 5
