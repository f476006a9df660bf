"""The pack: the book says what the proof says, fits its paper, reads back, and is the same every time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from pinproof.choose import cures
from pinproof.design import Truck, load, loads
from pinproof.drawings import words
from pinproof.examples import NAMES, example_path
from pinproof.pack import bench, book, pages
from pinproof.pack.cures import cures_on
from pinproof.pack.folder import CannotWrite, pack_files, write_files
from pinproof.pack.order import order_of, spares_for
from pinproof.pack.parts import _rows_of_bands, _trap, parts_of
from pinproof.pack.report import report_html
from pinproof.pack.sentences import headline
from pinproof.pack.sources_used import sources_of
from pinproof.pack.typeset import CannotPrint
from pinproof.proof import TruckProof, prove
from pinproof.quantities import parse
from pinproof.quantities.markings import bands, read_bands, read_letter_code
from pinproof.quantities.preferred import SERIES, commonest_series, values_between
from pinproof.wiring import LineView, line_view
from tests.truth.generate import generate
from tests.truth.writer import write

DAY = date(2026, 3, 1)
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
DPI = 60
# Names that mean something to a typesetter, a page or a spreadsheet.
EVIL = '#panic("x") *b* _i_ $x$ `r` @ref <lab> \\u{41} [y] // gone /* z */ =1+1 <script>alert(1)</script> 名'


@cache
def example(name: str) -> tuple[Truck, TruckProof]:
    """An example and its proof."""
    truck = load(example_path(name))
    return truck, prove(truck, samples=500)


def views_of(truck: Truck) -> dict[str, LineView]:
    """Every line as its pin sees it."""
    return {line.id: line_view(truck, line) for line in truck.lines}


def text_of(pdf: bytes, pdftoppm_path: str, tmp_path: Path) -> str:
    """The text layer, in the order in which it was set: cell after cell."""
    program = Path(pdftoppm_path).with_name(Path(pdftoppm_path).name.replace("pdftoppm", "pdftotext"))
    path = tmp_path / "book.pdf"
    path.write_bytes(pdf)
    done = subprocess.run([str(program), "-raw", "-enc", "UTF-8", str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def squeezed(text: str) -> str:
    """Without blanks and breaks: what a column broke is whole again."""
    return re.sub(r"[\s\u00a0\u200b]+", "", text)


def pages_of(pdf: bytes, pdftoppm_path: str, tmp_path: Path) -> list[tuple[int, int, bytes]]:
    """Every page in grey: width, height and one byte for each dot."""
    path = tmp_path / "pages.pdf"
    path.write_bytes(pdf)
    subprocess.run([pdftoppm_path, "-gray", "-r", str(DPI), str(path), str(tmp_path / "page")], check=True)
    found = []
    for each in sorted(tmp_path.glob("page-*.pgm")):
        data = each.read_bytes()
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
        assert head is not None
        found.append((int(head[1]), int(head[2]), data[head.end() :]))
        each.unlink()
    return found


def assert_within_margins(pages: list[tuple[int, int, bytes]], paper: str) -> None:
    """Nothing is drawn in the outer margins, and every page has something on it."""
    wide_mm, high_mm = PAPERS_MM[paper]
    side = int(((wide_mm - 182.0) / 2.0 - 0.8) / 25.4 * DPI)
    top, bottom = int(13.5 / 25.4 * DPI), int(7.0 / 25.4 * DPI)
    for width, height, dots in pages:
        assert width == pytest.approx(wide_mm / 25.4 * DPI, abs=1.5)
        assert height == pytest.approx(high_mm / 25.4 * DPI, abs=1.5)
        rows = [dots[row * width : (row + 1) * width] for row in range(height)]
        assert min(dots) < 100
        assert min(b"".join([*rows[:top], *rows[height - bottom :]])) > 240
        assert min(b"".join(row[:side] + row[width - side :] for row in rows)) > 240


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
@pytest.mark.parametrize("name", NAMES)
def test_the_book_says_what_the_proof_says(name: str, paper: str, pdftoppm_path: str, tmp_path: Path) -> None:
    """Verdict first; every situation, part, code, figure, finding and weak number; whole letters, clean margins."""
    truck, proof = example(name)
    pdf = book.book_pdf(truck, proof, views_of(truck), paper=paper, made_on=DAY)
    text = text_of(pdf, pdftoppm_path, tmp_path)
    assert "\ufffd" not in text
    flat = squeezed(text)
    assert headline(proof.verdict) in text[: text.index("Before you touch")]
    for line in proof.lines:
        for row in line.situations:
            assert squeezed(words.operated(row.operated)) in flat
        for finding in line.findings:
            assert squeezed(finding.text.replace("`", ""))[:60] in flat
        for measured in bench.bench_rows(views_of(truck)[line.line]):
            assert squeezed(bench.ohms(measured.nominal_ohm)) in flat
    for part in parts_of(truck):
        assert part.code in text
        assert all(colour in text for colour in part.bands)
    for each in order_of(truck, proof):
        assert squeezed(each.what) in flat
    for rest in proof.rests_on:
        assert squeezed(words.sentence(rest.what)) in flat
    for source in sources_of(truck, proof):
        assert squeezed(source.source) in flat
    for told in (proof.id, proof.text_hash, "2026-03-01", "design aid, not an approval"):
        assert told in text
    for view in views_of(truck).values():
        assert all(squeezed(step) in flat for step in bench.probe_words(view))
    assert_within_margins(pages_of(pdf, pdftoppm_path, tmp_path), paper)


def test_bands_and_codes_in_the_drawings_are_the_chosen_values() -> None:
    """Read from the files of the pack alone."""
    truck, proof = example("sandpiper")
    files = pack_files(truck, proof, made_on=DAY)
    read: set[float] = set()
    for name, data in files.items():
        if not name.startswith("part-"):
            continue
        svg = data.decode("utf-8")
        colours = re.findall(r'class="pp-colour"[^>]*>([a-z]+)<', svg)
        codes = re.findall(r'class="pp-code"[^>]*>([0-9A-Z]+)<', svg)
        ohm = read_bands(colours)[0].ohm
        assert read_letter_code(codes[0])[0].ohm == pytest.approx(ohm)
        read.add(ohm)
    assert read == {one.resistor.ohm for one in truck.contacts if one.resistor is not None}


def test_a_trap_is_told_where_bands_read_from_both_ends() -> None:
    """Brown orange black brown brown is 1.3 kΩ, and 110 kΩ from the other end (checked by hand: 1 1 0 × 10^3)."""
    truck, _ = example("sandpiper")
    part = next(each for each in parts_of(truck) if each.ohm == 1300.0)
    assert part.bands == ("brown", "orange", "black", "brown", "brown")
    assert part.trap == "from the other end: 110 kΩ ±1 %"
    assert part.also == "also sold with 4 bands: brown, orange, red, brown"


@pytest.mark.parametrize(
    ("ohm", "told"),
    [
        (3900.0, ""),  # orange white black brown brown: 1 1 0 × 10^9, 110 GΩ
        (4420.0, ""),  # yellow yellow red brown brown: 1 1 2 × 10^4, and 112 is in no series
        (1500.0, "from the other end: 11 MΩ ±1 %"),  # brown green black brown brown: 1 1 0 × 10^5
        (
            8250.0,
            "from the other end: 11.5 kΩ",
        ),  # grey red green brown brown: 1 1 5 × 10^2, grey's tolerance is disputed
    ],
)
def test_a_trap_is_a_part_that_can_be_held(ohm: float, told: str) -> None:
    """By hand from the colours: of a preferred series, 0.1 Ω to 22 MΩ, or nothing is said."""
    truck, _ = example("sandpiper")
    first = truck.contacts[0]
    assert first.resistor is not None
    changed = replace(truck, contacts=(replace(first, resistor=replace(first.resistor, ohm=ohm)), *truck.contacts[1:]))
    assert parts_of(changed)[0].trap == told


def test_no_trap_is_unbelievable() -> None:
    """Every value of every series in five and four bands: a trap is a preferred value that a shop could sell."""
    told = set()
    for series in SERIES:
        for ohm in values_between(series, 1.0, 10e6):
            for tolerance in (0.01, 0.05):
                for row in _rows_of_bands(ohm, tolerance):
                    told.add((len(row), _trap(row)))
    assert len(told) > 50
    for count, trap in told - {(4, ""), (5, "")}:
        value, _, _ = trap.removeprefix("from the other end: ").partition(" ±")
        ohm = parse(value, "resistance")
        assert 0.1 <= ohm <= 22e6
        assert commonest_series(ohm) is not None
        bands(ohm, 0.01, count=count)  # or it raises


def test_the_book_holds_the_cures_of_the_report(pdftoppm_path: str, tmp_path: Path) -> None:
    """Every cure with what it changes, its margin and its verdict, under its own line, in book and report alike."""
    truck, proof = example("heron")
    found = cures(truck, "shift", proof.lines[0])
    assert found
    pdf = pack_files(truck, proof, made_on=DAY, cures={"shift": found})["book.pdf"]
    flat = squeezed(text_of(pdf, pdftoppm_path, tmp_path))
    page = squeezed(re.sub(r"<[^>]+>", " ", report_html(truck, proof, cures={"shift": found})))
    for each in cures_on({"shift": found}, proof, "shift"):
        for told in (each.what, *each.changes, each.margin, words.VERDICTS[each.verdict]):
            assert squeezed(told) in flat
            assert squeezed(told.replace("&", "&amp;")) in page
    assert cures_on({"other": found}, proof, "shift") == ()
    assert len(cures_on(found, proof, "shift")) == len(found)  # in one row, of the first line


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
@pytest.mark.parametrize("name", NAMES)
def test_no_page_is_nearly_empty(name: str, paper: str, pdftoppm_path: str, tmp_path: Path) -> None:
    """Ink reaches past a third of every page, the foot aside."""
    truck, proof = example(name)
    pdf = book.book_pdf(truck, proof, views_of(truck), paper=paper, made_on=DAY)
    for width, height, dots in pages_of(pdf, pdftoppm_path, tmp_path):
        text_mm = height - 18.0 / 25.4 * DPI
        rows = [row for row in range(height) if min(dots[row * width : (row + 1) * width]) < 128 and row < text_mm]
        assert (rows[-1] - rows[0]) / (text_mm - 15.0 / 25.4 * DPI) > 1.0 / 3.0


def test_the_same_design_and_date_give_the_same_bytes(tmp_path: Path) -> None:
    """Two processes, two orders of hashing, two folders, the command itself."""
    seen = []
    for seed in ("1", "2"):
        folder = tmp_path / seed
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)}
        command = [sys.executable, "-m", "pinproof", "pack", str(example_path("heron")), "-o", str(folder)]
        done = subprocess.run([*command, "--date", "2026-03-01"], env=environment, capture_output=True, check=False)
        assert done.returncode == 1, done.stderr  # heron does not hold
        seen.append({each.name: each.read_bytes() for each in sorted(folder.iterdir())})
    assert seen[0] == seen[1]
    lists = {"situations.csv", "parts.csv", "order.csv", "budgets.csv"}
    assert lists | {"book.pdf", "bench.pdf", "card.html"} < set(seen[0])
    assert sum(name.endswith(".svg") for name in seen[0]) >= 6


def test_the_date_is_the_only_thing_that_a_date_changes() -> None:
    """Lists and drawings carry none."""
    truck, proof = example("heron")
    one, other = (pack_files(truck, proof, made_on=day) for day in (DAY, date(2026, 3, 2)))
    assert {name for name in one if one[name] != other[name]} == {"book.pdf", "bench.pdf", "card.html"}


def test_what_users_write_stays_text(pdftoppm_path: str, tmp_path: Path) -> None:
    """Markup of the typesetter in a name, a finding, a warning or a weak number is printed, not obeyed."""
    truck, proof = example("wagtail")
    line = proof.lines[0]
    changed = replace(
        line,
        findings=(replace(line.findings[0], text=EVIL, cure=EVIL, subject=EVIL),),
        rests_on=(replace(line.rests_on[0], text=EVIL, what=EVIL),),
    )
    evil = replace(proof, name=EVIL, lines=(changed,), warnings=(EVIL,))
    text = squeezed(text_of(book.book_pdf(truck, evil, views_of(truck)), pdftoppm_path, tmp_path))
    shown = squeezed(EVIL.replace("名", "(U+540D)"))
    assert text.count(squeezed("/* z */ =1+1")) >= 5
    assert shown in text


def test_a_warning_of_the_typesetter_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """A typeface that is not there would be replaced silently."""
    truck, proof = example("wagtail")
    monkeypatch.setattr(pages, "_FONTS", ("No Such Typeface",))
    with pytest.raises(CannotPrint, match="font"):
        book.book_pdf(truck, proof, views_of(truck))


def test_unknown_paper_is_refused() -> None:
    """Before anything is drawn."""
    truck, proof = example("wagtail")
    with pytest.raises(ValueError, match="paper"):
        book.book_pdf(truck, proof, views_of(truck), paper="legal")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('resistor = "4.42k"', 'resistor = "to choose"'),
        ('pull_down = { value = "1 kohm", tolerance = "2 %", basis = "measured", note = "two loads, bench meter" }',
         'pull_down = "unknown"'),
    ],
)  # fmt: skip
def test_an_unfinished_design_has_a_pack_too(before: str, after: str, pdftoppm_path: str, tmp_path: Path) -> None:
    """Not shown, with the reason, and nothing invented for what is not there."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    assert before in text
    truck = loads(text.replace(before, after))
    proof = prove(truck, samples=0)
    files = pack_files(truck, proof, made_on=DAY)
    shown = text_of(files["book.pdf"], pdftoppm_path, tmp_path)
    assert "Not shown" in shown
    assert "nan" not in re.findall(r"[a-zA-Z]+", shown)
    assert "This card is no permission" in files["card.html"].decode("utf-8")
    if "to choose" in after:
        assert "still to be chosen" in shown
        assert all(each.ohm != 4420.0 for each in order_of(truck, proof))


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_books_of_awkward_trucks(seed: int, pdftoppm_path: str, tmp_path: Path) -> None:
    """Several lines, floating pins, free elements: set without a warning, within the margins."""
    truck = loads(write(generate(seed)))
    proof = prove(truck, samples=0)
    paper = ("a4", "letter")[seed // 4 % 2]
    pdf = pack_files(truck, proof, paper=paper, made_on=DAY)["book.pdf"]
    assert_within_margins(pages_of(pdf, pdftoppm_path, tmp_path), paper)
    assert "\ufffd" not in text_of(pdf, pdftoppm_path, tmp_path)


def test_spares_are_twenty_percent_and_at_least_one() -> None:
    """Rounded up."""
    assert [spares_for(count) for count in (1, 5, 6, 10, 11)] == [1, 1, 2, 2, 3]


def test_the_order_list_counts_every_part_once() -> None:
    """What must be ordered today stands first; what is fixed in the truck is not bought."""
    truck, proof = example("sandpiper")
    lines = order_of(truck, proof)
    assert [bool(each.today) for each in lines] == sorted((bool(each.today) for each in lines), reverse=True)
    resistors = [each for each in lines if each.ohm is not None]
    assert {each.ohm: (each.needed, each.spares, each.count) for each in resistors} == {
        8250.0: (1, 1, 2), 4420.0: (2, 1, 3), 1300.0: (2, 1, 3),
    }  # fmt: skip
    assert {each.ohm for each in resistors if each.today} == {8250.0, 4420.0, 1300.0}  # as `next` says
    assert {each.ohm for each in resistors if "series E" in each.today} == {8250.0, 4420.0}  # 1.3 kΩ is of series E24
    assert next(each.body_w for each in resistors if each.ohm == 1300.0) == 0.5  # the check `heat` asks for it
    held = replace(truck.contacts[0], resistor=replace(truck.contacts[0].resistor, fixed=True))  # type: ignore[type-var]
    fixed = replace(truck, contacts=(held, *truck.contacts[1:]))
    assert 8250.0 not in {each.ohm for each in order_of(fixed, proof)}


def test_bench_figures_are_the_circuits() -> None:
    """By hand: 0.5 + (8250 || 4420) + 0.5 Ω for one press, contacts as new; as on the bench sheet."""
    truck, _ = example("sandpiper")
    rows = {row.operated: row for row in bench.bench_rows(line_view(truck, "taps"))}
    by_hand = 0.5 + 1.0 / (1.0 / 8250.0 + 1.0 / 4420.0) + 0.5
    assert rows["lever_manual", "lever_up"].nominal_ohm == pytest.approx(by_hand, rel=1e-9)
    assert rows[()].nominal_ohm == float("inf")
    assert bench.ohms(rows[()].nominal_ohm) == "open"


@pytest.mark.parametrize(
    ("name", "wanted", "unwanted"),
    [
        ("sandpiper", ("LOAD side of the empty fuse holder", "must read open", "cavity B12 of plug tcu"), "own return"),
        ("heron", ("switches' own return",), "LOAD side"),
        ("wagtail", ("switches' own return",), "LOAD side"),
    ],
)
def test_probe_points_follow_the_form(name: str, wanted: tuple[str, ...], unwanted: str) -> None:
    """A line with a feed is measured to the load side of its fuse, one to ground to its return."""
    truck = load(example_path(name))
    told = " ".join(bench.probe_words(line_view(truck, truck.lines[0])))
    assert all(each in told for each in wanted)
    assert unwanted not in told
    assert told.index("Battery negative off") == 0


def test_sources_are_those_that_were_used() -> None:
    """Gold contacts only: silver's disputed figure is not quoted; a stated bounce needs no usual one."""
    truck, proof = example("sandpiper")
    found = {each.what: each for each in sources_of(truck, proof)}
    assert {each.seen for each in found.values()} <= {"printed", "open copy", "secondary", "memory", "no source"}
    assert "least current, gold" in found
    assert not any("silver" in each.source for each in found.values())
    assert "preferred values E24" in found
    assert "preferred values E96" not in found
    truck, proof = example("wagtail")
    assert "settling of a filtered pin" not in {each.what for each in sources_of(truck, proof)}


def test_files_are_written_whole_and_foreign_files_stay(tmp_path: Path) -> None:
    """Ours are replaced, others are never touched; drawings of an earlier pack are named."""
    folder = tmp_path / "new" / "bench"
    assert write_files(folder, {"book.pdf": b"one", "line-1-taps-circuit.svg": b"old"}) == ()
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    (folder / "truck.svg").write_text("mine too", encoding="utf-8")
    assert write_files(folder, {"book.pdf": b"two"}) == ("line-1-taps-circuit.svg",)
    assert {each.name: each.read_bytes() for each in folder.iterdir()} == {
        "book.pdf": b"two", "notes.txt": b"mine", "truck.svg": b"mine too", "line-1-taps-circuit.svg": b"old",
    }  # fmt: skip


def test_a_write_that_fails_replaces_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the second file: the first keeps its old bytes and no piece is left behind."""
    write_files(tmp_path, {"book.pdf": b"old", "card.html": b"old"})
    calls = []

    def full(number: int) -> None:
        calls.append(number)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left"):
        write_files(tmp_path, {"book.pdf": b"new", "card.html": b"new"})
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == {"book.pdf": b"old", "card.html": b"old"}


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    """With its place and what to do."""
    place = tmp_path / "bench"
    place.write_text("a file", encoding="utf-8")
    with pytest.raises(CannotWrite, match="another folder"):
        write_files(place, {"book.pdf": b"x"})
    assert place.read_text(encoding="utf-8") == "a file"


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("sandpiper", "-o", "bench", "--paper", "letter"), 0, "Proven"),
        (("wagtail", "-o", "bench"), 1, "Would hold if"),
        (("dunlin", "-o", "bench"), 1, "What else does not hold:\n  - Start inhibit:"),  # its line is proven
        (("no-such-truck", "-o", "bench"), 2, "no file"),
        (("sandpiper", "-o", "bench", "--date", "1.3.2026"), 2, "--date"),
        (("sandpiper",), 2, "--output"),
    ],
)
def test_the_command(arguments: tuple[str, ...], code: int, told: str, tmp_path: Path) -> None:
    """Exit code of the verdict, every written file named; nothing is written where the file cannot be used."""
    file = tmp_path / f"{arguments[0]}.toml"
    if arguments[0] in NAMES:
        file.write_bytes(example_path(arguments[0]).read_bytes())
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", "pinproof", "pack", str(file), *arguments[1:]]
    done = subprocess.run(
        command, cwd=tmp_path, env=environment, capture_output=True, encoding="utf-8", check=False
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    assert told in done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    folder = tmp_path / "bench"
    if code == 2:
        assert not folder.exists()
    else:
        assert all(each.name in done.stdout for each in folder.iterdir())
