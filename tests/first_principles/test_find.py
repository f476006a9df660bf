"""Fault finding: the sums against plain enumeration, the looks, the words; probabilities that behave."""

from __future__ import annotations

import itertools
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design import load, loads
from pinproof.examples import example_path
from pinproof.find import (
    CausesFault,
    Diagnosis,
    LookFault,
    Said,
    Session,
    as_json,
    looks,
    next_steps,
    read,
    table_text,
    weights_of,
)
from pinproof.find.draws import TAIL, cell_masses
from pinproof.find.hypotheses import hypotheses
from pinproof.find.likelihood import Given, log_densities
from pinproof.find.looks import change_min, set_up_after
from pinproof.find.meter_model import USUAL
from pinproof.find.responses import normal_cdf
from pinproof.find.tree import Leaf, Node, decision_tree, leaves
from pinproof.find.weights import UNLISTED, with_symptoms
from pinproof.wiring import line_view

PLAIN = """
format = 1
id = "pp-one"
name = "One button (invented)"
[supply]
run = "12 V"
[temperature]
low = "20 °C"
high = "20 °C"
[[input]]
id = "pin"
pull_up = { value = "1k", tolerance = "1 %", basis = "measured" }
reference = "5 V"
pull_down = "none"
compares = "reference"
error = "0 %"
[[line]]
id = "taps"
input = "pin"
form = "pull-up"
idle = "idle"
idle_resistor = "none"
wire = { low = "0 ohm", high = "1 ohm" }
source_wire = { low = "0 ohm", high = "1 ohm" }
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
[[line.window]]
meaning = "idle"
low = "90 %"
basis = "published"
[[line.window]]
meaning = "up"
low = "40 %"
high = "60 %"
basis = "published"
[[device]]
id = "pod"
[[contact]]
id = "button"
line = "taps"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = { value = "1k", tolerance = "1 %", ageing = "0 %", tempco = "0 ppm/K", basis = "measured" }
closed = { low = "0 ohm", high = "1 ohm" }
open = "none"
"""


@pytest.fixture(scope="module")
def one() -> Diagnosis:
    """One button on one pull-up."""
    return Diagnosis(loads(PLAIN), "taps")


@pytest.fixture(scope="module")
def sandpiper() -> Diagnosis:
    """The largest example."""
    return Diagnosis(load(example_path("sandpiper")), "taps")


def test_probabilities_before_any_reading_are_the_weights(one: Diagnosis) -> None:
    """Sum 1; every cause keeps its proportion; what is not on the list keeps at least one in a hundred."""
    found = one.posterior([])
    assert math.fsum(each.probability for each in found.classes) == pytest.approx(1.0, abs=1e-12)
    share: dict[str, float] = {}
    for each in one.hypotheses:
        for m in each.mechanisms:
            share[m.cause] = share.get(m.cause, 0.0) + m.share
    table = weights_of().in_service
    assert share["bad crimp"] / share["switch contact"] == pytest.approx(table["bad crimp"] / table["switch contact"])
    assert "wrong cavity or swapped wire" not in share  # one contact cannot be swapped
    assert share[UNLISTED] >= 0.01


def test_posterior_of_one_reading_against_plain_enumeration(one: Diagnosis) -> None:
    """Odds between a resistor ten times too large and one that was read wrongly, by an integral on a fine grid.

    The reading is 10.05 kΩ at the plug. Decade-high: 10 kΩ within 1 %, uniform. Added joint: 1 kΩ plus a log-uniform
    1 Ω to 1 MΩ. Both sums here are done without the engine: a sum over parts, meter uniform as a Gaussian of the same
    deviation, in ohms.
    """
    reading = 10_050.0
    found = one.posterior([read(one, f"ohms button = {reading} ohm")])
    by_key = {
        m.where: m.probability
        for c in found.classes
        for m in c.mechanisms
        if m.cause in ("wrong resistor", "cold solder")
    }
    ratio = by_key["hard contact.button.resistor decade-high"] / by_key["added contact.button.resistor drifted"]

    gain, digits = 0.009 / math.sqrt(3.0) * reading, 2 * 10.0 / math.sqrt(3.0)
    sigma = math.hypot(gain, digits)

    def density(true_ohm: np.ndarray) -> np.ndarray:
        return np.exp(-0.5 * ((reading - true_ohm) / sigma) ** 2) / sigma / math.sqrt(2.0 * math.pi)

    part = np.linspace(-0.01, 0.01, 2001)
    rest = 1.25  # both wires half an ohm, the contact about a quarter
    high = density(10_000.0 * (1.0 + part) + rest).mean()
    added = np.exp(np.linspace(0.0, math.log(1e6), 200_001))
    drifted = density(1000.0 + added + rest).mean()
    table = weights_of().in_service
    want = (table["wrong resistor"] / 3.0 * high) / (table["cold solder"] / 2.0 * (1.0 - TAIL) * drifted)
    assert ratio == pytest.approx(want, rel=0.1)


def test_readings_of_one_truck_share_its_parts(one: Diagnosis) -> None:
    """The same reading taken twice says hardly more than once: never a product of what each gives by itself."""
    text = "ohms button = 1.02k"
    once = one.log_each(next(h for h in one.hypotheses if h.how == "sound"), [read(one, text)])
    volts = read(one, "volts button = 2.55 at 12")
    both = one.log_each(next(h for h in one.hypotheses if h.how == "sound"), [read(one, text), volts])
    assert np.isfinite(once).all() and np.isfinite(both).all()
    # A resistor at its upper limit makes a high ratio likelier than it is by itself.
    alone = one.log_each(next(h for h in one.hypotheses if h.how == "sound"), [volts])
    assert both.mean() - once.mean() > alone.mean()


@given(st.integers(1, 3), st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_severity_integral_against_summing(n: int, seed: int) -> None:
    """The closed form of a Gaussian averaged along a straight line, against 20 001 points of it."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, n))
    covariance = (root @ root.T + np.eye(n) * 0.3)[None]
    difference, leaks, severity = (rng.normal(size=(1, n)) for _ in range(3))
    width = float(rng.uniform(0.1, 3.0))
    found = log_densities(Given(difference, leaks, severity, covariance, np.zeros(1)), width)
    from pinproof.find.draws import STEP

    whole = covariance[0] + STEP**2 * np.outer(leaks[0], leaks[0])
    inverse, det = np.linalg.inv(whole), np.linalg.det(whole)
    t = np.linspace(-width / 2.0, width / 2.0, 20_001)
    off = difference[0][None] - t[:, None] * severity[0][None]
    density = np.exp(-0.5 * np.einsum("ti,ij,tj->t", off, inverse, off)) / math.sqrt((2.0 * math.pi) ** n * det)
    assert found[0] == pytest.approx(math.log(np.trapezoid(density, t) / width), abs=2e-3)


def test_normal_distribution_function() -> None:
    """Against math.erfc of the standard library, on both sides and far out."""
    z = np.linspace(-8.0, 8.0, 401)
    want = np.array([0.5 * math.erfc(-x / math.sqrt(2.0)) for x in z])
    assert np.abs(normal_cdf(z) - want).max() < 1e-7
    assert normal_cdf(np.array([-5.0]))[0] == pytest.approx(want[np.argmin(np.abs(z + 5.0))], rel=0.01)


def test_cell_masses() -> None:
    """Log-uniform shares add up, wherever the law's limits fall among the cells."""
    edges = np.geomspace(1.0, 1e4, 9)
    assert cell_masses(edges, 1.0, 1e4, tail=0.0) == pytest.approx(np.full(8, 0.125))
    assert cell_masses(edges, 3.0, 700.0).sum() == pytest.approx(1.0)
    wide = cell_masses(np.geomspace(0.1, 1e5, 7), 1.0, 1e4)  # a decade each: 5 % on either side, the rest inside
    assert wide == pytest.approx([0.05, 0.225, 0.225, 0.225, 0.225, 0.05])
    assert cell_masses(np.empty(0), 1.0, 1.0).tolist() == [1.0]


def test_a_dead_button_is_found(sandpiper: Diagnosis) -> None:
    """Everything works but one tap: its branch. The mechanism inside is ranked by weight."""
    session = Session(sandpiper)
    for text in ("idle=automatic", "lever_manual=manual", "lever_up=manual", "lever_manual+lever_down=down",
                 "lever_manual+wheel_up=up", "lever_manual+wheel_down=down"):  # fmt: skip
        name = text if "lever_up" not in text else "lever_manual+lever_up=manual"
        session = session.told(read(sandpiper, f"meaning {name}"))
    asked = session.advice()
    assert asked.state == "look" and asked.posterior.first.name == "branch lever_up high"
    session = session.adding(read(sandpiper, "ohms lever_manual+lever_up = 8.26k"))
    advice = session.advice()
    assert advice.state == "found"
    assert session.winner(advice.posterior) == "branch lever_up high"
    plain = json.loads(json.dumps(as_json(session, advice)))
    assert plain["cause"] == "branch lever_up high"
    assert plain["classes"][0]["repair"]


def test_a_leak_shows_at_the_plug(sandpiper: Diagnosis) -> None:
    """800 Ω from the pin to chassis, less than any coding resistor, is a leak of the coded wire itself."""
    session = Session(sandpiper).adding(
        read(sandpiper, "chassis idle = 800 ohm"), read(sandpiper, "chassis lever_manual = 803 ohm"),
        read(sandpiper, "ohms lever_manual = 8.27k"),
    )  # fmt: skip
    found = session.advice().posterior
    assert found.first.name == "pin or far to ground"
    assert found.first.probability > 0.9


def test_nothing_under_half_is_called_the_cause(sandpiper: Diagnosis) -> None:
    """Before any reading nothing is found, and there is something to look at."""
    session = Session(sandpiper)
    advice = session.advice()
    assert advice.state == "look"
    assert session.winner(advice.posterior) == ""
    assert advice.step is not None and advice.step.gain_bits > 0.1


def test_a_reading_off_by_a_decade_is_questioned(sandpiper: Diagnosis) -> None:
    """8.27 kΩ typed as 82.7 kΩ, while everything else is as built."""
    session = Session(sandpiper).told(*(
        read(sandpiper, f"meaning {text}") for text in ("idle=automatic", "lever_manual=manual")
    )).adding(
        read(sandpiper, "ohms lever_manual = 82.7k"), read(sandpiper, "ohms lever_manual+lever_up = 2.88k"),
        read(sandpiper, "ohms lever_manual+lever_down = 1.14k"),
    )  # fmt: skip
    advice = session.advice()
    assert len(advice.doubts) == 1
    assert "ohms lever_manual = 82.7 kΩ does not go with" in advice.doubts[0]
    assert "8.27 kΩ would" in advice.doubts[0]


def test_symptoms_move_the_weights() -> None:
    """Water makes leaks ten times as likely; a truck that never worked is a new build with a doubtful setting."""
    table = weights_of()
    plain = with_symptoms(table, "in service", frozenset())
    wet = with_symptoms(table, "in service", frozenset({"water"}))
    assert wet["pin-to-pin leak"] == pytest.approx(10.0 * plain["pin-to-pin leak"])
    never = with_symptoms(table, "in service", frozenset({"never-worked"}))
    assert never["setting or lever code"] == pytest.approx(5.0 * table.new_build["setting or lever code"])


def test_shifting_by_itself_blames_what_reads_as_a_shift() -> None:
    """By hand: a stuck tap always reads as a shift (1), an open branch never (0.01), a sound line at times (0.3)."""
    truck = load(example_path("sandpiper"))
    plain, shifty = (
        Diagnosis(truck, "taps", Said(symptoms=s)).posterior([]) for s in (frozenset(), frozenset({"shifts-by-itself"}))
    )
    stuck, opened, sound = (
        shifty.of(name) / plain.of(name) for name in ("branch lever_up always on", "branch lever_up high", "line sound")
    )
    assert stuck / sound == pytest.approx(1.0 / 0.3, rel=0.01)
    assert stuck / opened == pytest.approx(1.0 / 0.01, rel=0.05)
    assert math.fsum(each.probability for each in shifty.classes) == pytest.approx(1.0)


def test_worked_on_makes_only_that_place_a_new_build() -> None:
    """The touched branch is likelier than its twin."""
    truck = load(example_path("sandpiper"))
    found = Diagnosis(truck, "taps", Said(worked_on=frozenset({"lever_up"}))).posterior([])
    assert found.of("branch lever_up low") > 2.0 * found.of("branch lever_down low")


def test_intermittent_a_good_reading_excuses_nothing() -> None:
    """With a fault that comes and goes one good reading leaves its suspect; without, it clears it."""
    truck = load(example_path("sandpiper"))
    good = "ohms lever_manual+lever_up = 2.9k"
    steady, flaky = (Diagnosis(truck, "taps", Said(symptoms=s)) for s in (frozenset(), frozenset({"intermittent"})))
    name = "branch lever_up high"
    drop = [d.posterior([read(d, good)]).of(name) / d.posterior([]).of(name) for d in (steady, flaky)]
    assert drop[0] < 0.5 < drop[1]


def test_next_look_is_worth_its_minutes(sandpiper: Diagnosis) -> None:
    """Looks come in order of bits per minute, none twice, and none that cannot be done."""
    seen = [read(sandpiper, "meaning lever_manual+lever_up = manual")]
    steps = next_steps(sandpiper, seen, "powered")
    assert all(a.worth >= b.worth for a, b in itertools.pairwise(steps))
    assert "meaning lever_manual+lever_up" not in {each.look.id for each in steps}
    assert all(each.look.kind != "volts" for each in next_steps(sandpiper, seen, "powered", without={"volts"}))


def test_set_ups_and_minutes(sandpiper: Diagnosis) -> None:
    """Six minutes to unplug, none to go on; probing is also good for looking at the report."""
    assert (change_min("start", "unplugged"), change_min("unplugged", "unplugged")) == (6.0, 0.0)
    assert change_min("probing", "powered") == 0.0
    assert set_up_after("probing", sandpiper.look("meaning idle")) == "probing"
    assert sandpiper.look("wire").minutes("unplugged") == 4.5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("ohms nobody = 1k", "not a reading"),
        ("smell idle = 1", "Right would be one of"),
        ("ohms idle", "no ="),
        ("ohms idle = -3", "negative"),
        ("ohms idle = 5 V", "cannot be read"),
        ("volts idle = 4.1", "battery's volts"),
        ("volts idle = 4.1 at 0", "no battery"),
        ("meaning idle = sideways", "not something"),
    ],
)
def test_readings_that_cannot_be_are_refused(sandpiper: Diagnosis, text: str, told: str) -> None:
    """Each says what is wrong and what would be right."""
    with pytest.raises(LookFault, match=told):
        read(sandpiper, text)


def test_readings_are_read(sandpiper: Diagnosis) -> None:
    """Open displays, bare numbers, contacts in any order."""
    assert math.isinf(read(sandpiper, "ohms idle = OL").ohm or 0.0)
    assert read(sandpiper, "ohms lever_up+lever_manual = 2880").ohm == 2880.0
    assert read(sandpiper, "meaning idle = nothing").meaning == "invalid"
    seen = read(sandpiper, "volts idle = 0.1 V @ 12.6")
    assert (seen.pin_v, seen.supply_v) == (0.1, 12.6)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x = [", "not TOML"),
        ("[other]\n", "one table"),
        ('[cause]\n"ghosts" = { new_build = 1, in_service = 1 }', "ghosts"),
        ('[cause]\n"bad crimp" = { new_build = -1, in_service = 1 }', "0 to 100"),
        ('[cause]\n"bad crimp" = 3', "new_build = 2"),
    ],
)
def test_weights_that_cannot_be_are_refused(text: str, told: str) -> None:
    """Where, what, what would be right."""
    with pytest.raises(CausesFault, match=told):
        weights_of(text, "causes.toml")


def test_an_owners_weight_counts() -> None:
    """One changed line of the table is enough."""
    own = weights_of('[cause]\n"bad crimp" = { new_build = 50, in_service = 50 }')
    assert own.in_service["bad crimp"] == 50.0
    assert own.in_service["cold solder"] == weights_of(table_text()).in_service["cold solder"]


@pytest.mark.parametrize("name", ["sandpiper", "heron", "wagtail"])
def test_every_fault_of_a_line_can_be_a_cause(name: str) -> None:
    """Shares add up to one, no two hypotheses share a key, every look has a place in the circuit."""
    truck = load(example_path(name))
    for line in truck.lines:
        view = line_view(truck, line)
        found = hypotheses(view, weights_of().in_service)
        assert math.fsum(each.share for each in found) == pytest.approx(1.0)
        assert len({each.key for each in found}) == len(found)
        assert len({each.id for each in looks(view)}) == len(looks(view))


@pytest.mark.parametrize("name", ["heron", "wagtail"])
def test_the_tree_ends_in_classes(name: str) -> None:
    """Every way ends; shares of outcomes are probabilities; what is sure is over one half."""
    truck = load(example_path(name))
    tree = decision_tree(truck, truck.lines[0].id)
    assert isinstance(tree, Node) and leaves(tree) > 5

    def walk(node: Node | Leaf, used: frozenset[str]) -> None:
        if isinstance(node, Leaf):
            assert node.classes and (not node.sure or node.classes[0][1] >= 0.5)
            return
        assert node.look.id not in used
        assert math.fsum(share for _, share, _ in node.outcomes) <= 1.0 + 1e-3
        for _, _, then in node.outcomes:
            walk(then, used | {node.look.id})

    walk(tree, frozenset())


def test_the_usual_meter() -> None:
    """Worked by hand: 1500 Ω on the 6 kΩ range of a 6000-count meter, 0.9 % + 2 digits, is 15.5 Ω."""
    of = USUAL.ohms[USUAL.ohm_range(1500.0)]
    assert 1500.0 * of.relative + of.digits * of.digit == pytest.approx(15.5)
    assert of.full == pytest.approx(6000.0)


def told_but_up(sandpiper: Diagnosis) -> Session:
    """Every report is right, but lever_up does nothing."""
    session = Session(sandpiper)
    for text in (
        "idle=automatic", "lever_manual=manual", "lever_manual+lever_up=manual", "lever_manual+lever_down=down",
        "lever_manual+wheel_up=up", "lever_manual+wheel_down=down",
    ):  # fmt: skip
        session = session.told(read(sandpiper, f"meaning {text}"))
    return session


def test_what_decides_alone_is_read_twice(sandpiper: Diagnosis) -> None:
    """One report says a branch, one number says otherwise: both are asked for again before anything is called."""
    session = told_but_up(sandpiper).adding(read(sandpiper, "volts lever_manual+lever_up = 3.5 at 13.8"))
    asked = []
    for text in ("meaning lever_manual+lever_up = manual", "volts lever_manual+lever_up = 3.51 at 13.82"):
        advice = session.advice()
        assert advice.posterior.first.name == "setting" and advice.state == "look" and advice.step is not None
        asked.append(advice.step.look.id)
        assert "ead it once more" in " ".join(advice.doubts)
        session = session.adding(read(sandpiper, text))
    assert asked == ["meaning lever_manual+lever_up", "volts lever_manual+lever_up"]
    assert session.twice == set(asked)
    assert session.advice().state == "found"


def test_nothing_is_called_found_without_a_number(sandpiper: Diagnosis) -> None:
    """Reports alone make one branch all but sure; a number is asked for all the same, where there is a meter."""
    session = told_but_up(sandpiper)
    advice = session.advice()
    assert advice.state == "look" and advice.step is not None and advice.step.look.kind != "meaning"
    kinds = ("ohms", "chassis", "plus", "volts", "wire", "source", "without")
    assert session.leaving_out(*kinds).advice().step is None


def test_two_faced_readings_are_not_called_by_a_listed_name(sandpiper: Diagnosis) -> None:
    """All reports are right, yet one closed branch is open to the ohmmeter (a film, a diode): nothing listed does that.

    Against a sum by hand: a listed cause must explain both halves at once; "not listed" costs its prior, and the
    priors of what each half looks like.
    """
    reports = [read(sandpiper, f"meaning {text}") for text in (
        "idle=automatic", "lever_manual=manual", "lever_manual+lever_up=up", "lever_manual+lever_down=down",
        "lever_manual+wheel_up=up", "lever_manual+wheel_down=down",
    )]  # fmt: skip
    ohms = [
        read(sandpiper, f"ohms lever_manual+lever_up = {text}") for text in ("8.26k", "2.88k")
    ]  # as if lever_up were open; as built
    odd, built = (sandpiper.posterior([*reports, each]) for each in ohms)
    assert odd.of("not listed") > 0.3
    assert built.of("not listed") < 0.05


def test_a_reading_taken_twice_is_not_mistyped(sandpiper: Diagnosis) -> None:
    """The odds of a slip of the pen are weighed where asked for, and drop to nothing for what was read twice."""
    seen = told_but_up(sandpiper).adding(read(sandpiper, "volts lever_manual+lever_up = 3.5 at 13.8")).seen
    plain, careful = (sandpiper.posterior(seen, careful=each) for each in (False, True))
    sure = sandpiper.posterior(seen, careful=True, sure={each.look.id for each in seen})
    assert careful.of("setting") < plain.of("setting") - 0.05
    assert math.fsum(careful.mistyped) < 1.0 and max(careful.mistyped) > 0.05
    assert sure.mistyped == (0.0,) * len(seen)
    assert sure.of("setting") == pytest.approx(plain.of("setting"), abs=1e-9)


def test_drawn_trucks_are_the_same_for_every_hypothesis(sandpiper: Diagnosis) -> None:
    """Solved in groups, each hypothesis' rows are still what `network` gives for it alone, at a few rows."""
    from pinproof.faults.circuit import contacts_conducting
    from pinproof.network import transfer

    look = sandpiper.look("volts lever_manual+lever_up")
    run = sandpiper.truck.supply.run
    for group in sandpiper.fleet.groups[:3]:
        columns = group.columns(look.situation.key)
        some = np.linspace(0, group.span.stop - group.span.start - 1, 5).astype(int)
        share = transfer(group.view.net, np.stack([each[some] for each in columns], axis=1), group.view.pin)
        assert (share >= 0.0).all() and share.sum(axis=1) == pytest.approx(1.0)
        value = sandpiper.whole_response(look).value[group.span][some] @ np.array([1.0, run.value])
        causes = group.view.physical.causes("run")
        rails = [sum(f * (run.value if n == "supply" else (causes[n].low_v + causes[n].high_v) / 2.0)
                     for n, f in gain) for gain in group.view.rail_gains]  # fmt: skip
        assert value == pytest.approx(share @ np.array(rails), rel=1e-9, abs=1e-12)
        for rows in group.rows[:3]:
            conducts = contacts_conducting(group.view, rows.hypothesis.change, [look.situation.key])[0]
            for column, branch in enumerate(group.view.branches):
                if branch.kind == "contact" and not conducts[column]:
                    first = columns[column][rows.first - group.rows[0].first]
                    assert first < 1e-4 or branch.id in rows.hypothesis.change.held


def test_coming_and_going_readings_are_weighed_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trying only the doubtful readings both ways gives what trying every reading both ways gives."""
    truck = load(example_path("sandpiper"))
    said = Said(symptoms=frozenset({"intermittent"}))
    d = Diagnosis(truck, "taps", said)
    worn = next(each for each in d.hypotheses if each.name == "branch lever_up high" and each.has_severity)
    sound = next(each for each in d.hypotheses if each.how == "sound")
    texts = [
        "ohms lever_manual", "ohms lever_manual+lever_up", "ohms lever_manual+lever_down", "ohms lever_manual+wheel_up",
    ]  # fmt: skip
    count = d.rows(worn).count
    for row, with_fault in itertools.product((count * 3 // 4, count - 1), ("lever_up", "nothing")):
        seen = []
        for text in texts:
            look = d.look(text)
            of = worn if with_fault in text else sound
            value = d.response(of, look).value[row % d.rows(of).count, 0]
            seen.append(read(d, f"{text} = {float(np.expm1(value)):.4g}"))
        found = Diagnosis(truck, "taps", said).posterior(seen)
        with monkeypatch.context() as patch:
            patch.setattr("pinproof.find.evidence.SURE_NATS", math.inf)
            patch.setattr("pinproof.find.evidence.MOST_UNSURE", 10)
            every_way = Diagnosis(truck, "taps", said).posterior(seen)
        for one in every_way.classes:
            assert found.of(one.name) == pytest.approx(one.probability, abs=2e-3), (row, with_fault, one.name)
        assert found.of("branch lever_up high") > (0.5 if with_fault == "lever_up" else 0.0)
