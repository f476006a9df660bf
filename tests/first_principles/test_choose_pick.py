"""Choosing the resistors of whole lines: against the proof, through the file and back, from a drawer, and in vain.

The trucks are invented. The oracle is `pinproof.proof.prove_line` on every combination of a coarse series.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from pinproof.choose import Budget, Drawer, Part, changes_for, choose, cures
from pinproof.choose.build import build, choosable, sites_of, with_resistors
from pinproof.choose.parts import as_it_stands
from pinproof.choose.search import solve
from pinproof.cli.show import choice_words
from pinproof.design import Truck, load, loads
from pinproof.design.edit import with_values
from pinproof.errors import NoSolution
from pinproof.examples import example_path
from pinproof.observe import spaces_of
from pinproof.proof import prove_line
from pinproof.proof.taught import meaning_hulls
from pinproof.quantities.markings import read_bands, read_letter_code
from pinproof.quantities.preferred import values_between
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

HEAD = """format = 1
id = "pp-test01"
name = "Sandpiper"
note = "invented scenario"
[supply]
run = { low = "10.5 V", high = "15.5 V", value = "13.8 V", basis = "measured" }
crank = { low = "6 V", high = "11 V" }
[temperature]
low = "-10 °C"
high = "80 °C"
[defaults]
tolerance = "1 %"
tempco = "100 ppm/K"
ageing = "0.5 %"
closed = { low = "0 ohm", high = "5 ohm" }
open = "500 kohm"
[[input]]
id = "tap_pin"
pull_up = { value = "1 kohm", tolerance = "2 %", basis = "measured" }
pull_down = "none"
reference = { value = "5 V", tolerance = "1 %" }
compares = "reference"
full_scale = "5 V"
error = "0.3 %"
[[line]]
id = "taps"
input = "tap_pin"
form = "pull-up"
idle = "automatic"
enable = "lever_manual"
taps_fed = "through enable"
idle_resistor = "none"
wire = { low = "0 ohm", high = "1 ohm" }
source_wire = "0 ohm to 1 ohm"
return_offset = { low = "-0.05 V", high = "0.05 V" }
leak_to_ground = "200 kohm"
leak_to_supply = "2 Mohm"
"""
WINDOWS = """
[[line.window]]
meaning = "automatic"
low = "10 kohm"
with_pull = "1 kohm"
basis = "measured"
[[line.window]]
meaning = "manual"
low = "2.5 kohm"
high = "7 kohm"
with_pull = "1 kohm"
basis = "measured"
[[line.window]]
meaning = "up"
low = "900 ohm"
high = "1500 ohm"
with_pull = "1 kohm"
basis = "measured"
[[line.window]]
meaning = "down"
low = "300 ohm"
high = "550 ohm"
with_pull = "1 kohm"
basis = "measured"
"""
DEVICES = """
[[device]]
id = "lever"
exclusive = [["lever_up", "lever_down"]]
[[contact]]
id = "lever_manual"
line = "taps"
device = "lever"
kind = "normally open"
action = "maintained"
asks = "manual"
resistor = "to choose" # the lever's own
"""
TAPS = [
    """
[[contact]]
id = "lever_{name}"
line = "taps"
device = "lever"
kind = "normally open"
action = "momentary"
asks = "{name}"
with = ["lever_manual"]
only_when = ["lever_manual"]
resistor = {resistor}
""".replace("{name}", name)
    for name in ("up", "down")
]


def truck_text(
    *changes: tuple[str, str],
    windows: str = WINDOWS,
    resistors: tuple[str, str] = ('"to choose"', '"to choose"'),
    order: tuple[int, int] = (0, 1),
) -> str:
    """A design file with texts exchanged; each must be there."""
    text = HEAD + windows + DEVICES + "".join(TAPS[i].replace("{resistor}", resistors[i]) for i in order)
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


DIRECTLY = (('"through enable"', '"directly"'), ('only_when = ["lever_manual"]\n', ""))
BY_SUBSTITUTION = (('with_pull = "1 kohm"', 'found = "substitution"'),)
NO_DIVISION_KNOWN = (('compares = "reference"', 'compares = "unknown"'),)
FEED = (
    ('form = "pull-up"', 'form = "pull-down"\nfeed_from = "reference"\nfeed_drop = "0 V to 0.05 V"'),
    ('pull_up = { value = "1 kohm", tolerance = "2 %", basis = "measured" }\npull_down = "none"',
     'pull_up = "none"\npull_down = { value = "1 kohm", tolerance = "2 %", basis = "measured" }'),
)  # fmt: skip


def smallest_margin(truck: Truck) -> float:
    """Of all situations that some choice can change (those without a foreign window have no margin)."""
    return min(row.margin for row in prove_line(truck, truck.line("taps"), drift=False).situations)


@pytest.mark.parametrize(
    ("changes", "low_ohm"),
    [((), 100.0), (DIRECTLY, 100.0), (BY_SUBSTITUTION, 1000.0), (NO_DIVISION_KNOWN, 220.0), (FEED, 220.0)],
    ids=["through", "directly", "substitution", "unknown", "feed"],
)
def test_no_combination_proves_better_than_the_choice(changes: tuple[tuple[str, str], ...], low_ohm: float) -> None:
    """All combinations of E3 up to 10 kohm (64 to 343 of them), each through the whole proof."""
    truck = loads(truck_text(*changes))
    choice = choose(truck, "taps", source="E3", low_ohm=low_ohm, high_ohm=10e3, runners_up=0, explain=False)
    resistors = choosable(truck, truck.line("taps"))
    values = values_between("E3", low_ohm, 10e3)
    best = -float("inf")
    for ohms in itertools.product(values, repeat=len(resistors)):
        changed = with_resistors(truck, {r.path: replace(r, ohm=ohm) for r, ohm in zip(resistors, ohms, strict=True)})
        best = max(best, smallest_margin(changed))
    assert choice.certificate.optimal
    assert choice.certificate.upper_bound == pytest.approx(best, rel=1e-9, abs=1e-9)
    assert smallest_margin(choice.truck) == pytest.approx(choice.margin, rel=1e-9, abs=1e-9)


def test_a_choice_says_what_to_solder_and_what_is_next_best() -> None:
    """Bands and codes read back to the chosen parts; runners-up follow in order."""
    choice = choose(loads(truck_text()), "taps")
    assert choice.feasible
    assert choice.verdict is Verdict.PASS
    assert choice.certificate.optimal
    assert choice.collision is None
    assert len(choice.resistors) == 3
    for each in choice.resistors:
        (piece,) = each.pieces
        assert any(one.ohm == pytest.approx(each.ohm) for one in read_bands(piece.bands))
        assert any(one.ohm == pytest.approx(each.ohm) for one in read_letter_code(piece.letter_code))
    assert len(choice.runners_up) == 3
    seen = [choice.values, *(dict(each.values) for each in choice.runners_up)]
    assert len({tuple(sorted(each.items())) for each in seen}) == 4
    for each in choice.runners_up:
        assert each.cost == pytest.approx(choice.margin - each.margin)
        assert each.margin <= choice.certificate.upper_bound + 1e-12
    assert [row.margin for row in choice.margins] == sorted(row.margin for row in choice.margins)


def test_values_written_back_prove_the_same() -> None:
    """Through the text of the file: comments stay, and the proof of the new file has the same margins."""
    text = truck_text()
    choice = choose(loads(text), "taps", tolerance=0.005, runners_up=0)
    written = with_values(text, changes_for(choice))
    assert "# the lever's own" in written
    again = loads(written)
    assert all(contact.resistor is not None and contact.resistor.tolerance == 0.005 for contact in again.contacts)
    proof = prove_line(again, again.line("taps"), drift=False)
    margins = [row.margin for row in proof.situations]
    assert margins == pytest.approx([row.margin for row in choice.proof.situations], rel=1e-12)


def test_fixed_resistors_stay() -> None:
    """A sealed pod's value is not chosen; with all fixed there is nothing to choose."""
    up, down = '{ value = "1.5k", fixed = true }', '{ value = "470 ohm", fixed = true }'
    truck = loads(truck_text(resistors=(up, down)))
    choice = choose(truck, "taps", runners_up=0, explain=False)
    assert set(choice.values) == {"contact.lever_manual.resistor"}
    assert choice.truck.contact("lever_up").resistor == truck.contact("lever_up").resistor
    with pytest.raises(NoSolution, match="no resistor that may be chosen"):
        choose(loads(truck_text(('"to choose"', '{ value = "4.22k", fixed = true }'), resistors=(up, down))), "taps")


def test_order_of_contacts_does_not_change_the_margins() -> None:
    """Contacts listed the other way round: the same margins, the same values."""
    one = choose(loads(truck_text()), "taps", runners_up=0)
    other = choose(loads(truck_text(order=(1, 0))), "taps", runners_up=0)
    assert one.values == other.values
    assert one.margin == pytest.approx(other.margin, rel=1e-12)


def test_a_known_tempco_is_searched_outside_and_proven_with_one_temperature() -> None:
    """The search takes each part's own temperature, so the proof can only be kinder: it is where signs differ."""
    rising = '{ value = "4.22k", tempco = "1500 ppm/K", tempco_sign = "known" }'
    falling = rising.replace('"1500', '"-1500')
    taps = tuple(falling.replace("4.22k", value) for value in ("1.58k", "453 ohm"))
    truck = loads(truck_text(('resistor = "to choose" #', f"resistor = {rising} #"), resistors=(taps[0], taps[1])))
    line = truck.line("taps")
    as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
    built = build(truck, line, as_is)
    searched = solve(built.problem).margins
    proven = {(row.key_state, row.operated): row.margin for row in prove_line(truck, line, drift=False).situations}
    kinder = [
        proven[row.key_state, row.situation.operated] - float(margin)
        for row, margin in zip(built.rows, searched, strict=True)
        if row.situation is not None
    ]
    assert min(kinder) > -1e-9
    assert max(kinder) > 0.01


def test_values_that_the_proof_passes_are_offered_though_the_search_was_more_cautious() -> None:
    """Tempcos of known sign against each other: the search's margin is below zero, the proof's above. The values hold,
    and the certificate says what "no choice is better" was weighed under."""
    rising = '{ value = "to choose", tempco = "4000 ppm/K", tempco_sign = "known" }'
    falling = rising.replace('"4000', '"-4000')
    truck = loads(truck_text(('resistor = "to choose" #', f"resistor = {rising} #"), resistors=(falling, falling)))
    choice = choose(truck, "taps", runners_up=0)
    assert choice.certificate.upper_bound < 0.0 < choice.margin
    assert choice.margin == smallest_margin(choice.truck)
    assert choice.feasible and choice.verdict is Verdict.PASS and choice.collision is None
    assert "while each resistor may have a temperature of its own" in str(choice.certificate)
    assert "no values do better while each" in choice_words(choice)
    plain = choose(loads(truck_text()), "taps", runners_up=0)
    assert "temperature" not in str(plain.certificate)


def test_stock_counts_bind_over_the_whole_choice() -> None:
    """Nothing is used more often than it lies in the drawer, and bounds of pairs come from the parts' bounds."""
    parts = (
        Part(470.0, 0.01, count=1, label="470 bag"),
        Part(1000.0, 0.05, count=3),
        Part(330.0, count=1, measured_ohm=331.2, measured_uncertainty_ohm=0.5, label="odd one"),
        Part(4700.0, 0.01),
    )
    drawer = Drawer(parts)
    series = next(each for each in drawer.made(1.0, 1e6) if each.join == "series" and each.parts == (0, 1))
    assert (series.low_ohm, series.high_ohm) == pytest.approx((470 * 0.99 + 950, 470 * 1.01 + 1050))
    parallel = next(each for each in drawer.made(1.0, 1e6) if each.join == "parallel" and each.parts == (1, 1))
    assert (parallel.low_ohm, parallel.high_ohm) == pytest.approx((475.0, 525.0))
    assert not any(each.parts == (0, 0) for each in drawer.made(1.0, 1e6))
    truck = loads(truck_text())
    choice = choose(truck, "taps", source=drawer)
    used = [piece.name for each in choice.resistors for piece in each.pieces]
    for part in parts:
        assert used.count(part.called) <= part.count
    plenty = choose(truck, "taps", source=Drawer(tuple(replace(part, count=9) for part in parts)), runners_up=0)
    assert plenty.certificate.upper_bound >= choice.certificate.upper_bound
    assert smallest_margin(choice.truck) == pytest.approx(choice.margin, rel=1e-9)
    one_part = Drawer((Part(470.0, 0.01, count=2),), pairs=False)
    with pytest.raises(NoSolution, match="drawer"):
        choose(truck, "taps", source=one_part)


def test_a_taught_controller_gets_the_widest_smallest_gap() -> None:
    """The margin is the smallest gap between neighbouring meanings less the error on both sides; E3 tried in full."""
    truck = loads(truck_text(windows='windows = "free"\n'))
    choice = choose(truck, "taps", source="E3", low_ohm=100.0, high_ohm=10e3, runners_up=0)

    def smallest_gap(each: Truck) -> float:
        line = each.line("taps")
        (space,) = spaces_of(each, each.input_of(line))
        hulls = sorted(meaning_hulls(line_view(each, line), space).values())
        return min(b[0] - a[1] for a, b in itertools.pairwise(hulls)) - 2.0 * 0.003

    assert choice.margin == pytest.approx(smallest_gap(choice.truck), rel=1e-9)
    resistors = choosable(truck, truck.line("taps"))
    best = max(
        smallest_gap(with_resistors(truck, {r.path: replace(r, ohm=o) for r, o in zip(resistors, ohms, strict=True)}))
        for ohms in itertools.product(values_between("E3", 100.0, 10e3), repeat=3)
    )
    assert choice.certificate.upper_bound == pytest.approx(best, rel=1e-9)
    assert choice.verdict is Verdict.WOULD_HOLD
    (windows,) = choice.taught.values()
    assert [window.meaning for window in windows][-1] == "automatic"


NARROW = (('low = "300 ohm"\nhigh = "550 ohm"', 'low = "400 ohm"\nhigh = "432 ohm"'),)


def test_an_impossible_window_is_explained_by_what_was_tried() -> None:
    """The values come all the same; the collision names the window; some single change parts it, by a new choice."""
    truck = loads(truck_text(*NARROW))
    choice = choose(truck, "taps", runners_up=0)
    assert not choice.feasible
    assert choice.margin < 0.0
    assert choice.collision is not None
    assert choice.collision.meanings[0] == "down"
    assert choice.collision.operated == ("lever_manual", "lever_down")
    assert choice.collision.short_by > 0.0
    assert "% of full scale" in choice.collision.text
    margins = [each.margin for each in choice.collision.tried]
    assert len(margins) >= 4
    assert margins == sorted(margins, reverse=True)
    finer = next(each for each in choice.collision.tried if each.what == "parts of 0.1 %")
    again = choose(truck, "taps", tolerance=0.001, runners_up=0, explain=False)
    assert finer.proven
    # The quick search behind a trial proves the smallest margin alone; the choice may give up a tie of it.
    assert finer.margin == pytest.approx(again.certificate.upper_bound, rel=1e-6)


def test_hopeless_values_are_no_advice() -> None:
    """Values that miss by far are told from those that hold, or miss by a hair."""
    far = choose(loads(truck_text(*NARROW)), "taps", runners_up=0, explain=False)
    near = choose(loads(truck_text()), "taps", runners_up=0, explain=False)
    assert near.feasible
    assert near.advice
    assert far.advice == (far.margin >= -0.1)
    pinched = (('low = "300 ohm"\nhigh = "550 ohm"', 'low = "415 ohm"\nhigh = "416 ohm"'),)
    assert not choose(loads(truck_text(*pinched)), "taps", runners_up=0, explain=False).advice


def test_the_supply_fed_example_is_proven_to_the_last_level() -> None:
    """Taps fed through an enable contact, two key states, a leak to the supply: proven within a budget of few boxes.

    Any neighbouring set of values, proven by itself, is no better.
    """
    truck = load(example_path("sandpiper"))
    choice = choose(truck, "taps", budget=Budget(nodes=20_000, seconds=60.0), runners_up=3)
    assert choice.certificate.optimal
    assert choice.feasible
    assert all(each.proven for each in choice.runners_up)
    assert all(not piece.name.endswith("%") for each in choice.resistors for piece in each.pieces)
    grid = values_between("E96", 10.0, 1e6)
    for each in choice.resistors:
        at = grid.index(each.ohm)
        for other in (grid[at - 1], grid[at + 1]):
            resistors = {r.path: r for r in choosable(choice.truck, choice.truck.line("taps"))}
            changed = with_resistors(choice.truck, {each.path: replace(resistors[each.path], ohm=other)})
            assert smallest_margin(changed) <= choice.certificate.upper_bound + 1e-9


def test_cures_are_proven_and_better() -> None:
    """Every cure, written into the file, gives the verdict and margin it promises."""
    text = truck_text(*NARROW)
    chosen = choose(loads(text), "taps", runners_up=0, explain=False)
    text = with_values(text, changes_for(chosen))
    truck = loads(text)
    proof = prove_line(truck, truck.line("taps"), drift=False)
    offered = cures(truck, "taps", proof, budget=Budget(seconds=5.0))
    assert offered
    costs = [(cure.verdict.rank < Verdict.WOULD_HOLD.rank, cure.effort) for cure in offered]
    assert costs == sorted(costs)  # what makes it hold first, then the cheapest
    assert len(set(costs)) > 1  # the test needs both
    assert proof.worst is not None
    for cure in offered:
        assert (cure.verdict.rank, cure.margin) > (proof.worst.verdict.rank, proof.worst.margin)
        changed = loads(with_values(text, cure.changes))
        again = prove_line(changed, changed.line("taps"), drift=False)
        assert again.worst is not None
        assert again.worst.verdict is cure.verdict, cure.what
        assert again.worst.margin == pytest.approx(cure.margin, rel=1e-9), cure.what
    assert any("return" in cure.what for cure in offered)


def test_taps_fed_directly_are_offered_the_enable() -> None:
    """A tap alone is to read as idle: fed directly it cannot, through the enable contact it does."""
    alone = "".join(
        f'[[line.situation]]\noperated = ["lever_{tap}"]\nallowed = ["automatic"]\n' for tap in ("up", "down")
    )
    text = truck_text(*DIRECTLY, windows=WINDOWS + alone)
    chosen = choose(loads(text), "taps", runners_up=0, explain=False)
    assert not chosen.feasible
    best = cures(chosen.truck, "taps", chosen.proof)[0]
    assert "through the enable" in best.what
    assert best.verdict is Verdict.PASS
    assert best.changes["line.taps.taps_fed"] == "through enable"
    cured = loads(with_values(text, best.changes))
    assert prove_line(cured, cured.line("taps"), drift=False).verdict is Verdict.PASS


def test_errors_say_what_to_do() -> None:
    """An empty range, no windows: no assignment can be evaluated."""
    truck = loads(truck_text())
    with pytest.raises(NoSolution, match="E3 has nothing between"):
        choose(truck, "taps", source="E3", low_ohm=110.0, high_ohm=120.0)
    with pytest.raises(KeyError):
        choose(truck, "no such line")
