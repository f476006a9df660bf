"""The drawer file: what goes in comes out, bad rows are all told, nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from pinproof.chain.stock import (
    DrawerFault,
    Row,
    drawer_of,
    drawer_text,
    last_digit_ohm,
    load_drawer,
    load_rows,
    merged,
    meter_error_ohm,
    read_csv,
    read_row,
    save_drawer,
)
from pinproof.choose.drawer import Part
from pinproof.cli import group
from pinproof.errors import PinproofError, QuantityFault


def run(folder: Path, *arguments: str) -> Result:
    """`pinproof drawer` on a drawer in this folder."""
    return CliRunner().invoke(group, ["drawer", *arguments, "--drawer", str(folder / "drawer.toml")])


@pytest.mark.parametrize(
    "text",
    [
        "ohm,tolerance,count,label\n1.5k,1 %,10,bag\n4k7,5 %,3,\n",
        "Ohm;Tol %;Qty;Label\n1,5k;1;10;bag\n4,7k;5;3;\n",
        "\ufeffohm\ttolerance\tcount\tlabel\r\n1500\t1%\t10\tbag\r\n4700\t5%\t3\t\r\n",
        "# my stock\n\nohm,count,tolerance,label\n1500 ohm,10,1 %,bag\n\n4700 ohm,3,5 %,\n",
        '1.5k,1 %,10,,,"bag"\n4k7,5 %,3\n',
    ],
)
def test_lists_of_every_usual_kind_are_read_alike(text: str) -> None:
    """Commas, semicolons, tabs, decimal commas, other heads, no heads."""
    parts = drawer_of(read_csv(text.encode("utf-8"), "stock.csv")).parts
    assert parts == (Part(1500.0, 0.01, 10, "bag"), Part(4700.0, 0.05, 3))


@pytest.mark.parametrize(
    ("ohms", "meter", "off_ohm"),
    [
        ("100.0 ohm", "0.9 % + 2", 1.1),  # 0.9 of a hundred, and two tenths
        ("1.500k", "0.8 % + 2", 14.0),
        ("1.497k", "0.8 % + 2", 0.008 * 1497 + 2),
        ("4k68", "1 % + 1", 46.8 + 10.0),
        ("1500 ohm", "±0,5 % + 3", 7.5 + 3.0),
        ("220 ohm", "1 %", 2.2),
    ],
)
def test_a_meter_counts_percent_and_counts_of_the_last_digit(ohms: str, meter: str, off_ohm: float) -> None:
    """Worked by hand from how meters' data sheets state it."""
    assert meter_error_ohm(ohms, meter) == pytest.approx(off_ohm, rel=1e-12)


def test_the_last_digit_of_a_reading() -> None:
    """The place value of the last digit that was written."""
    for text, ohm in (
        ("1.497k", 1.0),
        ("4k68", 10.0),
        ("100.0 ohm", 0.1),
        ("47 ohm", 1.0),
        ("1,50 kohm", 10.0),
        ("2M2", 1e5),
    ):
        assert last_digit_ohm(text) == pytest.approx(ohm, rel=1e-9)


def test_measured_ohms_count_unless_the_print_is_narrower() -> None:
    """A 5 % part measured with a fair meter counts by the meter; a 0.1 % part keeps its print."""
    wide = read_row({"ohm": "4k7", "tolerance": "5 %", "measured_ohm": "4.68k", "meter": "0.8 % + 2"}).part()
    assert wide.measured_ohm == 4680.0
    assert wide.high_ohm - wide.low_ohm == pytest.approx(2 * (0.008 * 4680 + 20))
    fine = read_row({"ohm": "4k7", "tolerance": "0.1 %", "measured_ohm": "4.68k", "meter": "0.8 % + 2"}).part()
    assert (fine.tolerance, fine.measured_ohm) == (0.001, None)
    bare = read_row({"ohm": "4k7", "measured_ohm": "4.68k"}).part()
    assert bare.measured_uncertainty_ohm == pytest.approx(0.01 * 4680 + 30)


def test_every_bad_row_is_told_with_its_line() -> None:
    """All at once, and no row of the list is taken."""
    text = (
        "ohm,tolerance,count\n1.5k,1 %,10\nabc,1 %,1\n0,1 %,1\n1k,,1\n1k,1 %,0\n1k,1 %,two\n2,2k,5 %,1\n\n1k,150 %,1\n"
    )
    with pytest.raises(DrawerFault) as caught:
        read_csv(text.encode(), "stock.csv")
    assert [line for line, _ in caught.value.faults] == [3, 4, 5, 6, 7, 8, 10]
    said = str(caught.value)
    assert "stock.csv:3" in said
    assert "decimal comma" in said
    assert "Nothing was written" in said


@pytest.mark.parametrize(
    "data", [b"", b"ohm,tolerance\n", b"ohm,colour\n1k,red\n", b"\x00\x01", b"\xff\xfeo\x00", b"\xe9,1\n", b'"1k,1 %\n']
)
def test_files_that_are_no_list_end_deliberately(data: bytes) -> None:
    """Empty, binary, another encoding, an open quotation mark."""
    with pytest.raises(PinproofError):
        read_csv(data, "stock.csv")


@given(st.binary(max_size=200))
def test_no_bytes_end_in_a_traceback(data: bytes) -> None:
    """Rows or a deliberate error."""
    try:
        rows = read_csv(data, "x.csv")
    except PinproofError:
        return
    assert drawer_of(rows).parts


def makes_a_part(row: Row) -> bool:
    """True if the measured ohms are possible for the print."""
    try:
        row.part()
    except ValueError:
        return False
    return True


TEXT_OHM = st.sampled_from(["1.5k", "4k7", "1500 ohm", "220 ohm", "1M", "1,5k", "47.0 ohm"])


@given(
    st.lists(
        st.builds(
            Row, TEXT_OHM, st.sampled_from(["1 %", "5 %", "0.1 %"]), st.integers(1, 99),
            st.sampled_from(["", "", "1.497k", "217 ohm"]), st.sampled_from(["", "0.8 % + 2"]),
            st.text(st.characters(categories=["L", "N", "P", "S"]), max_size=10),
        ).filter(makes_a_part),
        max_size=8,
    )
)  # fmt: skip
def test_what_is_saved_is_loaded_and_merging_keeps_every_part(
    tmp_path_factory: pytest.TempPathFactory, rows: list[Row]
) -> None:
    """A round trip through the file; counts add up; merging again changes nothing."""
    path = tmp_path_factory.mktemp("drawer") / "drawer.toml"
    once = merged(rows)
    assert sum(row.count for row in once) == sum(row.count for row in rows)
    assert merged(once) == once
    assert merged(reversed(rows)) is not None
    save_drawer(path, once, None)
    back, _ = load_rows(path)
    assert drawer_of(back) == drawer_of(once)
    assert load_drawer(path) == drawer_of(once)
    assert drawer_text(back) == drawer_text(once)


def test_equal_parts_are_counted_together() -> None:
    """However they are written."""
    rows = [read_row({"ohm": text, "tolerance": "1 %", "count": "2"}) for text in ("1.5k", "1k5", "1500 ohm")]
    (one,) = merged(rows)
    assert one.count == 6
    apart = merged([*rows, read_row({"ohm": "1.5k", "tolerance": "5 %"})])
    assert [each.count for each in apart] == [6, 1]


def test_the_command_fills_adds_and_lists(tmp_path: Path) -> None:
    """CSV, single lines, the list, and the drawer that choosing takes."""
    stock = tmp_path / "stock.csv"
    stock.write_text("ohm;tolerance;count\n1,5k;1 %;10\n4,42k;1 %;4\n", encoding="utf-8")
    result = run(tmp_path, str(stock))
    assert result.exit_code == 0, result.output
    result = run(tmp_path, "add", "1k5", "1 %", "--count", "2")
    assert result.exit_code == 0, result.output
    result = run(tmp_path, "add", "8.25k", "--measured", "8.26k", "--meter", "0.5 % + 2", "--label", "red box")
    assert result.exit_code == 0, result.output
    said = json.loads(run(tmp_path, "list", "--json").output)
    assert [(each["nominal_ohm"], each["count"]) for each in said["parts"]] == [(1500.0, 12), (4420.0, 4), (8260.0, 1)]
    drawer = load_drawer(tmp_path / "drawer.toml")
    assert drawer.stock == (12, 4, 1)
    assert drawer.parts[2].label == "red box"


def test_a_bad_list_leaves_the_drawer_as_it_was(tmp_path: Path) -> None:
    """One bad row, nothing is added; the former version is kept beside on every good change."""
    run(tmp_path, "add", "1.5k", "1 %")
    path = tmp_path / "drawer.toml"
    before = path.read_bytes()
    stock = tmp_path / "stock.csv"
    stock.write_text("ohm,tolerance\n1k,1 %\nbad,1 %\n", encoding="utf-8")
    result = run(tmp_path, str(stock))
    assert isinstance(result.exception, DrawerFault)  # `main` turns it into words and exit code 2
    assert path.read_bytes() == before
    run(tmp_path, "add", "2k2", "1 %")
    assert (tmp_path / "drawer.toml.bak").read_bytes() == before
    assert sorted(each.name for each in tmp_path.iterdir()) == ["drawer.toml", "drawer.toml.bak", "stock.csv"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("list",), "There is no"),
        (("add",), "Say ohms"),
        (("add", "1k"), "tolerance or measured"),
        (("add", "1k", "1 %", "--count", "0"), "whole number from 1"),
        (("add", "1k", "1 %", "--measured", "1k", "--meter", "good one"), "accuracy"),
        (("stock.pdf",), "neither add"),
    ],
)
def test_wrong_words_are_told(tmp_path: Path, arguments: tuple[str, ...], said: str) -> None:
    """Exit 2, what would be right, no file."""
    result = run(tmp_path, *arguments)
    assert result.exit_code == 2, result.output
    assert said in " ".join(result.output.split())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "format = 1\n[[part]]\nohm = 3\n",
        "format = 2\n",
        "[[part]\n",
        'format = 1\n[[part]]\nohms = "1k"\n',
        "format = 1\npart = 3\n",
    ],
)
def test_a_spoilt_drawer_file_is_told_and_not_written_over(tmp_path: Path, text: str) -> None:
    """A file edited by hand into nonsense stays for its owner to mend."""
    path = tmp_path / "drawer.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DrawerFault):
        load_drawer(path)
    result = run(tmp_path, "add", "1k", "1 %")
    assert isinstance(result.exception, DrawerFault)
    assert path.read_text(encoding="utf-8") == text


def test_meters_that_say_nothing_are_refused() -> None:
    """A name is no accuracy."""
    with pytest.raises(QuantityFault):
        meter_error_ohm("1k", "my good meter")


def test_ohms_that_cannot_be_the_printed_part_are_told() -> None:
    """4.0 kΩ on a 4.42 kΩ part of 1 %: somebody took the wrong one. Without the tolerance it is what it is."""
    with pytest.raises(ValueError, match="Is it another part"):
        read_row({"ohm": "4.42k", "tolerance": "1 %", "measured_ohm": "4.00k"})
    assert read_row({"ohm": "4.42k", "measured_ohm": "4.00k"}).part().nominal_ohm == 4000.0
