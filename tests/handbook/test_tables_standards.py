"""Standards as data: rows typed a second time from where they were read, sums, sources. Memory is no oracle here."""

import math

import pytest

from pinproof.errors import OutOfTable
from pinproof.tables import (
    SEEN,
    aircraft_drop_v,
    ampacity_a,
    bundle_current_factor,
    bundle_ratio,
    contact_figure,
    contact_load,
    copper_ohm_per_m,
    crimp_pull_by_area_n,
    crimp_pull_n,
    decode_colour,
    decode_older_colour,
    drop_fraction,
    encode_colour,
    fuse_by_colour,
    fuse_by_rating,
    fuse_continuous_fraction,
    fuse_gate,
    gxl_outside_m,
    insulation_clearance_m,
    jump_start,
    load,
    load_dump,
    long_term_overvoltage,
    names,
    reverse_supply,
    shrink_range_m,
    source_of,
    starting_profile,
    supply_range,
    temperature_class_c,
    vehicle_cable,
    vehicle_cable_areas_m2,
)

LBF_N = 4.4482216152605


@pytest.mark.parametrize("name", names())
def test_every_table_has_title_source_and_seen(name):
    table = load(name)
    assert table.title
    assert table.source
    assert table.seen in SEEN
    assert table.name in name
    assert source_of(name).endswith(f"({table.seen})")
    for row in table.rows:
        assert len(row) == len(table.columns) == len(table.units)


@pytest.mark.parametrize("name", [name for name in names() if load(name).sums])
def test_columns_add_up(name):
    """A slipped key shows in the sum; infinite and empty cells are left out."""
    table = load(name)
    for column, total in table.sums.items():
        cells = table.values if column == "values" else table.column_values(column)
        numbers = [cell for cell in cells if isinstance(cell, (int, float)) and math.isfinite(cell)]
        assert sum(numbers) == pytest.approx(total, rel=1e-9), column


def test_tables_with_numbers_have_a_sum():
    for name in names():
        table = load(name)
        numeric = any(isinstance(cell, (int, float)) for row in table.rows for cell in row) or bool(table.values)
        assert table.sums or not numeric, name


def test_unknown_table_names_those_there_are():
    with pytest.raises(OutOfTable, match="iec_60063_e24"):
        load("iec_60063_e25")
    with pytest.raises(OutOfTable):
        load("../../secrets")


# ISO 16750-2:2010 table 1, public copy. Seen: open copy.
@pytest.mark.parametrize(("code", "low_v"), [("A", 6.0), ("B", 8.0), ("C", 9.0), ("D", 10.5)])
def test_supply_ranges(code, low_v):
    found = supply_range(code)
    assert (found.low_v, found.high_v, found.seen) == (low_v, 16.0, "open copy")


def test_load_dump():
    """ISO 16750-2 test A as restated in a journal article and a supply manual. Seen: secondary."""
    dump = load_dump(suppressed=False)
    assert (dump.low_v, dump.high_v, dump.low_ohm, dump.high_ohm) == (79.0, 101.0, 0.5, 4.0)
    assert (dump.short_s, dump.long_s, dump.pulses, dump.interval_s) == (0.040, 0.400, 10, 60.0)
    clamped = load_dump(suppressed=True)
    assert (clamped.high_v, clamped.pulses, clamped.low_ohm) == (35.0, 5, None)


@pytest.mark.parametrize(
    "result",
    [
        jump_start(),
        long_term_overvoltage(),
        starting_profile("III"),
        reverse_supply(),
        temperature_class_c("B"),
        crimp_pull_by_area_n(0.5e-6),
        fuse_gate(200),
        fuse_by_rating(35),
        fuse_continuous_fraction(cautious=True),
        vehicle_cable(0.5e-6),
        vehicle_cable(0.35e-6).max_outside_m,
        contact_load("silver, catalogue rule"),
        encode_colour("turquoise"),
        aircraft_drop_v(14),
    ],
    ids=lambda result: type(result).__name__,
)
def test_remembered_values_say_so(result):
    assert result.from_memory
    assert result.source


def test_read_values_do_not_claim_memory():
    assert not vehicle_cable(0.5e-6).max_outside_m.from_memory
    assert not reverse_supply("alternator not fused").from_memory
    assert not fuse_by_rating(5).from_memory
    assert not encode_colour("red").from_memory


def test_vehicle_cable():
    """Outside diameters of a seller's sheet citing ISO 6722. Seen: secondary. mm², mm."""
    for mm2, outside_mm in ((0.5, 1.7), (0.75, 1.9), (1.0, 2.1), (1.5, 2.4), (2.5, 3.0), (4.0, 3.7), (6.0, 4.3)):
        assert vehicle_cable(mm2 * 1e-6).max_outside_m.value == pytest.approx(outside_mm * 1e-3)


def test_remembered_cable_resistance_is_at_least_plausible():
    """No oracle: only that each row lies above pure copper and within 15 % of it."""
    for area_m2 in vehicle_cable_areas_m2():
        assert 1.0 < vehicle_cable(area_m2).max_ohm_per_m.value / copper_ohm_per_m(area_m2) < 1.15


def test_gxl_diameters():
    """A wire maker's GXL sheet prints inches and millimetres. Seen: secondary."""
    for awg, inch, mm in ((20, 0.096, 2.4), (18, 0.102, 2.6), (14, 0.137, 3.5), (10, 0.191, 4.8)):
        assert gxl_outside_m(awg).value == pytest.approx(inch * 0.0254)
        assert gxl_outside_m(awg).value == pytest.approx(mm * 1e-3, abs=0.07e-3)


# Public fuse colour lists that agree. Seen: secondary.
COLOURS = [
    (2, "grey"), (3, "violet"), (4, "pink"), (5, "tan"), (7.5, "brown"), (10, "red"), (15, "blue"), (20, "yellow"),
    (25, "clear"), (30, "green"), (40, "orange"),
]  # fmt: skip


@pytest.mark.parametrize(("rating_a", "colour"), COLOURS)
def test_blade_fuse_colours(rating_a, colour):
    assert fuse_by_rating(rating_a).colour == colour
    assert fuse_by_colour(colour).rating_a == rating_a


def test_fuse_colour_synonyms_and_gaps():
    assert fuse_by_colour("Natural").rating_a == 25
    with pytest.raises(OutOfTable, match="7.5"):
        fuse_by_rating(6)
    with pytest.raises(OutOfTable, match="violet"):
        fuse_by_colour("gold")
    with pytest.raises(OutOfTable, match="maxi"):
        fuse_by_rating(5, "glass")


def test_contact_loads():
    """MIL-PRF-22885/71C table IV (open copy); a relay maker's note on silver (secondary)."""
    assert (contact_load("low level").volts, contact_load("low level").amperes) == (0.030, 0.010)
    assert (contact_load("logic level").volts, contact_load("logic level").amperes) == (5.0, 0.010)
    silver = contact_load("silver")
    assert (silver.volts, silver.amperes, silver.meaning) == (12.0, 0.4, "least")
    assert "disputed" in silver.note
    assert contact_figure("new_contact").value == 0.025
    with pytest.raises(OutOfTable, match="usual_bounce"):
        contact_figure("smell")


# UL 486A as restated by two makers, in pounds-force and newtons. Seen: secondary. AWG, lbf.
UL_486A = [(28, 2), (26, 3), (24, 5), (22, 8), (20, 13), (18, 20), (16, 30), (14, 50), (12, 70), (10, 80), (8, 90)]


@pytest.mark.parametrize(("awg", "lbf"), UL_486A)
def test_crimp_pull(awg, lbf):
    """The makers' newtons are rounded: within 0.2 N of the pounds-force."""
    assert crimp_pull_n(awg).value == pytest.approx(lbf * LBF_N, abs=0.2)


def test_crimp_pull_of_other_documents():
    """NASA-STD-8739.4 table 13-1 (open copy); the military column of a maker's specification (secondary)."""
    assert crimp_pull_n(24, "NASA-STD-8739.4").value == 36.0
    assert crimp_pull_n(20, "military").value == pytest.approx(19 * LBF_N, abs=0.2)
    with pytest.raises(OutOfTable, match="24, 22"):
        crimp_pull_n(20, "NASA-STD-8739.4")
    with pytest.raises(OutOfTable, match="military"):
        crimp_pull_n(20, "my own")
    low, high = insulation_clearance_m(20)
    assert (low.value, high.value) == (0.25e-3, 0.75e-3)


def test_exact_bundle_ratios():
    """Closed forms of plane geometry."""
    root = math.sqrt
    forms = {
        1: 1.0,
        2: 2.0,
        3: 1 + 2 / root(3),
        4: 1 + root(2),
        5: 1 + root(2 * (1 + 1 / root(5))),
        6: 3.0,
        7: 3.0,
        8: 1 + 1 / math.sin(math.pi / 7),
        9: 1 + root(2 * (2 + root(2))),
        19: 1 + root(2) + root(6),
    }
    for count, ratio in forms.items():
        assert bundle_ratio(count).ratio == pytest.approx(ratio, abs=1e-8)
        assert bundle_ratio(count).exact


def test_bundle_estimate_never_shrinks_with_more_wires():
    ratios = [bundle_ratio(count).ratio for count in range(1, 60)]
    assert ratios == sorted(ratios)
    assert not bundle_ratio(12).exact
    with pytest.raises(OutOfTable):
        bundle_ratio(0)


def test_shrink_tube_example():
    """A tubing maker's guide: supplied 1.00 in, recovered 0.50 in, use on 0.55 to 0.80 in. Seen: secondary."""
    fits = shrink_range_m(0.0254, 0.0127)
    assert fits.least_outside_m == pytest.approx(0.55 * 0.0254)
    assert fits.most_outside_m == pytest.approx(0.80 * 0.0254)
    with pytest.raises(ValueError, match="recovered_m"):
        shrink_range_m(0.01, 0.02)


def test_ampacity_and_drop():
    """33 CFR 183.425 table 5, AC 43.13-1B table 11-9 (open copies); NFPA 70-2014 factors, ABYC custom (secondary)."""
    assert ampacity_a(16, 105, "33 CFR 183.425").value == 25
    assert ampacity_a(6, 200, "33 CFR 183.425").value == 135
    assert [ampacity_a(awg, 150).value for awg in (24, 22, 20, 18, 16)] == [4, 5, 7, 9, 11]
    assert [bundle_current_factor(count).value for count in (1, 4, 9, 20, 30, 40, 500)] == [
        1.0,
        0.8,
        0.7,
        0.5,
        0.45,
        0.4,
        0.35,
    ]
    assert (drop_fraction().value, drop_fraction("not critical").value) == (0.03, 0.10)
    with pytest.raises(OutOfTable, match="105, 150, 200"):
        ampacity_a(20, 90)
    with pytest.raises(OutOfTable):
        bundle_current_factor(0)


def test_colour_codes():
    """IEC 60757:2021 clause 5.1, excerpt: red and blue is RDBU; green and yellow only as GNYE. Seen: secondary."""
    assert encode_colour("blue", "red").code == "RDBU"
    assert encode_colour("blue", "red", keep_order=True).code == "BURD"
    protective = encode_colour("yellow", "green")
    assert protective.code == "GNYE"
    assert "protective" in protective.note
    assert decode_colour("RDBU").colours == ("red", "blue")
    assert decode_colour("bk/wh").colours == ("black", "white")
    assert encode_colour("gray").code == "GY"


@pytest.mark.parametrize("colour", load("iec_60757_colours").column_values("colour"))
def test_colour_codes_read_back(colour):
    assert decode_colour(encode_colour(colour).code).colours == (colour,)


def test_older_letters():
    """DIN 47002 letters in a public manual: gr is grey, not green. Seen: secondary."""
    assert decode_older_colour("gr").colours == ("grey",)
    assert "not green" in decode_older_colour("gr").note
    assert decode_older_colour("swws").colours == ("black", "white")
    assert decode_older_colour("gnge").code == "GNYE"


@pytest.mark.parametrize("code", ["", "R", "XX", "RDB", "RDRDRDRDRDRDRDRD"])
def test_unknown_colour_codes(code):
    with pytest.raises(OutOfTable):
        decode_colour(code)


def test_unknown_colours():
    with pytest.raises(OutOfTable, match="mauve"):
        encode_colour("mauve")
    with pytest.raises(OutOfTable):
        encode_colour("red", "red")
    with pytest.raises(OutOfTable):
        encode_colour()
